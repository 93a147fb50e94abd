#![cfg(test)]
//! `fascicle serve`: submitted by HTTP, delivered in the background, stopped and started again.

use crate::binary::{Run, Site};
use crate::document::{Document, OBSERVATIONS, Person};
use crate::http::{self, Request, Response};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use fascicle::base::json::Node;
use std::fs::OpenOptions;
use std::io::{BufRead as _, BufReader};
use std::os::unix::fs::PermissionsExt as _;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

pub(crate) const OLD: &str = "0123456789abcdef0123456789abcdef";
const NEW: &str = "fedcba9876543210fedcba9876543210";

scenarios!(
    submitted_by_http_the_queue_drains_and_the_token_is_changed_on_the_way,
    stopped_in_the_middle_of_an_attempt_it_finishes_it_and_nothing_is_lost,
    what_was_accepted_before_a_stop_is_delivered_after_the_start,
);

/// A running service; it is ended with the value.
pub(crate) struct Service {
    child: Child,
    // Stays open, because it goes on writing.
    _out: BufReader<ChildStdout>,
    pub(crate) host: String,
}

impl Service {
    pub(crate) fn start(site: &Site) -> Self {
        Self::start_with(site, &[])
    }

    /// With more on its command line; it logs to the file `log` of the site.
    pub(crate) fn start_with(site: &Site, arguments: &[&str]) -> Self {
        let mut command = site.command("serve", false);
        command.args(arguments);
        let mut log = OpenOptions::new();
        let log = log.create(true).append(true).open(site.path("log"));
        let log = log.expect("a file");
        let child = command.stdout(Stdio::piped()).stderr(log).spawn();
        let mut child = child.expect("the binary starts");
        let mut out = BufReader::new(child.stdout.take().expect("its output"));
        let mut first = String::new();
        out.read_line(&mut first).expect("its address");
        let host = first.trim().strip_prefix("BASE=http://");
        let host = host.and_then(|host| host.strip_suffix("/v1"));
        Self {
            host: host.expect("an address").to_owned(),
            child,
            _out: out,
        }
    }

    pub(crate) fn ask(&self, method: &str, path: &str, token: &str, body: &str) -> Response {
        let mut request = Request::new(method, path, body);
        request.headers = vec![
            ("authorization".to_owned(), format!("Bearer {token}")),
            ("content-type".to_owned(), "application/json".to_owned()),
        ];
        http::ask(&self.host, &request).expect("an answer")
    }

    pub(crate) fn submit(&self, document: &Document, token: &str) -> u16 {
        let text = document.json.to_string();
        self.ask("POST", "/v1/sessions", token, &text).status
    }

    fn waiting(&self, token: &str) -> usize {
        let answer = self.ask("GET", "/v1/queue", token, "");
        assert_eq!(answer.status, 200, "{}", answer.body);
        let items = Node::parse(&answer.body).expect("JSON");
        items.items_of("items").len()
    }

    /// Waits until nothing waits.
    pub(crate) fn drained(&self, token: &str) {
        for _ in 0..600 {
            if self.waiting(token) == 0 {
                return;
            }
            std::thread::park_timeout(Duration::from_millis(100));
        }
        panic!("{}", self.ask("GET", "/v1/queue", token, "").body);
    }

