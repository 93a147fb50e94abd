#![cfg(test)]
//! Random sessions that hold, over every measure of the tables, so that a new row takes part by
//! itself. Everything follows from the number of a session: the same number gives the same text.

use fascicle::base::json::Node;
use fascicle::base::problem::Problem;
use fascicle::service::app::assess::{Earlier, mark};
use fascicle::service::app::encode::encode;
use fascicle::tables::catalogue::Catalogue;
use fascicle::tables::catalogue::rows::{Kind, Measure};
use fastrand::Rng;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::LazyLock;
use uuid::Uuid;

/// Sessions of one person, a week apart, under the same precautions.
pub(crate) const OF_ONE_PERSON: usize = 4;

/// Legal text that is easily spoilt on its way: markup, commands of other languages, formulas,
/// scripts written from right to left, marks that combine, characters of four bytes. A blank other
/// than those of ASCII is left out: the pattern of a string, `[ \r\n\t\S]+`, is read in two ways.
const ODD: [&str; 14] = [
    "<b>5&deg;</b> & <script>alert(1)</script>",
    "'; DROP TABLE observations; --",
    "=HYPERLINK(\"https://invented.example\")",
    "{{7*7}} ${jndi} %s %n \\u0000 \\",
    "יד ימין, شد خفيف",
    "e\u{301}tirement doux, Stra\u{df}e, \u{1f9b5}\u{1f3fd}",
    "first line\nsecond line\r\n\tindented",
    "左足関節の背屈",
    "0, none, null, N/A, NaN, -",
    "\u{2264} 10\u{b0} \u{b1} 2, \u{bd}",
    "a,b;c|d$e\\f",
    "1+ is not 1.5",
    "\u{200f}marked\u{200e}",
    "said \"no\"; it\u{2019}s fine",
];

fn catalogue() -> &'static Catalogue {
    static CATALOGUE: LazyLock<Catalogue> =
        LazyLock::new(|| Catalogue::embedded().expect("sound tables"));
    &CATALOGUE
}

/// The number of sessions that holds every measure that is entered by hand, on both sides.
pub(crate) fn enough() -> usize {
    everything().len().div_ceil(3).max(1000)
}

/// The session of a number, whole and confirmed, of the invented person of its group.
///
/// # Panics
/// When it does not hold: then this generator or the software is wrong.
pub(crate) fn session(number: usize) -> Node {
    let mut rng = seeded(7_919, number);
    let mut document = document(number, &mut rng);
    document["findings"] = findings(number, &mut document, &mut rng).into();
    let traces = traces(&document, &mut rng);
    if !traces.is_empty() {
        document["traces"] = traces.into();
    }
    if is_second_form(person(number)) {
        second_form(&mut document, &mut seeded(65_537, number));
    }
    confirmed(document)
}

/// True for people whose sessions are written in the second form of the document.
pub(crate) const fn is_second_form(person: usize) -> bool {
    person % 2 == 1
}

/// What the second form says beside the first, some of it.
fn second_form(document: &mut Value, rng: &mut Rng) {
    document["fascicle"] = json!("session/2");
    let keys: Vec<Value> = document["performers"]
        .as_array()
        .expect("performers")
        .iter()
        .map(|one| one["key"].clone())
        .collect();
    for finding in document["findings"].as_array_mut().expect("findings") {
        let row = &catalogue()
            .measures
            .get(finding["measure"].as_str().expect("a measure"));
        let of_sensation = row.is_some_and(|row| catalogue().sensation_of(row).is_some());
        if of_sensation && finding["value"]["word"].is_string() {
            finding["value"] = json!({"sensation": word(rng, "sensation")});
            if rng.bool() {
                finding["compared"] = json!({"beside": any(rng, &["face", "higher-up"]),
                    "felt": word(rng, "sensation-compared")});
            }
        }
        if rng.bool() {
            finding["examiner"] = keys[rng.usize(..keys.len())].clone();
        }
        if rng.bool() {
            finding["captured"] = json!({"line": words(rng), "heading": words(rng)});
        }
    }
    let day = document["session"]["performed"]["start"]
        .as_str()
        .and_then(|at| at.get(..10))
        .expect("a time")
        .to_owned();
    let goals = document.get_mut("goals").and_then(Value::as_array_mut);
    for goal in goals.into_iter().flatten() {
        if rng.bool() {
            goal["state"] = json!({"is": word(rng, "goal-state"), "on": day, "words": words(rng)});
        }
    }
    let session = &mut document["session"];
    if session["encounter"].is_object() && rng.bool() {
        session["encounter_at_start"] = json!({
            "system": "https://invented-clinic.example/encounters", "value": "TEST-BEFORE"});
    }
    if rng.u8(..4) == 0 {
        session["visit"] = json!({"outcome": "broken-off", "reason": words(rng)});
    }
}

