#![cfg(test)]
//! Everything that can go wrong between the binary and a record server, each alone and in random order.
//! Whatever happens: each session is there once in effect, in order, and its trail is whole.
#![expect(
    clippy::disallowed_methods,
    reason = "a date for Retry-After is a date from now"
)]

use crate::binary::Site;
use crate::document::{Document, OBSERVATIONS, Person};
use crate::figures::Figures;
use crate::http::{Request, Response};
use crate::proxy::{Act, Cut, Proxy};
use crate::server::{Holding, Server, rounds, scenarios};
use crate::tls::Tls;
use chrono::{TimeDelta, Utc};
use std::collections::VecDeque;
use std::net::TcpListener;
use std::sync::{Arc, Mutex};

scenarios!(
    each_fault_alone_leaves_a_session_there_once_and_in_order,
    random_sequences_of_faults_leave_every_session_there_once_and_in_order,
    a_certificate_that_ran_out_and_a_name_that_is_not_known_store_nothing,
);

/// One thing that goes wrong with one request.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    ResetBeforeBody,
    ResetInBody,
    ResetAfterBody,
    LostAnswer,
    Late {
        stored: bool,
    },
    /// A status without the request having reached the server.
    Says(u16),
    /// A status with an `OperationOutcome`, likewise.
    Explains(u16),
    /// A status in the place of the answer to what was stored.
    SaysAfter(u16),
    RetryAfterSeconds,
    RetryAfterDate,
    Truncated,
    WrongMediaType,
    WrongResource,
    NoBody,
    /// A transaction that was stored and answered as a batch.
    AsBatch,
    /// A transaction that was answered as a batch whose first entry was refused.
    AsBatchRefusing,
}

use Fault::{
    AsBatch, AsBatchRefusing, Explains, Late, LostAnswer, NoBody, ResetAfterBody, ResetBeforeBody,
    ResetInBody, RetryAfterDate, RetryAfterSeconds, Says, SaysAfter, Truncated, WrongMediaType,
    WrongResource,
};

const FAULTS: [Fault; 32] = [
    ResetBeforeBody,
    ResetInBody,
    ResetAfterBody,
    LostAnswer,
    Late { stored: true },
    Late { stored: false },
    Says(401),
    Says(403),
    Says(404),
    Explains(404),
    Says(409),
    Explains(409),
    Says(412),
    Explains(412),
    Says(413),
    Explains(422),
    RetryAfterSeconds,
    RetryAfterDate,
    Says(500),
    Explains(500),
    SaysAfter(500),
    Says(502),
    SaysAfter(502),
    Says(503),
    SaysAfter(503),
    SaysAfter(504),
    Truncated,
    WrongMediaType,
    WrongResource,
    NoBody,
    AsBatch,
    AsBatchRefusing,
];

impl Fault {
    fn cut(self) -> Option<Cut> {
        match self {
            ResetBeforeBody => Some(Cut::BeforeBody),
            ResetInBody => Some(Cut::InBody),
            ResetAfterBody
            | LostAnswer
            | Late { .. }
            | Says(_)
            | Explains(_)
            | SaysAfter(_)
            | RetryAfterSeconds
            | RetryAfterDate
            | Truncated
            | WrongMediaType
            | WrongResource
            | NoBody
            | AsBatch
            | AsBatchRefusing => None,
        }
    }

    fn act(self) -> Act {
        const OUTCOME: &str = r#"{"resourceType":"OperationOutcome","issue":[{"severity":"error",
            "code":"processing","diagnostics":"so said the test"}]}"#;
        const REFUSING: &str =
            r#"{"resourceType":"Bundle","type":"batch-response","entry":[ENTRIES]}"#;
        let plain = |status, headers: &[(&str, &str)]| Response::new(status, headers, "");
        match self {
            ResetBeforeBody | ResetInBody => Act::Pass,
            ResetAfterBody => Act::Swallow,
            LostAnswer => Act::LoseAnswer,
            Late { stored } => Act::Silence { forwarded: stored },
            Says(status) => Act::Answer(plain(status, &[])),
            Explains(status) => Act::Answer(Response::new(status, &[], OUTCOME)),
            SaysAfter(status) => Act::AnswerOtherwise(plain(status, &[])),
            RetryAfterSeconds => Act::Answer(plain(429, &[("retry-after", "1")])),
            RetryAfterDate => {
                let later = Utc::now() + TimeDelta::seconds(2);
                let later = later.format("%a, %d %b %Y %H:%M:%S GMT").to_string();
                Act::Answer(plain(429, &[("retry-after", &later)]))
            }
            Truncated => Act::Truncate,
            WrongMediaType => Act::AnswerOtherwise(Response {
                status: 200,
                headers: vec![("content-type".to_owned(), "text/html".to_owned())],
                body: REFUSING.replace("ENTRIES", ""),
            }),
            WrongResource => {
                let body = r#"{"resourceType":"Patient","id":"1"}"#;
                Act::AnswerOtherwise(Response::new(200, &[], body))
            }
            NoBody => Act::AnswerOtherwise(plain(200, &[])),
            AsBatch => Act::Rewrite("transaction-response", "batch-response"),
            AsBatchRefusing => {
                let one = r#"{"response":{"status":"201 Created"}}"#;
                let refused = r#"{"response":{"status":"422 Unprocessable Entity"}}"#;
                let entries = [&[refused][..], &[one; OBSERVATIONS]].concat().join(",");
                let body = REFUSING.replace("ENTRIES", &entries);
                Act::Answer(Response::new(200, &[], &body))
            }
        }
    }
}

