#![cfg(test)]
//! The record servers a scenario runs against, and looking at what they hold.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "which real server to ask is told by a variable, and a test that does not run says so"
)]

use crate::http::{self, Request, Response};
use fascicle::base::json::Node;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader};
use std::process::{Child, ChildStdout, Command, Stdio};

/// A record server; a practice server ends with the value.
pub(crate) struct Server {
    /// Host and port.
    pub(crate) host: String,
    /// Whether this is the real one.
    pub(crate) real: bool,
    /// With its output, which stays open because it goes on writing.
    child: Option<(Child, BufReader<ChildStdout>)>,
}

impl Server {
    /// The built binary's practice server, on a free port.
    pub(crate) fn practice() -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_fascicle"))
            .args(["practice", "--port", "0"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the binary starts");
        let mut first = String::new();
        let mut out = BufReader::new(child.stdout.take().expect("its output"));
        out.read_line(&mut first).expect("its address");
        let host = host_of(first.trim().strip_prefix("BASE=").expect("its address"));
        Self {
            host,
            real: false,
            child: Some((child, out)),
        }
    }

    /// The real server, where one is named.
    pub(crate) fn real() -> Option<Self> {
        if let Ok(base) = std::env::var("FASCICLE_RECORD_SERVER") {
            return Some(Self {
                host: host_of(&base),
                real: true,
                child: None,
            });
        }
        let required = std::env::var("FASCICLE_REQUIRE_REAL").is_ok_and(|value| value == "1");
        assert!(!required, "FASCICLE_RECORD_SERVER is unset and required");
        println!("not run: FASCICLE_RECORD_SERVER is unset");
        None
    }

    /// Base address of its FHIR service.
    pub(crate) fn base(&self) -> String {
        format!("http://{}/fhir", self.host)
    }

    pub(crate) fn ask(&self, method: &str, path: &str, body: &str) -> Response {
        // The address of a further page is the base with a query.
        let slash = if path.starts_with('?') { "" } else { "/" };
        let request = Request::new(method, &format!("/fhir{slash}{path}"), body);
        http::ask(&self.host, &request).expect("an answer")
    }

    /// Everything a search finds, page by page.
    pub(crate) fn found(&self, query: &str) -> Vec<Node> {
        let mut found = Vec::new();
        let mut next = Some(query.to_owned());
        while let Some(path) = next {
            let answer = self.ask("GET", &path, "");
            assert_eq!(answer.status, 200, "{path}: {}", answer.body);
            let bundle = Node::parse(&answer.body).expect("JSON");
            let entries = bundle.items_of("entry").iter();
            found.extend(entries.filter_map(|entry| entry.member("resource").cloned()));
            let mut links = bundle.items_of("link").iter();
            let link = links.find(|link| link.text_of("relation") == Some("next"));
            next = link.map(|link| self.path_of(link.text_of("url").expect("an address")));
        }
        found
    }

    /// What stands behind the base in an address of this server.
    fn path_of(&self, address: &str) -> String {
        let path = address.strip_prefix(&self.base());
        let path = path.unwrap_or_else(|| panic!("{address} is on another server"));
        path.trim_start_matches('/').to_owned()
    }

    /// Creates a resource and gives its `Type/id`.
    pub(crate) fn put(&self, kind: &str, body: &str) -> String {
        let answer = self.ask("POST", kind, body);
        assert_eq!(answer.status, 201, "{}", answer.body);
        let location = http::header(&answer.headers, "location").expect("a location");
        let plain = location.split("/_history/").next().unwrap_or(location);
        let id = plain.rsplit('/').next().expect("an id");
        format!("{kind}/{id}")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some((child, _)) = &mut self.child {
            // A child that ended by itself is as good.
            drop(child.kill());
            drop(child.wait());
        }
    }
}

fn host_of(base: &str) -> String {
    let rest = base.strip_prefix("http://").expect("a loopback address");
    let host = rest.trim_end_matches('/').strip_suffix("/fhir");
    host.expect("a base that ends in /fhir").to_owned()
}

/// What a server holds of one person.
#[derive(Debug)]
pub(crate) struct Holding {
    pub(crate) observations: Vec<Node>,
    pub(crate) provenances: Vec<Node>,
    pub(crate) devices: Vec<Node>,
    pub(crate) reports: Vec<Node>,
}

impl Holding {
    /// Looks. A Provenance has no subject in R4, so it is found by what it targets.
    pub(crate) fn of(server: &Server, patient: &str, instruments: &[String]) -> Self {
        let observations = server.found(&format!("Observation?patient={patient}"));
        let mut provenances = BTreeMap::new();
        let targets: Vec<String> = observations.iter().map(reference).collect();
        for some in targets.chunks(20) {
            for found in server.found(&format!("Provenance?target={}", some.join(","))) {
                provenances.insert(reference(&found), found);
            }
        }
        let of_instrument = |value: &String| {
            let system = "https://invented-clinic.example/instruments";
            server.found(&format!("Device?identifier={system}%7C{value}"))
        };
        Self {
            observations,
            provenances: provenances.into_values().collect(),
            devices: instruments.iter().flat_map(of_instrument).collect(),
            reports: server.found(&format!("DiagnosticReport?patient={patient}")),
        }
    }

