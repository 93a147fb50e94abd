#![cfg(test)]
//! What a colleague reads, against what the record server holds, and over several sessions.

use crate::document::{catalogue, edited, encoded, sound};
use crate::facts::disagreements;
use crate::resource::all;
use crate::store::Store;
use fascicle::base::clock::{Clock, MachineClock};
use fascicle::base::json::{Node, text};
use fascicle::delivery::deliver::http::Connection;
use fascicle::delivery::outbox::Outbox;
use fascicle::fhir::summary::Summary;
use fascicle::fhir::summary::across::View;
use fascicle::practice::Practice;
use fascicle::service::app::deliver::Delivery;
use fascicle::service::app::submit::{Submitted, submit};
use fascicle::service::app::summary::{SummaryAnswer, Wanted, kept, shown};
use fascicle::service::config::Settings;
use std::sync::Arc;
use uuid::Uuid;

const FIRST: &str = include_str!("../../fixtures/sessions/first.json");
const SECOND: &str = include_str!("../../fixtures/sessions/second.json");
const EVERY: &str = include_str!("../../fixtures/sessions/every-measure.json");
const TRACES: &str = include_str!("../../fixtures/sessions/every-trace.json");
const PERSON: &str = include_str!("../../fixtures/people/test-0001.json");

/// A practice server that knows the invented person, and a store that delivers to it.
struct Ward {
    delivery: Delivery,
    _folder: tempfile::TempDir,
}

impl Ward {
    async fn open(settings: &str) -> Self {
        let practice = Practice::open(None, Arc::new(MachineClock)).await;
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await;
        let listener = listener.expect("a free port");
        let address = listener.local_addr().expect("an address");
        let practice = practice.expect("a practice server");
        tokio::spawn(practice.serve(listener, std::future::pending()));
        let folder = tempfile::tempdir().expect("a folder");
        let text = format!(
            "state = '{}'\n[[target]]\nname = 'ward'\nbase = 'http://{address}/fhir'\n\
             proxy = 'none'\n{settings}",
            folder.path().display()
        );
        let settings = Settings::read(&text).expect("settings");
        let outbox = Outbox::open_at(&settings.state).await.expect("a store");
        let connection = Connection::new(settings.targets[0].clone()).expect("a client");
        let person = Node::parse(PERSON).expect("JSON");
        let known = "identifier=https%3A%2F%2Finvented-clinic.example%2Fpatients%7CTEST-0001";
        let put = connection.create("Patient", Some(known), &person).await;
        assert_eq!(put.expect("an answer").status, 201);
        let delivery = Delivery {
            outbox,
            connection,
            clock: Arc::new(MachineClock),
            lease: settings.lease,
        };
        Self {
            delivery,
            _folder: folder,
        }
    }

    async fn deliver(&self, document: &str) {
        let targets = ["ward".to_owned()];
        let now = MachineClock.now();
        let submitted = submit(&self.delivery.outbox, catalogue(), &targets, document, now).await;
        let Submitted::Accepted { items, .. } = submitted.expect("the store answers") else {
            panic!("not accepted");
        };
        let ids: Vec<Uuid> = items.iter().map(|item| item.id).collect();
        let until = MachineClock.now() + chrono::TimeDelta::seconds(60);
        let settled = self.delivery.until_settled(&ids, until).await;
        settled.expect("the store answers");
        let item = self.delivery.outbox.item(ids[0]).await.expect("it answers");
        assert_eq!(item.expect("kept").state.word(), "delivered");
    }

    /// What the server holds of a type.
    async fn holds(&self, kind: &str) -> Vec<Node> {
        let answer = self.delivery.connection.search(kind, "_count=1000").await;
        let answer = answer.expect("an answer");
        let body = answer.body.as_ref().expect("JSON").open();
        let entries = body.items_of("entry").iter();
        entries
            .filter_map(|entry| entry.member("resource").cloned())
            .collect()
    }

    async fn summary(&self, session: &str, wanted: Wanted) -> Summary {
        let session = Uuid::parse_str(session).expect("a session");
        asked(&self.delivery.outbox, session, wanted).await
    }
}

