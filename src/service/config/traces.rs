//! The table `[traces]`, for builds with the feature `otlp`.

use crate::base::private::Private;
use crate::delivery::deliver::HeaderFrom;
use crate::service::config::{ConfigError, target};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What the exporter says of its own requests.
const OURS: [&str; 4] = ["content-encoding", "content-length", "content-type", "host"];

/// Where traces go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Traces {
    /// Base address of a collector that takes OTLP over HTTP, without a slash at its end.
    pub endpoint: Private<String>,
    /// Headers that it asks for, each from a file that is read anew for every request.
    pub headers: Vec<(String, HeaderFrom)>,
    /// Authorities that are trusted in the place of the known ones, PEM.
    pub ca_file: Option<PathBuf>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TracesFile {
    endpoint: String,
    #[serde(default)]
    header_files: BTreeMap<String, PathBuf>,
    ca_file: Option<PathBuf>,
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
    checked(file).map(Some)
}

fn checked(file: TracesFile) -> Result<Traces, ConfigError> {
    let wrong = |what| Err(ConfigError::Traces(what));
    let endpoint = endpoint(&file.endpoint)?;
    let ours = |name: &String| OURS.contains(&name.to_ascii_lowercase().as_str());
    if !file
        .header_files
        .keys()
        .all(|name| target::header_name(name))
    {
        return wrong("header_files has a key that is not the name of a header");
    }
    if file.header_files.keys().any(ours) {
        return wrong(
            "header_files says what the exporter says of its own requests: take content-… and host out",
        );
    }
    if file.ca_file.is_some() && file.endpoint.starts_with("http://") {
        return wrong("ca_file needs an endpoint that begins with https://");
    }
    let headers = file.header_files.into_iter();
    Ok(Traces {
        endpoint,
        headers: headers
            .map(|(name, path)| (name, HeaderFrom::File(path)))
            .collect(),
        ca_file: file.ca_file,
    })
}

fn endpoint(endpoint: &str) -> Result<Private<String>, ConfigError> {
    let fits = target::by_tls_or_here(endpoint);
    if fits && !endpoint.contains(['@', ' ', '#', '?']) && !endpoint.ends_with("/v1/traces") {
        Ok(Private::new(endpoint.trim_end_matches('/').to_owned()))
    } else {
        Err(ConfigError::Traces(
            "endpoint has to begin with https://, or with http:// on this machine, and name no user, no \
             query and not /v1/traces, which is added",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::checked;
    use crate::service::config::Settings;

    #[cfg(not(feature = "otlp"))]
    #[test]
    fn a_build_without_traces_says_which_has_them() {
        let text = "state = 'x'\n[traces]\nendpoint = 'http://127.0.0.1:4318'";
        let told = Settings::read(text)
            .map_err(|error| error.to_string())
            .err();

        assert!(told.is_some_and(|told| told.contains("cargo build --features otlp")));
    }

    /// The sample says the table in words, because other builds refuse it.
    #[test]
    fn the_sample_shows_a_table_that_holds() {
        let sample = include_str!("../../../deploy/fascicle.toml");
        let table = sample
            .lines()
            .skip_while(|line| *line != "#   [traces]")
            .skip(1);
        let table = table.map_while(|line| line.strip_prefix("#   "));
        let table: Vec<&str> = table.collect();

        let traces = toml::from_str(&table.join("\n")).map(checked);

        let traces = traces.expect("reads").expect("holds");
        assert_eq!((table.len(), traces.headers.len()), (3, 1));
        assert!(traces.ca_file.is_some());
    }

    #[test]
    fn traces_travel_by_tls_or_stay_here() {
        let read = |keys: &str| toml::from_str(keys).map(checked).expect("TOML");
        for sound in [
            "http://127.0.0.1:4318",
            "http://[::1]:4318/",
            "https://traces.example/a",
        ] {
            assert!(read(&format!("endpoint = '{sound}'")).is_ok(), "{sound}");
        }
        for (keys, told) in [
            (
                "endpoint = 'http://traces.example:4318'",
                "begin with https://",
            ),
            ("endpoint = 'https://u:p@traces.example'", "name no user"),
            ("endpoint = 'https://traces.example?key=1'", "no query"),
            ("endpoint = 'https://traces.example/v1/traces'", "is added"),
            (
                "endpoint = 'http://127.0.0.1:4318'\nca_file = 'f'",
                "ca_file needs",
            ),
            (
                "endpoint = 'https://h'\nheader_files = { 'a b' = 'f' }",
                "not the name of a header",
            ),
            (
                "endpoint = 'https://h'\nheader_files = { Host = 'f' }",
                "of its own requests",
            ),
        ] {
            let error = read(keys).map_err(|error| error.to_string()).err();
            assert!(error.is_some_and(|error| error.contains(told)), "{keys}");
        }
    }
}