/// The number of the person of a session.
pub(crate) const fn person(number: usize) -> usize {
    number / OF_ONE_PERSON
}

/// The identifier of an invented person.
pub(crate) fn identifier(person: usize) -> String {
    format!("TEST-RANDOM-{person}")
}

/// The document with every caution of it confirmed.
pub(crate) fn confirmed(mut document: Value) -> Node {
    let now = "2026-11-25T00:00:00Z".parse().expect("a time");
    let held = |document: &Value| {
        let text = document.to_string();
        encode(&text, &Earlier::default(), catalogue(), now).err()
    };
    if let Some(held) = held(&document) {
        assert!(
            held.waits_for_confirmation(),
            "{:#?} {document:#}",
            held.problems
        );
        let by = document["session"]["signed"]["by"].clone();
        let at = document["session"]["entered_at"].clone();
        let confirmation = |problem: &Problem| {
            json!({"code": problem.code.word(), "path": problem.path, "mark": mark(problem),
                "by": by, "at": at, "reason": "seen and measured again"})
        };
        let cautions = held
            .problems
            .iter()
            .filter(|one| one.severity.word() == "caution");
        document["session"]["confirmations"] = cautions.map(confirmation).collect();
    }
    let held = held(&document);
    assert!(
        held.is_none(),
        "{:#?} {document:#}",
        held.map(|held| held.problems)
    );
    Node::parse(&document.to_string()).expect("JSON")
}

/// Every measure that is entered by hand, on both sides, in an order of its own.
fn everything() -> Vec<(&'static Measure, &'static str)> {
    let rows = catalogue().measures.values();
    let by_hand = rows.filter(|row| row.kind.is_entered());
    let mut all: Vec<_> = by_hand
        .flat_map(|row| sides(row).iter().map(move |side| (row, *side)))
        .collect();
    Rng::with_seed(1).shuffle(&mut all);
    all
}

/// The sides a measure has.
pub(crate) fn sides(row: &Measure) -> &'static [&'static str] {
    let site = row
        .site
        .as_ref()
        .and_then(|site| catalogue().sites.get(site));
    site.map_or(&[], |site| site.sides.words())
}

/// Three to five measures for each session; three thirds of a thousand reach them all.
fn of_session(number: usize) -> Vec<(&'static Measure, &'static str)> {
    let all = everything();
    let count = 3 + number % 3;
    let start = number * 3 % all.len();
    all.iter()
        .cycle()
        .skip(start)
        .take(count)
        .copied()
        .collect()
}

fn seeded(first: u64, number: usize) -> Rng {
    Rng::with_seed(first + u64::try_from(number).expect("a small number"))
}