async fn asked(outbox: &Outbox, session: Uuid, wanted: Wanted) -> Summary {
    let today = "2026-11-25".parse().expect("a day");
    match kept(outbox, catalogue(), session, wanted, today).await {
        Ok(SummaryAnswer::Summary(summary)) => summary,
        other => panic!("{other:?}"),
    }
}

fn id_of(document: &str) -> String {
    let node = Node::parse(document).expect("JSON");
    let id = node.at(&["session", "id"]).and_then(Node::text);
    id.expect("an id").to_owned()
}

/// The Observations of one session, by the time of its panel.
fn of_session<'a>(held: &'a [Node], document: &str) -> Vec<&'a Node> {
    let node = Node::parse(document).expect("JSON");
    let start = node.at(&["session", "performed", "start"]).cloned();
    held.iter()
        .filter(|one| one.at(&["effectivePeriod", "start"]).cloned() == start)
        .collect()
}

#[tokio::test]
async fn the_delivered_observations_alone_hold_what_the_summary_of_the_demo_says() {
    let ward = Ward::open("").await;
    ward.deliver(FIRST).await;
    ward.deliver(SECOND).await;

    let held = ward.holds("Observation").await;

    for document in [FIRST, SECOND] {
        let observations = of_session(&held, document);
        let summary = ward.summary(&id_of(document), Wanted::Session).await;
        assert!(observations.len() > 25, "{}", observations.len());
        let faults = disagreements(&observations, &summary.text());
        assert!(faults.is_empty(), "{faults:#?}\n{}", summary.text());
        // The narrative of the panel says the same.
        let panel = observations
            .iter()
            .find(|one| !one.items_of("hasMember").is_empty());
        let div = panel.and_then(|panel| panel.at(&["text", "div"])?.text());
        assert_eq!(div, Some(summary.xhtml().as_str()));
    }
}

#[test]
fn a_number_a_side_or_a_reason_that_differs_is_seen() {
    let encoded = encoded(&Node::parse(FIRST).expect("JSON"));
    let observations = all(&encoded, "Observation");
    let sound = encoded.summary.text();
    assert_eq!(disagreements(&observations, &sound), Vec::<String>::new());

    for (from, to) in [
        (
            "20 degrees of plantarflexion",
            "21 degrees of plantarflexion",
        ),
        ("12 degrees of dorsiflexion", "12 degrees of plantarflexion"),
        (
            "5 degrees of plantarflexion, neutral not reached",
            "5 degrees of dorsiflexion",
        ),
        ("210 degrees per second", "210 degrees"),
        ("Left: passive", "Right: passive"),
        ("passive plantarflexion", "active plantarflexion"),
        ("knee bent", "knee straight"),
        ("grade 1+", "grade 1"),
        ("3 of 10", "4 of 10"),
        ("a precaution forbids it", "pain"),
        ("15 December 2026", "16 December 2026"),
        ("no fast stretch", "no loading"),
        ("Step 2", "Step 3"),
        ("garden gate", "front door"),
        ("- Left: tone of the calf at rest: tone as expected.\n", ""),
        ("Precautions\n", "Findings\n"),
    ] {
        assert!(sound.contains(from), "{from}");
        let spoilt = sound.replacen(from, to, 1);
        assert!(!disagreements(&observations, &spoilt).is_empty(), "{from}");
    }
}

