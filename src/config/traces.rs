//! The table `[traces]`, for builds with the feature `otlp`.

use crate::config::ConfigError;
use crate::private::Private;
use serde::Deserialize;

/// Where traces go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Traces {
    /// Base address of a collector that takes OTLP over HTTP, without a slash at its end.
    pub endpoint: Private<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TracesFile {
    endpoint: String,
}

pub(super) fn read(file: Option<TracesFile>) -> Result<Option<Traces>, ConfigError> {
    let Some(file) = file else {
        return Ok(None);
    };
    if !cfg!(feature = "otlp") {
        return Err(ConfigError::Traces(
            "this build sends none: leave the table out, or build with `cargo build --features otlp`",
        ));
    }
    checked(&file.endpoint).map(Some)
}

/// Identities of sessions leave the house by it, so it is reached by TLS or stays on this machine.
fn checked(endpoint: &str) -> Result<Traces, ConfigError> {
    let local = ["http://127.0.0.1:", "http://[::1]:", "http://localhost:"];
    let fits =
        endpoint.starts_with("https://") || local.iter().any(|begin| endpoint.starts_with(begin));
    if fits && !endpoint.contains(['@', ' ', '#', '?']) && !endpoint.ends_with("/v1/traces") {
        Ok(Traces {
            endpoint: Private::new(endpoint.trim_end_matches('/').to_owned()),
        })
    } else {
        Err(ConfigError::Traces(
            "endpoint has to begin with https://, or with http:// on this machine, and name no user, no \
             query and not /v1/traces, which is added",
        ))
    }
}

#[cfg(test)]
mod tests {
    use crate::config::Settings;

    fn read(keys: &str) -> Result<Settings, String> {
        Settings::read(&format!("state = 'x'\n[traces]\n{keys}")).map_err(|error| error.to_string())
    }

    #[cfg(not(feature = "otlp"))]
    #[test]
    fn a_build_without_traces_says_which_has_them() {
        let told = read("endpoint = 'http://127.0.0.1:4318'").err();

        assert!(told.is_some_and(|told| told.contains("cargo build --features otlp")));
    }

    #[cfg(feature = "otlp")]
    #[test]
    fn traces_travel_by_tls_or_stay_here() {
        for sound in [
            "http://127.0.0.1:4318",
            "http://[::1]:4318/",
            "https://traces.example/a",
        ] {
            let settings = read(&format!("endpoint = '{sound}'")).expect("reads");
            assert!(settings.traces.is_some());
        }
        let sample = include_str!("../../deploy/fascicle.toml");
        let said = sample.replace("\n#   [traces]\n#   endpoint", "\n[traces]\nendpoint");
        assert!(Settings::read(&said).is_ok_and(|settings| settings.traces.is_some()));
        for (keys, told) in [
            ("", "missing field"),
            ("colour = 'red'", "unknown field"),
            (
                "endpoint = 'http://traces.example:4318'",
                "begin with https://",
            ),
            ("endpoint = 'https://u:p@traces.example'", "name no user"),
            ("endpoint = 'https://traces.example?key=1'", "no query"),
            ("endpoint = 'https://traces.example/v1/traces'", "is added"),
        ] {
            let error = read(keys).err().unwrap_or_default();
            assert!(error.contains(told), "{keys}: {error}");
        }
    }
}
