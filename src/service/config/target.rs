//! One `[[target]]` of the configuration file.

use crate::base::private::Private;
use crate::delivery::deliver::breaker::Limits;
use crate::delivery::deliver::plan::Sending;
use crate::delivery::deliver::smart::{SCOPES, Smart};
use crate::delivery::deliver::{HeaderFrom, Proxy, Purpose, SignIn, Target, Unmatched};
use crate::fhir::record::fitted::Fitting;
use crate::service::config::target_file::{
    SignInFile, TargetFile, breaker_failures, breaker_seconds, timeout_seconds, visibility_seconds,
};
use crate::service::config::{ConfigError, sending};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

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
        report: false,
        sending: Sending::default(),
        breaker: Limits {
            failures: breaker_failures(),
            pause: Duration::from_secs(breaker_seconds()),
        },
        fitting: Fitting::default(),
        encounters: Unmatched::default(),
        practitioners: Unmatched::default(),
        proxy: Proxy::Environment,
        headers: Vec::new(),
        ca_file: None,
        client_certificate: None,
    })
}

pub(super) fn read(file: TargetFile) -> Result<Target, ConfigError> {
    let sign_in = sign_in(&file)?;
    let client_certificate = client_certificate(&file)?;
    if file.ca_file.is_some() && file.base.starts_with("http://") {
        let what = "ca_file needs a base that begins with https://";
        return Err(ConfigError::Target(file.name, what));
    }
    Ok(Target {
        sending: sending::sending(&file)?,
        breaker: Limits {
            failures: file.breaker_failures,
            pause: Duration::from_secs(file.breaker_seconds.clamp(1, 900)),
        },
        fitting: sending::fitting(&file)?,
        encounters: file.unknown_encounter,
        practitioners: file.unknown_practitioner,
        base: address(&file.name, &file.base)?,
        proxy: proxy(file.proxy, file.proxy_secret_file)
            .map_err(|what| ConfigError::Target(file.name.clone(), what))?,
        headers: headers(&file.name, file.headers, file.header_files)?,
        name: file.name,
        sign_in,
        timeout: Duration::from_secs(file.timeout_seconds.max(1)),
        visibility: Duration::from_secs(file.visibility_seconds),
        purpose: file.purpose,
        paused: file.paused,
        report: file.report,
        ca_file: file.ca_file,
        client_certificate,
    })
}

fn sign_in(file: &TargetFile) -> Result<SignIn, ConfigError> {
    let wrong = |what| Err(ConfigError::Target(file.name.clone(), what));
    let for_tokens = [
        file.client_id.is_some(),
        file.key_file.is_some(),
        file.key_id.is_some(),
        file.scopes.is_some(),
        file.token_endpoint.is_some(),
    ];
    match (&file.sign_in, &file.secret_file) {
        (SignInFile::None | SignInFile::Basic | SignInFile::Bearer, _)
            if for_tokens.contains(&true) =>
        {
            wrong(
                "client_id, key_file, key_id, scopes and token_endpoint belong to sign_in = \"smart\"",
            )
        }
        (SignInFile::None, None) => Ok(SignIn::None),
        (SignInFile::Basic, Some(path)) => Ok(SignIn::Basic(path.clone())),
        (SignInFile::Bearer, Some(path)) => Ok(SignIn::Bearer(path.clone())),
        (SignInFile::None, Some(_)) => wrong(
            "secret_file is set and sign_in is none: take secret_file out, or say how to sign in",
        ),
        (SignInFile::Basic | SignInFile::Bearer, None) => wrong("sign_in needs secret_file"),
        (SignInFile::Smart, Some(_)) => {
            wrong("sign_in = \"smart\" signs with key_file: take secret_file out")
        }
        (SignInFile::Smart, None) => smart(file),
    }
}

fn smart(file: &TargetFile) -> Result<SignIn, ConfigError> {
    let wrong = |what| Err(ConfigError::Target(file.name.clone(), what));
    let (Some(client_id), Some(key_file)) = (&file.client_id, &file.key_file) else {
        return wrong("sign_in = \"smart\" needs client_id and key_file");
    };
    if file.key_id.as_deref().is_some_and(str::is_empty) {
        return wrong(
            "key_id is empty: say it, or leave it out, so that the thumbprint names the key",
        );
    }
    let scopes = file.scopes.clone();
    let scopes = scopes.unwrap_or_else(|| SCOPES.map(str::to_owned).to_vec());
    // RFC 6749, appendix A.4: the letters of a scope.
    let letter = |c: char| c.is_ascii_graphic() && c != '"' && c != '\\';
    let scope = |scope: &String| !scope.is_empty() && scope.chars().all(letter);
    if scopes.is_empty() || !scopes.iter().all(scope) {
        return wrong("scopes has to be a list of scopes, each without blanks");
    }
    if let Some(endpoint) = &file.token_endpoint {
        let in_the_clear = file.base.starts_with("https://") && !endpoint.starts_with("https://");
        if in_the_clear || address(&file.name, endpoint).is_err() {
            return wrong(
                "token_endpoint has to begin with https:// when base does, and have no user, query or fragment",
            );
        }
    }
    Ok(SignIn::Smart(Smart {
        client_id: client_id.clone(),
        key_file: key_file.clone(),
        key_id: file.key_id.clone(),
        scopes,
        token_endpoint: file.token_endpoint.clone(),
    }))
}

fn client_certificate(file: &TargetFile) -> Result<Option<(PathBuf, PathBuf)>, ConfigError> {
    let wrong = |what| Err(ConfigError::Target(file.name.clone(), what));
    match (&file.client_certificate_file, &file.client_key_file) {
        (None, None) => Ok(None),
        (Some(_), Some(_)) if !file.base.starts_with("https://") => {
            wrong("client_certificate_file needs a base that begins with https://")
        }
        (Some(certificate), Some(key)) => Ok(Some((certificate.clone(), key.clone()))),
        (Some(_), None) | (None, Some(_)) => {
            wrong("client_certificate_file and client_key_file go together")
        }
    }
}

/// How something is reached; what is wrong with it, without the name of the table.
pub(super) fn proxy(
    proxy: Option<String>,
    secret_file: Option<PathBuf>,
) -> Result<Proxy, &'static str> {
    let address = match (proxy, &secret_file) {
        (None, None) => return Ok(Proxy::Environment),
        (None, Some(_)) => return Err("proxy_secret_file without proxy"),
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
        Some(_) | None => Err(
            "proxy has to be none, or begin with http:// or https:// and name no user: \
             use proxy_secret_file",
        ),
    }
}

/// Whether what is sent to an address travels by TLS or stays on this machine: alerts and traces carry
/// identities of sessions.
pub(super) fn by_tls_or_here(address: &str) -> bool {
    let safe = [
        "https://",
        "http://127.0.0.1:",
        "http://[::1]:",
        "http://localhost:",
    ];
    safe.iter().any(|begin| address.starts_with(begin))
}

/// Whether it can be the name of a header: a token (RFC 9110, section 5.6.2).
pub(super) fn header_name(name: &str) -> bool {
    let letter = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-.^_`|~".contains(c);
    !name.is_empty() && name.chars().all(letter)
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
        if !header_name(&name) {
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