#[test]
fn every_measure_is_said_with_side_mode_and_unit() {
    let encoded = encoded(&Node::parse(EVERY).expect("JSON"));

    let faults = disagreements(&all(&encoded, "Observation"), &encoded.summary.text());

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn what_was_computed_from_a_trace_is_said_as_that_and_as_preliminary_until_it_is_accepted() {
    let encoded = encoded(&Node::parse(TRACES).expect("JSON"));
    let observations = all(&encoded, "Observation");
    let text = encoded.summary.text();

    let faults = disagreements(&observations, &text);

    assert!(faults.is_empty(), "{faults:#?}");
    let preliminary = "computed by software and not yet accepted by a therapist";
    let waiting = observations
        .iter()
        .filter(|one| one.text_of("status") == Some("preliminary"));
    assert_eq!(text.matches(preliminary).count(), waiting.count());
    assert!(text.contains(preliminary), "{text}");
    assert!(
        text.contains("never takes the place of what was felt"),
        "{text}"
    );
    for technical in [
        "cut-off",
        "samples",
        "degrees per second",
        "sharpness",
        "minus",
    ] {
        assert!(!text.contains(technical), "{technical}: {text}");
    }
    let line = |beginning: &str| {
        let line = text.lines().find(|line| line.starts_with(beginning));
        line.unwrap_or_else(|| panic!("no line of {beginning}: {text}"))
    };
    // A catch is a position with a side of neutral, and says how far it may be off.
    let caught = line("- Right: catch computed from the trace of a fast stretch of the calf");
    for words in [
        ": a catch at ",
        " degrees of ",
        "; speed of the stretch: as fast as possible",
        "; uncertainty: expected to lie ",
        " too late in the stretch; by chance it may lie ",
        " either way (two standard deviations)",
    ] {
        assert!(caught.contains(words), "{words}: {caught}");
    }
    let trace = line("- Right: angle against time of a stretch of the calf");
    assert!(trace.contains(": recorded by an instrument; speed of the stretch: "));
    let spoilt = text.replacen(preliminary, "final", 1);
    assert!(!disagreements(&observations, &spoilt).is_empty());
}

#[test]
fn the_order_of_the_findings_changes_no_line() {
    let sound = sound();
    let mut turned = sound.clone();
    let findings = turned.member_mut("findings").expect("findings");
    findings.items_mut().reverse();

    assert_eq!(encoded(&turned).summary, encoded(&sound).summary);
}

#[test]
fn what_was_withdrawn_is_named_and_not_repeated() {
    let edits = [
        ("/session/version", "2"),
        ("/findings/4/withdrawn", "true"),
        (
            "/goals",
            r#"[{"words":"walks alone","target":"not set","agreed_with":"the person","withdrawn":true}]"#,
        ),
    ];
    let text = encoded(&edited(&edits)).summary.text();

    let line = "- Right: passive dorsiflexion of the ankle, knee straight: entered in error, not to \
                be used.";
    assert!(text.contains(line), "{text}");
    assert!(!text.contains("walks alone"), "{text}");
    let whole = edited(&[("/session/version", "2"), ("/session/withdrawn", "true")]);
    let text = encoded(&whole).summary.text();
    assert!(text.contains("This session was withdrawn"), "{text}");
    assert!(!text.contains("degrees"), "{text}");
}

#[test]
fn no_summary_takes_what_was_delivered_for_read_and_none_concludes_by_itself() {
    let summary = encoded(&sound()).summary.text();

    assert!(summary.contains("does not mean that anybody has read it"));
    assert!(!summary.contains("Conclusion"), "{summary}");
    for word in [
        "better",
        "worse",
        "improved",
        "deteriorated",
        "seen by the team",
        "aware",
    ] {
        assert!(!summary.contains(word), "{word}: {summary}");
    }
}

#[test]
fn a_prompt_stands_with_what_was_asked_and_who_answered() {
    let confirmation = r#"[{"code":"angle.unusual","path":"/findings/5/value","by":"therapist",
        "at":"2026-11-16T10:18:00+01:00","reason":"measured twice"}]"#;
    let encoded = encoded(&edited(&[
        ("/findings/5/value/beyond_neutral", r#""96""#),
        ("/session/confirmations", confirmation),
    ]));

    let text = encoded.summary.text();

    let line = text.lines().find(|line| line.contains("measured twice"));
    let line = line.expect("the prompt");
    assert!(
        line.starts_with("- Right, passive plantarflexion of the ankle: "),
        "{line}"
    );
    assert!(line.contains("seen by physiotherapist, who says: \u{201c}measured twice\u{201d}"));
    assert!(text.contains("local policy and the treating team come first"));
    // What was asked is delivered as well, so that the words are nobody's invention.
    let asked = line.split("ankle: ").nth(1).expect("what was asked");
    let asked = asked.split("; seen by").next().expect("it ends");
    let panel = all(&encoded, "Observation")
        .pop()
        .expect("the panel")
        .compact();
    assert!(panel.contains(asked), "{asked}");
}

