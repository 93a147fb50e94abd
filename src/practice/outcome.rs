//! Faults, and the `OperationOutcome` that tells them.
//!
//! Owns: what went wrong with one request, as an HTTP status and FHIR issues.
//! In: a rule that was broken and where. Out: a response, or the resource for a batch entry.
//! Never: repeats a value that was sent; it names paths and rules only.

use crate::base::json::{Node, object, text};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// The media type of every body this server writes.
pub(super) const FHIR_JSON: &str = "application/fhir+json; charset=utf-8";

/// One broken rule.
#[derive(Debug)]
pub(super) struct Issue {
    /// A code of <http://hl7.org/fhir/R4/valueset-issue-type.html>.
    pub(super) code: &'static str,
    /// The rule, in words.
    pub(super) rule: String,
    /// The path of the element it is about.
    pub(super) path: Option<String>,
}

impl Issue {
    /// A broken rule about one element.
    pub(super) fn at(code: &'static str, path: impl Into<String>, rule: impl Into<String>) -> Self {
        let (path, rule) = (Some(path.into()), rule.into());
        Self { code, rule, path }
    }

    fn node(&self) -> Node {
        let mut issue = vec![
            ("severity", text("error")),
            ("code", text(self.code)),
            ("diagnostics", text(&self.rule)),
        ];
        if let Some(path) = &self.path {
            issue.push(("expression", Node::List(vec![text(path)])));
        }
        object(issue)
    }
}

/// Why a request was refused.
#[derive(Debug)]
pub(super) struct Fault {
    /// The HTTP status of the answer.
    pub(super) status: StatusCode,
    /// Everything that was wrong; never empty.
    pub(super) issues: Vec<Issue>,
}

impl Fault {
    /// One broken rule, about the request as a whole.
    pub(super) fn new(status: StatusCode, code: &'static str, rule: impl Into<String>) -> Self {
        let rule = rule.into();
        let path = None;
        Self {
            status,
            issues: vec![Issue { code, rule, path }],
        }
    }

    /// 400: not what this interaction takes.
    pub(super) fn malformed(rule: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, "invalid", rule)
    }

    /// 404: no such thing here.
    pub(super) fn unknown(rule: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, "not-found", rule)
    }

    /// 412: a condition of the request does not hold.
    pub(super) fn precondition(code: &'static str, rule: impl Into<String>) -> Self {
        Self::new(StatusCode::PRECONDITION_FAILED, code, rule)
    }

    /// 412: conditions of the request do not hold.
    pub(super) fn precondition_of(issues: Vec<Issue>) -> Self {
        let status = StatusCode::PRECONDITION_FAILED;
        Self { status, issues }
    }

    /// 422: FHIR, but against its rules.
    pub(super) fn unprocessable(issues: Vec<Issue>) -> Self {
        let status = StatusCode::UNPROCESSABLE_ENTITY;
        Self { status, issues }
    }

    /// The same fault, its paths set below the path of a Bundle entry.
    pub(super) fn within(mut self, entry: &str) -> Self {
        for issue in &mut self.issues {
            issue.path = Some(match issue.path.take() {
                Some(path) => format!("{entry}.resource/{path}"),
                None => entry.to_owned(),
            });
        }
        self
    }

    /// The fault as a resource.
    pub(super) fn outcome(&self) -> Node {
        let issues = self.issues.iter().map(Issue::node).collect();
        object([
            ("resourceType", text("OperationOutcome")),
            ("issue", Node::List(issues)),
        ])
    }
}

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        let mut response = (self.status, self.outcome().compact()).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(FHIR_JSON));
        if self.status == StatusCode::METHOD_NOT_ALLOWED {
            // RFC 9110, 15.5.6: "The origin server MUST generate an Allow header field in a 405
            // response". The router writes its own; this one is for an id nobody may choose.
            headers.insert(header::ALLOW, HeaderValue::from_static("GET"));
        }
        response
    }
}

impl From<sqlx::Error> for Fault {
    fn from(cause: sqlx::Error) -> Self {
        tracing::error!(error = %cause, "practice store failed");
        let status = StatusCode::INTERNAL_SERVER_ERROR;
        Self::new(
            status,
            "exception",
            "the store of the practice server failed",
        )
    }
}
