//! What reads from outside, each with the laws that hold for any bytes whatever.
//!
//! The fuzz targets call these, and `tests/properties` calls them with the corpus.

#![cfg_attr(
    test,
    expect(unreachable_pub, reason = "the fuzz targets are a crate of their own")
)]

use fascicle::base::exact::{Exact, NotExact};
use fascicle::base::json::{Node, NotJson, object, text};
use fascicle::base::private::Private;
use fascicle::base::problem::{Problem, Problems};
use fascicle::delivery::deliver::answer::{Meaning, meaning};
use fascicle::delivery::deliver::compare::drift;
use fascicle::delivery::deliver::gate::{Expected, person};
use fascicle::delivery::deliver::held::matches;
use fascicle::delivery::deliver::http::{Answer, server_words};
use fascicle::delivery::deliver::plan::Mode;
use fascicle::delivery::deliver::retry::retry_after as wait;
use fascicle::examination::intake::kept::form_of;
use fascicle::examination::intake::sheet::Sheet;
use fascicle::examination::intake::sheet::write::{Columns, Writer};
use fascicle::examination::intake::trace_csv::columns;
use fascicle::examination::trace::motion::Motion;
use fascicle::examination::trace::parameters::Parameters;
use fascicle::examination::trace::signal::Signal;
use fascicle::examination::trace::verdict::verdict;
use fascicle::service::app::assess::{Earlier, mark};
use fascicle::service::app::encode::{Encoded, Held, encode};
use fascicle::service::app::given::Given;
use fascicle::service::app::{statement, words};
use fascicle::service::config::Settings;
use fascicle::tables::catalogue::overlay::Overlay;
use fascicle::tables::catalogue::{Catalogue, TableFile};
use std::sync::LazyLock;

const SOUND: &str = include_str!("../../fixtures/sessions/sound.json");

/// A parser: its name, which is the folder of its corpus, and the function.
pub type Parser = (&'static str, fn(&[u8]));

/// Every parser.
pub const ALL: &[Parser] = &[
    ("answer", answer),
    ("exact", exact),
    ("json", json),
    ("resource", resource),
    ("retry_after", retry_after),
    ("session", session),
    ("settings", settings),
    ("sheet", sheet),
    ("statement", statement),
    ("tables", tables),
    ("times", times),
    ("trace", trace),
];

fn catalogue() -> &'static Catalogue {
    static CATALOGUE: LazyLock<Catalogue> =
        LazyLock::new(|| Catalogue::embedded().expect("sound tables"));
    &CATALOGUE
}

fn now() -> chrono::DateTime<chrono::Utc> {
    "2026-11-25T00:00:00Z".parse().expect("a time")
}

fn encoding(document: &str) -> Result<Encoded, Held> {
    encode(document, &Earlier::default(), catalogue(), now())
}

/// A session document is encoded, or held with reasons that a person can act on.
pub fn session(bytes: &[u8]) {
    let Ok(document) = std::str::from_utf8(bytes) else {
        return;
    };
    match encoding(document) {
        Ok(encoded) => holds(&encoded),
        Err(held) => {
            reasons(&held.problems);
            if held.waits_for_confirmation()
                && let Some(document) = confirmed(document, &held.problems)
                && let Ok(encoded) = encoding(&document)
            {
                holds(&encoded);
            }
        }
    }
}

/// A sheet ends, its sessions are encoded or held with reasons, and every place is in it.
pub fn sheet(bytes: &[u8]) {
    static BESIDE: LazyLock<Node> = LazyLock::new(|| {
        Node::parse(include_str!("../../fixtures/sheets/beside.json")).expect("JSON")
    });
    for beside in [None, Some(&*BESIDE)] {
        let Ok(mut sheet) = Sheet::open(bytes, beside) else {
            continue;
        };
        while let Ok(Some(session)) = sheet.next_session() {
            let given = Given::rows(session);
            let rows = given.rows.as_ref().expect("rows");
            let told = match given.encode(&Earlier::default(), catalogue(), now()) {
                Ok(encoded) => {
                    comes_back(&encoded);
                    encoded.told
                }
                Err(held) => {
                    reasons(&held.problems);
                    held.problems
                }
            };
            let lines = bytes
                .iter()
                .filter(|byte| matches!(byte, b'\n' | b'\r'))
                .fold(1, |lines: u64, _| lines + 1);
            for problem in told {
                let place = rows.place(&problem.path);
                assert!(place.is_none_or(|place| place.row <= lines));
            }
        }
    }
}