    /// How many of each: `Observation`, `Provenance`, `Device`, `DiagnosticReport`.
    pub(crate) fn counts(&self) -> [usize; 4] {
        [
            self.observations.len(),
            self.provenances.len(),
            self.devices.len(),
            self.reports.len(),
        ]
    }

    /// What does not resolve: references without a target, and what is left of a `urn:uuid:`
    /// outside identifiers.
    pub(crate) fn loose_ends(&self, server: &Server) -> Vec<String> {
        let mut references = BTreeSet::new();
        let all = self.observations.iter().chain(&self.provenances);
        for resource in all.chain(&self.devices) {
            references_of(resource, &mut references);
        }
        let loose = references.into_iter().filter(|reference| {
            reference.starts_with("urn:") || server.ask("GET", reference, "").status != 200
        });
        loose.collect()
    }

    /// The Observation with this `urn:uuid:` as its identifier.
    pub(crate) fn observation(&self, urn: &str) -> &Node {
        let with = |resource: &&Node| {
            let identifiers = resource.items_of("identifier").iter();
            identifiers.clone().any(|i| i.text_of("value") == Some(urn))
        };
        let found = self.observations.iter().find(with);
        found.unwrap_or_else(|| panic!("no Observation {urn}"))
    }
}

/// `Type/id` of a resource.
pub(crate) fn reference(resource: &Node) -> String {
    let (kind, id) = (resource.text_of("resourceType"), resource.text_of("id"));
    format!("{}/{}", kind.expect("a type"), id.expect("an id"))
}

/// `meta.versionId` of a resource.
pub(crate) fn version(resource: &Node) -> &str {
    let version = resource.at(&["meta", "versionId"]).and_then(Node::text);
    version.expect("a version")
}

fn references_of(node: &Node, found: &mut BTreeSet<String>) {
    if let Some(reference) = node.text_of("reference") {
        found.insert(reference.to_owned());
    }
    for (_, member) in node.members() {
        references_of(member, found);
    }
    for item in node.items() {
        references_of(item, found);
    }
}

/// Rounds of a scenario: a few always, all of them where asked for.
pub(crate) fn rounds(few: usize, all: usize) -> usize {
    if std::env::var("FASCICLE_FULL").is_ok_and(|value| value == "1") {
        all
    } else {
        few
    }
}

/// Runs each scenario against both servers.
macro_rules! scenarios {
    ($($scenario:ident),+ $(,)?) => {
        mod practice {
            $(#[test]
            fn $scenario() {
                super::$scenario(&crate::server::Server::practice());
            })+
        }
        mod real {
            $(#[test]
            fn $scenario() {
                if let Some(server) = crate::server::Server::real() {
                    super::$scenario(&server);
                }
            })+
        }
    };
}
pub(crate) use scenarios;
