#![cfg(test)]
//! What a session came to beside the other side, beside tables and beside last time, and which row
//! of the tables said so.

use crate::compared::{came_to, of};
use crate::document::{catalogue, encoded, now, set, sound};
use crate::facts::disagreements;
use crate::resource::{all, own_code};
use crate::store::Store;
use fascicle::base::json::Node;
use fascicle::examination::compare::part::Input;
use fascicle::examination::compare::reason::NotCompared;
use fascicle::examination::compare::{Comparison, Rule};
use fascicle::examination::measure::way::Differs;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::earlier::of_session;
use fascicle::service::app::encode::{Encoded, encode};
use fascicle::service::app::view::in_words;
use fascicle::tables::catalogue::overlay::Overlay;
use fascicle::tables::catalogue::{Catalogue, TableFile};

const FIRST: &str = include_str!("../../fixtures/sessions/first.json");
const SECOND: &str = include_str!("../../fixtures/sessions/second.json");
const ERRORS: &str = include_str!("../../profiles/measurement_error.csv");

fn node(text: &str) -> Node {
    Node::parse(text).expect("JSON")
}

/// A document with edits: a JSON Pointer and the JSON to stand there, nothing to remove it.
fn with(text: &str, edits: &[(&str, &str)]) -> Node {
    let mut document = node(text);
    for (pointer, json) in edits {
        set(
            &mut document,
            pointer,
            (!json.is_empty()).then(|| node(json)),
        );
    }
    document
}

fn after(first: &Node, second: &Node, catalogue: &Catalogue) -> Encoded {
    let before = encode(&first.compact(), &Earlier::default(), catalogue, now()).expect("holds");
    let earlier = Earlier {
        sessions: vec![of_session(&before.session, &before.measured)],
        ..Earlier::default()
    };
    encode(&second.compact(), &earlier, catalogue, now()).expect("holds")
}

fn about<'a>(encoded: &'a Encoded, rule: Rule, measure: &str, side: &str) -> &'a Comparison {
    let found = of(encoded, rule)
        .into_iter()
        .find(|one| one.about.row.measure == measure && one.about.finding.side.word() == side);
    found.unwrap_or_else(|| panic!("{} of {measure}, {side}", rule.code()))
}

fn verdict(one: &Comparison) -> &'static str {
    one.outcome.as_ref().expect("compared").verdict.code()
}

/// The tables with some rows exchanged in one of them.
fn tables(name: &str, text: &str) -> Catalogue {
    let own = [TableFile { name, text }];
    Overlay::new(&own).read().expect("the tables hold")
}

/// The Observation of a comparison, by the first code it carries.
fn emitted<'a>(encoded: &'a Encoded, code: &str) -> Vec<&'a Node> {
    let found = all(encoded, "Observation").into_iter();
    found
        .filter(|one| own_code(one.member("code"), "comparison") == Some(code))
        .collect()
}

fn component<'a>(observation: &'a Node, name: &str) -> Vec<&'a Node> {
    let parts = observation.items_of("component").iter();
    parts
        .filter(|part| own_code(part.member("code"), "component") == Some(name))
        .collect()
}

const EXTENSION: &str = "range.passive.elbow.extension";
const FLEXION: &str = "range.passive.elbow.flexion";