fn any<'a>(rng: &mut Rng, list: &'a [&'a str]) -> &'a str {
    list[rng.usize(..list.len())]
}

fn word(rng: &mut Rng, list: &str) -> String {
    let rows = &catalogue().scales[list].rows;
    rows[rng.usize(..rows.len())].code.clone()
}

fn id(rng: &mut Rng) -> String {
    Uuid::from_u128(rng.u128(..)).to_string()
}

/// Words, sometimes odd ones.
fn words(rng: &mut Rng) -> String {
    match rng.u8(..8) {
        0 => "x".repeat(rng.usize(1..2000)),
        1..5 => any(rng, &ODD).to_owned(),
        _ => "as last week".to_owned(),
    }
}

/// Everything but the findings.
fn document(number: usize, rng: &mut Rng) -> Value {
    let week = number % OF_ONE_PERSON;
    let offset = any(rng, &["Z", "+01:00", "-09:30", "+14:00", "+05:45"]);
    let day = format!("2026-10-{:02}", 1 + week * 7);
    let performers = performers(rng);
    let by = |rng: &mut Rng| performers[rng.usize(..performers.len())]["key"].clone();
    let mut session = json!({
        "id": id(rng),
        "version": 1,
        "source": any(rng, &["https://invented-clinic.example/sessions", "urn:oid:1.2.3.4.5"]),
        "performed": {
            "start": format!("{day}T09:30:00{offset}"),
            "end": format!("{day}T10:{:02}:00.250{offset}", rng.u8(..60)),
        },
        "entered_at": format!("{day}T11:15:00{offset}"),
        "signed": {"by": by(rng), "at": format!("{day}T11:20:00{offset}")},
        "body_position": word(rng, "body-position"),
        "more_affected_side": any(rng, &["left", "right", "both", "neither", "not-known"]),
        "consent": {"given": any(rng, &["yes", "by-somebody-entitled", "no"]), "how": words(rng)},
    });
    places(rng, &mut session);
    if rng.bool() {
        let at = format!("{day}T12:00:00{offset}");
        session["countersigned"] = json!({"by": by(rng), "at": at});
    }
    if rng.bool() {
        let onset = any(rng, &["2024", "2025-02", "2026-03-31"]);
        session["condition"] = json!({"words": words(rng), "onset": onset});
    }
    if rng.bool() {
        session["circumstances"] = circumstances(&day, offset, rng);
    }
    let mut document = json!({
        "fascicle": "session/1",
        "test_data": true,
        "session": session,
        "patient": {
            "identifier": {
                "system": "https://invented-clinic.example/patients",
                "value": identifier(person(number)),
            },
            "birth_date": any(rng, &["1961", "1961-07", "1961-07-14"]),
        },
        "performers": performers,
        "instruments": instruments(rng),
    });
    if rng.bool() {
        document["patient"]["family_name"] = json!("Testperson");
    }
    own_words(&mut document, &day, offset, &mut seeded(31_337, number));
    let precautions = precautions(person(number));
    if precautions.is_empty() {
        document["no_precautions"] = json!("asked and looked up, none known");
    } else {
        document["precautions"] = precautions.into();
    }
    document
}

/// Where a session took place and its stay, each in half of them.
fn places(rng: &mut Rng, session: &mut Value) {
    for (name, system) in [("location", "locations"), ("encounter", "encounters")] {
        if rng.bool() {
            let system = format!("https://invented-clinic.example/{system}");
            session[name] = json!({"system": system, "value": format!("TEST-{}", rng.u32(..))});
        }
    }
}

/// What people said in their own words, some of it, sometimes.
fn own_words(document: &mut Value, day: &str, offset: &str, rng: &mut Rng) {
    let author = document["session"]["signed"]["by"].clone();
    let mut list = |rng: &mut Rng, name: &str, one: &mut dyn FnMut(&mut Rng) -> Value| {
        let count = if rng.bool() { rng.usize(1..=3) } else { 0 };
        if count > 0 {
            document[name] = (0..count).map(|_| one(rng)).collect();
        }
    };
    list(rng, "goals", &mut |rng| {
        let target = any(rng, &["not set", "2026-09-01", "2026-12-24"]);
        json!({"words": words(rng), "target": target, "agreed_with": words(rng)})
    });
    list(rng, "handling", &mut |rng| {
        let review = any(rng, &["2026-10-10", "2026-12-14"]);
        json!({"words": words(rng), "author": author, "review": review})
    });
    list(
        rng,
        "recommendations",
        &mut |rng| json!({"to": words(rng), "words": words(rng)}),
    );
    list(rng, "told", &mut |rng| {
        let at = format!("{day}T09:{:02}:00{offset}", rng.u8(30..60));
        let mut told = json!({"words": words(rng), "to": words(rng), "at": at, "how": words(rng)});
        if rng.bool() {
            told["prompt"] = json!({"code": "angle.unusual", "path": "/findings/0/value",
                "session": id(rng)});
        }
        told
    });
    for name in ["conclusion", "priority"] {
        if rng.bool() {
            document[name] = json!({"words": words(rng)});
        }
    }
}

/// What may change a finding from one day to the next, in part.
fn circumstances(day: &str, offset: &str, rng: &mut Rng) -> Value {
    let mut said = json!({});
    if rng.bool() {
        said["handedness"] = json!(word(rng, "handedness"));
        said["alertness"] = json!(word(rng, "alertness"));
        said["ability_to_answer"] = json!(word(rng, "ability-to-answer"));
    }
    match rng.u8(..3) {
        0 => {
            said["none_known"] = json!(["earlier-strokes", "medicines", "injections", "splints"]);
        }
        1 => {
            let dose = format!("{day}T07:00:00{offset}");
            said["medicines"] = json!([
                {"words": words(rng), "last_dose": any(rng, &["not known", &dose])}
            ]);
            said["earlier_strokes"] = json!([{"words": words(rng), "on": "2019-05"}]);
        }
        _ => {
            let (row, side) = of_session(rng.usize(..900))[0];
            let muscles: Vec<&String> = catalogue().stretch_signs.keys().collect();
            let muscle = muscles[rng.usize(..muscles.len())];
            let of_muscle = any(rng, &["left", "right"]);
            said["injections"] = json!([
                {"words": words(rng), "muscle": muscle, "side": of_muscle, "on": "2026-08-03"}
            ]);
            let worn = word(rng, "splint-worn");
            said["splints"] = json!([{"site": row.site, "side": side, "worn": worn}]);
        }
    }
    if said == json!({}) {
        said["alertness"] = json!(word(rng, "alertness"));
    }
    said
}

fn performers(rng: &mut Rng) -> Vec<Value> {
    let of =
        |value: &str| json!({"system": "https://invented-clinic.example/staff", "value": value});
    let unit = json!({"system": "https://invented-clinic.example/units", "value": "NEURO-REHAB"});
    let all = [
        ("therapist", "PT-1", "physiotherapist"),
        (
            "student",
            "PT-99",
            "physiotherapy student \u{2013} supervised",
        ),
        ("ot", "OT-4", "occupational therapist & \"hand\" specialist"),
    ];
    let some = all.iter().take(rng.usize(1..=all.len()));
    some.map(|(key, value, role)| {
        json!({"key": key, "identifier": of(value), "role": role, "organisation": unit})
    })
    .collect()
}

fn instruments(rng: &mut Rng) -> Vec<Value> {
    let of = |value: &str| json!({"system": "https://invented-clinic.example/instruments", "value": value});
    let all = [
        json!({"key": "goniometer", "kind": "goniometer", "identifier": of("GON-RANDOM"),
            "resolution": "1", "unit": "deg"}),
        json!({"key": "sensor", "kind": "inertial sensor", "identifier": of("IMU-RANDOM"),
            "resolution": "0.01", "unit": "deg"}),
    ];
    all.into_iter().take(rng.usize(1..=2)).collect()
}

/// None to three precautions of a person: every limit in turn, at sites that are examined.
fn precautions(person: usize) -> Vec<Value> {
    let mut rng = seeded(104_729, person);
    let first = person * OF_ONE_PERSON;
    let examined: Vec<_> = (first..first + OF_ONE_PERSON)
        .flat_map(of_session)
        .collect();
    let limits = words_of("precaution-limit", person);
    let count = person % 4;
    (0..count)
        .map(|index| {
            let (row, side) = examined[rng.usize(..examined.len())];
            let limit = limits[(person + index) % limits.len()];
            precaution(row, side, (limit, person), &mut rng)
        })
        .collect()
}

/// The words of a list that the form of a person's sessions has.
fn words_of(list: &str, person: usize) -> Vec<&'static str> {
    let rows = catalogue().scales[list].rows.iter();
    let form = if is_second_form(person) { 2 } else { 1 };
    rows.filter(|row| row.since_form.is_none_or(|since| since <= form))
        .map(|row| row.code.as_str())
        .collect()
}

