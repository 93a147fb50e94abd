#![cfg(test)]
//! The fixed part of a stretch where the other side gives none.

use crate::compared::{came_to, of};
use crate::document::{edited, now};
use crate::facts::disagreements;
use crate::resource::{all, own_code};
use crate::stretch_ranges::with_own_ranges;
use fascicle::base::json::Node;
use fascicle::examination::compare::reason::NotCompared;
use fascicle::examination::compare::{Comparison, Rule};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::{Encoded, encode};
use fascicle::tables::catalogue::Catalogue;

fn slow(muscle: &str, side: &str, value: &str) -> String {
    let neighbour = if muscle == "calf" {
        r#""neighbour":{"joint":"knee","position":"straight"},"#
    } else {
        ""
    };
    format!(
        r#"{{"measure":"stretch.slow.{muscle}","side":"{side}",{neighbour}{value},
        "method":"goniometry","stretch":{{"speed":"V1"}}}}"#
    )
}

fn degrees(number: &str) -> String {
    let (word, number) = match number.strip_prefix('-') {
        Some(lacks) => ("lacks", lacks),
        None => ("beyond_neutral", number),
    };
    format!(
        r#""value":{{"{word}":"{number}","unit":"deg"}},"ended":{{"how":"end-of-range"}},"instrument":"goniometer""#
    )
}

const UNTESTED: &str = r#""not_tested":{"reason":"pain"}"#;

fn found(more_affected: &str, findings: &[String], catalogue: &Catalogue) -> Encoded {
    let findings = format!("[{}]", findings.join(","));
    let side = format!("\"{more_affected}\"");
    let document = edited(&[
        ("/findings", &findings),
        ("/session/more_affected_side", &side),
    ]);
    let encoded = encode(&document.compact(), &Earlier::default(), catalogue, now());
    let encoded = encoded.expect("holds");
    let observations = all(&encoded, "Observation");
    assert_eq!(
        disagreements(&observations, &encoded.summary.text()),
        [""; 0]
    );
    encoded
}

/// What came of a rule, by side.
fn outcomes(encoded: &Encoded, rule: Rule) -> Vec<(&'static str, Result<String, NotCompared>)> {
    let told = |one: &&Comparison| {
        let came = match &one.outcome {
            Ok(found) if found.amount.is_none() => Ok(found.verdict.code().to_owned()),
            Ok(_) | Err(_) => came_to(one),
        };
        (one.about.finding.side.word(), came)
    };
    let mut found: Vec<_> = of(encoded, rule).iter().map(told).collect();
    found.sort_by_key(|(side, _)| *side);
    found
}

fn number(text: &str) -> String {
    text.to_owned()
}

#[test]
fn with_both_sides_affected_the_fixed_part_is_taken_from_a_range_of_that_very_stretch() {
    let findings = [
        slow("calf", "left", &degrees("-7")),
        slow("calf", "right", &degrees("24")),
    ];

    let encoded = found("both", &findings, with_own_ranges());

    // Short of 5 by 12; past 20 by 4, which is no shortening and shows with its sign.
    assert_eq!(
        outcomes(&encoded, Rule::FixedPartOfRange),
        [("left", Ok(number("12"))), ("right", Ok(number("-4")))]
    );
    let both = || Err(NotCompared::BothAffected);
    assert_eq!(
        outcomes(&encoded, Rule::FixedPart),
        [("left", both()), ("right", both())]
    );
    assert!(of(&encoded, Rule::DynamicShare).is_empty());
    let observations = all(&encoded, "Observation");
    let code = "fixed-part-range.stretch.slow.calf";
    let emitted = observations
        .iter()
        .filter(|one| own_code(one.member("code"), "comparison") == Some(code));
    let values: Vec<_> = emitted
        .map(|one| {
            assert!(one.compact().contains("reference_ranges.csv/zz-calf"));
            let value = one.at(&["valueQuantity", "value"]);
            value.map(Node::compact).unwrap_or_default()
        })
        .collect();
    assert_eq!(values.len(), 2);
    assert!(values.contains(&"12".to_owned()) && values.contains(&"-4".to_owned()));
    let summary = encoded.summary.text();
    assert!(
        summary.contains("both sides are affected, so neither is the reference"),
        "{summary}"
    );
}

#[test]
fn within_the_range_nothing_is_lacking_and_no_number_is_made_of_it() {
    let findings = [slow("calf", "left", &degrees("5"))];

    let encoded = found("not-known", &findings, with_own_ranges());
    // Nothing stands on the other side: no count of comparisons with it is told.
    let summary = encoded.summary.text();
    assert!(
        !summary.contains("Nothing was compared with the other side"),
        "{summary}"
    );

    assert_eq!(
        outcomes(&encoded, Rule::FixedPartOfRange),
        [("left", Ok(number("within-range")))]
    );
    assert_eq!(
        outcomes(&encoded, Rule::FixedPart),
        [("left", Err(NotCompared::SideNotKnown))]
    );
    let code = "fixed-part-range.stretch.slow.calf";
    let observations = all(&encoded, "Observation");
    let emitted = observations
        .iter()
        .find(|one| own_code(one.member("code"), "comparison") == Some(code));
    let emitted = emitted.expect("it is delivered");
    assert!(emitted.member("valueQuantity").is_none());
    assert_eq!(
        own_code(emitted.member("valueCodeableConcept"), "verdict"),
        Some("within-range")
    );
}

/// Numbers of the elbow flexors are signed along extension, in which they lengthen.
#[test]
fn the_other_side_comes_first_and_a_range_serves_where_it_gives_nothing() {
    let of_elbow = |value: &str, side: &str| slow("elbow-flexors", side, value);
    let short = || of_elbow(&degrees("-25"), "right");
    let own = with_own_ranges();
    for (other, by_side, by_range) in [
        (
            vec![of_elbow(&degrees("-5"), "left")],
            vec![("right", Ok(number("20")))],
            vec![],
        ),
        (
            vec![of_elbow(UNTESTED, "left")],
            vec![("right", Err(NotCompared::NotTested))],
            vec![("right", Ok(number("15")))],
        ),
        (
            vec![],
            vec![("right", Err(NotCompared::NoOther))],
            vec![("right", Ok(number("15")))],
        ),
    ] {
        let findings = [vec![short()], other].concat();

        let encoded = found("right", &findings, own);

        assert_eq!(outcomes(&encoded, Rule::FixedPart), by_side);
        assert_eq!(outcomes(&encoded, Rule::FixedPartOfRange), by_range);
    }
}

#[test]
fn what_was_not_tested_has_no_fixed_part_and_without_a_table_there_is_no_range() {
    let not_tested = [slow("calf", "left", UNTESTED)];
    let tested = [slow("calf", "left", &degrees("5"))];

    let untested = found("both", &not_tested, with_own_ranges());
    let plain = found("both", &tested, crate::document::catalogue());

    assert_eq!(
        outcomes(&untested, Rule::FixedPartOfRange),
        [("left", Err(NotCompared::NotTested))]
    );
    assert!(of(&plain, Rule::FixedPartOfRange).is_empty());
    assert_eq!(
        outcomes(&plain, Rule::FixedPart),
        [("left", Err(NotCompared::BothAffected))]
    );
}