/// Source: Armstrong 1998, J Shoulder Elbow Surg 7:573: one tester, more than 7 degrees of extension
/// and more than 6 of flexion.
#[test]
fn a_change_names_the_row_it_was_judged_by_and_leaves_with_its_digits() {
    let encoded = after(&node(FIRST), &node(SECOND), catalogue());

    let extension = about(&encoded, Rule::Change, EXTENSION, "right");
    assert_eq!(came_to(extension), Ok("10".to_owned()));
    assert_eq!(verdict(extension), "higher");
    let row = &extension.rows[0];
    assert_eq!(row.key, "armstrong-1998-extension-passive-same");
    assert_eq!((row.version.as_str(), row.sha256.len()), ("1998", 64));
    let flexion = about(&encoded, Rule::Change, FLEXION, "right");
    assert_eq!(
        (came_to(flexion), verdict(flexion)),
        (Ok("4".to_owned()), "within-error")
    );
    let observation = emitted(&encoded, "change.range.passive.elbow.extension")[0];
    let value = observation
        .at(&["valueQuantity", "value"])
        .map(Node::compact);
    assert_eq!(value.as_deref(), Some("10"));
    let told = component(observation, "comparison-row")[0].text_of("valueString");
    assert!(told.is_some_and(|told| told.contains("armstrong-1998-extension-passive-same")));
    // In whom the error was found stands wherever the row is told.
    let people = "38 people with disease of elbow, forearm or wrist; active or passive is not said";
    assert!(told.is_some_and(|told| told.contains(people)), "{told:?}");
    let listed = in_words(extension, catalogue());
    assert!(listed.rows[0].contains(people), "{:?}", listed.rows);
    assert!(encoded.summary.text().contains(people));
    let rule = component(observation, "comparison-rule")[0].text_of("valueString");
    assert_eq!(rule, Some("change/1"));
    let verdict = component(observation, "comparison-verdict")[0];
    let verdict = own_code(verdict.member("valueCodeableConcept"), "verdict");
    assert_eq!(verdict, Some("higher"));
}

#[test]
fn what_was_derived_points_to_what_went_in_also_in_an_earlier_session() {
    let before = encode(FIRST, &Earlier::default(), catalogue(), now()).expect("holds");
    let encoded = after(&node(FIRST), &node(SECOND), catalogue());

    let observation = emitted(&encoded, "change.range.passive.elbow.extension")[0];

    let sources = observation.items_of("derivedFrom");
    let here: Vec<&str> = encoded
        .checked
        .record()
        .entries
        .iter()
        .map(|e| e.full_url.as_str())
        .collect();
    assert!(here.contains(&sources[0].text_of("reference").expect("here")));
    let urn = sources[1]
        .at(&["identifier", "value"])
        .and_then(Node::text)
        .expect("earlier");
    let then = before
        .checked
        .record()
        .entries
        .iter()
        .find(|entry| entry.full_url == urn);
    let then = then.expect("an Observation of the earlier session");
    assert_eq!(
        own_code(then.resource.member("code"), "measure"),
        Some(EXTENSION)
    );
    assert!(sources[1].member("reference").is_none());
}

#[test]
fn one_row_of_a_table_changes_the_result_and_the_tables_that_the_provenance_names() {
    let wider = ERRORS.replace(
        "goniometry,goniometer,same,none,7,deg",
        "goniometry,goniometer,same,none,12,deg",
    );
    let own = tables("measurement_error.csv", &wider);
    let provenance = |encoded: &Encoded| {
        let entities = all(encoded, "Provenance")[0].items_of("entity").to_vec();
        entities
            .iter()
            .map(Node::compact)
            .collect::<Vec<_>>()
            .join("\n")
    };

    let ours = after(&node(FIRST), &node(SECOND), catalogue());
    let theirs = after(&node(FIRST), &node(SECOND), &own);

    let judged = |encoded: &Encoded| verdict(about(encoded, Rule::Change, EXTENSION, "right"));
    assert_eq!((judged(&ours), judged(&theirs)), ("higher", "within-error"));
    assert!(provenance(&ours).contains(&catalogue().sha256));
    assert!(provenance(&theirs).contains(&own.sha256) && own.sha256 != catalogue().sha256);
    assert!(provenance(&theirs).contains("measurement_error.csv of the operator's tables"));
    let hash = |encoded: &Encoded| {
        about(encoded, Rule::Change, EXTENSION, "right").rows[0]
            .sha256
            .clone()
    };
    assert_ne!(hash(&ours), hash(&theirs));
}