fn precaution(row: &Measure, side: &str, (limit, person): (&str, usize), rng: &mut Rng) -> Value {
    let status = word(rng, "precaution-status");
    let mut precaution = json!({
        "id": id(rng),
        "site": row.site,
        "side": side,
        "status": status,
        "source": any(rng, &words_of("precaution-source", person)),
        "limit": limit,
        "reason": words(rng),
        "set": any(rng, &["2026-09-01", "not known"]),
    });
    if rng.bool() {
        precaution["review"] = json!(any(rng, &["2026-10-05", "2026-12-15"]));
    }
    if rng.bool() {
        precaution["end"] = json!(any(rng, &["2026-10-10", "2027-01-01"]));
    }
    if status == "lifted" {
        precaution["lifted"] = json!({"by": "Dr Invented, surgeon", "on": "2026-10-12"});
    }
    if limit == "no-movement-beyond" {
        match movement(row, catalogue()) {
            Some(movement) => {
                precaution["movement"] = json!(movement);
                precaution["angle"] = json!(any(rng, &["0", "-10", "45.5", "90"]));
            }
            None => precaution["limit"] = json!("limit-unknown"),
        }
    }
    precaution
}

/// A movement that some measure of the region of a site has.
fn movement(row: &Measure, catalogue: &Catalogue) -> Option<String> {
    let region = |row: &Measure| {
        let site = row.site.as_deref()?;
        Some(catalogue.sites.get(site)?.region.clone())
    };
    let mut rows = catalogue.measures.values();
    rows.find_map(|other| {
        let limits = other.axis.is_some() && region(other) == region(row);
        limits.then(|| other.movement.clone())?
    })
}

