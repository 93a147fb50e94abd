//! Settings.
//!
//! Owns: one settings struct, unknown keys refused, secrets by file name only. In: TOML text.
//! Out: [`Settings`]. Never: a default hidden elsewhere; a secret in a value.

use crate::deliver::{SignIn, Target};
use crate::outbox::LeaseLength;
use crate::private::Private;
use serde::Deserialize;
use std::path::PathBuf;
use std::time::Duration;

/// Everything a site sets.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Folder that holds the store; made with mode 0700.
    pub state: PathBuf,
    /// How long a worker holds a lane.
    pub lease: LeaseLength,
    /// The record servers.
    pub targets: Vec<Target>,
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
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    state: PathBuf,
    #[serde(default = "lease_seconds")]
    lease_seconds: u64,
    #[serde(default)]
    target: Vec<TargetFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TargetFile {
    name: String,
    base: String,
    #[serde(default)]
    sign_in: SignInFile,
    secret_file: Option<PathBuf>,
    #[serde(default = "timeout_seconds")]
    timeout_seconds: u64,
    #[serde(default = "visibility_seconds")]
    visibility_seconds: u64,
}

#[derive(Deserialize, Default)]
#[serde(rename_all = "lowercase")]
enum SignInFile {
    #[default]
    None,
    Basic,
    Bearer,
}

const fn lease_seconds() -> u64 {
    60
}

const fn timeout_seconds() -> u64 {
    20
}

const fn visibility_seconds() -> u64 {
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
            .map(target)
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
        Ok(Self {
            state: file.state,
            lease: lease(file.lease_seconds),
            targets,
        })
    }

    /// Settings for one target given on the command line.
    ///
    /// # Errors
    /// [`ConfigError::Target`] when its address is none.
    pub fn single(state: PathBuf, base: &str, sign_in: SignIn) -> Result<Self, ConfigError> {
        let target = Target {
            name: "record-server".to_owned(),
            base: address("record-server", base)?,
            sign_in,
            timeout: Duration::from_secs(timeout_seconds()),
            visibility: Duration::from_secs(visibility_seconds()),
        };
        Ok(Self {
            state,
            lease: lease(lease_seconds()),
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

fn target(file: TargetFile) -> Result<Target, ConfigError> {
    let wrong = |what| ConfigError::Target(file.name.clone(), what);
    let sign_in = match (file.sign_in, file.secret_file) {
        (SignInFile::None, None) => SignIn::None,
        (SignInFile::Basic, Some(path)) => SignIn::Basic(path),
        (SignInFile::Bearer, Some(path)) => SignIn::Bearer(path),
        (SignInFile::None, Some(_)) => return Err(wrong("secret_file without sign_in")),
        (SignInFile::Basic | SignInFile::Bearer, None) => {
            return Err(wrong("sign_in needs secret_file"));
        }
    };
    Ok(Target {
        base: address(&file.name, &file.base)?,
        name: file.name,
        sign_in,
        timeout: Duration::from_secs(file.timeout_seconds.max(1)),
        visibility: Duration::from_secs(file.visibility_seconds),
    })
}

fn address(name: &str, base: &str) -> Result<Private<String>, ConfigError> {
    let wrong = |what| ConfigError::Target(name.to_owned(), what);
    let base = base.trim_end_matches('/');
    let rest = base
        .strip_prefix("https://")
        .or_else(|| base.strip_prefix("http://"));
    let rest = rest.ok_or_else(|| wrong("base has to begin with https:// or http://"))?;
    if rest.contains(['@', '?', '#', ' ']) || rest.is_empty() {
        return Err(wrong(
            "base has to be an address without user, query or fragment",
        ));
    }
    Ok(Private::new(base.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::Settings;

    #[test]
    fn unknown_keys_and_half_said_sign_ins_are_refused() {
        let cases = [
            ("state = 'x'\ncolour = 'red'", "unknown field"),
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
        ];
        for (text, expected) in cases {
            let told = Settings::read(text).err().map(|error| error.to_string());

            assert!(
                told.as_ref().is_some_and(|t| t.contains(expected)),
                "{told:?}"
            );
        }
    }
}