#[test]
fn another_tester_takes_another_row_and_several_people_count_as_another() {
    let other = with(SECOND, &[("/performers/0/identifier/value", "\"PT-8\"")]);
    let second = r#"{"key":"student","identifier":{"system":"https://invented-clinic.example/staff",
        "value":"PT-9"},"role":"student","organisation":
        {"system":"https://invented-clinic.example/units","value":"NEURO-REHAB"}}"#;
    let several = with(SECOND, &[("/performers/1", second)]);

    for document in [other, several] {
        let encoded = after(&node(FIRST), &document, catalogue());

        let change = about(&encoded, Rule::Change, EXTENSION, "right");
        assert_eq!(
            (came_to(change), verdict(change)),
            (Ok("10".to_owned()), "within-error")
        );
        assert_eq!(
            change.rows[0].key,
            "armstrong-1998-extension-passive-different"
        );
    }
}

#[test]
fn a_row_for_a_goniometer_never_serves_a_visual_estimate() {
    let edits: Vec<(String, &str)> = (23..27)
        .flat_map(|index| {
            let at = |field: &str| format!("/findings/{index}/{field}");
            [
                (at("method"), "\"visual-estimate\""),
                (at("instrument"), ""),
            ]
        })
        .collect();
    let edits: Vec<(&str, &str)> = edits
        .iter()
        .map(|(at, json)| (at.as_str(), *json))
        .collect();

    let encoded = after(&with(FIRST, &edits), &with(SECOND, &edits), catalogue());

    let change = about(&encoded, Rule::Change, EXTENSION, "right");
    assert_eq!(
        (came_to(change), verdict(change)),
        (Ok("10".to_owned()), "not-judged")
    );
    assert!(change.rows.is_empty());
}

#[test]
fn an_ordinal_grade_moves_by_steps_and_one_step_is_within_usual_disagreement() {
    let measure = "tone.modified-ashworth.calf";
    let encoded = after(&node(FIRST), &node(SECOND), catalogue());
    let far = with(SECOND, &[("/findings/12/value/grade", "\"3\"")]);

    let one = about(&encoded, Rule::Change, measure, "right");
    assert_eq!(came_to(one), Ok("step-lower".to_owned()));
    assert_eq!(
        came_to(about(&encoded, Rule::Change, measure, "left")),
        Err(NotCompared::NotTested)
    );
    let far = after(&node(FIRST), &far, catalogue());
    let far = about(&far, Rule::Change, measure, "right");
    assert_eq!(came_to(far), Ok("several-steps-higher".to_owned()));
    let observation = emitted(&encoded, "change.tone.modified-ashworth.calf")[0];
    let value = own_code(observation.member("valueCodeableConcept"), "verdict");
    assert_eq!(value, Some("step-lower"));
    assert!(observation.member("valueQuantity").is_none());
}

#[test]
fn what_else_differed_is_told_with_the_change() {
    let circumstances = |dose: &str, alertness: &str| {
        format!(
            r#"{{"medicines":[{{"words":"invented tablet","last_dose":"{dose}"}}],
            "alertness":"{alertness}","splints":[{{"site":"elbow","side":"right","worn":"on-during"}}]}}"#
        )
    };
    let then = circumstances("2026-10-19T07:30:00+02:00", "alert");
    let now =
        circumstances("2026-11-16T03:00:00+01:00", "drowsy").replace("on-during", "off-during");
    let first = with(FIRST, &[("/session/circumstances", &then)]);
    let second = with(SECOND, &[("/session/circumstances", &now)]);

    let encoded = after(&first, &second, catalogue());

    let told = about(&encoded, Rule::Change, EXTENSION, "right")
        .told
        .join("\n");
    for wanted in [
        "last time 19 October 2026 at 09:30",
        "same tester",
        "alertness: then alert, now drowsy",
        "splint: then kept on during the examination, now taken off for the examination",
        "invented tablet: then last dose 2 h 0 min before, now last dose 6 h 30 min before",
    ] {
        assert!(told.contains(wanted), "{wanted} not in {told}");
    }
    let left = about(&encoded, Rule::Change, EXTENSION, "left")
        .told
        .join("\n");
    assert!(!left.contains("splint"), "{left}");
    let note = emitted(&encoded, "change.range.passive.elbow.extension")[0];
    let note = note.items_of("note")[0].text_of("text").unwrap_or_default();
    assert!(note.contains("alertness: then alert, now drowsy"), "{note}");
}

