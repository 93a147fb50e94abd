#![cfg(test)]
//! The service beside senders that mean it ill: many connections, slow bodies, bodies that are hard to read, answers
//! that nobody reads. Health answers, deliveries go on, and it ends when it is told to.
//!
//! How long answers took is printed (`--nocapture`), never judged; the end is, by the 20 seconds that a site may
//! count on.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "times are printed, and the end is held to its 20 seconds"
)]

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::http;
use crate::server::{Holding, Server};
use crate::service::{OLD, Service, tokens};
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// What a stop may take, whatever senders do.
const STOPS_WITHIN: Duration = Duration::from_secs(20);
/// What the service may hold, whatever senders do.
const MOST_MIB: u64 = 256;
/// The largest body that is read.
const LARGEST: usize = 8 * 1024 * 1024;

fn started(server: &Server, limits: &str) -> (Site, Service) {
    let site = Site::with_target(&server.base(), "purpose = 'test'");
    site.add_settings(&format!("[serve.limits]\n{limits}"));
    tokens(&site, OLD);
    let service = Service::start(&site);
    (site, service)
}

/// Asks for health again and again, over a connection of its own each time; prints how long it took.
fn health_answers(service: &Service, times: usize, during: &str) {
    let mut took = Vec::new();
    for _ in 0..times {
        for path in ["/v1/health/live", "/v1/health/ready"] {
            let began = Instant::now();
            let answer = service.ask("GET", path, "", "");
            took.push(began.elapsed());
            assert_eq!(
                answer.status, 200,
                "{path} during {during}: {}",
                answer.body
            );
        }
    }
    took.sort();
    let at = |hundredths: usize| took[(took.len() - 1) * hundredths / 100].as_millis();
    let (median, slow, slowest) = (at(50), at(99), at(100));
    println!("{during}: health p50 {median} ms, p99 {slow} ms, slowest {slowest} ms");
}

/// A session arrives at the record server.
fn a_delivery_goes_on(service: &Service, server: &Server, during: &str) {
    let began = Instant::now();
    let person = Person::known(server);
    assert_eq!(service.submit(&person.session(), OLD), 202, "{during}");
    service.drained(OLD);
    let arrived = Holding::of(server, &person.reference, &[]).observations;
    assert_eq!(arrived.len(), OBSERVATIONS, "{during}");
    println!(
        "{during}: accepted and delivered in {} ms",
        began.elapsed().as_millis()
    );
}

fn it_ends(service: Service, during: &str) {
    let began = Instant::now();
    service.terminate();
    assert_eq!(service.ended(), Some(0), "{during}");
    let took = began.elapsed();
    println!("{during}: ended {} ms after SIGTERM", took.as_millis());
    assert!(took < STOPS_WITHIN, "{during}: {took:?}");
}

/// The head of a submission whose body has so many bytes.
fn head(service: &Service, kind: &str, bytes: usize) -> String {
    format!(
        "POST /v1/sessions HTTP/1.1\r\nhost: {}\r\nauthorization: Bearer {OLD}\r\ncontent-type: {kind}\r\n\
         content-length: {bytes}\r\n\r\n",
        service.host
    )
}

fn sent(service: &Service, bytes: &[u8]) -> TcpStream {
    let mut stream = http::connect(&service.host).expect("a connection");
    stream.write_all(bytes).expect("written");
    stream
}

fn closed(service: &Service, why: &str) -> u64 {
    let told = service.ask("GET", "/v1/metrics", OLD, "").body;
    let name = format!("fascicle_connections_closed_total{{why=\"{why}\"}} ");
    let count = told.lines().find_map(|line| line.strip_prefix(&name));
    let count = count.unwrap_or_else(|| panic!("{told}"));
    count.parse().expect("a count")
}

