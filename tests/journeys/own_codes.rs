#![cfg(test)]
//! Hospital IT lays a map of codes of its own over ours.

use crate::document::{catalogue, encoded, lines, now, set, sound};
use fascicle::base::json::{Key, Node, text};
use fascicle::base::problem::Problems;
use fascicle::delivery::outbox::Outbox;
use fascicle::fhir::check;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::submit::{Submitted, submit};
use fascicle::tables::catalogue::overlay::Overlay;
use fascicle::tables::catalogue::rows::{Origin, Relation};
use fascicle::tables::catalogue::{Catalogue, TableFile, conformance, sha256_hex};
use std::collections::BTreeMap;

const MAP: &str = include_str!("../../fixtures/tables/code-map.json");
const NAME: &str = "code-map.json";

fn laid(map: &str) -> Result<Catalogue, Vec<String>> {
    let own = [TableFile {
        name: NAME,
        text: map,
    }];
    let read = Overlay::new(&own).read();
    read.map_err(|faults| faults.iter().map(ToString::to_string).collect())
}

fn own() -> Catalogue {
    laid(MAP).expect("the map holds")
}

fn bundle(catalogue: &Catalogue) -> Node {
    let text = sound().compact();
    let encoded = encode(&text, &Earlier::default(), catalogue, now()).expect("holds");
    encoded.checked.record().bundle()
}

/// Every difference of two trees: codings by what they say, everything else by its path.
fn differences(before: &Node, after: &Node, path: &str, told: &mut Vec<String>) {
    if path.ends_with("/coding") {
        let codings = |node: &Node| -> Vec<String> {
            let items = node.items().iter();
            let said = |coding: &Node| {
                let part = |key| coding.text_of(key).unwrap_or_default();
                format!("{}|{} {}", part("system"), part("code"), part("display"))
            };
            items.map(said).collect()
        };
        let (old, new) = (codings(before), codings(after));
        let gone = old.iter().filter(|one| !new.contains(one));
        told.extend(gone.map(|one| format!("- {one}")));
        for (place, one) in new.iter().enumerate().filter(|(_, one)| !old.contains(one)) {
            told.push(format!("+ {one} at {place}"));
        }
        return;
    }
    match (before, after) {
        (Node::Object(old), Node::Object(new)) => {
            let keys = |members: &[(Key, Node)]| -> Vec<Key> {
                members.iter().map(|(key, _)| key.clone()).collect()
            };
            assert_eq!(keys(old), keys(new), "{path}");
            for ((key, old), (_, new)) in old.iter().zip(new) {
                differences(old, new, &format!("{path}/{key}"), told);
            }
        }
        (Node::List(old), Node::List(new)) => {
            for (place, (old, new)) in old.iter().zip(new).enumerate() {
                differences(old, new, &format!("{path}/{place}"), told);
            }
            let more = new.iter().skip(old.len());
            told.extend(more.map(|one| format!("+ {path} {}", one.compact())));
            assert!(old.len() <= new.len(), "{path}");
        }
        (old, new) if old == new => {}
        (old, new) => told.push(format!("{path}: {} -> {}", old.compact(), new.compact())),
    }
}

#[test]
fn a_map_that_replaces_retires_and_adds_changes_three_codings_and_nothing_else() {
    let own = own();
    let mut told = Vec::new();

    differences(&bundle(catalogue()), &bundle(&own), "", &mut told);

    let hash = sha256_hex(MAP.as_bytes());
    let (codings, others): (Vec<String>, Vec<String>) = told
        .into_iter()
        .partition(|line| line.contains('|') && !line.contains("/entity"));
    assert_eq!(
        codings,
        [
            "+ https://invented-clinic.example/codes|CLONUS-ANKLE Clonus at the ankle at 0",
            "- http://loinc.org|72514-3 Pain severity - 0-10 verbal numeric rating [Score] - Reported",
            "+ http://loinc.org|38208-5 Pain severity - Reported at 1",
            "- http://snomed.info/sct|765771006 Modified Ashworth Scale",
        ]
    );
    // What was coded with which tables stands in the Provenance, and is no coding.
    let [tables, map] = others.as_slice() else {
        panic!("{others:#?}");
    };
    assert!(tables.contains("/entity/1/what/display: "), "{tables}");
    assert!(tables.contains(&own.sha256), "{tables}");
    assert!(map.contains(&format!("{NAME} of the operator's tables, SHA-256 {hash}")));
}

