//! Reading what came with a request.

use crate::web::api::LARGEST_BODY;
use crate::web::api::fault::Fault;
use axum::body::{Body, to_bytes};
use axum::extract::Query;
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::error::Error as _;
use std::time::Duration;

/// How long a body may take.
const BODY_WITHIN: Duration = Duration::from_secs(30);
/// The longest name of a person who decides, and the longest reason, in characters.
const LONGEST_WORDS: usize = 500;

/// The text of a JSON body.
pub(super) async fn json_text(headers: &HeaderMap, body: Body) -> Result<String, Fault> {
    is_json(headers)?;
    let said = headers.get(header::CONTENT_LENGTH);
    let said = said.and_then(|said| said.to_str().ok()?.parse::<usize>().ok());
    if said.is_some_and(|said| said > LARGEST_BODY) {
        return Err(too_large());
    }
    let read = tokio::time::timeout(BODY_WITHIN, to_bytes(body, LARGEST_BODY)).await;
    let bytes = match read {
        Err(_time_is_up) => return Err(too_slow()),
        Ok(Err(cause)) if is_limit(&cause) => return Err(too_large()),
        Ok(Err(_cut_off)) => return Err(Fault::bad_request("the body was cut off")),
        Ok(Ok(bytes)) => bytes,
    };
    String::from_utf8(bytes.to_vec()).map_err(|cause| {
        let valid = cause.utf8_error().valid_up_to();
        Fault::bad_request(format!("the body is not UTF-8 from byte {valid} on"))
    })
}

/// The body library tells of its limit in words only, to whoever does not name it.
fn is_limit(cause: &axum::Error) -> bool {
    let source = cause.source();
    source.is_some_and(|source| source.to_string().contains("length limit"))
}

fn is_json(headers: &HeaderMap) -> Result<(), Fault> {
    let kind = headers.get(header::CONTENT_TYPE);
    let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let mut parts = kind.split(';').map(|part| part.trim().to_ascii_lowercase());
    let json = parts.next().as_deref() == Some("application/json");
    let utf8 = |part: String| {
        part.strip_prefix("charset=")
            .is_none_or(|name| name.trim_matches('"') == "utf-8")
    };
    if json && parts.all(utf8) {
        return Ok(());
    }
    let fault = Fault::new(
        StatusCode::UNSUPPORTED_MEDIA_TYPE,
        "media-type",
        "the body is of another kind",
        "send it as application/json, in UTF-8",
    );
    // RFC 9110, section 15.5.16: Accept tells what would have been taken.
    Err(fault.with_header(header::ACCEPT, HeaderValue::from_static("application/json")))
}

fn too_large() -> Fault {
    Fault::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        "too-large",
        "the body is too large",
        format!("a document has at most {LARGEST_BODY} bytes"),
    )
}

fn too_slow() -> Fault {
    Fault::new(
        StatusCode::REQUEST_TIMEOUT,
        "too-slow",
        "the body took too long",
        format!(
            "a body has to arrive within {} seconds",
            BODY_WITHIN.as_secs()
        ),
    )
    .with_header(header::CONNECTION, HeaderValue::from_static("close"))
}

/// The parameters of an address; an unknown one is refused, because it would change what is told.
pub(super) fn query<T: DeserializeOwned>(uri: &Uri) -> Result<T, Fault> {
    let read = Query::<T>::try_from_uri(uri);
    read.map(|Query(read)| read).map_err(|cause| {
        let cause = cause.source().map(ToString::to_string).unwrap_or_default();
        Fault::bad_request(format!("the parameters of the address: {cause}"))
    })
}

/// Who decides, and why.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Said {
    by: String,
    why: String,
}

impl Said {
    pub(super) async fn read(headers: &HeaderMap, body: Body) -> Result<Self, Fault> {
        let text = json_text(headers, body).await?;
        let said: Self = serde_json::from_str(&text)
            .map_err(|cause| Fault::bad_request(format!("by and why are wanted: {cause}")))?;
        for (name, words) in [("by", &said.by), ("why", &said.why)] {
            if words.trim().is_empty() || words.chars().count() > LONGEST_WORDS {
                return Err(Fault::bad_request(format!(
                    "{name} has to have 1 to {LONGEST_WORDS} characters"
                )));
            }
        }
        Ok(said)
    }

    pub(super) fn words(&self) -> (&str, &str) {
        (self.by.trim(), self.why.trim())
    }
}