/// A proxy that takes a fault for each request it is to spoil, until none is left.
fn spoiling(
    listener: &TcpListener,
    server: &Server,
    next: impl Fn(&Request) -> Option<Fault> + Send + Sync + 'static,
) -> Proxy {
    // The head is seen before the body: what it drew, the whole request gets.
    let drawn: Arc<Mutex<Option<Fault>>> = Arc::default();
    let kept = Arc::clone(&drawn);
    let cutter = move |head: &Request| {
        let fault = next(head);
        *kept.lock().expect("no panic inside") = fault;
        fault.and_then(Fault::cut)
    };
    Proxy::cutting(listener, &server.host, cutter, move |_, _| {
        let fault = drawn.lock().expect("no panic inside").take();
        fault.map_or(Act::Pass, Fault::act)
    })
}

const SETTINGS: &str = "timeout_seconds = 2\nbreaker_failures = 4\nbreaker_seconds = 1";

/// Works off the queue; what is not there by then is released, as a person would who had the server mended:
/// what waits for a person goes on, and what waits for its time is tried at once.
fn until_delivered(site: &Site, files: &[&str]) -> Result<usize, String> {
    let mut run = site.send(files, 8);
    for released in 0..40 {
        if run.code == Some(0) {
            return Ok(released);
        }
        for item in site.queue() {
            let (state, id) = (item.text_of("state"), item.text_of("item"));
            if !matches!(state, Some("delivered" | "sending")) {
                let who = ["--by", "the keeper", "--why", "the server was mended"];
                let release = [&["--release", id.expect("an item")][..], &who].concat();
                site.run("queue", &release).ended(0);
            }
        }
        run = site.send(&[], 8);
    }
    Err(run.text)
}

fn local() -> TcpListener {
    TcpListener::bind("127.0.0.1:0").expect("a free port")
}

fn alone(server: &Server, fault: Fault, of_search: bool) -> Figures {
    let mut figures = Figures::new(server, "one fault");
    let person = Person::known(server);
    let document = person.session();
    let left = Mutex::new(Some(fault));
    let proxy = spoiling(&local(), server, move |head| {
        let hit = if of_search {
            head.path.ends_with("/_search")
        } else {
            head.transaction()
        };
        hit.then(|| left.lock().expect("no panic inside").take())
            .flatten()
    });
    let site = Site::hasty_with(&proxy.base(), SETTINGS);

    let told = until_delivered(&site, &[&site.document(&document)]);

    if let Err(text) = told {
        figures.fault(format!("{fault:?} (search: {of_search}): {text}"));
    }
    figures.round();
    figures.count(server, &person, &[&document]);
    figures.order(&site);
    figures
}

/// Nobody listens, then somebody does.
fn refused(server: &Server) -> Figures {
    let mut figures = Figures::new(server, "refused");
    let person = Person::known(server);
    let document = person.session();
    let listener = local();
    let address = listener.local_addr().expect("an address");
    drop(listener);
    let site = Site::hasty_with(&format!("http://{address}/fhir"), SETTINGS);
    let item = site.send(&[&site.document(&document)], 1).ended(4).item();
    if item.text_of("reason") != Some("target.unreachable") {
        figures.fault(format!("refused: {}", item.compact()));
    }
    let listener = TcpListener::bind(address).expect("the same port");
    let _proxy = Proxy::on(&listener, &server.host, |_, _| Act::Pass);
    if let Err(text) = until_delivered(&site, &[]) {
        figures.fault(format!("refused: {text}"));
    }
    figures.round();
    figures.count(server, &person, &[&document]);
    figures.order(&site);
    figures
}