#[test]
fn our_own_map_laid_over_ours_changes_no_code() {
    let resources: BTreeMap<String, Node> =
        conformance::resources(catalogue()).into_iter().collect();
    let mut map = resources["ConceptMap-published-codes.json"].clone();
    map.set("date", text("2026-11-25"));

    let laid = laid(&map.pretty()).expect("our own map holds");

    let said = |catalogue: &Catalogue| -> Vec<_> {
        let rows = catalogue.codes.iter();
        rows.map(|row| {
            let (system, code) = (row.system.clone(), row.code.clone());
            (row.thing.clone(), system, code, row.display.clone())
        })
        .collect()
    };
    let relations = |catalogue: &Catalogue| -> Vec<Relation> {
        catalogue.codes.iter().map(|row| row.relation).collect()
    };
    assert_eq!(said(&laid), said(catalogue()));
    assert_eq!(relations(&laid), relations(catalogue()));
    assert!(laid.codes.iter().all(|row| row.origin == Origin::Ours));
    for (key, site) in &catalogue().sites {
        assert_eq!(laid.sites.get(key), Some(site));
    }
}

#[test]
fn the_origin_of_each_row_is_known() {
    let own = own();

    let operators: Vec<(&str, &str)> = own
        .codes
        .iter()
        .filter(|row| row.origin == Origin::Operator)
        .map(|row| (row.thing.as_str(), row.code.as_str()))
        .collect();
    assert_eq!(
        operators,
        [
            ("clonus.ankle", "CLONUS-ANKLE"),
            ("pain.intensity.calf", "38208-5")
        ]
    );
    assert_eq!(own.own_files[NAME], sha256_hex(MAP.as_bytes()));
    assert!(catalogue().own_files.is_empty());
}

/// A site that is mapped emits the operator's code beside ours, and both sides are asked for.
#[test]
fn a_site_can_be_given_a_code_of_the_operator() {
    let group = |elements: &str| {
        format!(
            r#"{{"resourceType":"ConceptMap","url":"https://invented-clinic.example/m",
            "status":"active","date":"2026-11-25","publisher":"Invented Clinic","group":[{elements}]}}"#
        )
    };
    let local = group(
        r#"{"source":"https://fascicle.example/fhir/CodeSystem/site","target":"https://invented-clinic.example/sites",
        "element":[{"code":"right.calf","target":[{"code":"CALF-R","display":"Calf, right","equivalence":"equivalent"}]}]}"#,
    );
    let one_side = group(
        r#"{"source":"https://fascicle.example/fhir/CodeSystem/site","target":"http://snomed.info/sct",
        "element":[{"code":"left.ankle","target":[{"equivalence":"unmatched"}]}]}"#,
    );

    let bundle = bundle(&laid(&local).expect("holds")).compact();
    assert!(bundle.contains(
        r#"{"system":"https://invented-clinic.example/sites","code":"CALF-R","display":"Calf, right"},{"system":"https://fascicle.example/fhir/CodeSystem/site","code":"right.calf""#
    ));
    let told = laid(&one_side).expect_err("one side alone");
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(
        told[0].ends_with("ankle: give the codes of both sides or of none"),
        "{told:#?}"
    );
}