#[test]
fn neither_side_is_the_reference_where_both_are_affected_or_nobody_knows() {
    let edit = |side: &str| with(FIRST, &[("/session/more_affected_side", side)]);

    for (side, wanted) in [
        ("\"right\"", Ok("-20".to_owned())),
        ("\"left\"", Ok("20".to_owned())),
        ("\"neither\"", Ok("20".to_owned())),
        ("\"both\"", Err(NotCompared::BothAffected)),
        ("\"not-known\"", Err(NotCompared::SideNotKnown)),
    ] {
        let encoded = encoded(&edit(side));

        let found = of(&encoded, Rule::SideDifference).into_iter();
        let mut found = found.filter(|one| one.about.row.measure == EXTENSION);
        assert_eq!(found.next().map(came_to), Some(wanted.clone()), "{side}");
        let sent = emitted(&encoded, "side-difference.range.passive.elbow.extension");
        assert_eq!(sent.len(), usize::from(wanted.is_ok()), "{side}");
    }
}

/// A session of nothing but stretches of the calf and the elbow flexors.
fn stretches(findings: &[String]) -> Node {
    let mut document = sound();
    set(&mut document, "/precautions", Some(node("[]")));
    set(
        &mut document,
        "/no_precautions",
        Some(node("\"asked and looked up, none known\"")),
    );
    set(&mut document, "/session/confirmations", None);
    set(
        &mut document,
        "/findings",
        Some(node(&format!("[{}]", findings.join(",")))),
    );
    document
}

/// One stretch: what, side, and its angle in the direction in which the muscle lengthens.
fn stretch(what: &str, side: &str, degrees: &str) -> String {
    let neighbour = if what.contains("calf") {
        r#""neighbour":{"joint":"knee","position":"straight"},"#
    } else {
        ""
    };
    let value = match degrees.strip_prefix('-') {
        Some(lacks) => format!(r#""lacks":"{lacks}""#),
        None => format!(r#""beyond_neutral":"{degrees}""#),
    };
    let how = if what.contains(".slow.") {
        r#"{"speed":"V1"}"#
    } else {
        r#"{"speed":"V3","quality":"2","quality_version":"0-4"}"#
    };
    format!(
        r#"{{"measure":"{what}","side":"{side}",{neighbour}"value":{{{value},"unit":"deg"}},
        "ended":{{"how":"end-of-range"}},"method":"goniometry","instrument":"goniometer",
        "stretch":{how}}}"#
    )
}

/// The tables with errors of the stretches of the calf, which nobody has published.
fn with_stretch_errors(sem: &str) -> Catalogue {
    let row = |key: &str, measure: &str| {
        format!(
            "{key},{measure},any,goniometry,any,same,{sem},none,deg,on,invented,local,invented,2026-11-25\n"
        )
    };
    let rows = row("zz-fast", "stretch.fast.calf") + &row("zz-slow", "stretch.slow.calf");
    tables("measurement_error.csv", &format!("{ERRORS}{rows}"))
}

/// Source: Boyd and Graham 1999, Eur J Neurol 6(S4):S23 (R1, R2); worked pairs: elbow flexors caught
/// at 60 degrees of flexion and ending at 20 give 40; wrist flexors caught at -10 and ending at 40 of
/// extension give 50; calf ending at 5, caught at -20, other side 15: dynamic 25, fixed 10, share
/// 25/35 = 0.71.
#[test]
fn the_parts_of_a_stretch_are_those_of_the_worked_pairs() {
    let of_one = |slow: String, fast: String, measure: &str| {
        let encoded = encoded(&stretches(&[slow, fast]));
        came_to(about(&encoded, Rule::DynamicPart, measure, "right"))
    };

    let elbow = of_one(
        stretch("stretch.slow.elbow-flexors", "right", "-20"),
        stretch("stretch.fast.elbow-flexors", "right", "-60"),
        "stretch.slow.elbow-flexors",
    );
    let wrist = of_one(
        stretch("stretch.slow.wrist-flexors", "right", "40"),
        stretch("stretch.fast.wrist-flexors", "right", "-10"),
        "stretch.slow.wrist-flexors",
    );
    assert_eq!((elbow, wrist), (Ok("40".to_owned()), Ok("50".to_owned())));
    let calf = calf("15", "5", "-20", &with_stretch_errors("3"));
    assert_eq!(
        calf,
        [
            Ok("25".to_owned()),
            Ok("10".to_owned()),
            Ok("0.71".to_owned())
        ]
    );
}

