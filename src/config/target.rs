//! One `[[target]]` of the configuration file.

use crate::config::ConfigError;
use crate::deliver::{HeaderFrom, Proxy, Purpose, SignIn, Target};
use crate::private::Private;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TargetFile {
    name: String,
    base: String,
    #[serde(default)]
    sign_in: SignInFile,
    secret_file: Option<PathBuf>,
    #[serde(default = "timeout_seconds")]
    timeout_seconds: u64,
    #[serde(default = "visibility_seconds")]
    visibility_seconds: u64,
    #[serde(default)]
    purpose: PurposeFile,
    #[serde(default)]
    paused: bool,
    proxy: Option<String>,
    proxy_secret_file: Option<PathBuf>,
    #[serde(default)]
    headers: BTreeMap<String, String>,
    #[serde(default)]
    header_files: BTreeMap<String, PathBuf>,
    ca_file: Option<PathBuf>,
}

#[derive(Deserialize, Default)]
#[serde(rename_all = "lowercase")]
enum SignInFile {
    #[default]
    None,
    Basic,
    Bearer,
}

#[derive(Deserialize, Default)]
#[serde(rename_all = "kebab-case")]
enum PurposeFile {
    #[default]
    NotSaid,
    Production,
    Test,
}

const fn timeout_seconds() -> u64 {
    20
}

const fn visibility_seconds() -> u64 {
    60
}

/// Headers that are ours to set, and why nobody else may: whole names, and beginnings that end in
/// a hyphen.
const OURS: [(&str, &str); 15] = [
    ("accept", "Fascicle asks for FHIR JSON itself"),
    ("authorization", "use sign_in and secret_file"),
    ("cache-control", "a search has to see what was just stored"),
    ("connection", "it belongs to the connection"),
    ("content-", "it belongs to the body that is sent"),
    ("cookie", "a session of a browser is no sign-in here"),
    ("expect", "it belongs to the connection"),
    ("host", "it follows from base"),
    (
        "if-",
        "conditional requests are what keeps a delivery from happening twice",
    ),
    ("keep-alive", "it belongs to the connection"),
    ("prefer", "Fascicle says itself what it wants back"),
    ("proxy-", "use proxy and proxy_secret_file"),
    ("te", "it belongs to the connection"),
    ("transfer-encoding", "it belongs to the body that is sent"),
    ("upgrade", "it belongs to the connection"),
];

/// The target that is named on the command line.
pub(super) fn single(base: &str, sign_in: SignIn) -> Result<Target, ConfigError> {
    let name = "record-server";
    Ok(Target {
        name: name.to_owned(),
        base: address(name, base)?,
        sign_in,
        timeout: Duration::from_secs(timeout_seconds()),
        visibility: Duration::from_secs(visibility_seconds()),
        purpose: Purpose::NotSaid,
        paused: false,
        proxy: Proxy::Environment,
        headers: Vec::new(),
        ca_file: None,
    })
}

pub(super) fn read(file: TargetFile) -> Result<Target, ConfigError> {
    let wrong = |what| ConfigError::Target(file.name.clone(), what);
    let sign_in = match (file.sign_in, file.secret_file) {
        (SignInFile::None, None) => SignIn::None,
        (SignInFile::Basic, Some(path)) => SignIn::Basic(path),
        (SignInFile::Bearer, Some(path)) => SignIn::Bearer(path),
        (SignInFile::None, Some(_)) => {
            return Err(wrong(
                "secret_file is set and sign_in is none: take secret_file out, or say how to sign in",
            ));
        }
        (SignInFile::Basic | SignInFile::Bearer, None) => {
            return Err(wrong("sign_in needs secret_file"));
        }
    };
    if file.ca_file.is_some() && file.base.starts_with("http://") {
        return Err(wrong("ca_file needs a base that begins with https://"));
    }
    Ok(Target {
        base: address(&file.name, &file.base)?,
        proxy: proxy(&file.name, file.proxy, file.proxy_secret_file)?,
        headers: headers(&file.name, file.headers, file.header_files)?,
        name: file.name,
        sign_in,
        timeout: Duration::from_secs(file.timeout_seconds.max(1)),
        visibility: Duration::from_secs(file.visibility_seconds),
        purpose: match file.purpose {
            PurposeFile::NotSaid => Purpose::NotSaid,
            PurposeFile::Production => Purpose::Production,
            PurposeFile::Test => Purpose::Test,
        },
        paused: file.paused,
        ca_file: file.ca_file,
    })
}

fn proxy(
    name: &str,
    proxy: Option<String>,
    secret_file: Option<PathBuf>,
) -> Result<Proxy, ConfigError> {
    let wrong = |what| ConfigError::Target(name.to_owned(), what);
    let address = match (proxy, &secret_file) {
        (None, None) => return Ok(Proxy::Environment),
        (None, Some(_)) => return Err(wrong("proxy_secret_file without proxy")),
        (Some(word), None) if word == "none" => return Ok(Proxy::Direct),
        (Some(address), _) => address,
    };
    let rest = address
        .strip_prefix("http://")
        .or_else(|| address.strip_prefix("https://"));
    match rest {
        Some(rest) if !rest.is_empty() && !rest.contains(['@', '?', '#', ' ']) => {
            Ok(Proxy::Through(address, secret_file))
        }
        Some(_) | None => Err(wrong(
            "proxy has to be none, or begin with http:// or https:// and name no user: \
             use proxy_secret_file",
        )),
    }
}

fn headers(
    target: &str,
    texts: BTreeMap<String, String>,
    files: BTreeMap<String, PathBuf>,
) -> Result<Vec<(String, HeaderFrom)>, ConfigError> {
    let texts = texts
        .into_iter()
        .map(|(name, text)| (name, HeaderFrom::Text(text)));
    let files = files
        .into_iter()
        .map(|(name, path)| (name, HeaderFrom::File(path)));
    let mut headers: Vec<(String, HeaderFrom)> = Vec::new();
    for (name, from) in texts.chain(files) {
        let wrong = |why| Err(ConfigError::Header(target.to_owned(), name.clone(), why));
        // RFC 9110, section 5.6.2: the letters of a token.
        let token = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-.^_`|~".contains(c);
        if name.is_empty() || !name.chars().all(token) {
            return wrong("this is not the name of a header");
        }
        let lower = name.to_ascii_lowercase();
        let ours = OURS
            .iter()
            .find(|(ours, _)| lower == *ours || (ours.ends_with('-') && lower.starts_with(ours)));
        if let Some((_, why)) = ours {
            return wrong(why);
        }
        if headers
            .iter()
            .any(|(other, _)| other.eq_ignore_ascii_case(&name))
        {
            return wrong("it stands twice");
        }
        // RFC 9110, section 5.5: visible letters, blanks and tabs.
        let visible = |c: char| c == '\t' || c == ' ' || c.is_ascii_graphic();
        if matches!(&from, HeaderFrom::Text(text) if !text.chars().all(visible)) {
            return wrong("its value holds letters that no header can carry");
        }
        headers.push((name, from));
    }
    Ok(headers)
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