fn findings(number: usize, document: &mut Value, rng: &mut Rng) -> Vec<Value> {
    let mut findings = Vec::new();
    let mut seen = BTreeSet::new();
    for (row, side) in of_session(number) {
        let repeats = if rng.u8(..6) == 0 { 2 } else { 1 };
        for repeat in 1..=repeats {
            if seen.insert((&row.measure, side, repeat)) {
                let mut finding = finding(row, side, document, rng);
                if repeat > 1 {
                    finding["repeat"] = json!(repeat);
                }
                findings.push(finding);
            }
        }
    }
    findings
}

/// Half of the stretches that were done are recorded, where there is a sensor.
fn traces(document: &Value, rng: &mut Rng) -> Vec<Value> {
    let findings = document["findings"].as_array().into_iter().flatten();
    let instruments = document["instruments"].as_array().into_iter().flatten();
    if !instruments.into_iter().any(|one| one["key"] == "sensor") {
        return Vec::new();
    }
    let stretched = findings.filter(|finding| finding.get("stretch").is_some());
    let stretched: Vec<&Value> = stretched.collect();
    let recorded = stretched.into_iter().filter(|_| rng.bool());
    let recorded: Vec<&Value> = recorded.collect();
    recorded
        .into_iter()
        .map(|finding| trace(finding, rng))
        .collect()
}

/// A stretch at one pace from rest to rest, in tenths of a degree.
fn trace(finding: &Value, rng: &mut Rng) -> Value {
    let key = finding["measure"].as_str().expect("a measure");
    let row = &catalogue().measures[key];
    let ways = [&row.movement, &row.opposite].map(|way| way.clone().expect("a movement"));
    let (start, pace) = (rng.i32(-900..0), rng.i32(2..60));
    let tenths = |tenths: i32| {
        let sign = if tenths < 0 { "-" } else { "" };
        format!("{sign}{}.{}", tenths.abs() / 10, tenths.abs() % 10)
    };
    let angles: Vec<String> = (0..rng.i32(2..90))
        .map(|sample| tenths(start + (pace * (sample - 20)).clamp(0, 700) + rng.i32(-2..=2)))
        .collect();
    let mut trace = json!({
        "id": id(rng), "measure": key, "side": finding["side"],
        "speed": finding["stretch"]["speed"], "angle_unit": "deg",
        "positive": any(rng, &[&ways[0], &ways[0], &ways[0], &ways[1]]),
        "instrument": "sensor",
    });
    for shared in ["position", "neighbour", "repeat", "at"] {
        if let Some(value) = finding.get(shared) {
            trace[shared] = value.clone();
        }
    }
    if let Some(id) = finding.get("id") {
        trace["finding"] = id.clone();
    }
    if rng.bool() {
        let times: Vec<String> = (0..angles.len())
            .map(|number| (number * 10 + rng.usize(..5)).to_string())
            .collect();
        trace["times"] = json!(times);
        trace["time_unit"] = json!("ms");
    } else {
        trace["period"] = json!(any(rng, &["0.01", "0.005", "0.0166667"]));
        trace["time_unit"] = json!("s");
    }
    if rng.u8(..4) == 0 {
        trace["note"] = json!(words(rng));
    }
    trace["angles"] = json!(angles);
    trace
}

