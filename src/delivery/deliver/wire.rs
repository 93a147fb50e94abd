//! The wire to a target: one request leaves, one answer comes, or none. Everything that is asked of a
//! target goes over it; what a request says and what an answer means is not its business.

use crate::base::private::Private;
use crate::delivery::deliver::unanswered::Unanswered;
use reqwest::Method;
use reqwest::header::HeaderMap;
use std::fmt::Debug;
use std::future::Future;
use std::pin::Pin;

/// What carries requests: HTTP in the product, anything that behaves like a network in a test.
pub trait Wire: Debug + Send + Sync {
    /// Sends a request and waits for its answer, of which no more than so many bytes are read.
    fn exchange(&self, request: Request, most_bytes: usize) -> Exchange<'_>;
}

/// One request under way.
pub type Exchange<'a> = Pin<Box<dyn Future<Output = Result<Response, Unanswered>> + Send + 'a>>;

/// A request, complete.
#[derive(Debug, Clone)]
pub struct Request {
    /// What is asked for.
    pub method: Method,
    /// Where.
    pub address: Private<String>,
    /// Every header; secrets among them are marked as sensitive.
    pub headers: HeaderMap,
    /// The body, where there is one.
    pub body: Option<Private<String>>,
}

/// What came back.
#[derive(Debug, Clone)]
pub struct Response {
    /// HTTP status.
    pub status: u16,
    /// Its headers.
    pub headers: HeaderMap,
    /// The body, as far as it was read.
    pub body: Private<Vec<u8>>,
    /// False where there was more than may be read.
    pub whole: bool,
}
