//! Settings.
//!
//! Owns: one settings struct, unknown keys refused, secrets by file name only. In: TOML text.
//! Out: [`Settings`]. Never: a default hidden elsewhere; a secret in a value.

pub mod alerts;
pub mod limits;
pub mod retention;
pub mod route;
mod sending;
pub mod serve;
mod target;
mod target_file;
pub mod traces;

use crate::delivery::deliver::{SignIn, Target};
use crate::delivery::outbox::LeaseLength;
use crate::delivery::outbox::place::{NoPlace, Place};
use crate::service::config::alerts::{Alerts, AlertsFile};
use crate::service::config::retention::{Retention, RetentionFile};
use crate::service::config::route::{RouteFile, Routes};
use crate::service::config::serve::{Serve, ServeFile};
use crate::service::config::target_file::TargetFile;
use crate::service::config::traces::{Traces, TracesFile};
use serde::Deserialize;
use std::path::PathBuf;
use std::time::Duration;

/// Everything a site sets.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Where the store is: a folder, made with mode 0700, or a database.
    pub state: Place,
    /// How long a worker holds a lane.
    pub lease: LeaseLength,
    /// Folder of an operator's own tables, laid over ours.
    pub tables: Option<PathBuf>,
    /// Tables of published ranges that the site uses, the first one first.
    pub reference_tables: Vec<String>,
    /// The name of the record server that is asked for earlier sessions besides our own store, and the longest
    /// that it is waited for.
    pub earlier_from: Option<(String, Duration)>,
    /// The record servers.
    pub targets: Vec<Target>,
    /// Which session goes to which of them.
    pub routes: Routes,
    /// How the service listens.
    pub serve: Serve,
    /// When and how somebody is alerted.
    pub alerts: Alerts,
    /// For how long content is kept.
    pub retention: Retention,
    /// Where traces go; nowhere where it is not said.
    pub traces: Option<Traces>,
}