fn finding(row: &Measure, side: &str, document: &Value, rng: &mut Rng) -> Value {
    let mut finding = json!({"measure": row.measure, "side": side, "method": word(rng, "method")});
    if let Some(joint) = &row.neighbour {
        let position = word(rng, "neighbour-position");
        finding["neighbour"] = json!({"joint": joint, "position": position});
    }
    if rng.u8(..5) == 0 {
        finding["position"] = json!(word(rng, "body-position"));
    }
    if rng.u8(..3) == 0 {
        finding["note"] = json!(words(rng));
    }
    if rng.u8(..5) == 0 {
        finding["id"] = json!(id(rng));
    }
    if rng.u8(..5) == 0 {
        finding["condition"] = json!(word(rng, "condition"));
    }
    if rng.u8(..6) == 0 {
        finding["at"] = document["session"]["performed"]["start"].clone();
    }
    if rng.u8(..6) == 0 {
        finding["not_tested"] = json!({"reason": reason(row, side, document, rng)});
        return finding;
    }
    if rng.u8(..6) == 0 {
        finding["pain_during"] = json!(rng.u8(..=10).to_string());
    }
    found(row, &mut finding, rng);
    let measured = finding["method"] == "goniometry";
    let angle = finding["value"]
        .get("unit")
        .is_some_and(|unit| unit == "deg");
    match (measured, angle) {
        (true, true) => {
            let instruments = document["instruments"].as_array().expect("instruments");
            let one = &instruments[rng.usize(..instruments.len())];
            finding["instrument"] = one["key"].clone();
        }
        (true, false) => finding["method"] = json!("handling"),
        (false, _) => {}
    }
    finding
}

/// A reason for not testing; a precaution only where one stands at the same site.
fn reason(row: &Measure, side: &str, document: &Value, rng: &mut Rng) -> String {
    let stated = document["precautions"].as_array().into_iter().flatten();
    let stands = |one: &&Value| {
        let status = one["status"].as_str();
        one["site"] == json!(row.site)
            && one["side"] == side
            && matches!(status, Some("active" | "to-be-confirmed"))
    };
    if stated.clone().any(|one| stands(&one)) && rng.bool() {
        return "precaution".to_owned();
    }
    let reason = word(rng, "not-tested-reason");
    if reason == "precaution" {
        "not-enough-time".to_owned()
    } else {
        reason
    }
}

/// The value, how it ended, and what belongs to it, by the kind of the measure.
fn found(row: &Measure, finding: &mut Value, rng: &mut Rng) {
    let compared = matches!(
        row.kind,
        Kind::Range | Kind::Word | Kind::Grade | Kind::Amount
    );
    if compared && finding["side"] != "middle" && rng.u8(..6) == 0 {
        finding["value"] = json!({"relative": word(rng, "relative")});
    } else {
        finding["value"] = value(row, rng);
    }
    let parts = parts(row, &finding["value"], rng);
    if !parts.is_empty() {
        finding["parts"] = parts.into();
    }
    if row.kind.has_ending() {
        finding["ended"] = ending(rng);
        if finding["value"].get("fixed_at").is_some() {
            finding["ended"] = json!({"how": "end-of-range"});
        }
        // An end feel belongs to an end that was reached, or says itself what stopped the movement.
        let how = finding["ended"]["how"].as_str().unwrap_or_default();
        let says_so = catalogue().end_feel_endings.iter();
        let says_so: Vec<&String> = says_so
            .filter(|(_, ending)| *ending == how)
            .map(|(end_feel, _)| end_feel)
            .collect();
        if how == "end-of-range" && rng.bool() {
            finding["end_feel"] = json!(word(rng, "end-feel"));
        } else if let Some(end_feel) = says_so.first().filter(|_| rng.bool()) {
            finding["end_feel"] = json!(end_feel);
        }
    }
    if matches!(row.kind, Kind::StretchSlow | Kind::StretchFast) {
        stretch(row.kind, finding, rng);
    }
}

fn value(row: &Measure, rng: &mut Rng) -> Value {
    let listed = |rng: &mut Rng| word(rng, row.scale.as_deref().expect("a list"));
    match row.kind {
        Kind::Range | Kind::StretchFast | Kind::Amount
            if row.scale.is_some() && rng.u8(..4) == 0 =>
        {
            json!({"word": listed(rng)})
        }
        Kind::StretchFast if rng.u8(..3) == 0 => json!({"no_catch": true}),
        Kind::Range | Kind::StretchSlow | Kind::StretchFast => angle(row, rng),
        Kind::Word => json!({"word": listed(rng)}),
        Kind::Grade => graded(row, rng),
        Kind::Score => json!({"score": rng.u8(..=10).to_string()}),
        Kind::Amount => amount(row, rng),
        Kind::Derived
        | Kind::Trace
        | Kind::TraceCatch
        | Kind::TraceLine
        | Kind::Comparison
        | Kind::Precaution
        | Kind::Statement
        | Kind::Panel => panic!("not entered by hand"),
    }
}