/// Dynamic part, fixed part and share of a calf: the end of the slow stretch on the other side and
/// here, and the catch.
fn calf(
    other: &str,
    slow: &str,
    fast: &str,
    catalogue: &Catalogue,
) -> [Result<String, NotCompared>; 3] {
    let document = stretches(&[
        stretch("stretch.slow.calf", "left", other),
        stretch("stretch.slow.calf", "right", slow),
        stretch("stretch.fast.calf", "right", fast),
    ]);
    let encoded =
        encode(&document.compact(), &Earlier::default(), catalogue, now()).expect("holds");
    parts(&encoded)
}

fn parts(encoded: &Encoded) -> [Result<String, NotCompared>; 3] {
    let rules = [Rule::DynamicPart, Rule::FixedPart, Rule::DynamicShare];
    rules.map(|rule| came_to(about(encoded, rule, "stretch.slow.calf", "right")))
}

#[test]
fn a_share_needs_a_whole_beyond_its_error_and_parts_that_add_up() {
    let number = |text: &str| Ok(text.to_owned());

    assert_eq!(
        calf("15", "5", "-20", catalogue()),
        [
            number("25"),
            number("10"),
            Err(NotCompared::NoPublishedError)
        ]
    );
    // The whole is 8 degrees; its error is 1.96 times the root of 18, which is 8.3.
    assert_eq!(
        calf("7", "5", "-1", &with_stretch_errors("3")),
        [number("6"), number("2"), Err(NotCompared::WithinError)]
    );
    // More range than on the other side shows as a fixed part below zero.
    assert_eq!(
        calf("15", "20", "-20", &with_stretch_errors("3")),
        [number("40"), number("-5"), Err(NotCompared::NegativePart)]
    );
}

/// Stretches, what dynamic part, fixed part and share come to, and the reason the share gives.
type Answer = ([String; 3], [Result<String, NotCompared>; 3], &'static str);

fn answers() -> Vec<Answer> {
    let slow = stretch("stretch.slow.calf", "right", "5");
    let other = stretch("stretch.slow.calf", "left", "15");
    let fast = stretch("stretch.fast.calf", "right", "-20");
    let neighbour = r#""neighbour":{"joint":"knee","position":"straight"}"#;
    let ten = Ok("10".to_owned());
    let digits = || Err(NotCompared::Digits);
    let untested = |measure: &str, side: &str| {
        format!(
            r#"{{"measure":"{measure}","side":"{side}",{neighbour},"not_tested":{{"reason":"pain"}},
            "method":"handling"}}"#
        )
    };
    let no_catch = format!(
        r#"{{"measure":"stretch.fast.calf","side":"right",{neighbour},"value":{{"no_catch":true}},"ended":{{"how":"end-of-range"}},
        "method":"handling","stretch":{{"speed":"V3","quality":"0","quality_version":"0-4"}}}}"#
    );
    let fine = stretch(
        "stretch.slow.calf",
        "right",
        &format!("10.{}1", "0".repeat(26)),
    );
    let far = stretch("stretch.fast.calf", "right", "-70.1");
    vec![
        (
            [other.clone(), slow.clone(), no_catch],
            [
                Err(NotCompared::NoCatch),
                ten.clone(),
                Err(NotCompared::NoCatch),
            ],
            "no-catch",
        ),
        (
            [
                other.clone(),
                slow.clone(),
                untested("stretch.fast.calf", "right"),
            ],
            [
                Err(NotCompared::NotTested),
                ten,
                Err(NotCompared::NotTested),
            ],
            "not-tested",
        ),
        (
            [untested("stretch.slow.calf", "left"), slow, fast],
            [
                Ok("25".to_owned()),
                Err(NotCompared::NotTested),
                Err(NotCompared::NotTested),
            ],
            "not-tested",
        ),
        ([other, fine, far], [digits(), digits(), digits()], "digits"),
    ]
}