/// A later session of the sound one: other id and day, with edits.
fn later(day: &str, id: &str, edits: &[(&str, &str)]) -> Node {
    let mut document = sound().compact();
    document = document.replace("2026-11-16", day);
    document = document.replace("7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10", id);
    let mut document = Node::parse(&document).expect("JSON");
    for (pointer, json) in edits {
        let value = Node::parse(json).expect("JSON");
        crate::document::set(&mut document, pointer, Some(value));
    }
    crate::document::marked(document)
}

const LATER: &str = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a20";

#[tokio::test]
async fn a_handover_has_the_latest_of_everything_and_says_what_is_overdue_and_open() {
    let store = Store::open().await;
    let confirmation = r#"[{"code":"angle.unusual","path":"/findings/5/value","by":"therapist",
        "at":"2026-11-16T10:18:00+01:00","reason":"measured twice"}]"#;
    let step = r#"[{"words":"heel first","author":"therapist","review":"2026-11-20"},
        {"words":"slowly","author":"therapist","review":"2026-12-20"}]"#;
    let first = edited(&[
        ("/findings/5/value/beyond_neutral", r#""96""#),
        ("/session/confirmations", confirmation),
        ("/handling", step),
    ]);
    store.submit(&first).await.expect("holds");
    let left_out = r#"{"measure":"range.passive.ankle.dorsiflexion","side":"right","neighbour":{"joint":"knee","position":"straight"},"not_tested":{"reason":"pain"},"method":"handling"}"#;
    let second = later("2026-11-18", LATER, &[("/findings/4", left_out)]);
    store.submit(&second).await.expect("holds");
    let session = Uuid::parse_str(LATER).expect("an id");

    let handover = asked(&store.outbox, session, Wanted::Person(View::Handover)).await;

    let text = handover.text();
    assert!(text.starts_with("Handover, as of 25 November 2026: 2 examinations from 16 November 2026 to 18 November 2026"), "{text}");
    assert_eq!(handover.sections[0].code, "precautions");
    assert_eq!(
        handover.sections[1].title,
        "The last examination, 18 November 2026"
    );
    for line in [
        "- Step 1: \u{201c}heel first\u{201d}; written by physiotherapist PT-7; to be reviewed on 20 November 2026, which has passed: ask whether it still holds.",
        "- Step 2: \u{201c}slowly\u{201d}; written by physiotherapist PT-7; to be reviewed on 20 December 2026.",
        // What was left out last time does not hide what was found before.
        "- Right: passive dorsiflexion of the ankle, knee straight: 15 degrees of dorsiflexion",
        "- Right: passive dorsiflexion of the ankle, knee straight: not tested: pain. (18 November 2026)",
        "who says: \u{201c}measured twice\u{201d}. (16 November 2026)",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
    let dated = handover
        .sections
        .iter()
        .filter(|section| section.code == "findings");
    for line in dated.flat_map(|section| &section.lines) {
        assert!(
            line.words.open().ends_with("2026)"),
            "{}",
            line.words.open()
        );
    }
    assert!(!text.contains("From the first time"), "{text}");
    assert!(text.contains("does not mean that anybody has read it"));
}

#[tokio::test]
async fn a_handover_says_in_which_position_each_thing_was_found() {
    let store = Store::open().await;
    let sitting = edited(&[("/session/body_position", "\"sitting\"")]);
    store.submit(&sitting).await.expect("holds");
    let lying = later("2026-11-18", LATER, &[]);
    store.submit(&lying).await.expect("holds");
    let session = Uuid::parse_str(LATER).expect("an id");

    let handover = asked(&store.outbox, session, Wanted::Person(View::Handover)).await;

    let usual = section(&handover, "examination");
    assert!(
        usual.contains(&"Position unless said otherwise: lying on the back."),
        "{usual:?}"
    );
    let found = section(&handover, "findings");
    let (then, now): (Vec<&str>, Vec<&str>) = found
        .iter()
        .partition(|line| line.ends_with("(16 November 2026)"));
    assert!(!then.is_empty() && then.len() == now.len(), "{found:?}");
    let says = |line: &&str| line.contains("; position: sitting");
    assert!(then.iter().all(says) && !now.iter().any(says), "{found:?}");
}

#[test]
fn a_method_that_is_not_the_usual_one_stands_in_its_line() {
    let guessed = edited(&[
        ("/findings/4/method", "\"visual-estimate\""),
        ("/findings/4/instrument", ""),
    ]);

    let text = encoded(&guessed).summary.text();

    let told = |words: &str| text.matches(words).count();
    assert_eq!(
        told("goniometry in the neutral zero convention"),
        1,
        "{text}"
    );
    assert_eq!(told("; method: visual estimate"), 1, "{text}");
}

/// What a handover says in one section, without the hyphens.
fn section<'a>(summary: &'a Summary, code: &str) -> Vec<&'a str> {
    let sections = summary.sections.iter();
    let lines = sections.filter(|one| one.code == code);
    let lines = lines.flat_map(|one| &one.lines);
    lines.map(|line| line.words.open().as_str()).collect()
}