/// What is written as a sheet and read again says the same.
fn comes_back(encoded: &Encoded) {
    let document = Node::parse(&encoded.canonical).expect("JSON");
    let mut columns = Columns::default();
    if columns.add(&document).is_err() {
        return;
    }
    let writer = Writer::new(columns);
    let header = writer.header().expect("a header");
    let text = header + &writer.rows(&document).expect("rows");
    let mut sheet = Sheet::open(text.as_bytes(), None).expect("its header reads");
    let again = sheet.next_session().expect("it reads").expect("a session");
    let again = encoding(&again.text).expect("it holds");
    assert_eq!(again.checked.record(), encoded.checked.record());
}

/// What is encoded reads back to itself, is understood later, and stands our own check.
fn holds(encoded: &Encoded) {
    let record = encoded.checked.record();
    let bundle = record.bundle();
    assert_eq!(Node::parse(&bundle.compact()).expect("JSON"), bundle);
    assert!(words::understood(form_of(encoded.session.form), &encoded.canonical).is_ok());
    let again = encoding(&encoded.canonical).expect("the canonical form says the same");
    assert_eq!(again.checked.record(), record);
    assert_eq!(again.canonical, encoded.canonical);
    let mut problems = Problems::new();
    fascicle::fhir::check::resource(&bundle, catalogue(), &mut problems);
    assert!(!problems.any_error(), "{:#?}", problems.sorted());
}

/// Whatever is held says where and what, and none of it is a fault of ours.
fn reasons(problems: &[Problem]) {
    const OURS: [&str; 6] = [
        "document.types",
        "document.schema",
        "record.json",
        "record.twice",
        "record.reference",
        "id.form",
    ];
    assert!(!problems.is_empty());
    for problem in problems {
        assert!(!OURS.contains(&problem.code.word()), "{problem:#?}");
        assert!(!problem.what.is_empty() && !problem.hint.is_empty());
        assert!(problem.path.is_empty() || problem.path.starts_with('/'));
    }
}

/// The document with every caution confirmed by its first performer.
fn confirmed(document: &str, problems: &[Problem]) -> Option<String> {
    let mut node = Node::parse(document).ok()?;
    let key = node.items_of("performers").first()?.text_of("key")?;
    let by = text(key);
    let session = node.member_mut("session")?;
    let at = text(session.at(&["signed", "at"])?.text()?);
    let confirmations = problems.iter().map(|problem| {
        object([
            ("code", text(problem.code.word())),
            ("path", text(problem.path.clone())),
            ("mark", text(mark(problem))),
            ("by", by.clone()),
            ("at", at.clone()),
            ("reason", text("seen and measured again")),
        ])
    });
    session.set("confirmations", Node::List(confirmations.collect()));
    Some(node.compact())
}

/// A resource from anywhere is judged, and a kept record is read back.
pub fn resource(bytes: &[u8]) {
    let Ok(document) = std::str::from_utf8(bytes) else {
        return;
    };
    if let Ok(node) = Node::parse(document) {
        let mut problems = Problems::new();
        fascicle::fhir::check::resource(&node, catalogue(), &mut problems);
        let told = problems.sorted();
        assert!(told.iter().all(|problem| !problem.what.is_empty()));
    }
    if let Ok(entries) = fascicle::fhir::record::entries_of(document) {
        assert!(
            entries
                .iter()
                .all(|entry| entry.resource.member("resourceType").is_some())
        );
    }
}

/// A tree prints to text that reads to the same tree, and takes what the JSON library takes.
pub fn json(bytes: &[u8]) {
    let Ok(document) = std::str::from_utf8(bytes) else {
        return;
    };
    // The library takes no byte order mark, we take one.
    let unmarked = document.strip_prefix('\u{feff}').unwrap_or(document);
    let library = serde_json::from_str::<serde_json::Value>(unmarked);
    match Node::parse(document) {
        Ok(node) => {
            for form in [node.compact(), node.pretty()] {
                assert_eq!(Node::parse(&form).expect("JSON"), node);
            }
            let canonical = node.canonical();
            let again = Node::parse(&canonical).expect("JSON");
            assert_eq!(again.canonical(), canonical);
            // The library holds numbers as floats; some have none.
            let number = library.err().map(|cause| cause.to_string());
            assert!(number.is_none_or(|cause| cause.contains("number out of range")));
        }
        Err(NotJson::Syntax { .. }) => assert!(library.is_err()),
        Err(NotJson::Twice { key, path }) => {
            assert!(path.is_empty() || path.starts_with('/'), "{key}");
        }
        Err(NotJson::Deep | NotJson::Many | NotJson::Wide) => {}
    }
}