/// A total with a part that was not tested is not determinable, and says so in the record.
#[test]
fn no_catch_not_tested_and_too_many_digits_are_answers() {
    for (findings, wanted, reason) in answers() {
        let document = stretches(&findings);
        let encoded = encode(
            &document.compact(),
            &Earlier::default(),
            &with_stretch_errors("3"),
            now(),
        );
        let encoded = encoded.expect("holds");

        assert_eq!(parts(&encoded), wanted);
        let share = emitted(&encoded, "dynamic-share.stretch.slow.calf")[0];
        assert!(share.member("valueQuantity").is_none());
        assert_eq!(
            own_code(share.member("dataAbsentReason"), "no-result"),
            Some(reason)
        );
        assert_eq!(share.items_of("derivedFrom").len(), 3);
    }
}

/// A person of an age and sex, whose right shoulder was lifted forward actively while lying.
fn lifted(birth: &str, sex: &str, position: &str) -> Node {
    let flexion = r#"[{"measure":"range.active.shoulder.flexion","side":"right",
        "value":{"beyond_neutral":"160","unit":"deg"},"ended":{"how":"end-of-range"},
        "method":"goniometry","instrument":"goniometer"}]"#;
    let mut document = stretches(&[]);
    set(&mut document, "/findings", Some(node(flexion)));
    set(&mut document, "/patient/birth_date", Some(node(birth)));
    set(
        &mut document,
        "/patient/sex",
        (!sex.is_empty()).then(|| node(sex)),
    );
    set(
        &mut document,
        "/session/body_position",
        Some(node(position)),
    );
    document
}

fn beside(document: &Node, table: &str) -> (Result<String, NotCompared>, Node) {
    let mut catalogue = Catalogue::embedded().expect("sound tables");
    let tables = if table.is_empty() {
        vec![]
    } else {
        vec![table.to_owned()]
    };
    catalogue
        .use_reference_tables(&tables)
        .expect("it is there");
    let encoded = encode(&document.compact(), &Earlier::default(), &catalogue, now());
    let encoded = encoded.expect("holds");
    let came = of(&encoded, Rule::PublishedRange)
        .first()
        .map(|one| came_to(one));
    let observations = all(&encoded, "Observation");
    // What a colleague reads says of a range what the Observation holds, and of none where there is none.
    let summary = encoded.summary.text();
    assert_eq!(disagreements(&observations, &summary), [""; 0]);
    assert_eq!(
        summary.contains("a group and not this person"),
        matches!(came, Some(Ok(_))),
        "{summary}"
    );
    (
        came.unwrap_or(Err(NotCompared::NoOther)),
        observations[0].clone(),
    )
}

/// Source: Vairo 2012, Sports Med Arthrosc Rehabil Ther Technol 4:33, Table 4: shoulder flexion of
/// women, 5th to 95th percentile 155 to 180, men 150 to 179; cadets of 18 to 19 years, lying.
#[test]
fn a_published_range_holds_only_for_the_ages_the_sex_and_the_way_it_was_measured_in() {
    let vairo = || "vairo-2012".to_owned();
    for (birth, sex, position, wanted) in [
        (
            "\"2008-01-31\"",
            "\"female\"",
            "\"supine\"",
            Ok("within-range".to_owned()),
        ),
        (
            "\"2007\"",
            "\"male\"",
            "\"supine\"",
            Ok("within-range".to_owned()),
        ),
        (
            "\"2006\"",
            "\"male\"",
            "\"supine\"",
            Err(NotCompared::AgeNotExact(vairo())),
        ),
        (
            "\"1958-03-14\"",
            "\"male\"",
            "\"supine\"",
            Err(NotCompared::AgeOutside(vairo())),
        ),
        (
            "\"2008-01-31\"",
            "",
            "\"supine\"",
            Err(NotCompared::SexNotRecorded(vairo())),
        ),
        (
            "\"2008-01-31\"",
            "\"unknown\"",
            "\"supine\"",
            Err(NotCompared::SexNotRecorded(vairo())),
        ),
        (
            "\"2008-01-31\"",
            "\"female\"",
            "\"sitting\"",
            Err(NotCompared::TableOtherWay(vairo())),
        ),
    ] {
        let (came, observation) = beside(&lifted(birth, sex, position), "vairo-2012");

        assert_eq!(came, wanted, "{birth} {sex} {position}");
        let ranges = observation.items_of("referenceRange");
        assert_eq!(ranges.len(), usize::from(wanted.is_ok()));
        assert_eq!(observation.items_of("interpretation").len(), ranges.len());
    }
}