fn each_fault_alone_leaves_a_session_there_once_and_in_order(server: &Server) {
    let mut figures = Figures::new(server, "each of 33 faults alone, on send and on search");
    let mut cases: VecDeque<(Fault, bool)> = FAULTS.map(|fault| (fault, false)).into();
    let of_search = FAULTS.into_iter().filter(|fault| {
        // What is about storing does not happen to a search.
        !matches!(fault, AsBatch | AsBatchRefusing)
    });
    cases.extend(of_search.map(|fault| (fault, true)));
    let all = cases.len() + 1;
    let cases = Mutex::new(cases);
    let next = || cases.lock().expect("no panic inside").pop_front();
    figures.add(refused(server));
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..4)
            .map(|_| {
                scope.spawn(|| {
                    let mut own = Vec::new();
                    while let Some((fault, of_search)) = next() {
                        own.push(alone(server, fault, of_search));
                    }
                    own
                })
            })
            .collect();
        for worker in workers {
            let own = worker.join().expect("no panic inside");
            for one in own {
                figures.add(one);
            }
        }
    });
    figures.rounds_are(all);
    figures.told();
}

/// Two sessions of one person, in a mode, with a fault for about every third of the first requests.
fn random(server: &Server, seed: u64) -> Figures {
    let mut figures = Figures::new(server, "random faults");
    let mode = ["transaction", "batch", "single"][usize::try_from(seed % 3).expect("small")];
    let person = Person::known(server);
    let documents: [Document; 2] = [person.session(), person.session()];
    let chance = Mutex::new((fastrand::Rng::with_seed(seed), 24_u32));
    let proxy = spoiling(&local(), server, move |_| {
        let mut chance = chance.lock().expect("no panic inside");
        let (rng, left) = &mut *chance;
        *left = left.checked_sub(1)?;
        (rng.u8(0..3) == 0).then(|| FAULTS[rng.usize(0..FAULTS.len())])
    });
    let site = Site::hasty_with(&proxy.base(), &format!("mode = '{mode}'\n{SETTINGS}"));
    let files = [site.document(&documents[0]), site.document(&documents[1])];

    if let Err(text) = until_delivered(&site, &[&files[0], &files[1]]) {
        figures.fault(format!("seed {seed} ({mode}): {text}"));
    }
    figures.round();
    figures.count(server, &person, &[&documents[0], &documents[1]]);
    figures.order(&site);
    if figures.is_wrong() {
        figures.fault(format!("the seed was {seed} ({mode})"));
    }
    figures
}

fn random_sequences_of_faults_leave_every_session_there_once_and_in_order(server: &Server) {
    let mut figures = Figures::new(server, "random sequences of faults, seeded, in every mode");
    let asked = std::env::var_os("FASCICLE_FAULT_SEEDS");
    let asked = asked.and_then(|asked| asked.to_str()?.parse().ok());
    let seeds = asked.unwrap_or_else(|| u64::try_from(rounds(6, 12)).expect("small"));
    let next = Mutex::new(0..seeds);
    let next = || next.lock().expect("no panic inside").next();
    std::thread::scope(|scope| {
        let work = || {
            let mut own = Vec::new();
            while let Some(seed) = next() {
                own.push(random(server, seed));
            }
            own
        };
        let workers: Vec<_> = (0..3).map(|_| scope.spawn(work)).collect();
        for worker in workers {
            let own = worker.join().expect("no panic inside");
            for one in own {
                figures.add(one);
            }
        }
    });
    figures.told();
}

fn a_certificate_that_ran_out_and_a_name_that_is_not_known_store_nothing(server: &Server) {
    let expired = Tls::expired(&server.host);
    let person = Person::known(server);
    let document = person.session();
    let folder = tempfile::tempdir().expect("a folder");
    let authority = folder.path().join("ca.pem");
    std::fs::write(&authority, &expired.authority).expect("a file");
    let authority = format!("ca_file = '{}'\n{SETTINGS}", authority.display());
    let bases = [
        (
            format!("https://localhost:{}/fhir", expired.address.port()),
            authority.as_str(),
            "certificate",
        ),
        // RFC 6761, section 6.4: no name under invalid ever resolves.
        ("http://record.invalid/fhir".to_owned(), SETTINGS, "name"),
    ];
    for (base, settings, about) in bases {
        let site = Site::hasty_with(&base, &format!("proxy = 'none'\n{settings}"));

        let item = site.send(&[&site.document(&document)], 2).ended(4).item();

        assert_eq!(item.text_of("state"), Some("queued"));
        assert_eq!(item.text_of("reason"), Some("target.unreachable"));
        site.run("trail", &["--verify"]).ended(0);
        let config = site.path("fascicle.toml").display().to_string();
        let mut target = site.command("target", false);
        let said = crate::binary::Run::of(target.output());
        assert!(said.text.contains(about), "{config}: {}", said.text);
    }
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [0, 0, 0, 0]);
}
