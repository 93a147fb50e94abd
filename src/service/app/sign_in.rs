//! Whether a sign-in will work, line by line.

use crate::delivery::deliver::SignIn;
use crate::delivery::deliver::http::{Connection, server_words};
use crate::delivery::deliver::smart::{NoToken, Token};
use crate::service::app::checked::{Check, Readiness, plain};

pub(super) const SIGN_IN: &str = "sign-in";
const TOKEN: &str = "token";

/// A token was given; what it does not allow is told, and that nobody knows how long it is good.
pub(super) fn granted(token: &Token) -> Check {
    if token.not_granted.is_empty() && token.lasts.is_some() {
        return Check::fine(TOKEN, "the authorization server gives one");
    }
    if token.not_granted.is_empty() {
        return Check::other(
            TOKEN,
            Readiness::Warning,
            "the authorization server gives one without saying for how many seconds, so a new one is asked for \
             before every request"
                .to_owned(),
            "have it say expires_in as a number of seconds (RFC 6749, section 5.1)",
        );
    }
    let lacking = plain(&token.not_granted.join(" "));
    Check::other(
        TOKEN,
        Readiness::Warning,
        format!("the authorization server gives one without {lacking}"),
        "have these scopes added to the registration of this client, or take them out of scopes",
    )
}

/// Why none was given.
pub(super) fn no_token(why: NoToken) -> Check {
    let (what, change) = match why {
        NoToken::Key => (
            "the key of key_file cannot sign",
            "it has to be a private key in PEM form (PKCS #8), RSA of 2048 bits or more or P-384, that this user may read and not everybody",
        ),
        NoToken::Undiscovered => (
            "the server does not say at .well-known/smart-configuration where tokens are given",
            "check the base address, or set token_endpoint",
        ),
        NoToken::Insecure => (
            "tokens would be asked for in the clear, though the server is reached by TLS",
            "have the server name a token endpoint that begins with https://, or set token_endpoint",
        ),
        NoToken::Unreachable => (
            "the authorization server gives no answer",
            "check that it runs, and proxy and firewalls on the way",
        ),
        NoToken::Refused(error) => return refused_token(error),
        NoToken::Unreadable => (
            "the answer of the authorization server is no bearer token",
            "check token_endpoint, and that client_credentials is turned on for this client",
        ),
    };
    Check::other(TOKEN, Readiness::No, what, change)
}

/// The errors of RFC 6749, section 5.2.
fn refused_token(error: Option<&str>) -> Check {
    let change = match error {
        Some("invalid_client") => {
            "check client_id and key_id, that the public key of key_file is the one that was registered, and the clock of this machine"
        }
        Some("invalid_scope") => "ask for scopes that this client was given, in scopes",
        Some("unauthorized_client" | "unsupported_grant_type") => {
            "have the client registered for client_credentials (SMART Backend Services)"
        }
        Some(_) | None => "ask those who run the authorization server what its log says",
    };
    let said = error.map(|error| format!(": {error}")).unwrap_or_default();
    let what = format!("the authorization server refuses one{said}");
    Check::other(TOKEN, Readiness::No, what, change)
}

/// Whether the server lets the search through with which a delivery begins.
pub(super) async fn works(connection: &Connection) -> Check {
    let sign_in = &connection.target().sign_in;
    let nobody = "urn:uuid:00000000-0000-0000-0000-000000000000";
    let form = crate::fhir::record::if_none_exist(crate::fhir::record::URI_SYSTEM, nobody);
    let answer = match connection.search("Observation", &form).await {
        Ok(answer) => answer,
        Err(silence) => {
            return Check::other(
                SIGN_IN,
                Readiness::No,
                format!(
                    "the statement came, and a search got no answer ({})",
                    silence.code()
                ),
                "look for what stops a POST between here and the server",
            );
        }
    };
    match answer.status {
        200..=299 => Check::fine(
            SIGN_IN,
            match sign_in {
                SignIn::None => "none is set, and the server lets a search through without",
                SignIn::Basic(_) | SignIn::Bearer(_) | SignIn::Smart(_) => {
                    "the server lets a search through with it"
                }
            },
        ),
        401 | 403 => refused(answer.status, sign_in),
        _ => Check::other(
            SIGN_IN,
            Readiness::No,
            format!(
                "the search with which a delivery begins does not work: {}",
                plain(server_words(&answer).open())
            ),
            "have searches by POST to Observation/_search turned on for this account",
        ),
    }
}

/// What a 401 or 403 means.
pub(super) fn refused(status: u16, sign_in: &SignIn) -> Check {
    let (what, change) = match (status, sign_in) {
        (401, SignIn::None) => (
            "the server asks for a sign-in, and none is set",
            "set sign_in and secret_file, or use --bearer-file or --basic-file",
        ),
        (401, SignIn::Smart(_)) => (
            "the server does not take the token that was given for it",
            "check that token_endpoint belongs to this record server, and its clock",
        ),
        (401, SignIn::Basic(_)) => (
            "the server does not take the name and password",
            "check the file: it holds name:password on one line",
        ),
        (401, SignIn::Bearer(_)) => (
            "the server does not take the token",
            "check the file: it holds the token alone; a token may have run out",
        ),
        _ => (
            "the server knows who asks and forbids it",
            "have the rights of this account widened, or set a sign-in if none is set",
        ),
    };
    Check::other(SIGN_IN, Readiness::No, format!("{what} ({status})"), change)
}