/// The file of a trace is read or its faults are told, and what was read comes to an answer.
pub fn trace(bytes: &[u8]) {
    let Ok(csv) = std::str::from_utf8(bytes) else {
        return;
    };
    let mut problems = Problems::new();
    let Some(read) = columns(csv, "/traces/0/file", 5000, &mut problems) else {
        assert!(problems.any_error());
        return;
    };
    assert!(problems.is_empty() && read.times.len() == read.angles.len());
    let floats = |numbers: &[Exact]| -> Vec<f64> {
        let numbers = numbers.iter().map(|one| one.to_string().parse());
        numbers.map(|one| one.expect("a float")).collect()
    };
    let (times, angles) = (floats(&read.times), floats(&read.angles));
    if times.windows(2).all(|pair| pair[0] < pair[1]) {
        let parameters = Parameters::of(catalogue()).expect("every parameter");
        let signal = Signal::stamped(&times, angles, &parameters);
        let Some(motion) = signal.map(|signal| Motion::of(&signal, &parameters)) else {
            assert!(times.len() < 2);
            return;
        };
        match motion {
            Ok(motion) => {
                let told = verdict(&motion, Some(&motion), &parameters);
                assert!(!told.reasons.is_empty());
            }
            Err(reasons) => assert!(!reasons.is_empty()),
        }
    }
}

/// A decimal prints as it was written, and sums are exact or refused.
pub fn exact(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let mut numbers = text.split(' ').map(|text| (text, Exact::parse(text)));
    let (Some((text, Ok(one))), second) = (numbers.next(), numbers.next()) else {
        return;
    };
    assert_eq!(one.to_string(), text);
    assert!(
        text.bytes()
            .all(|byte| byte.is_ascii_digit() || b"-.".contains(&byte))
    );
    assert_eq!(one.negated().negated(), one);
    assert_eq!(one.plus(Exact::ZERO), Ok(one));
    assert!(one.minus(one).is_ok_and(Exact::is_zero));
    assert!(!one.magnitude().is_negative());
    if let Some((_, Ok(two))) = second
        && let (Ok(sum), Ok(other)) = (one.plus(two), two.plus(one))
    {
        assert_eq!(sum, other);
        // Going back may need more digits than can be held; then it is refused, never rounded.
        let back = sum.minus(two);
        assert!(back == Ok(one) || back == Err(NotExact::Digits));
        assert_eq!(Exact::parse(&sum.to_string()), Ok(sum));
    }
}

/// The first line names a table, the rest is its text: it is laid over ours, or told at its line.
pub fn tables(bytes: &[u8]) {
    let Ok(file) = std::str::from_utf8(bytes) else {
        return;
    };
    let Some((name, text)) = file.split_once('\n') else {
        return;
    };
    match Overlay::new(&[TableFile { name, text }]).read() {
        Ok(catalogue) => {
            assert!(!fascicle::tables::catalogue::conformance::resources(&catalogue).is_empty());
            if let Err(held) = encode(SOUND, &Earlier::default(), &catalogue, now()) {
                assert!(!held.problems.is_empty());
            }
        }
        Err(faults) => {
            assert!(!faults.is_empty());
            assert!(faults.iter().all(|fault| !fault.what.is_empty()));
        }
    }
}

/// A text stands at each time of a session: it is told at each, or it is a time of FHIR.
pub fn times(bytes: &[u8]) {
    let Ok(time) = std::str::from_utf8(bytes) else {
        return;
    };
    let mut node = Node::parse(SOUND).expect("JSON");
    let session = node.member_mut("session").expect("a session");
    let performed = object([("start", text(time)), ("end", text(time))]);
    session.set("performed", performed);
    session.set("entered_at", text(time));
    let signed = object([("by", text("therapist")), ("at", text(time))]);
    session.set("signed", signed);
    match encoding(&node.compact()) {
        Ok(encoded) => {
            let record = encoded.checked.record();
            let starts = record.entries.iter().filter_map(|entry| {
                let period = entry.resource.at(&["effectivePeriod", "start"]);
                period.and_then(Node::text)
            });
            assert!(
                starts
                    .into_iter()
                    .all(|start| start == time && is_instant(start))
            );
        }
        Err(held) => {
            reasons(&held.problems);
            // Only times are told of, and what they decide: whether the person was born, and which
            // precautions stood.
            let decided =
                |path: &str| path == "/patient/birth_date" || path.starts_with("/precautions/");
            let wrong = held.problems.iter().map(|one| one.path.as_str());
            assert!(
                wrong
                    .filter(|path| !path.starts_with("/session/"))
                    .all(decided)
            );
        }
    }
}