#[test]
fn five_hundred_idle_connections_leave_health_and_deliveries_alone() {
    let during = "500 idle connections";
    let server = Server::practice();
    let (_site, service) = started(&server, "");

    let idle: Vec<TcpStream> = (0..500)
        .map(|_| http::connect(&service.host).expect("a connection"))
        .collect();

    health_answers(&service, 50, during);
    a_delivery_goes_on(&service, &server, during);
    // One address has 256 places; whoever waited longest gave theirs to those who came later.
    assert!(closed(&service, "made-room") >= 244);
    it_ends(service, during);
    drop(idle);
}

#[test]
fn a_hundred_slow_bodies_and_heads_leave_health_and_deliveries_alone_and_are_let_go() {
    let during = "200 slow senders";
    let server = Server::practice();
    let (_site, service) = started(&server, "idle_seconds = 3");
    let head = head(&service, "application/json", LARGEST);

    let mut slow: Vec<TcpStream> = (0..100)
        .map(|_| sent(&service, format!("{head}{{").as_bytes()))
        .collect();
    slow.extend((0..100).map(|_| sent(&service, &head.as_bytes()[..40])));

    health_answers(&service, 30, during);
    a_delivery_goes_on(&service, &server, during);
    // A byte now and then is a sign of life, and too slow all the same.
    let mut told = String::new();
    let mut first = slow.remove(0);
    first
        .set_read_timeout(Some(Duration::from_millis(200)))
        .expect("set");
    for _ in 0..600 {
        let _hung_up = first.write_all(b" ");
        let mut bytes = [0; 4096];
        if let Ok(read) = first.read(&mut bytes) {
            told = String::from_utf8_lossy(&bytes[..read]).into_owned();
            break;
        }
    }
    assert!(told.starts_with("HTTP/1.1 408 "), "{told}");
    assert!(told.contains("problem/too-slow"), "{told}");
    it_ends(service, during);
}

/// Stopped while they still send.
#[test]
fn slow_senders_do_not_keep_the_service_from_ending() {
    let during = "slow senders at the end";
    let server = Server::practice();
    let (_site, service) = started(
        &server,
        "idle_seconds = 60\nbody_seconds = 600\nrequest_seconds = 600\nstop_seconds = 5",
    );
    let head = head(&service, "application/json", LARGEST);
    let slow: Vec<TcpStream> = (0..100)
        .map(|_| sent(&service, format!("{head}{{").as_bytes()))
        .collect();

    health_answers(&service, 5, during);
    it_ends(service, during);
    drop(slow);
}

/// As large as a body may be: whatever has to be done to refuse it.
fn hostile() -> String {
    // Fewer values than the reader takes, so that each has to be looked at.
    let mut members: Vec<String> = (0..280).map(|n| format!("\"m{n}\":1")).collect();
    members.push(format!("\"note\":\"{}\"", "x".repeat(200)));
    let finding = format!("{{{}}}", members.join(","));
    let count = (LARGEST - 100) / (finding.len() + 1);
    let findings = vec![finding; count].join(",");
    format!("{{\"fascicle\":\"session/1\",\"findings\":[{findings}]}}")
}

/// Objects in objects, as many as are read: the most memory for a body.
fn deep() -> String {
    let item = format!("{}1{}", "{\"a\":".repeat(60), "}".repeat(60));
    let items = vec![item; 1_000_000 / 61 - 1].join(",");
    format!("[{items}]")
}

/// The columns of a session and of a finding, and rows until the sheet is as large as a body may be.
fn sheet(row: &str) -> String {
    let columns =
        "session.id,session.version,session.source,patient.identifier.value,measure,side,method";
    let count = (LARGEST - columns.len() - 1) / (row.len() + 1);
    format!("{columns}\n{}", format!("{row}\n").repeat(count))
}

