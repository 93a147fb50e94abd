//! Reading what came with a request.

use crate::base::code::Code;
use crate::base::problem::{Problem, Problems};
use crate::examination::intake::sheet::Sheet;
use crate::service::app::encode::Held;
use crate::service::app::given::Given;
use crate::service::web::api::fault::Fault;
use axum::body::Bytes;
use axum::extract::Query;
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::error::Error as _;

/// The longest name of a person who decides, and the longest reason, in characters.
const LONGEST_WORDS: usize = 500;

/// The text of a JSON body.
fn json_text(headers: &HeaderMap, body: &Bytes) -> Result<String, Fault> {
    if !is_kind(headers, "application/json") {
        return Err(other_kind("application/json"));
    }
    utf8(body)
}

/// A session: a document as JSON, or the rows of one session as CSV with its columns.
pub(super) fn session(headers: &HeaderMap, body: &Bytes) -> Result<Given, Fault> {
    if !is_kind(headers, "text/csv") {
        if !is_kind(headers, "application/json") {
            return Err(other_kind("application/json, text/csv"));
        }
        return Ok(Given::document(utf8(body)?));
    }
    let refused = |problems: Vec<Problem>| {
        Fault::held(
            StatusCode::UNPROCESSABLE_ENTITY,
            "does-not-hold",
            "the sheet does not hold",
            "nothing was stored; problems says what, and what to do",
            &Held::new(problems),
            None,
        )
    };
    let mut sheet = Sheet::open(body.as_ref(), None).map_err(refused)?;
    let Some(session) = sheet.next_session().map_err(refused)? else {
        return Err(Fault::bad_request("the sheet has no row"));
    };
    if sheet.next_session().map_err(refused)?.is_some() {
        let mut problems = Problems::new();
        let what = "the sheet has rows of several sessions".to_owned();
        let hint = "send the rows of one session a request, so that each gets its own answer";
        problems.error(Code::CsvSessions, "", what, hint);
        return Err(refused(problems.sorted()));
    }
    Ok(Given::rows(session))
}

fn utf8(bytes: &Bytes) -> Result<String, Fault> {
    str::from_utf8(bytes).map(str::to_owned).map_err(|cause| {
        let valid = cause.valid_up_to();
        Fault::bad_request(format!("the body is not UTF-8 from byte {valid} on"))
    })
}

/// Whether the body is said to be of a kind, in UTF-8.
fn is_kind(headers: &HeaderMap, wanted: &str) -> bool {
    let kind = headers.get(header::CONTENT_TYPE);
    let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let mut parts = kind.split(';').map(|part| part.trim().to_ascii_lowercase());
    let same = parts.next().as_deref() == Some(wanted);
    // RFC 4180, section 3, gives text/csv the parameters charset and header; ours always has one.
    let fits = |part: String| match part.split_once('=') {
        Some(("charset", name)) => name.trim_matches('"') == "utf-8",
        Some(("header", value)) if wanted == "text/csv" => value.trim_matches('"') == "present",
        _ => true,
    };
    same && parts.all(fits)
}

fn other_kind(taken: &'static str) -> Fault {
    let fault = Fault::new(
        StatusCode::UNSUPPORTED_MEDIA_TYPE,
        "media-type",
        "the body is of another kind",
        format!("send it as {}, in UTF-8", taken.replace(", ", " or ")),
    );
    // RFC 9110, section 15.5.16: Accept tells what would have been taken.
    fault.with_header(header::ACCEPT, HeaderValue::from_static(taken))
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
pub(super) struct ByAndWhy {
    by: String,
    why: String,
}

impl ByAndWhy {
    pub(super) fn read(headers: &HeaderMap, body: &Bytes) -> Result<Self, Fault> {
        let text = json_text(headers, body)?;
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

    pub(super) fn by(&self) -> &str {
        self.by.trim()
    }

    pub(super) fn why(&self) -> &str {
        self.why.trim()
    }
}
