//! The `[serve.limits]` table of the configuration file.

use crate::service::config::ConfigError;
use serde::Deserialize;
use std::time::Duration;

/// How much the service takes on at the same time, and how long it waits for whoever sends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Connections at the same time; beyond them the one that has waited longest is closed.
    pub connections: usize,
    /// The same of one address.
    pub connections_per_address: usize,
    /// Requests of one connection, after which it is closed.
    pub connection_requests: u64,
    /// How long a connection lives; it is closed after the request that runs then.
    pub connection_age: Duration,
    /// How long a connection may be idle, the head of a request may take, and a body or an answer may stand still.
    pub idle: Duration,
    /// How long a body may take.
    pub body: Duration,
    /// The fewest bytes of a body a second, on average from `idle` on.
    pub body_rate: u64,
    /// How long a request may take from its head to the end of its answer.
    pub request: Duration,
    /// Requests that are worked on at the same time; large bodies have one more place, of their own.
    pub work: usize,
    /// Requests that wait for such a place; one more is told to come again.
    pub waiting: usize,
    /// How long what was begun may take once the service is told to stop.
    pub stop: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            connections: 512,
            connections_per_address: 256,
            connection_requests: 1000,
            connection_age: Duration::from_hours(1),
            idle: Duration::from_secs(10),
            body: Duration::from_mins(1),
            body_rate: 1024,
            request: Duration::from_mins(2),
            work: 4,
            waiting: 64,
            stop: Duration::from_secs(15),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LimitsFile {
    connections: Option<u32>,
    connections_per_address: Option<u32>,
    connection_requests: Option<u32>,
    connection_minutes: Option<u32>,
    idle_seconds: Option<u32>,
    body_seconds: Option<u32>,
    body_bytes_a_second: Option<u32>,
    request_seconds: Option<u32>,
    work: Option<u32>,
    waiting: Option<u32>,
    stop_seconds: Option<u32>,
}

pub(super) fn read(file: Option<LimitsFile>) -> Result<Limits, ConfigError> {
    let without = Limits::default();
    let Some(file) = file else { return Ok(without) };
    let seconds = |key, said, without: Duration| {
        let seconds = number(key, said, without.as_secs(), 1, 3600);
        seconds.map(Duration::from_secs)
    };
    let minutes = without.connection_age.as_secs().div_euclid(60);
    let minutes = number(
        "connection_minutes",
        file.connection_minutes,
        minutes,
        1,
        1440,
    )?;
    let (own, of_address) = (without.connections, without.connections_per_address);
    let (rate, requests) = (without.body_rate, without.connection_requests);
    let limits = Limits {
        connections: count("connections", file.connections, own, 64, 100_000)?,
        connections_per_address: count(
            "connections_per_address",
            file.connections_per_address,
            of_address,
            8,
            100_000,
        )?,
        connection_requests: number(
            "connection_requests",
            file.connection_requests,
            requests,
            1,
            1_000_000,
        )?,
        connection_age: Duration::from_secs(minutes.saturating_mul(60)),
        idle: seconds("idle_seconds", file.idle_seconds, without.idle)?,
        body: seconds("body_seconds", file.body_seconds, without.body)?,
        body_rate: number(
            "body_bytes_a_second",
            file.body_bytes_a_second,
            rate,
            1,
            1_000_000,
        )?,
        request: seconds("request_seconds", file.request_seconds, without.request)?,
        work: count("work", file.work, without.work, 1, 64)?,
        waiting: count("waiting", file.waiting, without.waiting, 1, 10_000)?,
        stop: seconds("stop_seconds", file.stop_seconds, without.stop)?,
    };
    if limits.connections <= limits.work.saturating_add(limits.waiting) {
        return Err(ConfigError::Serve(
            "limits: connections has to be more than work and waiting together: health is asked over one more",
        ));
    }
    Ok(limits)
}

fn number(
    key: &'static str,
    said: Option<u32>,
    without: u64,
    least: u64,
    most: u64,
) -> Result<u64, ConfigError> {
    let number = said.map_or(without, u64::from);
    if (least..=most).contains(&number) {
        Ok(number)
    } else {
        Err(ConfigError::Limit { key, least, most })
    }
}

fn count(
    key: &'static str,
    said: Option<u32>,
    without: usize,
    least: u64,
    most: u64,
) -> Result<usize, ConfigError> {
    let Some(said) = said else {
        return Ok(without);
    };
    let said = number(key, Some(said), 0, least, most)?;
    usize::try_from(said).map_err(|_larger| ConfigError::Limit { key, least, most })
}

#[cfg(test)]
mod tests {
    use crate::service::config::Settings;
    use std::time::Duration;

    fn with(limits: &str) -> Result<super::Limits, String> {
        let settings = Settings::read(&format!("state = 'x'\n[serve.limits]\n{limits}\n"));
        settings
            .map(|settings| settings.serve.limits)
            .map_err(|cause| cause.to_string())
    }

    #[test]
    fn what_is_not_said_is_as_without_the_table_and_what_is_beyond_its_range_is_told() {
        assert_eq!(with(""), Ok(super::Limits::default()));
        let said = with("stop_seconds = 30\nconnection_minutes = 5").expect("sound");
        assert_eq!(said.stop, Duration::from_secs(30));
        assert_eq!(said.connection_age, Duration::from_mins(5));
        for (wrong, words) in [
            ("connections = 1", "64 to 100000"),
            ("connections_per_address = 0", "8 to 100000"),
            ("connection_requests = 0", "1 to 1000000"),
            ("connection_minutes = 2000", "1 to 1440"),
            ("idle_seconds = 0", "1 to 3600"),
            ("body_seconds = 4000", "1 to 3600"),
            ("body_bytes_a_second = 0", "1 to 1000000"),
            ("request_seconds = 0", "1 to 3600"),
            ("work = 65", "1 to 64"),
            ("waiting = 0", "1 to 10000"),
            ("stop_seconds = 0", "1 to 3600"),
            ("waiting = 600", "work and waiting together"),
            ("surprise = 1", "unknown field"),
        ] {
            let told = with(wrong).expect_err(wrong);
            assert!(told.contains(words), "{wrong}: {told}");
        }
    }
}