/// Several bodies at once: health and a delivery go on, memory stays bounded, and it ends.
fn hostile_bodies(kind: &str, bodies: Vec<String>, statuses: &[u16], during: &str) {
    let server = Server::practice();
    let (_site, service) = started(&server, "");
    let sending: Vec<_> = bodies
        .into_iter()
        .map(|body| {
            let (host, head) = (service.host.clone(), head(&service, kind, body.len()));
            std::thread::spawn(move || {
                let mut stream = http::connect(&host)?;
                stream.write_all((head + &body).as_bytes())?;
                let began = Instant::now();
                let answer = http::answer(&mut stream)?;
                Ok::<_, std::io::Error>((answer.status, began.elapsed()))
            })
        })
        .collect();

    health_answers(&service, 50, during);
    a_delivery_goes_on(&service, &server, during);
    let peak = service.peak_mib();
    println!("{during}: {peak} MiB at the peak");
    assert!(peak <= MOST_MIB, "{during}: {peak} MiB");
    it_ends(service, during);
    for sent in sending {
        match sent.join().expect("no fault of the test") {
            Ok((status, took)) => {
                println!("{during}: {status} after {} ms", took.as_millis());
                assert!(statuses.contains(&status), "{status}");
            }
            Err(cause) => println!("{during}: cut off ({})", cause.kind()),
        }
    }
}

#[test]
fn hostile_bodies_of_8_mib_leave_health_and_deliveries_alone_and_the_service_ends() {
    let mut bodies = vec![hostile(); 3];
    bodies.extend(vec![deep(); 3]);

    hostile_bodies(
        "application/json",
        bodies,
        &[422, 503],
        "6 hostile bodies of JSON",
    );
}

#[test]
fn hostile_sheets_of_8_mib_leave_health_and_deliveries_alone_and_the_service_ends() {
    let session = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10,1,https://clinic.example/s,TEST-0001";
    let bodies = vec![
        // No line ends: this took 7.7 GB once.
        ",".repeat(LARGEST),
        sheet("\"a\"b"),
        sheet(",,,,,,"),
        sheet(&format!("{session},clonus.ankle,right,handling")),
        sheet(&format!("{session},{},right,handling", "x".repeat(2000))),
        format!("{}\"", sheet("a")),
    ];

    hostile_bodies("text/csv", bodies, &[422, 503], "6 hostile sheets");
}

#[test]
fn an_answer_that_nobody_reads_is_let_go() {
    let during = "an answer that nobody reads";
    let server = Server::practice();
    let (_site, service) = started(&server, "idle_seconds = 2");
    let host = &service.host;
    let ask = format!("GET /v1/openapi.json HTTP/1.1\r\nhost: {host}\r\n\r\n");
    let mut stream = http::connect(host).expect("a connection");
    // Enough to fill every buffer on the way.
    let asked = stream.write_all(ask.repeat(1000).as_bytes());
    println!("{during}: written {asked:?}");

    for _ in 0..300 {
        if closed(&service, "unread") == 1 {
            break;
        }
        std::thread::park_timeout(Duration::from_millis(100));
    }

    assert_eq!(closed(&service, "unread"), 1);
    it_ends(service, during);
}

#[test]
fn a_connection_has_so_many_requests_and_the_last_answer_says_that_it_closes() {
    let server = Server::practice();
    let (_site, service) = started(&server, "connection_requests = 2");
    let host = &service.host;
    let live = format!("GET /v1/health/live HTTP/1.1\r\nhost: {host}\r\n\r\n");
    let mut stream = sent(&service, live.repeat(3).as_bytes());

    let mut told = String::new();
    stream.read_to_string(&mut told).expect("it closes");

    assert_eq!(told.matches("HTTP/1.1 200").count(), 2, "{told}");
    assert_eq!(told.matches("connection: close").count(), 1, "{told}");
}

#[test]
fn limits_that_cannot_be_used_are_told() {
    let site = Site::with_target("http://127.0.0.1:9/fhir", "");
    tokens(&site, OLD);
    site.add_settings("[serve.limits]\nwork = 0");

    let told = site.run("serve", &[]).ended(1).text;

    assert!(told.contains("work has to be 1 to 64"), "{told}");
}