/// Two sessions that say much, one that says nothing, and one that was withdrawn.
async fn four_sessions(store: &Store) {
    let first = edited(&[
        ("/conclusion", r#"{"words":"the calf answers early"}"#),
        ("/priority", r#"{"words":"to the garden gate"}"#),
        (
            "/goals",
            r#"[{"words":"heel down","target":"2026-11-20","agreed_with":"the person"},
            {"words":"walks alone","target":"not set","agreed_with":"the person"}]"#,
        ),
        (
            "/handling",
            r#"[{"words":"heel first","author":"therapist","review":"2026-11-20"},
            {"words":"slowly","author":"therapist","review":"2026-11-21"}]"#,
        ),
        (
            "/recommendations",
            r#"[{"words":"a splint at night","to":"orthotist"}]"#,
        ),
    ]);
    store.submit(&first).await.expect("holds");
    let edits = [
        ("/conclusion", r#"{"words":"neutral is reached"}"#),
        (
            "/goals",
            r#"[{"words":"heel  down","target":"2026-12-24","agreed_with":"the person"}]"#,
        ),
        (
            "/handling",
            r#"[{"words":"heel first","author":"therapist","review":"2026-12-20"}]"#,
        ),
        (
            "/recommendations",
            r#"[{"words":"shoes on","to":"nursing team"}]"#,
        ),
    ];
    let second = later("2026-11-18", LATER, &edits);
    store.submit(&second).await.expect("holds");
    let silent = later("2026-11-19", "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a22", &[]);
    store.submit(&silent).await.expect("holds");
    let gone = [
        ("/priority", r#"{"words":"of a withdrawn session"}"#),
        ("/session/version", "2"),
        ("/session/withdrawn", "true"),
    ];
    let of_it = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a23";
    let before = later("2026-11-20", of_it, &gone[..1]);
    store.submit(&before).await.expect("holds");
    store
        .submit(&later("2026-11-20", of_it, &gone))
        .await
        .expect("holds");
}

/// What a handover says of each kind of statement after those.
const COLLECTED: [(&str, &[&str]); 5] = [
    (
        "conclusion",
        &[
            "\u{201c}neutral is reached\u{201d} (physiotherapist PT-7, 18 November 2026)",
            "\u{201c}the calf answers early\u{201d} (physiotherapist PT-7, 16 November 2026)",
        ],
    ),
    (
        "priority",
        &["\u{201c}to the garden gate\u{201d} (16 November 2026)"],
    ),
    (
        "goal",
        &[
            "\u{201c}heel down\u{201d}; to be reached by 24 December 2026; agreed with: the person. \
                 (18 November 2026)",
            "\u{201c}walks alone\u{201d}; no day was set; agreed with: the person. (16 November 2026)",
        ],
    ),
    (
        "handling-step",
        &[
            "Step 1: \u{201c}heel first\u{201d}; written by physiotherapist PT-7; to be reviewed on 20 \
                 December 2026. (18 November 2026)",
            "Step 2: \u{201c}slowly\u{201d}; written by physiotherapist PT-7; to be reviewed on 21 \
                 November 2026, which has passed: ask whether it still holds. (16 November 2026; not \
                 repeated on 18 November 2026, and withdrawn by nobody)",
        ],
    ),
    (
        "recommendation",
        &[
            "To nursing team: \u{201c}shoes on\u{201d}. (18 November 2026)",
            "To orthotist: \u{201c}a splint at night\u{201d}. (16 November 2026)",
        ],
    ),
];

#[tokio::test]
async fn a_later_session_that_is_silent_of_a_thing_takes_none_of_it_back() {
    let store = Store::open().await;
    four_sessions(&store).await;
    let session = Uuid::parse_str(LATER).expect("an id");

    for view in [View::Handover, View::Discharge] {
        let told = asked(&store.outbox, session, Wanted::Person(view)).await;

        for (code, wanted) in COLLECTED {
            assert_eq!(section(&told, code), wanted);
        }
    }
}

#[tokio::test]
async fn what_is_withdrawn_by_name_later_is_gone_from_a_handover() {
    let store = Store::open().await;
    let goal = |withdrawn: &str| {
        format!(
            r#"[{{"id":"7d1f0a52-3c68-4b0e-9a57-60a100000001","words":"heel down","target":"not set",
            "agreed_with":"the person"{withdrawn}}}]"#
        )
    };
    store
        .submit(&edited(&[("/goals", goal("").as_str())]))
        .await
        .expect("holds");
    let session = Uuid::parse_str("7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10").expect("an id");
    let view = Wanted::Person(View::Handover);
    let told = asked(&store.outbox, session, view).await;
    assert_eq!(section(&told, "goal").len(), 1);

    let withdrawn = goal(r#","withdrawn":true"#);
    let second = later("2026-11-18", LATER, &[("/goals", &withdrawn)]);
    store.submit(&second).await.expect("holds");

    let told = asked(&store.outbox, session, view).await;
    assert!(section(&told, "goal").is_empty());
}