/// The form of an instant: "YYYY-MM-DDThh:mm:ss.sss+zz:zz" (FHIR R4, datatypes.html#instant).
fn is_instant(text: &str) -> bool {
    let bytes = text.as_bytes();
    let fixed = b"dddd-dd-ddTdd:dd:dd";
    let fits = |(form, byte): (&u8, &u8)| match form {
        b'd' => byte.is_ascii_digit(),
        other => byte == other,
    };
    bytes.len() > fixed.len()
        && fixed.iter().zip(bytes).all(fits)
        && (text.ends_with('Z')
            || bytes
                .get(bytes.len() - 6)
                .is_some_and(|b| b"+-".contains(b)))
}

/// The first line is a status, the rest a body: an answer is taken for what it is or for unknown.
pub fn answer(bytes: &[u8]) {
    let split = bytes
        .iter()
        .position(|byte| *byte == b'\n')
        .unwrap_or(bytes.len());
    let (head, body) = bytes.split_at(split);
    let status = std::str::from_utf8(head)
        .ok()
        .and_then(|head| head.parse().ok());
    let Some(answer) = Answer::read(status.unwrap_or(200), body.to_vec(), None) else {
        return;
    };
    if meaning(&answer, 1) == Meaning::Stored {
        assert!((200..300).contains(&answer.status) && answer.body.is_some());
        assert_eq!(meaning(&answer, 2), Meaning::Unknown);
    }
    assert!(!server_words(&answer).open().is_empty());
    for kind in ["Observation", "Provenance", "Device", "Patient"] {
        for resource in matches(answer.clone(), kind).unwrap_or_default() {
            assert_eq!(resource.text_of("resourceType"), Some(kind));
            assert!(resource.text_of("id").is_some_and(is_id));
            assert!(drift(&resource, &resource).is_empty());
        }
    }
    let expected = Expected {
        birth_date: Private::new("1961-07".to_owned()),
        family_name: Some(Private::new("Testperson".to_owned())),
    };
    if let Some(body) = &answer.body
        && let Ok(reference) = person(body.open(), "s", "v", &expected, &[])
    {
        let id = reference.strip_prefix("Patient/").expect("a reference");
        assert!(is_id(id), "{id}");
    }
}

/// `[A-Za-z0-9\-\.]{1,64}` (FHIR R4, datatypes.html#id)
fn is_id(text: &str) -> bool {
    let legal = |byte: u8| byte.is_ascii_alphanumeric() || b"-.".contains(&byte);
    (1..=64).contains(&text.len()) && text.bytes().all(legal)
}

/// A statement is read whatever it holds, and its words cannot steer a terminal.
pub fn statement(bytes: &[u8]) {
    let Some(answer) = Answer::read(200, bytes.to_vec(), None) else {
        return;
    };
    let Some(body) = &answer.body else {
        return;
    };
    let lines = statement::read(body.open(), true, Mode::Transaction);
    assert!(!lines.is_empty());
    for line in lines {
        assert!(
            !line.what.is_empty() && !line.what.contains(char::is_control),
            "{line:?}"
        );
    }
}

/// A wait is at most a day.
pub fn retry_after(bytes: &[u8]) {
    if let Ok(text) = std::str::from_utf8(bytes)
        && let Some(asked) = wait(text, now())
    {
        assert!(asked <= std::time::Duration::from_hours(24));
        assert!(fascicle::delivery::deliver::retry::next(9, Some(asked), 0, now()) >= now());
    }
}

/// Settings name addresses without a user in them, and no target twice.
pub fn settings(bytes: &[u8]) {
    if let Ok(text) = std::str::from_utf8(bytes)
        && let Ok(settings) = Settings::read(text)
    {
        let mut names: Vec<&str> = settings
            .targets
            .iter()
            .map(|one| one.name.as_str())
            .collect();
        names.sort_unstable();
        assert!(names.windows(2).all(|pair| pair[0] != pair[1]));
        for target in &settings.targets {
            let base = target.base.open();
            assert!(base.starts_with("http") && !base.contains('@') && !base.ends_with('/'));
            assert!(!target.timeout.is_zero());
        }
    }
}
