#![cfg(test)]
//! Golden files: a row of facts for every measure, and a whole example of every shape, plain FHIR JSON
//! that any outside validator can read.

mod facts;

use crate::document::{catalogue, edited, encoded, lines, now, set, sound};
use crate::every;
use crate::golden::{folder_is, root};
use crate::resource::{all, of_measure};
use fascicle::base::json::Node;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::earlier::of_session;
use fascicle::service::app::encode::encode;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

const FOLDER: &str = "fixtures/emitted";

/// Names the folder that the whole Observation of every measure is written to, for the outside judges.
const WRITE_TO: &str = "FASCICLE_EMITTED";

/// A result of another kind than the sound document has: a name, the measure, and the edits.
type Variant<'a> = (&'a str, &'a str, &'a [(&'a str, &'a str)]);

const VARIANTS: &[Variant<'_>] = &[
    (
        "variant-not-tested",
        "stretch.fast.calf",
        &[("/findings/7", "")],
    ),
    (
        "variant-no-catch",
        "stretch.fast.calf",
        &[
            ("/findings/7/value", r#"{"no_catch":true}"#),
            ("/findings/7/stretch/quality", r#""0""#),
            ("/findings/7/method", r#""handling""#),
            ("/findings/7/instrument", ""),
        ],
    ),
    (
        "variant-bound",
        "range.passive.ankle.dorsiflexion",
        &[
            (
                "/findings/4/ended",
                r#"{"how":"stopped-on-purpose","because":"precaution","why":"to protect the skin"}"#,
            ),
            ("/findings/4/end_feel", ""),
            ("/findings/4/pain_during", r#""4""#),
        ],
    ),
    (
        "variant-fixed",
        "range.passive.ankle.dorsiflexion",
        &[(
            "/findings/4/value",
            r#"{"fixed_at":"20","direction":"plantarflexion","unit":"deg"}"#,
        )],
    ),
    (
        "variant-word",
        "range.active.ankle.plantarflexion",
        &[
            ("/findings/3/value", r#"{"word":"slightly-reduced"}"#),
            ("/findings/3/method", r#""visual-estimate""#),
            ("/findings/3/instrument", ""),
        ],
    ),
    (
        "variant-relative",
        "range.active.ankle.plantarflexion",
        &[
            ("/findings/3/value", r#"{"relative":"less"}"#),
            ("/findings/3/method", r#""visual-estimate""#),
            ("/findings/3/instrument", ""),
        ],
    ),
    (
        "variant-catch-in-words",
        "stretch.fast.calf",
        &[
            ("/findings/7/value", r#"{"word":"late"}"#),
            ("/findings/7/stretch/quality_version", r#""0-5""#),
            ("/findings/7/method", r#""handling""#),
            ("/findings/7/instrument", ""),
        ],
    ),
    (
        "variant-circumstances",
        "session.examination",
        &[("/session/circumstances", CIRCUMSTANCES)],
    ),
];

/// Several of a kind, one without the time that was asked for, and one list that is empty on
/// purpose.
const CIRCUMSTANCES: &str = r#"{
    "handedness":"left",
    "earlier_strokes":[{"words":"invented, right hemisphere","on":"2019"},{"words":"invented, none remembered"}],
    "medicines":[{"words":"invented tablet, 10 mg","last_dose":"2026-11-16T07:30:00+01:00"},{"words":"invented patch","last_dose":"not known"}],
    "injections":[{"words":"invented toxin, 100 units","muscle":"calf","side":"right","on":"2026-09-14"},{"words":"invented toxin, 50 units","muscle":"elbow-flexors","side":"right","on":"2026-09-14"}],
    "alertness":"drowsy",
    "ability_to_answer":"partly",
    "none_known":["splints"]}"#;

/// What changes with every row of the tables, held to be right and then masked.
fn masked(resource: &Node) -> String {
    let sum = &catalogue().sha256;
    let text = resource.pretty();
    let told = usize::from(text.contains("\"Provenance\""));
    assert_eq!(text.matches(sum.as_str()).count(), told);
    text.replace(sum, &"0".repeat(64))
}

/// A session in the second form, with everything that it says beside the first.
fn second_form() -> Node {
    let text = include_str!("../../fixtures/sessions/form-2.json");
    let encoded = encode(text, &Earlier::default(), catalogue(), now());
    let encoded = encoded.map_err(|held| lines(&held.problems));
    encoded.expect("holds").checked.record().bundle()
}

/// The sessions of the demo, the second beside the first.
fn two_sessions() -> [Node; 2] {
    let session = |text: &str, earlier: &Earlier| {
        let encoded = encode(text, earlier, catalogue(), now());
        encoded
            .map_err(|held| lines(&held.problems))
            .expect("holds")
    };
    let first = include_str!("../../fixtures/sessions/first.json");
    let first = session(first, &Earlier::default());
    let earlier = Earlier {
        sessions: vec![of_session(&first.session, &first.measured)],
        ..Earlier::default()
    };
    let second = session(
        include_str!("../../fixtures/sessions/second.json"),
        &earlier,
    );
    [first, second].map(|encoded| encoded.checked.record().bundle())
}

/// The first Observation of every measure.
fn observations() -> BTreeMap<String, Node> {
    let sound = encoded(&sound());
    let one = |measure: &String| {
        let found = of_measure(&sound, measure);
        let first = found.first().copied();
        let first = first.unwrap_or_else(|| every::observation(measure));
        (measure.clone(), first.clone())
    };
    catalogue().measures.keys().map(one).collect()
}

/// The table of facts: its head, and a row a measure.
fn table(observations: &BTreeMap<String, Node>) -> String {
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record(facts::COLUMNS).expect("a row");
    for (measure, observation) in observations {
        let row = facts::row(measure, observation, &masked(observation));
        rows.write_record(row).expect("a row");
    }
    let rows = rows.into_inner().expect("all rows");
    format!("{}{}", facts::HEAD, String::from_utf8(rows).expect("text"))
}

#[test]
fn what_is_emitted_is_what_it_was() {
    let sound = encoded(&sound());
    let observations = observations();
    let mut made = BTreeMap::from([("measures.csv".to_owned(), table(&observations))]);

    let mut shapes = BTreeSet::new();
    for (measure, observation) in &observations {
        let kind = catalogue().measures[measure].kind.word();
        if shapes.insert(facts::shape(kind, observation)) {
            made.insert(format!("{measure}.json"), masked(observation));
        }
    }
    for kind in ["Device", "Provenance"] {
        let name = format!("{}.json", kind.to_lowercase());
        made.insert(name, masked(all(&sound, kind)[0]));
    }
    for (name, measure, edits) in VARIANTS {
        let encoded = encoded(&edited(edits));
        made.insert(
            format!("{name}.json"),
            masked(of_measure(&encoded, measure)[0]),
        );
    }
    let [first, second] = two_sessions();
    made.insert("bundle-first.json".to_owned(), masked(&first));
    made.insert("bundle-second.json".to_owned(), masked(&second));
    made.insert("bundle-form-2.json".to_owned(), masked(&second_form()));

    folder_is(FOLDER, &made);
}

/// Written by `tests/conformance/emitted`, so that the judges read every measure whole; without the
/// variable only the rows are counted.
#[test]
fn every_measure_has_one_whole_observation_for_the_judges() {
    let observations = observations();
    let rows = table(&observations).lines().count();
    let head = facts::HEAD.lines().count() + 1;

    assert_eq!(observations.len(), catalogue().measures.len());
    assert_eq!(rows - head, observations.len());
    if let Some(folder) = std::env::var_os(WRITE_TO) {
        let folder = root("").join(folder);
        fs::create_dir_all(&folder).expect("the folder");
        for (measure, observation) in &observations {
            let file = folder.join(format!("{measure}.json"));
            fs::write(file, masked(observation)).expect("written");
        }
    }
}

#[test]
fn no_change_of_an_observation_escapes_its_row() {
    let observation = every::observation("range.passive.elbow.extension");
    let row = |one: &Node| facts::row("m", one, &masked(one));
    let before = row(observation);

    let mut value = observation.clone();
    set(
        &mut value,
        "/valueQuantity/value",
        Some(Node::Number("16".into())),
    );
    let mut display = observation.clone();
    let word = Some(Node::parse("\"other\"").expect("JSON"));
    set(&mut display, "/code/coding/0/display", word);

    let column = |row: &[String; 13], name: &str| {
        let at = facts::COLUMNS.iter().position(|one| *one == name);
        row[at.expect("a column")].clone()
    };
    assert_eq!(column(&before, "value"), "Quantity 15 deg (degree)");
    assert_eq!(column(&row(&value), "value"), "Quantity 16 deg (degree)");
    assert_ne!(column(&row(&display), "sha256"), column(&before, "sha256"));
}

#[test]
fn the_long_document_has_every_measure_that_can_be_entered_on_both_sides() {
    let given: BTreeSet<(&str, &str)> = every::findings()
        .iter()
        .filter_map(|finding| finding.text_of("measure").zip(finding.text_of("side")))
        .collect();
    let by_hand = catalogue()
        .measures
        .values()
        .filter(|row| row.kind.is_entered());
    let wanted: BTreeSet<(&str, &str)> = by_hand
        .flat_map(|row| {
            let site = row.site.as_deref().expect("a site");
            let sides = catalogue().sites[site].sides.words();
            sides.iter().map(|side| (row.measure.as_str(), *side))
        })
        .collect();

    assert_eq!(given, wanted);
}

#[test]
fn the_variants_are_what_their_names_say() {
    let emitted = |name: &str| {
        let (_, measure, edits) = VARIANTS.iter().find(|(n, _, _)| *n == name).expect("one");
        of_measure(&encoded(&edited(edits)), measure)[0].compact()
    };

    assert!(emitted("variant-not-tested").contains("\"not-performed\""));
    assert!(emitted("variant-no-catch").contains("\"not-applicable\""));
    assert!(emitted("variant-bound").contains("\"comparator\":\">=\""));
    assert!(emitted("variant-fixed").contains("\"value\":-20"));
    assert!(emitted("variant-word").contains("\"slightly-reduced\""));
    assert!(emitted("variant-relative").contains("\"compared-site\""));
    assert!(emitted("variant-catch-in-words").contains("/tardieu-quality-0-5\""));
    let circumstances = emitted("variant-circumstances");
    assert!(circumstances.contains("time of the last dose: invented patch"));
    assert!(circumstances.contains("splints: asked and looked up, none known"));
}