/// What is wrong with a configuration file.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// Not TOML, an unknown key or a value of the wrong kind.
    #[error("the configuration does not read: {0}")]
    Form(#[from] toml::de::Error),
    /// A target that cannot be used, with its name.
    #[error("target {0}: {1}")]
    Target(String, &'static str),
    /// A fixed header that cannot be used, with the names of target and header.
    #[error("target {0}: header {1}: {2}")]
    Header(String, String, &'static str),
    /// A route, by its number from 1, that leads nowhere or is never asked.
    #[error("route {0}: {1}")]
    Route(usize, &'static str),
    /// The store cannot be where it is said to be.
    #[error("state {0}")]
    State(NoPlace),
    /// Nobody can be asked for earlier sessions there.
    #[error("earlier_from: {0}")]
    EarlierFrom(String),
    /// Nobody can be alerted like this.
    #[error("alerts: {0}")]
    Alerts(&'static str),
    /// The proxy of the webhook cannot be used; what is wrong begins with the end of the key.
    #[error("alerts: webhook_{0}")]
    AlertsProxy(&'static str),
    /// Content cannot be kept for so long.
    #[error("retention: {0}")]
    Retention(&'static str),
    /// Traces cannot go there.
    #[error("traces: {0}")]
    Traces(&'static str),
    /// A limit of the service that is beyond its range.
    #[error("serve.limits: {key} has to be {least} to {most}")]
    Limit {
        /// Its key.
        key: &'static str,
        /// The least it may be.
        least: u64,
        /// The most.
        most: u64,
    },
    /// The service cannot be run like this.
    #[error("serve: {0}")]
    Serve(&'static str),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    state: String,
    #[serde(rename = "state_password_file")]
    state_password: Option<PathBuf>,
    #[serde(default = "lease_seconds")]
    lease_seconds: u64,
    tables: Option<PathBuf>,
    #[serde(default)]
    reference_tables: Vec<String>,
    earlier_from: Option<String>,
    earlier_seconds: Option<u64>,
    serve: Option<ServeFile>,
    alerts: Option<AlertsFile>,
    retention: Option<RetentionFile>,
    traces: Option<TracesFile>,
    #[serde(default)]
    target: Vec<TargetFile>,
    #[serde(default)]
    route: Vec<RouteFile>,
}

/// Who is asked for earlier sessions, and for how long.
fn earlier(
    from: Option<String>,
    seconds: Option<u64>,
    targets: &[String],
) -> Result<Option<(String, Duration)>, ConfigError> {
    let wrong = |what: String| Err(ConfigError::EarlierFrom(what));
    match (from, seconds.unwrap_or(5)) {
        (None, _) if seconds.is_some() => wrong("earlier_seconds goes with it".to_owned()),
        (None, _) => Ok(None),
        (Some(name), _) if !targets.contains(&name) => {
            wrong(format!("{name} is no target of this configuration"))
        }
        (Some(_), 0 | 61..) => wrong("earlier_seconds has to be 1 to 60".to_owned()),
        (Some(name), seconds) => Ok(Some((name, Duration::from_secs(seconds)))),
    }
}

const fn lease_seconds() -> u64 {
    60
}

impl Settings {
    /// Reads a configuration file.
    ///
    /// # Errors
    /// [`ConfigError`] with the key or target that is wrong.
    pub fn read(text: &str) -> Result<Self, ConfigError> {
        let file: File = toml::from_str(text)?;
        let targets = file
            .target
            .into_iter()
            .map(target::read)
            .collect::<Result<Vec<_>, _>>()?;
        for (index, one) in targets.iter().enumerate() {
            if targets
                .iter()
                .take(index)
                .any(|other| other.name == one.name)
            {
                return Err(ConfigError::Target(one.name.clone(), "stands twice"));
            }
        }
        let names: Vec<String> = targets.iter().map(|one| one.name.clone()).collect();
        Ok(Self {
            routes: route::read(file.route, &names)?,
            state: Place::named(&file.state, file.state_password).map_err(ConfigError::State)?,
            lease: lease(file.lease_seconds),
            tables: file.tables,
            reference_tables: file.reference_tables,
            earlier_from: earlier(file.earlier_from, file.earlier_seconds, &names)?,
            serve: serve::read(file.serve)?,
            alerts: alerts::read(file.alerts)?,
            retention: retention::read(file.retention)?,
            traces: traces::read(file.traces)?,
            targets,
        })
    }

    /// Settings for one target given on the command line.
    ///
    /// # Errors
    /// [`ConfigError::Target`] when its address is none.
    pub fn single(state: Place, base: &str, sign_in: SignIn) -> Result<Self, ConfigError> {
        let target = target::single(base, sign_in)?;
        Ok(Self {
            state,
            lease: lease(lease_seconds()),
            tables: None,
            reference_tables: Vec::new(),
            earlier_from: None,
            serve: Serve::default(),
            alerts: Alerts::default(),
            retention: Retention::default(),
            traces: None,
            routes: Routes::to_all(vec![target.name.clone()]),
            targets: vec![target],
        })
    }
}

/// Work is cut off a sixth of the lease before its end. A lease lasts an hour at most: one that seems
/// to last a day comes from a clock that was set back, and counts as ended.
fn lease(seconds: u64) -> LeaseLength {
    let whole = Duration::from_secs(seconds.clamp(1, 3600));
    LeaseLength {
        whole,
        margin: whole.checked_div(6).unwrap_or_default(),
    }
}

#[cfg(test)]
mod tests {
    use super::Settings;

    #[test]
    fn unknown_keys_and_half_said_sign_ins_are_refused() {
        let cases = [
            ("state = 'x'\ncolour = 'red'", "unknown field"),
            (
                "state = 'x'\nearlier_from = 'a'",
                "earlier_from: a is no target of this configuration",
            ),
            (
                "state = 'x'\nearlier_seconds = 5",
                "earlier_from: earlier_seconds goes with it",
            ),
            (
                "state = 'x'\nearlier_from = 'a'\nearlier_seconds = 61\n[[target]]\nname='a'\nbase='https://h'",
                "earlier_seconds has to be 1 to 60",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='ftp://h'",
                "target a: base has to begin",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nsign_in='basic'",
                "target a: sign_in needs secret_file",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://u:p@h'",
                "target a: base has to be an address without user",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nproxy='http://u:p@h'",
                "target a: proxy has to be none, or begin",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nproxy_secret_file='f'",
                "target a: proxy_secret_file without proxy",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='http://h'\nca_file='f'",
                "target a: ca_file needs a base that begins with https",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\npurpose='trial'",
                "unknown variant",
            ),
            (
                "state = 'x'\n[serve]\nworkers = 0",
                "serve: workers has to be 1 to 16",
            ),
            ("state = 'x'\n[serve]\nport = 80", "unknown field"),
        ];
        refused(&cases);
    }

    #[test]
    fn a_key_or_certificate_is_said_whole_or_not_at_all() {
        let cases = [
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nsign_in='smart'\nclient_id='c'",
                "target a: sign_in = \"smart\" needs client_id and key_file",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nsign_in='smart'\nsecret_file='f'",
                "target a: sign_in = \"smart\" signs with key_file",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nkey_id='k'",
                "target a: client_id, key_file, key_id, scopes and token_endpoint belong to",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nsign_in='smart'\nclient_id='c'\n\
                 key_file='f'\nkey_id='k'\nscopes=['a b']",
                "target a: scopes has to be a list",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nsign_in='smart'\nclient_id='c'\n\
                 key_file='f'\nkey_id=''",
                "target a: key_id is empty",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nsign_in='smart'\nclient_id='c'\n\
                 key_file='f'\nkey_id='k'\ntoken_endpoint='http://h/token'",
                "target a: token_endpoint has to begin with https://",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='https://h'\nclient_key_file='f'",
                "target a: client_certificate_file and client_key_file go together",
            ),
            (
                "state = 'x'\n[[target]]\nname='a'\nbase='http://h'\nclient_key_file='f'\n\
                 client_certificate_file='f'",
                "target a: client_certificate_file needs a base that begins with https",
            ),
        ];
        refused(&cases);
    }

    fn refused(cases: &[(&str, &str)]) {
        for (text, expected) in cases {
            let told = Settings::read(text).err().map(|error| error.to_string());

            assert!(
                told.as_ref().is_some_and(|t| t.contains(expected)),
                "{told:?}"
            );
        }
    }

    #[test]
    fn headers_that_are_ours_to_set_are_refused_with_the_reason() {
        let read = |headers: &str| {
            let text = format!("state = 'x'\n[[target]]\nname='a'\nbase='https://h'\n{headers}");
            Settings::read(&text)
        };
        for (name, why) in [
            ("Authorization", "use sign_in and secret_file"),
            ("Proxy-Authorization", "use proxy and proxy_secret_file"),
            ("If-Match", "conditional requests"),
            ("if-none-exist", "conditional requests"),
            ("Host", "follows from base"),
            ("Content-Length", "body"),
            ("X Y", "not the name of a header"),
        ] {
            let told = read(&format!("headers = {{'{name}' = 'v'}}")).err();
            let told = told.map(|error| error.to_string()).unwrap_or_default();

            assert!(told.contains(name) && told.contains(why), "{name}: {told}");
        }
        let twice = read("headers = {X-Ward = 'a'}\nheader_files = {x-ward = 'f'}");
        assert!(twice.is_err_and(|error| error.to_string().contains("stands twice")));
        let broken = read(r#"headers = {X-Ward = "a\nb"}"#);
        assert!(broken.is_err_and(|error| error.to_string().contains("no header can carry")));
        let sound = read("headers = {X-Ward = 'neuro 7'}\nheader_files = {X-Key = 'f'}");
        assert_eq!(sound.expect("reads").targets[0].headers.len(), 2);
    }

    #[test]
    fn an_address_that_others_reach_has_to_be_said_twice() {
        let read = |serve: &str| Settings::read(&format!("state = 'x'\n[serve]\n{serve}"));
        let checked = |serve: &str| read(serve).expect("reads").serve.checked();

        assert!(checked("").expect("holds").address.ip().is_loopback());
        assert!(checked("address = '[::1]:80'").is_ok());
        assert!(checked("address = '0.0.0.0:80'").is_err());
        assert!(checked("address = '0.0.0.0:80'\nopen_to_network = true").is_ok());
    }

    #[test]
    fn a_secret_that_is_not_there_is_known_before_the_first_delivery() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("token");
        let text = format!(
            "state = 'x'\n[[target]]\nname = 'a'\nbase = 'https://a.example/fhir'\n\
             sign_in = 'bearer'\nsecret_file = '{}'",
            file.display()
        );
        let settings = Settings::read(&text).expect("sound settings");
        let target = &settings.targets[0];

        let before = crate::delivery::deliver::secrets_readable(target);
        std::fs::write(&file, "a-token").expect("written");
        let with_mode = |mode| {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = std::fs::Permissions::from_mode(mode);
            std::fs::set_permissions(&file, mode).expect("its mode");
            crate::delivery::deliver::secrets_readable(target)
        };

        assert_eq!(
            (before, with_mode(0o644), with_mode(0o640)),
            (false, false, true)
        );
    }
}