#[test]
fn a_published_range_names_its_table_and_version_and_calls_nobody_normal() {
    let document = lifted("\"2008-01-31\"", "\"female\"", "\"supine\"");
    let low = with(
        &document.compact(),
        &[("/findings/0/value/beyond_neutral", "\"150\"")],
    );

    let (within, sound) = beside(&document, "vairo-2012");
    let (below, short) = beside(&low, "vairo-2012");

    assert_eq!(
        (within, below),
        (Ok("within-range".to_owned()), Ok("below-range".to_owned()))
    );
    let range = &sound.items_of("referenceRange")[0];
    let text = range.text_of("text").unwrap_or_default();
    for wanted in [
        "table vairo-2012",
        "5th to 95th percentile",
        "2012",
        "a group and not this person",
    ] {
        assert!(text.contains(wanted), "{wanted} not in {text}");
    }
    assert_eq!(
        range.at(&["low", "value"]).map(Node::compact).as_deref(),
        Some("155.00")
    );
    assert_eq!(
        range
            .at(&["age", "high", "value"])
            .map(Node::compact)
            .as_deref(),
        Some("19")
    );
    let interpretation = |one: &Node| one.items_of("interpretation")[0].clone();
    assert_eq!(
        own_code(Some(&interpretation(&sound)), "verdict"),
        Some("within-range")
    );
    assert!(
        !interpretation(&sound)
            .compact()
            .contains("ObservationInterpretation")
    );
    assert!(interpretation(&short).compact().contains("\"code\":\"L\""));
}

#[test]
fn the_interval_of_a_mean_and_a_row_that_is_off_are_refused_and_no_table_is_no_comparison() {
    let document = lifted("\"1970-01-31\"", "\"female\"", "\"supine\"");
    let passive = with(
        &document.compact(),
        &[
            ("/findings/0/measure", "\"range.passive.shoulder.flexion\""),
            (
                "/findings/1",
                r#"{"measure":"elevation.scapular-rotation.shoulder","side":"right",
                "value":{"word":"full"},"method":"palpation"}"#,
            ),
            (
                "/findings/2",
                r#"{"measure":"elevation.lateral-rotation.shoulder","side":"right",
                "value":{"word":"present"},"method":"handling"}"#,
            ),
        ],
    );

    let (soucie, observation) = beside(&passive, "cdc-soucie-2011");
    let (boone, _) = beside(&document, "walker-1984");
    let (none, _) = beside(&document, "");

    assert!(matches!(soucie, Err(NotCompared::GroupOnly(table, _)) if table == "cdc-soucie-2011"));
    assert!(observation.items_of("referenceRange").is_empty());
    assert!(matches!(boone, Err(NotCompared::AgeOutside(_))));
    assert_eq!(none, Err(NotCompared::NoOther));
    let mut catalogue = Catalogue::embedded().expect("sound tables");
    let unknown = catalogue.use_reference_tables(&["vario-2012".to_owned()]);
    assert_eq!(unknown, Err(vec!["vario-2012".to_owned()]));
}