/// What stands in the map, what takes its place, what the line after the told one holds, and what is
/// told. LOINC's check digit of 38208 is 5 (LOINC Users' Guide).
const BROKEN: &[(&str, &str, &str, &str)] = &[
    (
        "38208-5",
        "38208-6",
        r#""38208-5""#,
        "pain.intensity.calf: 38208-6 fails its check digit",
    ),
    (
        r#""pain.intensity.calf""#,
        r#""pain.intensity.tail""#,
        r#""38208-5""#,
        "pain.intensity.tail is no measure and no word",
    ),
    (
        r#""wider""#,
        r#""narrower""#,
        r#""38208-5""#,
        r#"pain.intensity.calf: equivalence "narrower" is not one of equivalent, wider, unmatched; a code that says more, or something else, would say what was not found"#,
    ),
    (
        r#""wider""#,
        r#""relatedto""#,
        r#""38208-5""#,
        r#"pain.intensity.calf: equivalence "relatedto" is not one of equivalent, wider, unmatched; a code that says more, or something else, would say what was not found"#,
    ),
    (
        r#""equivalence": "unmatched""#,
        r#""equivalence": "unmatched", "code": "765771006""#,
        r#""unmatched""#,
        "tone.modified-ashworth.calf: unmatched stands alone and without a code",
    ),
    (
        r#""display": "Clonus at the ankle","#,
        "",
        r#""CLONUS-ANKLE""#,
        "clonus.ankle: the target needs code and display",
    ),
    (
        r#""display": "Clonus at the ankle","#,
        r#""display": "Clonus at the ankle", "dependsOn": [],"#,
        r#""CLONUS-ANKLE""#,
        "dependsOn is not understood here",
    ),
    (
        r#""CLONUS-ANKLE""#,
        r#""CLONUS  ANKLE""#,
        r#""CLONUS-ANKLE""#,
        "clonus.ankle: CLONUS  ANKLE of https://invented-clinic.example/codes is no code of a system",
    ),
    (
        "https://invented-clinic.example/codes",
        "codes of ours",
        r#""CLONUS-ANKLE""#,
        "clonus.ankle: CLONUS-ANKLE of codes of ours is no code of a system",
    ),
    (
        "https://fascicle.example/fhir/CodeSystem/measure",
        "https://invented-clinic.example/measure",
        r#""pain.intensity.calf""#,
        r#"source "https://invented-clinic.example/measure" of the group is no code system of ours"#,
    ),
    (
        "  \"publisher\": \"Invented Clinic\",\n",
        "",
        r#""url""#,
        "publisher is missing; a row without a source is not taken",
    ),
    (
        r#""active""#,
        r#""draft""#,
        r#""url""#,
        "status is not active, so it is not in use",
    ),
    (
        r#""ConceptMap""#,
        r#""ValueSet""#,
        r#""url""#,
        "it is no ConceptMap of FHIR R4",
    ),
    (
        r#""name": "BedsideCodes","#,
        r#""name""#,
        r#""status""#,
        "no JSON at column 3",
    ),
];

#[test]
fn every_fault_of_a_map_is_told_at_its_line() {
    for (old, new, next, what) in BROKEN {
        let edited = MAP.replacen(old, new, 1);
        assert_ne!(edited, MAP, "{old}");
        let line = MAP.lines().position(|line| line.contains(next));

        let told = laid(&edited).expect_err(new);

        let line = line.expect("a line");
        // The head of a map is told at its first line.
        let line = if *next == r#""url""# { 1 } else { line };
        assert_eq!(told, [format!("profiles/{NAME}:{line}: {what}")]);
    }
}

