//! SMART Backend Services: a signed assertion for a short token.
//!
//! Source: HL7 SMART App Launch 2.2.0, "Backend Services" and "Client Authentication: Asymmetric
//! (public key)" (hl7.org/fhir/smart-app-launch/backend-services.html and
//! client-confidential-asymmetric.html).

pub(super) mod assertion;
pub mod public;

use crate::base::clock::{Clock as _, MachineClock};
use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::deliver::smart::assertion::assertion;
use crate::delivery::deliver::wire::{Request, Wire};
use crate::fhir::record::percent;
use reqwest::Method;
use reqwest::header::{ACCEPT, CONTENT_TYPE, HeaderMap, HeaderValue};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::time::Duration;
use tokio::sync::Mutex;
use tokio::time::Instant;
use uuid::Uuid;

const ASSERTION_TYPE: &str = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";
const FORM: &str = "application/x-www-form-urlencoded";
/// The most we read of an answer about a token.
const MOST_BYTES: usize = 256 * 1024;

/// What a delivery asks for, unless the settings ask for something else: SMART scopes, version 2.
pub const SCOPES: [&str; 7] = [
    "system/Patient.rs",
    "system/Practitioner.rs",
    "system/Organization.rs",
    "system/Encounter.rs",
    "system/Device.crs",
    "system/Provenance.crs",
    "system/Observation.crus",
];

/// How we are known to the authorization server of a target.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Smart {
    /// Client identifier, given at registration.
    pub client_id: String,
    /// The private key, PEM (PKCS #8): RSA signs with RS384, P-384 with ES384.
    pub key_file: PathBuf,
    /// `kid` of the public key that was registered; its thumbprint (RFC 7638) where none is said.
    pub key_id: Option<String>,
    /// Scopes that are asked for.
    pub scopes: Vec<String>,
    /// Where tokens are given; discovered when it is not said.
    pub token_endpoint: Option<String>,
}

/// Why there is no token; nothing was sent to the record server.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoToken {
    /// The file of the key cannot be read, is open to everybody, or holds no key of use.
    #[error("{}", Code::TargetTokenKey)]
    Key,
    /// The record server does not say where tokens are given.
    #[error("{}", Code::TargetTokenUndiscovered)]
    Undiscovered,
    /// The place where tokens are given is less protected than the record server.
    #[error("{}", Code::TargetTokenInsecure)]
    Insecure,
    /// The authorization server gave no answer.
    #[error("{}", Code::TargetTokenUnreachable)]
    Unreachable,
    /// It refused; the error of RFC 6749, section 5.2, where it is one of those.
    #[error("{}", Code::TargetTokenRefused)]
    Refused(Option<&'static str>),
    /// Its answer is no token.
    #[error("{}", Code::TargetTokenUnreadable)]
    Unreadable,
}

impl NoToken {
    /// Its code.
    pub const fn code(self) -> Code {
        match self {
            Self::Key => Code::TargetTokenKey,
            Self::Undiscovered => Code::TargetTokenUndiscovered,
            Self::Insecure => Code::TargetTokenInsecure,
            Self::Unreachable => Code::TargetTokenUnreachable,
            Self::Refused(_) => Code::TargetTokenRefused,
            Self::Unreadable => Code::TargetTokenUnreadable,
        }
    }
}

/// A token that was given.
#[derive(Debug, Clone)]
pub struct Token {
    /// The token.
    pub value: Private<String>,
    /// Scopes that were asked for and not granted; nothing when the server does not say.
    pub not_granted: Vec<String>,
    /// For how many seconds it is good; nothing where the server does not say it in whole seconds, so
    /// that it is used for this moment only.
    pub lasts: Option<u64>,
    renew: Instant,
}

/// The token of one target. Whoever finds none asks for one while the others wait, so that a burst
/// of requests asks once.
#[derive(Debug, Default)]
pub struct Tokens {
    held: Mutex<Option<Token>>,
}

impl Tokens {
    /// A token that is good for a while yet.
    ///
    /// # Errors
    /// [`NoToken`].
    pub async fn token(
        &self,
        wire: &dyn Wire,
        base: &str,
        smart: &Smart,
    ) -> Result<Token, NoToken> {
        let mut held = self.held.lock().await;
        if let Some(token) = held.as_ref().filter(|token| Instant::now() < token.renew) {
            return Ok(token.clone());
        }
        let token = ask(wire, base, smart).await?;
        *held = Some(token.clone());
        Ok(token)
    }