#[tokio::test]
async fn the_store_gives_the_earlier_session_and_the_same_document_again_the_same_results() {
    let store = Store::open().await;

    store.submit_text(FIRST).await.expect("accepted");
    store.submit_text(SECOND).await.expect("accepted");
    store.submit_text(SECOND).await.expect("accepted before");

    let records = store.sessions().await;
    assert_eq!(records.len(), 2);
    let changes = |record: &Node| {
        let entries = record.items_of("entry").iter();
        let resources = entries.filter_map(|entry| entry.member("resource"));
        let codes = resources.filter_map(|one| own_code(one.member("code"), "comparison"));
        codes.filter(|code| code.starts_with("change.")).count()
    };
    assert_eq!(changes(&records[0]), 0);
    assert_eq!(changes(&records[1]), 22);
}

#[test]
fn last_time_is_the_latest_session_that_speaks_of_it_whatever_came_of_it() {
    let first = node(FIRST);
    let later = with(
        FIRST,
        &[
            ("/session/id", "\"7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a77\""),
            ("/session/performed/start", "\"2026-10-20T09:30:00+02:00\""),
            ("/session/performed/end", "\"2026-10-20T10:05:00+02:00\""),
            ("/session/entered_at", "\"2026-10-20T10:20:00+02:00\""),
            ("/session/signed/at", "\"2026-10-20T10:25:00+02:00\""),
            ("/findings/23/value", ""),
            ("/findings/23/ended", ""),
            ("/findings/23/not_tested", r#"{"reason":"pain"}"#),
            ("/findings/24", ""),
        ],
    );
    let before = [&later, &first].map(|document| {
        let one = encoded(document);
        of_session(&one.session, &one.measured)
    });
    let earlier = Earlier {
        sessions: before.to_vec(),
        ..Earlier::default()
    };

    let encoded = encode(SECOND, &earlier, catalogue(), now()).expect("holds");

    let right = about(&encoded, Rule::Change, EXTENSION, "right");
    assert_eq!(came_to(right), Err(NotCompared::NotTested));
    let left = about(&encoded, Rule::Change, EXTENSION, "left");
    assert_eq!(came_to(left), Ok("0".to_owned()));
    assert!(left.told[0].contains("19 October 2026"), "{:?}", left.told);
    assert!(matches!(&right.inputs[1], Input::Earlier(urn) if urn.starts_with("urn:uuid:")));
}

#[test]
fn numbers_in_two_units_and_grades_of_two_variants_are_not_compared() {
    let grip = |side: &str, unit: &str| {
        format!(
            r#"{{"measure":"grip.force.hand","side":"{side}","value":{{"amount":"120","unit":"{unit}"}},
            "method":"dynamometry"}}"#
        )
    };
    let strength = |side: &str, value: &str| {
        format!(
            r#"{{"measure":"strength.mrc.wrist.extension","side":"{side}","value":{value},
            "method":"manual-resistance"}}"#
        )
    };
    let plain = r#"{"grade":"4"}"#;
    let variant = r#"{"grade":"4","grade_version":"plus-minus"}"#;
    let came = |right: &[String], left: &[String]| {
        let encoded = encoded(&stretches(&[right, left].concat()));
        let found = of(&encoded, Rule::SideDifference).into_iter();
        let found = found.map(|one| (one.about.row.measure.clone(), came_to(one)));
        found.collect::<Vec<_>>()
    };

    let apart = came(
        &[grip("right", "N"), strength("right", plain)],
        &[grip("left", "[lbf_av]"), strength("left", variant)],
    );
    let alike = came(
        &[grip("right", "N"), strength("right", variant)],
        &[grip("left", "N"), strength("left", variant)],
    );

    let of_grip = "grip.force.hand".to_owned();
    let of_strength = "strength.mrc.wrist.extension".to_owned();
    assert_eq!(
        apart,
        [
            (of_grip.clone(), Err(NotCompared::Way(Differs::Unit))),
            (of_strength.clone(), Err(NotCompared::Way(Differs::Scale))),
        ]
    );
    assert_eq!(
        alike,
        [
            (of_grip, Ok("0".to_owned())),
            (of_strength, Ok("no-difference".to_owned())),
        ]
    );
}
