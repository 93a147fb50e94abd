//! The record server that both sides deliver to, and invented people and sessions of theirs.

use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;
use uuid::Uuid;

/// Observations of one session.
pub(crate) const OBSERVATIONS: usize = 44;

/// A record server; a practice server ends with the value.
pub(crate) struct Server {
    pub(crate) base: String,
    pub(crate) client: reqwest::Client,
    /// With its output, which stays open because it goes on writing.
    practice: Option<(Child, BufReader<ChildStdout>)>,
}

/// An invented person whom the server knows.
#[derive(Clone)]
pub(crate) struct Person {
    value: String,
    /// `Patient/id`.
    pub(crate) reference: String,
}

impl Server {
    pub(crate) fn of_the_environment() -> Self {
        let client = reqwest::Client::builder()
            .no_proxy()
            // A server closes what idles, and a request that crosses with that is lost.
            .pool_idle_timeout(Duration::from_secs(3))
            .build();
        let client = client.expect("a client");
        if let Ok(base) = std::env::var("FASCICLE_RECORD_SERVER") {
            return Self {
                base,
                client,
                practice: None,
            };
        }
        let mut child = Command::new(env!("CARGO_BIN_EXE_fascicle"))
            .args(["practice", "--port", "0"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the binary starts");
        let mut out = BufReader::new(child.stdout.take().expect("its output"));
        let mut first = String::new();
        out.read_line(&mut first).expect("its address");
        let base = first.trim().strip_prefix("BASE=").expect("its address");
        Self {
            base: base.to_owned(),
            client,
            practice: Some((child, out)),
        }
    }

    pub(crate) fn words(&self) -> &'static str {
        if self.practice.is_some() {
            "the practice server of Fascicle in a process of its own, no real one was named"
        } else {
            "the real one at FASCICLE_RECORD_SERVER"
        }
    }

    pub(crate) async fn person(&self) -> Person {
        let value = format!("TEST-{}", Uuid::new_v4());
        let text = include_str!("../../fixtures/people/test-0001.json");
        let mut patient: Value = serde_json::from_str(text).expect("JSON");
        patient["identifier"][0]["value"] = json!(value);
        let answer = self.post("Patient", patient.to_string()).await;
        let id = answer["id"].as_str().expect("an id");
        Person {
            reference: format!("Patient/{id}"),
            value,
        }
    }

    /// Posts to the base, or to a path below it, and gives the body of what was stored.
    pub(crate) async fn post(&self, path: &str, body: String) -> Value {
        let request = self.client.post(format!("{}/{path}", self.base));
        let request = request
            .header("content-type", "application/fhir+json")
            .header("prefer", "return=representation");
        let answer = request.body(body).send().await.expect("an answer");
        let status = answer.status();
        let text = answer.text().await.expect("a body");
        assert!(status.is_success(), "{status}: {text}");
        serde_json::from_str(&text).expect("JSON")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some((child, _)) = &mut self.practice {
            // A child that ended by itself is as good.
            drop(child.kill());
            drop(child.wait());
        }
    }
}

impl Person {
    /// Somebody no server knows.
    pub(crate) fn unknown() -> Self {
        Self {
            value: format!("TEST-{}", Uuid::new_v4()),
            reference: String::new(),
        }
    }

    /// The document of a new session, measured with an instrument of its own.
    pub(crate) fn session(&self) -> String {
        self.session_with(&format!("GON-{}", Uuid::new_v4()))
    }

    /// The document of a new session, measured with this instrument.
    pub(crate) fn session_with(&self, instrument: &str) -> String {
        let text = include_str!("../../fixtures/sessions/first.json");
        let mut document: Value = serde_json::from_str(text).expect("JSON");
        document["session"]["id"] = json!(Uuid::new_v4());
        document["patient"]["identifier"]["value"] = json!(self.value);
        document["instruments"][0]["identifier"]["value"] = json!(instrument);
        document.to_string()
    }
}