    /// The most memory it has held so far, in MiB.
    #[expect(clippy::disallowed_methods, reason = "the system tells it by a file")]
    pub(crate) fn peak_mib(&self) -> u64 {
        let told = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()));
        let told = told.expect("Linux tells what a process holds");
        let peak = told.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kib = peak.and_then(|peak| peak.trim().strip_suffix(" kB"));
        let kib: u64 = kib.expect("a peak").parse().expect("a number");
        kib / 1024
    }

    pub(crate) fn terminate(&self) {
        self.signal("-TERM");
    }

    pub(crate) fn signal(&self, signal: &str) {
        let id = self.child.id().to_string();
        let sent = Command::new("kill").args([signal, &id]).status();
        assert!(sent.expect("kill runs").success());
    }

    /// Waits for its end.
    pub(crate) fn ended(mut self) -> Option<i32> {
        self.child.wait().expect("it ends").code()
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // A child that ended by itself is as good.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

pub(crate) fn tokens(site: &Site, text: &str) {
    let path = site.path("tokens");
    std::fs::write(&path, text).expect("written");
    let mode = std::fs::Permissions::from_mode(0o600);
    std::fs::set_permissions(&path, mode).expect("its mode");
}

fn arrived(server: &Server, person: &Person) -> usize {
    Holding::of(server, &person.reference, &[])
        .observations
        .len()
}

fn submitted_by_http_the_queue_drains_and_the_token_is_changed_on_the_way(server: &Server) {
    let site = Site::with_target(&server.base(), "purpose = 'test'");
    tokens(&site, OLD);
    let service = Service::start(&site);
    let people = [(); 3].map(|()| Person::known(server));
    let documents: Vec<Document> = people.iter().map(Person::session).collect();

    for document in &documents {
        assert_eq!(service.submit(document, OLD), 202);
        assert_eq!(service.submit(document, OLD), 200, "the same once more");
    }
    service.drained(OLD);

    for person in &people {
        assert_eq!(arrived(server, person), OBSERVATIONS);
    }
    tokens(&site, &format!("{NEW}\n{OLD}\n"));
    assert_eq!([service.waiting(OLD), service.waiting(NEW)], [0, 0]);
    tokens(&site, NEW);
    assert_eq!(service.ask("GET", "/v1/queue", OLD, "").status, 401);
    let path = format!("/v1/sessions/{}", documents[0].session());
    let told = service.ask("GET", &path, NEW, "");
    assert!(
        told.body.contains("\"state\":\"delivered\""),
        "{}",
        told.body
    );
    let mut other = documents[0].clone();
    other.json["session"]["body_position"] = "sitting".into();
    assert_eq!(service.submit(&other, NEW), 409);
    let verified = service.ask("GET", "/v1/trail/verify", NEW, "");
    assert!(
        verified.body.contains("\"holds\":true"),
        "{}",
        verified.body
    );
    service.terminate();
    assert_eq!(service.ended(), Some(0));
}

fn stopped_in_the_middle_of_an_attempt_it_finishes_it_and_nothing_is_lost(server: &Server) {
    let proxy = Proxy::new(&server.host, |request, _| {
        if request.transaction() {
            Act::HoldThenForward
        } else {
            Act::Pass
        }
    });
    let site = Site::with_target(&proxy.base(), "");
    tokens(&site, OLD);
    let service = Service::start(&site);
    let person = Person::known(server);
    assert_eq!(service.submit(&person.session(), OLD), 202);
    assert!(proxy.holds(), "an attempt is under way");

    service.terminate();
    proxy.let_go();

    assert_eq!(service.ended(), Some(0));
    let items = site.queue();
    assert_eq!(items[0].text_of("state"), Some("delivered"));
    assert_eq!(arrived(server, &person), OBSERVATIONS);
    assert_eq!(proxy.transactions().len(), 1);
    site.run("trail", &["--verify"]).ended(0);
}

fn what_was_accepted_before_a_stop_is_delivered_after_the_start(server: &Server) {
    let site = Site::with_target(&server.base(), "");
    tokens(&site, OLD);
    let person = Person::known(server);
    let said = r#"{"by":"A. Ward","why":"night"}"#;
    let service = Service::start(&site);
    let paused = service.ask("POST", "/v1/targets/record/pause", OLD, said);
    assert_eq!(paused.status, 200, "{}", paused.body);
    assert_eq!(service.submit(&person.session(), OLD), 202);
    service.terminate();
    assert_eq!(service.ended(), Some(0));
    assert_eq!(arrived(server, &person), 0, "a paused target got something");

    let service = Service::start(&site);
    assert_eq!(service.waiting(OLD), 1);
    let resumed = service.ask("POST", "/v1/targets/record/resume", OLD, said);
    assert_eq!(resumed.status, 200, "{}", resumed.body);
    service.drained(OLD);

    assert_eq!(arrived(server, &person), OBSERVATIONS);
}

#[test]
fn a_sleeping_record_server_leaves_the_service_ready_and_what_it_takes_is_kept() {
    let site = Site::with_target("http://127.0.0.1:9/fhir", "");
    tokens(&site, OLD);
    let service = Service::start(&site);

    assert_eq!(service.submit(&Person::unknown().session(), OLD), 202);

    assert_eq!(service.ask("GET", "/v1/health/ready", "", "").status, 200);
    assert_eq!(service.waiting(OLD), 1);
    let told = service.ask("GET", "/v1/metrics", OLD, "").body;
    assert!(told.contains("fascicle_queue_items"), "{told}");
}

/// A client that never ends the head of its request is let go after 10 seconds.
#[test]
fn a_head_that_does_not_end_closes_the_connection() {
    use std::io::{Read as _, Write as _};
    let site = Site::with_target("http://127.0.0.1:9/fhir", "");
    tokens(&site, OLD);
    let service = Service::start(&site);
    let mut stream = http::connect(&service.host).expect("a connection");
    stream
        .write_all(b"GET /v1/health/live HTTP/1.1\r\nhost: x\r\n")
        .expect("written");

    let mut answer = Vec::new();
    let read = stream.read_to_end(&mut answer);

    assert!(read.is_ok(), "{read:?}");
    assert!(!String::from_utf8_lossy(&answer).contains(" 200 "));
}

#[test]
fn settings_that_cannot_be_used_are_told_before_anything_listens() {
    let site = Site::with_target("http://127.0.0.1:9/fhir", "");
    let serve = |more: &[&str]| -> Run {
        Run::of(site.command("serve", false).args(more).output()).ended(1)
    };

    assert!(serve(&[]).text.contains("the token file cannot be read"));
    tokens(&site, "short");
    assert!(serve(&[]).text.contains("at least 32 characters"));
    tokens(&site, OLD);
    let open = std::fs::Permissions::from_mode(0o644);
    std::fs::set_permissions(site.path("tokens"), open).expect("its mode");
    assert!(serve(&[]).text.contains("chmod 600"));
    tokens(&site, OLD);
    let network = serve(&["--address", "0.0.0.0:0"]).text;
    assert!(network.contains("put TLS in front"), "{network}");
}

/// A bar is for people at a terminal: nothing of it reaches a file or a pipe.
#[test]
fn many_documents_show_no_bar_where_nobody_looks() {
    let site = Site::with_target("http://127.0.0.1:9/fhir", "paused = true");
    let files: Vec<String> = (0..12)
        .map(|_| site.document(&Person::unknown().session()))
        .collect();
    let mut command = site.command("send", false);

    let output = command.args(&files).output().expect("the binary runs");

    assert_eq!(output.status.code(), Some(4));
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
}