/// A grade of the scale, or of a version of it that is declared.
fn graded(row: &Measure, rng: &mut Rng) -> Value {
    let scale = row.scale.as_deref().expect("a scale");
    let versions: Vec<_> = catalogue().versions_of(scale).collect();
    if versions.is_empty() || rng.bool() {
        return json!({"grade": word(rng, scale)});
    }
    let version = versions[rng.usize(..versions.len())];
    json!({"grade": word(rng, &version.list), "grade_version": version.version})
}

/// A number in one of the units of a measure, no finer than it is counted.
fn amount(row: &Measure, rng: &mut Rng) -> Value {
    let mut units = vec![row.unit.as_deref().expect("a unit")];
    units.extend(
        catalogue()
            .unit_choices_of(row)
            .map(|choice| choice.unit.as_str()),
    );
    let unit = any(rng, &units);
    let most = catalogue().counted_units.get(unit).copied();
    json!({"amount": digits(most, rng), "unit": unit})
}

fn digits(most: Option<u32>, rng: &mut Rng) -> &'static str {
    match most {
        Some(0) => any(rng, &["0", "8", "40", "5000"]),
        Some(1) => any(rng, &["0", "0.5", "2.0", "8", "40"]),
        Some(_) | None => any(rng, &["0", "8", "12.50", "40", "5000"]),
    }
}

/// Some of the parts that a measure may have, where something is there to have them.
fn parts(row: &Measure, value: &Value, rng: &mut Rng) -> Vec<Value> {
    let nothing = value["word"] == "absent" || value["amount"] == "0";
    let rows = catalogue().parts_of(row).filter(|_| !nothing);
    let some = rows.filter_map(|part| {
        if rng.bool() {
            return None;
        }
        let said = match (&part.list, &part.unit) {
            (Some(list), _) => json!({"part": part.part, "word": word(rng, list)}),
            (None, Some(unit)) => {
                let amount = any(rng, &["0", "2.5", "40", "120.25"]);
                json!({"part": part.part, "amount": amount, "unit": unit})
            }
            (None, None) => panic!("a part is a word or a number"),
        };
        Some(said)
    });
    some.collect()
}

fn ending(rng: &mut Rng) -> Value {
    let how = word(rng, "ending");
    let mut ending = json!({"how": how});
    if how == "stopped-on-purpose" {
        ending["because"] = json!(word(rng, "not-tested-reason"));
        ending["why"] = json!(words(rng));
    }
    ending
}

fn stretch(kind: Kind, finding: &mut Value, rng: &mut Rng) {
    let mut stretch = json!({"speed": "V1"});
    if kind == Kind::StretchFast {
        stretch["speed"] = json!(any(rng, &["V2", "V3"]));
        let felt = finding["value"].get("no_catch").is_none();
        let qualities: &[&str] = if felt { &["2", "3", "4"] } else { &["0", "1"] };
        stretch["quality"] = json!(any(rng, qualities));
        stretch["quality_version"] = json!(any(rng, &["0-4", "0-5"]));
    }
    if rng.bool() {
        stretch["velocity"] = json!(any(rng, &["5", "90.5", "300", "1200"]));
    }
    finding["stretch"] = stretch;
}

/// An angle, mostly within the bounds of its row, sometimes beyond what is usual, never impossible.
fn angle(row: &Measure, rng: &mut Rng) -> Value {
    let bound = |bound: &Option<fascicle::base::exact::Exact>, other: i32| {
        let text = bound.map(|exact| exact.to_string());
        text.and_then(|text| text.parse().ok()).unwrap_or(other)
    };
    let (low, high) = (bound(&row.ask_below, -90), bound(&row.ask_above, 90));
    let beyond = if rng.u8(..8) == 0 { 10 } else { 0 };
    let whole = rng.i32((low - beyond).max(-194)..=(high + beyond).min(194));
    let part = any(
        rng,
        &["", "", "", ".5", ".0", ".25", ".123456789012345678901234"],
    );
    let digits = format!("{}{part}", whole.unsigned_abs());
    if row.mode.as_deref() == Some("passive") && row.movement.is_some() && rng.u8(..8) == 0 {
        let toward = if whole < 0 {
            &row.opposite
        } else {
            &row.movement
        };
        return json!({"fixed_at": digits, "direction": toward, "unit": "deg"});
    }
    let field = if whole < 0 { "lacks" } else { "beyond_neutral" };
    json!({field: digits, "unit": "deg"})
}
