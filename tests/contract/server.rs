#![cfg(test)]
//! The two servers under test, and one way to ask both.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "which real server to ask is told by a variable, and a test that does not run says so"
)]

use fascicle::base::clock::MachineClock;
use fascicle::base::json::Node;
use fascicle::practice::Practice;
use reqwest::header::HeaderMap;
use reqwest::{Client, Method};
use std::sync::{Arc, Once};

pub(crate) const FHIR: &str = "application/fhir+json";

/// A server and how to reach it.
#[derive(Debug, Clone)]
pub(crate) struct Server {
    pub(crate) base: String,
    /// Whether this is the real server, whose choices FHIR leaves open are its own.
    pub(crate) real: bool,
    client: Client,
}

/// What a server answered.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) headers: HeaderMap,
    pub(crate) text: String,
}

impl Server {
    /// A practice server of its own, on a free port.
    pub(crate) async fn practice() -> Self {
        let practice = Practice::open(None, Arc::new(MachineClock)).await;
        Self::serving(practice.expect("a practice server in memory")).await
    }

    pub(crate) async fn serving(practice: Practice) -> Self {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await;
        let listener = listener.expect("a free port");
        let address = listener.local_addr().expect("an address");
        tokio::spawn(practice.serve(listener, std::future::pending()));
        Self::at(format!("http://{address}/fhir"), false)
    }

    /// The real server, where one is named.
    pub(crate) fn real() -> Option<Self> {
        if let Ok(base) = std::env::var("FASCICLE_RECORD_SERVER") {
            return Some(Self::at(base.trim_end_matches('/').to_owned(), true));
        }
        let required = std::env::var("FASCICLE_REQUIRE_REAL").is_ok_and(|value| value == "1");
        assert!(!required, "FASCICLE_RECORD_SERVER is unset and required");
        println!("not run: FASCICLE_RECORD_SERVER is unset");
        None
    }

    fn at(base: String, real: bool) -> Self {
        static PROVIDER: Once = Once::new();
        PROVIDER.call_once(|| {
            let provider = rustls::crypto::ring::default_provider();
            provider.install_default().expect("the first provider");
        });
        let client = Client::builder().no_proxy().build().expect("a client");
        Self { base, real, client }
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        self.ask(Method::GET, path, &[], String::new()).await
    }

    pub(crate) async fn post(&self, path: &str, body: &str) -> Answer {
        let headers = [("content-type", FHIR)];
        self.ask(Method::POST, path, &headers, body.to_owned())
            .await
    }

    pub(crate) async fn post_unless(&self, path: &str, condition: &str, body: &str) -> Answer {
        let headers = [("content-type", FHIR), ("if-none-exist", condition)];
        self.ask(Method::POST, path, &headers, body.to_owned())
            .await
    }

    pub(crate) async fn put(&self, path: &str, if_match: Option<&str>, body: &str) -> Answer {
        let mut headers = vec![("content-type", FHIR)];
        headers.extend(if_match.map(|tag| ("if-match", tag)));
        self.ask(Method::PUT, path, &headers, body.to_owned()).await
    }

    pub(crate) async fn ask(
        &self,
        method: Method,
        path: &str,
        headers: &[(&str, &str)],
        body: String,
    ) -> Answer {
        let path = path.strip_prefix(&self.base).unwrap_or(path);
        let address = format!("{}/{}", self.base, path.trim_start_matches('/'));
        let mut request = self.client.request(method, address).body(body);
        if !headers.iter().any(|(name, _)| *name == "accept") {
            request = request.header("accept", FHIR);
        }
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let response = request.send().await.expect("an answer");
        Answer {
            status: response.status().as_u16(),
            headers: response.headers().clone(),
            text: response.text().await.expect("a body"),
        }
    }

    /// Creates a resource and gives its `Type/id`.
    pub(crate) async fn made(&self, body: &str) -> String {
        let kind = Node::parse(body).expect("JSON");
        let kind = kind.text_of("resourceType").expect("a type").to_owned();
        let answer = self.post(&kind, body).await;
        assert_eq!(answer.status, 201, "{}", answer.text);
        answer.made()
    }

    /// How many resources a search finds.
    pub(crate) async fn count(&self, query: &str) -> usize {
        self.found(query).await.len()
    }

    /// The `Type/id` of what a search finds, sorted.
    pub(crate) async fn found(&self, query: &str) -> Vec<String> {
        let answer = self.get(query).await;
        assert_eq!(answer.status, 200, "{query}: {}", answer.text);
        answer.matches()
    }
}

impl Answer {
    pub(crate) fn node(&self) -> Node {
        Node::parse(&self.text).unwrap_or_else(|cause| panic!("{cause}: {}", self.text))
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        let value = self.headers.get(name).and_then(|value| value.to_str().ok());
        value.unwrap_or_else(|| panic!("no header {name}"))
    }

    /// `Type/id` out of the Location header.
    pub(crate) fn made(&self) -> String {
        local(self.header("location"))
    }

    /// The `Type/id` of every entry of a searchset, sorted.
    pub(crate) fn matches(&self) -> Vec<String> {
        let bundle = self.node();
        assert_eq!(bundle.text_of("type"), Some("searchset"), "{}", self.text);
        let entries = bundle.items_of("entry").iter();
        let mut matches: Vec<String> = entries
            .map(|entry| local(entry.text_of("fullUrl").expect("a fullUrl")))
            .collect();
        matches.sort();
        matches
    }

    /// Asserts a refusal that says why.
    pub(crate) fn refused(&self, statuses: &[u16]) {
        assert!(
            statuses.contains(&self.status),
            "{}: {}",
            self.status,
            self.text
        );
        let node = self.node();
        assert_eq!(node.text_of("resourceType"), Some("OperationOutcome"));
        assert!(!node.items_of("issue").is_empty(), "{}", self.text);
    }

    /// The entries' `response` of a Bundle.
    pub(crate) fn responses(&self) -> Vec<Node> {
        let bundle = self.node();
        let entries = bundle.items_of("entry").iter();
        entries
            .map(|entry| entry.member("response").expect("a response").clone())
            .collect()
    }
}

/// `Type/id` of an address, whatever stands before and after.
pub(crate) fn local(address: &str) -> String {
    let plain = address.split("/_history/").next().unwrap_or(address);
    let mut steps: Vec<&str> = plain.rsplit('/').take(2).collect();
    steps.reverse();
    steps.join("/")
}

/// Runs each clause against both servers.
macro_rules! clauses {
    ($($clause:ident),+ $(,)?) => {
        mod practice {
            $(#[tokio::test]
            async fn $clause() {
                super::$clause(&crate::server::Server::practice().await).await;
            })+
        }
        mod real {
            $(#[tokio::test]
            async fn $clause() {
                if let Some(server) = crate::server::Server::real() {
                    super::$clause(&server).await;
                }
            })+
        }
    };
}
pub(crate) use clauses;