    /// Forgets a token that was refused, unless another took its place already.
    pub async fn refused(&self, refused: &Token) {
        let mut held = self.held.lock().await;
        let same = |token: &Token| token.value.open() == refused.value.open();
        if held.as_ref().is_some_and(same) {
            *held = None;
        }
    }
}

async fn ask(wire: &dyn Wire, base: &str, smart: &Smart) -> Result<Token, NoToken> {
    let endpoint = match &smart.token_endpoint {
        Some(endpoint) => endpoint.clone(),
        None => discover(wire, base).await?,
    };
    // A token that opens a protected server is not asked for in the clear.
    if base.starts_with("https://") && !endpoint.starts_with("https://") {
        return Err(NoToken::Insecure);
    }
    let assertion = assertion(smart, &endpoint, Uuid::new_v4(), MachineClock.now())?;
    let scopes = smart.scopes.join(" ");
    let form = [
        ("grant_type", "client_credentials"),
        ("scope", &scopes),
        ("client_assertion_type", ASSERTION_TYPE),
        ("client_assertion", &assertion),
    ];
    let form: Vec<String> = form
        .iter()
        .map(|(name, value)| format!("{name}={}", percent(value)))
        .collect();
    let form = Some(form.join("&"));
    let asked = Instant::now();
    let (status, body) = answer(wire, Method::POST, endpoint, form).await?;
    match status {
        200..=299 => token(&body, asked, &smart.scopes),
        400..=499 => Err(NoToken::Refused(oauth_error(&body))),
        _ => Err(NoToken::Unreachable),
    }
}

/// "The JSON document SHALL be returned using the application/json mime type regardless of the
/// Accept headers"; a server that does not serve it has no SMART sign-in.
async fn discover(wire: &dyn Wire, base: &str) -> Result<String, NoToken> {
    let address = format!("{base}/.well-known/smart-configuration");
    let (status, body) = answer(wire, Method::GET, address, None).await?;
    let endpoint = body.text_of("token_endpoint").map(str::to_owned);
    match (status, endpoint) {
        (200..=299, Some(endpoint)) => Ok(endpoint),
        (500..=599, _) => Err(NoToken::Unreachable),
        _ => Err(NoToken::Undiscovered),
    }
}

async fn answer(
    wire: &dyn Wire,
    method: Method,
    address: String,
    form: Option<String>,
) -> Result<(u16, Node), NoToken> {
    let mut headers = HeaderMap::new();
    headers.insert(ACCEPT, HeaderValue::from_static("application/json"));
    if form.is_some() {
        headers.insert(CONTENT_TYPE, HeaderValue::from_static(FORM));
    }
    let request = Request {
        method,
        address: Private::new(address),
        headers,
        body: form.map(Private::new),
    };
    let sent = wire.exchange(request, MOST_BYTES).await;
    let response = sent.map_err(|_no_answer| NoToken::Unreachable)?;
    if !response.whole {
        return Err(NoToken::Unreadable);
    }
    let status = response.status;
    let body = String::from_utf8(response.body.opened()).ok();
    let body = body.and_then(|text| Node::parse(&text).ok());
    Ok((status, body.unwrap_or(Node::Null)))
}

/// Reads the answer of RFC 6749, section 5.1; `expires_in` is REQUIRED by SMART, and a token without
/// it is used for this moment only.
fn token(body: &Node, asked: Instant, scopes: &[String]) -> Result<Token, NoToken> {
    let value = body.text_of("access_token").filter(|value| sendable(value));
    let bearer = body.text_of("token_type");
    let (Some(value), Some(true)) = (
        value,
        bearer.map(|kind| kind.eq_ignore_ascii_case("bearer")),
    ) else {
        return Err(NoToken::Unreadable);
    };
    let lasts = match body.member("expires_in") {
        Some(Node::Number(seconds)) => seconds.parse().ok(),
        Some(_) | None => None,
    };
    let granted: Option<BTreeSet<&str>> = body
        .text_of("scope")
        .map(|scopes| scopes.split_ascii_whitespace().collect());
    let lacking = |scope: &&String| {
        let granted = granted.as_ref();
        granted.is_some_and(|granted| !granted.contains(scope.as_str()))
    };
    Ok(Token {
        value: Private::new(value.to_owned()),
        not_granted: scopes.iter().filter(lacking).cloned().collect(),
        lasts,
        renew: asked + used_for(lasts.unwrap_or(0)),
    })
}