/// Two measures at one site must not begin with one code, whoever gives it.
#[test]
fn two_measures_of_one_site_cannot_share_a_first_coding_in_a_map() {
    let element =
        r#"{"code":"CODE","target":[{"code":"PAIN","display":"Pain","equivalence":"equivalent"}]}"#;
    let elements =
        ["tone.rest.calf", "pain.intensity.calf"].map(|code| element.replace("CODE", code));
    let map = MAP.replacen(
        r#""element": ["#,
        &format!(r#""element": [{},"#, elements[0]),
        1,
    );
    let map = map.replacen(
        r#""target": "http://loinc.org""#,
        r#""target": "https://invented-clinic.example/codes""#,
        1,
    );
    let map = map
        .replace("38208-5", "PAIN")
        .replacen("\"wider\"", "\"equivalent\"", 1);

    let told = laid(&map).expect_err("shared");

    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(
        told[0].ends_with("another measure at the same site has the same first coding"),
        "{told:#?}"
    );
}

/// Observations are held against the operator's map as well.
#[test]
fn what_was_coded_with_other_tables_is_told_of_an_observation_from_elsewhere() {
    let judged = |catalogue: &Catalogue, measure: &str, edit: &dyn Fn(&mut Node)| {
        let encoded = encoded(&sound());
        let found = crate::resource::of_measure(&encoded, measure);
        let mut observation = (*found.first().expect("emitted")).clone();
        edit(&mut observation);
        let mut problems = Problems::new();
        check::resource(&observation, catalogue, &mut problems);
        lines(&problems.sorted())
    };
    let as_it_is = |_: &mut Node| {};
    let wider_first = |observation: &mut Node| {
        let codings = observation
            .member_mut("code")
            .and_then(|code| code.member_mut("coding"));
        codings.expect("codings").items_mut().reverse();
    };
    let own = own();

    assert_eq!(judged(catalogue(), "clonus.ankle", &as_it_is), [""; 0]);
    assert_eq!(
        judged(&own, "clonus.ankle", &as_it_is),
        ["note code.missing /code"]
    );
    assert_eq!(
        judged(&own, "pain.intensity.calf", &wider_first),
        ["note code.first-unknown /code", "note code.missing /code"]
    );
    assert_eq!(
        judged(catalogue(), "pain.intensity.calf", &wider_first),
        ["error code.wider-first /code"]
    );
}

async fn submitted(outbox: &Outbox, catalogue: &Catalogue, document: &Node) -> Vec<String> {
    let targets = ["ward".to_owned()];
    let came = submit(outbox, catalogue, &targets, &document.compact(), now()).await;
    match came.expect("the store answers") {
        Submitted::Accepted { told, .. } => lines(&told),
        Submitted::Held(held) => panic!("{:#?}", held.problems),
    }
}

/// A correction is coded with the tables of its day; what it corrects is found again, because no
/// identifier depends on a code.
#[tokio::test]
async fn a_session_accepted_under_other_tables_can_be_corrected() {
    let folder = tempfile::tempdir().expect("a folder");
    let outbox = Outbox::open(folder.path()).await.expect("a store");
    let own = own();
    let first = sound();
    let mut second = first.clone();
    set(
        &mut second,
        "/session/version",
        Some(Node::Number("2".to_owned())),
    );
    let pain = first
        .items_of("findings")
        .iter()
        .position(|finding| finding.text_of("measure") == Some("pain.intensity.calf"));
    let place = format!("/findings/{}/value/score", pain.expect("a finding"));
    set(&mut second, &place, Some(text("4")));
    let ids = first_ids(&first);
    let findings = second.member_mut("findings").expect("findings").items_mut();
    for (finding, id) in findings.iter_mut().zip(ids) {
        finding.set("id", text(id));
    }

    submitted(&outbox, catalogue(), &first).await;
    submitted(&outbox, &own, &second).await;

    let kept = outbox.sessions().await.expect("the sessions");
    let records: Vec<Node> = kept
        .iter()
        .map(|kept| Node::parse(kept.record.as_it_stands().open()).expect("JSON"))
        .collect();
    let [before, after] = records.as_slice() else {
        panic!("{} sessions", records.len());
    };
    let (before, after) = (by_identifier(before), by_identifier(after));
    assert!(before.keys().eq(after.keys()), "{before:#?} {after:#?}");
    let corrected: Vec<&str> = after
        .values()
        .filter(|(_, status)| status == "corrected")
        .map(|(measure, _)| measure.as_str())
        .collect();
    let mut corrected = corrected;
    corrected.sort_unstable();
    // The finding that was corrected, those whose coding the other tables changed, and the panel,
    // whose narrative tells of the corrected one.
    assert_eq!(
        corrected,
        [
            "clonus.ankle",
            "pain.intensity.calf",
            "session.examination",
            "tone.modified-ashworth.calf"
        ]
    );
    trail_names_the_tables(&outbox, &own).await;
}

/// Measure and status of each Observation, by its identifier.
fn by_identifier(record: &Node) -> BTreeMap<String, (String, String)> {
    let resources = record.items_of("entry").iter();
    let observations = resources
        .filter_map(|entry| entry.member("resource"))
        .filter(|one| one.text_of("resourceType") == Some("Observation"));
    let said = |one: &Node| {
        let identifier = one.items_of("identifier")[0].text_of("value")?.to_owned();
        let status = one.text_of("status")?.to_owned();
        let own = one.at(&["code", "coding"])?.items().iter();
        let own = own.filter_map(|coding| coding.text_of("code"));
        let own = own.filter(|code| code.contains('.')).collect::<String>();
        Some((identifier, (own, status)))
    };
    observations.filter_map(said).collect()
}

/// The identities that the first acceptance gives, as a correction has to name them.
fn first_ids(document: &Node) -> Vec<String> {
    let encoded = encoded(document);
    let findings = encoded.session.findings.iter();
    findings.map(|finding| finding.id.to_string()).collect()
}

async fn trail_names_the_tables(outbox: &Outbox, own: &Catalogue) {
    let rows = outbox.trail(None).await.expect("the trail");
    let accepted = rows.iter().filter(|row| row.event == "accepted");
    let details: Vec<Node> = accepted
        .map(|row| Node::parse(&row.detail).expect("JSON"))
        .collect();
    let tables: Vec<Option<&str>> = details
        .iter()
        .map(|detail| detail.text_of("tables_sha256"))
        .collect();
    assert_eq!(
        tables,
        [Some(catalogue().sha256.as_str()), Some(own.sha256.as_str())]
    );
    let map = details[1].at(&["own_tables", NAME]).and_then(Node::text);
    assert_eq!(map, Some(sha256_hex(MAP.as_bytes()).as_str()));
    assert_eq!(
        details[0].member("own_tables"),
        Some(&Node::Object(Vec::new()))
    );
}