#[tokio::test]
async fn a_prompt_is_open_until_it_is_recorded_that_somebody_was_told_of_it() {
    let confirmation = r#"[{"code":"angle.unusual","path":"/findings/5/value","by":"therapist",
        "at":"2026-11-16T10:18:00+01:00","reason":"measured twice"}]"#;
    let told = |session: &str| {
        format!(
            r#"[{{"words":"look at the right ankle","prompt":{{"code":"angle.unusual",
            "path":"/findings/5/value"{session}}},"to":"nurse in charge",
            "at":"2026-11-16T10:19:00+01:00","how":"by word of mouth"}}]"#
        )
    };
    let first: Vec<(&str, &str)> = vec![
        ("/findings/5/value/beyond_neutral", r#""96""#),
        ("/session/confirmations", confirmation),
    ];
    let open = |summary: &Summary| {
        let section = summary
            .sections
            .iter()
            .find(|one| one.code == "open-prompts");
        section.expect("the section").lines.len() - 1
    };
    let first_id = Uuid::parse_str("7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10").expect("an id");
    let view = Wanted::Person(View::Handover);

    let store = Store::open().await;
    store.submit(&edited(&first)).await.expect("holds");
    assert_eq!(open(&asked(&store.outbox, first_id, view).await), 1);

    // Told in a correction of the same session.
    let here = told("");
    let mut corrected = first.clone();
    corrected.extend([("/session/version", "2"), ("/told", here.as_str())]);
    store.submit(&edited(&corrected)).await.expect("holds");
    assert_eq!(open(&asked(&store.outbox, first_id, view).await), 0);
    // The line says which prompt it answers, in the words of the prompt.
    let line = "\u{201c}look at the right ankle\u{201d}; told to nurse in charge, on 16 November 2026 at \
                10:19; how: by word of mouth; because of the prompt: Right, passive plantarflexion of \
                the ankle: 96 ";
    for wanted in [Wanted::Session, view] {
        let text = asked(&store.outbox, first_id, wanted).await.text();
        assert!(text.contains(line), "{text}");
    }

    // Told in a later session, which names the earlier one; another prompt of that name stays open.
    let store = Store::open().await;
    store.submit(&edited(&first)).await.expect("holds");
    let there = told(r#","session":"7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10""#);
    let there = there.replace("2026-11-16T10:19", "2026-11-18T10:19");
    let second = later("2026-11-18", LATER, &[("/told", &there)]);
    store.submit(&second).await.expect("holds");
    let handover = asked(&store.outbox, first_id, view).await;
    assert_eq!(open(&handover), 0);
    let prompt = "; because of the prompt: Right, passive plantarflexion of the ankle: 96 ";
    assert!(handover.text().contains(prompt), "{}", handover.text());
}

#[tokio::test]
async fn a_discharge_says_what_changed_from_first_to_last_and_never_calls_it_better() {
    let store = Store::open().await;
    store.submit(&sound()).await.expect("holds");
    let edits = [("/findings/4/value/beyond_neutral", r#""19""#)];
    let second = later("2026-11-18", LATER, &edits);
    store.submit(&second).await.expect("holds");
    let session = Uuid::parse_str(LATER).expect("an id");

    let text = asked(&store.outbox, session, Wanted::Person(View::Discharge))
        .await
        .text();

    let line = "- Right: passive dorsiflexion of the ankle, knee straight: from 15 degrees of \
                dorsiflexion (16 November 2026) to 19 degrees of dorsiflexion (18 November 2026); \
                higher by 4 degrees, not judged";
    assert!(text.contains(line), "{text}");
    assert!(
        text.contains("findings were compared with the first time"),
        "{text}"
    );
    for word in ["better", "worse", "improve"] {
        assert!(!text.contains(word), "{word}: {text}");
    }
}

#[tokio::test]
async fn a_discharge_says_once_which_way_something_differs_and_counts_points() {
    let store = Store::open().await;
    for document in [FIRST, SECOND] {
        let document = Node::parse(document).expect("JSON");
        store.submit(&document).await.expect("holds");
    }
    let session = Uuid::parse_str(&id_of(SECOND)).expect("an id");

    let text = asked(&store.outbox, session, Wanted::Person(View::Discharge))
        .await
        .text();

    for line in [
        "(16 November 2026); higher by 10 degrees, more than the error of measuring.",
        "to 2 of 10 (16 November 2026); lower by 1 point, not judged",
        "- To orthotist: \u{201c}look at the right ankle for a splint at night\u{201d}. (19 October 2026)",
    ] {
        assert!(text.contains(line), "{line}: {text}");
    }
}

#[tokio::test]
async fn withdrawn_sessions_are_left_out_and_people_are_never_mixed() {
    let store = Store::open().await;
    store.submit(&sound()).await.expect("holds");
    let second = later("2026-11-18", LATER, &[]);
    store.submit(&second).await.expect("holds");
    let gone = later(
        "2026-11-18",
        LATER,
        &[("/session/version", "2"), ("/session/withdrawn", "true")],
    );
    store.submit(&gone).await.expect("holds");
    let other = later(
        "2026-11-17",
        "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a21",
        &[
            ("/patient/identifier/value", r#""TEST-0009""#),
            ("/findings/10/note", r#""of somebody else""#),
        ],
    );
    store.submit(&other).await.expect("holds");
    let session = Uuid::parse_str(LATER).expect("an id");
    let today = "2026-11-25".parse().expect("a day");

    let handover = asked(&store.outbox, session, Wanted::Person(View::Handover))
        .await
        .text();

    assert!(
        handover.contains("1 examination on 16 November 2026"),
        "{handover}"
    );
    assert!(!handover.contains("somebody else"), "{handover}");
    // One name, given by two sources to sessions of two people.
    let mut same = other.clone();
    crate::document::set(&mut same, "/session/id", Some(text(LATER)));
    crate::document::set(&mut same, "/session/source", Some(text("urn:oid:1.2.3")));
    store.submit(&same).await.expect("holds");
    for wanted in Wanted::ALL {
        let asked = kept(&store.outbox, catalogue(), session, wanted, today).await;
        assert!(
            matches!(asked, Ok(SummaryAnswer::SeveralPeople)),
            "{wanted:?}"
        );
    }
    let nowhere = kept(
        &store.outbox,
        catalogue(),
        Uuid::nil(),
        Wanted::Session,
        today,
    )
    .await;
    assert!(matches!(nowhere, Ok(SummaryAnswer::NotKept)));
}

#[tokio::test]
async fn a_report_is_delivered_where_the_settings_ask_for_it_and_corrected_ever_after() {
    let without = Ward::open("").await;
    without.deliver(FIRST).await;
    assert_eq!(without.holds("DiagnosticReport").await.len(), 0);
    let told = without.holds("Provenance").await[0].compact();
    assert!(!told.contains("DiagnosticReport"), "{told}");

    let with = Ward::open("report = true").await;
    with.deliver(FIRST).await;
    let reports = with.holds("DiagnosticReport").await;
    let [report] = reports.as_slice() else {
        panic!("{} reports", reports.len());
    };
    let summary = with.summary(&id_of(FIRST), Wanted::Session).await;
    assert_eq!(
        report.at(&["text", "div"]).and_then(Node::text),
        Some(summary.xhtml().as_str())
    );
    assert!(
        report
            .text_of("conclusion")
            .expect("one")
            .starts_with("The right calf")
    );
    let panel = report.items_of("result")[0]
        .text_of("reference")
        .expect("the panel");
    let observations = with.holds("Observation").await;
    let panel = observations.iter().find(|one| {
        one.text_of("id")
            .is_some_and(|id| panel == format!("Observation/{id}"))
    });
    assert!(panel.is_some_and(|panel| !panel.items_of("hasMember").is_empty()));
    let provenance = with.holds("Provenance").await[0].compact();
    assert!(provenance.contains("\"DiagnosticReport/"), "{provenance}");

    let corrected = FIRST
        .replacen("\"version\": 1", "\"version\": 2", 1)
        .replacen("\"lacks\": \"5\"", "\"lacks\": \"6\"", 1);
    with.deliver(&corrected).await;
    let reports = with.holds("DiagnosticReport").await;
    assert_eq!(reports.len(), 1);
    assert_eq!(reports[0].text_of("status"), Some("corrected"));
    let div = reports[0]
        .at(&["text", "div"])
        .and_then(Node::text)
        .expect("a summary");
    assert!(div.contains("6 degrees of plantarflexion"), "{div}");
}

#[test]
fn who_examined_which_side_and_consent_stand_right_after_the_precautions() {
    let encoded = encoded(&Node::parse(FIRST).expect("JSON"));

    let titles: Vec<&str> = encoded
        .summary
        .sections
        .iter()
        .map(|one| one.code)
        .collect();
    assert_eq!(titles[..2], ["precautions", "examination"]);
    assert_eq!(
        section(&encoded.summary, "examination"),
        [
            "Examined by: physiotherapist PT-7.",
            "More affected side: right.",
            "Consent: given; \u{201c}asked and answered in words\u{201d}.",
            "Position unless said otherwise: lying on the back.",
            "Method of numbers unless said otherwise: goniometry in the neutral zero convention.",
        ]
    );
    assert!(
        !section(&encoded.summary, "circumstances")
            .iter()
            .any(|line| line.contains("Consent"))
    );
}

#[test]
fn what_a_difference_comes_to_is_read_before_what_it_was_judged_by() {
    let text = encoded(&Node::parse(FIRST).expect("JSON")).summary.text();

    let line = "- Right: difference between the sides, passive extension of the elbow: minus 20 degrees; \
                lower by more than the error of measuring; right, the more affected side, less left; \
                judged by: smallest change beyond the error of measuring (MDC95) 7 deg, same tester; ";
    assert!(text.contains(line), "{text}");
}

#[test]
fn where_nothing_was_compared_only_the_reason_is_said() {
    let text = encoded(&sound()).summary.text();

    let section = text.split("\nBeside the other side\n").nth(1);
    let section = section.and_then(|rest| rest.split("\n\n").next());
    assert_eq!(
        section,
        Some(
            "- Nothing was compared with the other side: 1 because one of them was not tested.\n\
             - Not compared: for the fixed part, end angle R2 of the slow calf stretch, right, because the other \
             side has no finding of it."
        )
    );
    assert!(!text.contains("For none of them"), "{text}");
}

#[test]
fn each_line_for_machines_names_the_observations_it_tells_of() {
    let encoded = encoded(&Node::parse(FIRST).expect("JSON"));
    let node = shown(&encoded.summary);
    let mut named: Vec<String> = Vec::new();
    for line in node
        .items_of("sections")
        .iter()
        .flat_map(|one| one.items_of("lines"))
    {
        let about = line.items_of("about").iter().filter_map(Node::text);
        named.extend(about.map(str::to_owned));
    }
    named.sort();
    named.dedup();

    let mut wanted: Vec<String> = encoded
        .checked
        .record()
        .entries
        .iter()
        .filter(|entry| entry.kind == "Observation")
        .map(|entry| entry.full_url.clone())
        .collect();
    wanted.sort();

    assert_eq!(named, wanted);
}