/// RFC 6750, section 2.1: the letters of a bearer token.
fn sendable(token: &str) -> bool {
    let letter = |c: char| c.is_ascii_alphanumeric() || "-._~+/=".contains(c);
    !token.is_empty() && token.chars().all(letter)
}

/// A token is renewed at four fifths of its life, less up to a tenth by chance, so that several
/// processes do not ask at once. Nobody's token is kept for more than a day.
fn used_for(seconds: u64) -> Duration {
    const DAY: u64 = 24 * 60 * 60;
    let tenths = 800_u64.saturating_sub(fastrand::u64(..100));
    Duration::from_millis(seconds.min(DAY).saturating_mul(tenths))
}

fn oauth_error(body: &Node) -> Option<&'static str> {
    const ERRORS: [&str; 6] = [
        "invalid_request",
        "invalid_client",
        "invalid_grant",
        "unauthorized_client",
        "unsupported_grant_type",
        "invalid_scope",
    ];
    let said = body.text_of("error")?;
    ERRORS.into_iter().find(|error| *error == said)
}

#[cfg(test)]
mod tests {
    use super::{NoToken, oauth_error, token, used_for};
    use crate::base::json::Node;
    use tokio::time::Instant;

    /// Source: RFC 6749, section 5.1; RFC 6750, section 2.1.
    #[test]
    fn only_a_bearer_token_that_can_be_sent_is_taken() {
        let read = |text: &str| {
            let asked = ["a".to_owned(), "b".to_owned()];
            let read = token(&Node::parse(text).expect("JSON"), Instant::now(), &asked);
            read.map(|token| (token.value.open().clone(), token.not_granted))
        };
        let given = |lacking: &[&str]| {
            let lacking = lacking.iter().map(|scope| (*scope).to_owned());
            Ok(("t-1".to_owned(), lacking.collect::<Vec<String>>()))
        };

        assert_eq!(
            read(r#"{"access_token":"t-1","token_type":"Bearer","expires_in":300,"scope":"b c"}"#),
            given(&["a"])
        );
        assert_eq!(
            read(r#"{"access_token":"t-1","token_type":"bearer"}"#),
            given(&[])
        );
        for wrong in [
            r#"{"access_token":"t-1","token_type":"mac"}"#,
            r#"{"access_token":"t-1"}"#,
            r#"{"access_token":"","token_type":"bearer"}"#,
            r#"{"access_token":"t 1","token_type":"bearer"}"#,
            r#"{"access_token":"t\n1","token_type":"bearer"}"#,
            r#"{"token_type":"bearer"}"#,
            "[]",
        ] {
            assert_eq!(read(wrong), Err(NoToken::Unreadable), "{wrong}");
        }
    }

    /// Source: RFC 6749, section 5.1: the lifetime in seconds, a number.
    #[test]
    fn a_lifetime_that_does_not_read_is_none() {
        for (given, lasts) in [
            (r#","expires_in":300"#, Some(300)),
            (r#","expires_in":"300""#, None),
            (r#","expires_in":1.5"#, None),
            ("", None),
        ] {
            let text = format!(r#"{{"access_token":"t-1","token_type":"bearer"{given}}}"#);
            let read = token(&Node::parse(&text).expect("JSON"), Instant::now(), &[]);

            assert_eq!(read.expect("a token").lasts, lasts, "{given}");
        }
    }

    #[test]
    fn a_token_is_renewed_before_it_ends() {
        for _ in 0..100 {
            let used = used_for(300).as_secs_f64();
            assert!((210.0..=240.0).contains(&used), "{used}");
        }
        assert!(used_for(0).is_zero());
        assert!(used_for(u64::MAX).as_secs() < 24 * 60 * 60);
    }

    /// Source: RFC 6749, section 5.2. What is none of its errors is not repeated.
    #[test]
    fn an_error_is_told_by_the_name_the_standard_gives_it() {
        let error = |text| oauth_error(&Node::parse(text).expect("JSON"));

        assert_eq!(error(r#"{"error":"invalid_scope"}"#), Some("invalid_scope"));
        assert_eq!(error(r#"{"error":"\u001b[2J"}"#), None);
        assert_eq!(error("[]"), None);
    }
}
