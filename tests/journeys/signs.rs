#![cfg(test)]
//! Which way an angle is signed, for every measure that has one, in both directions.

use crate::document::{catalogue, edited, encoded};
use crate::every;
use crate::part::{component, component_word, digits};
use crate::resource::{of_measure, own_code};
use fascicle::base::exact::Exact;
use fascicle::base::json::Node;
use fascicle::tables::catalogue::rows::{Kind, Measure};

/// An angle as it was said.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Spoken {
    Lacks(String),
    Beyond(String),
    Fixed { at: String, direction: String },
}

/// The measures that have an angle and are entered by hand.
fn rows() -> Vec<&'static Measure> {
    let rows: Vec<&Measure> = catalogue()
        .measures
        .values()
        .filter(|row| row.kind.has_ending())
        .collect();
    assert!(rows.len() >= 6, "{} rows have an angle", rows.len());
    rows
}

/// Those of them that are moved by hand: only so does it show that a joint is fixed.
fn passive_rows() -> Vec<&'static Measure> {
    let mut rows = rows();
    rows.retain(|row| row.mode.as_deref() == Some("passive"));
    assert!(rows.len() >= 4, "{} rows are passive", rows.len());
    rows
}

fn movement(row: &Measure) -> &str {
    row.movement.as_deref().expect("a movement")
}

fn opposite(row: &Measure) -> &str {
    row.opposite.as_deref().expect("an opposite")
}

/// A document with one finding of a measure, its value, and the cautions confirmed that it meets.
fn with(row: &Measure, value: &str, confirmed: &str) -> Node {
    let finding = every::findings()
        .iter()
        .find(|finding| finding.text_of("measure") == Some(&row.measure));
    let finding = finding.expect("the long document has every measure");
    let findings = format!("[{}]", finding.compact());
    edited(&[
        ("/findings", &findings),
        ("/findings/0/value", value),
        ("/session/confirmations", confirmed),
    ])
}

const CONFIRMED: &str = r#"[{"code":"angle.unusual","path":"/findings/0/value","by":"therapist",
    "at":"2026-11-16T10:18:00+01:00","reason":"measured three times"}]"#;

/// True when nobody is asked about an angle: it lies within the bounds of its row.
fn usual(row: &Measure, value: &str) -> bool {
    let value = Node::parse(value).expect("a value is JSON");
    let said = |key: &str| value.text_of(key).map(exact);
    let against = value.text_of("direction") == Some(opposite(row));
    let degrees = match (said("lacks"), said("beyond_neutral"), said("fixed_at")) {
        (Some(lacks), _, _) => lacks.negated(),
        (_, _, Some(fixed)) if against => fixed.negated(),
        (_, beyond, fixed) => beyond.or(fixed).expect("an angle"),
    };
    row.ask_below.is_none_or(|low| degrees >= low)
        && row.ask_above.is_none_or(|high| degrees <= high)
}

fn exact(digits: &str) -> Exact {
    Exact::parse(digits).expect("digits")
}

fn emitted(row: &Measure, value: &str) -> Node {
    let confirmed = if usual(row, value) { "[]" } else { CONFIRMED };
    let encoded = encoded(&with(row, value, confirmed));
    let found = of_measure(&encoded, &row.measure);
    assert_eq!(found.len(), 1, "{}", row.measure);
    found[0].clone()
}

fn lacks(digits: &str) -> String {
    format!(r#"{{"lacks":"{digits}","unit":"deg"}}"#)
}

fn beyond(digits: &str) -> String {
    format!(r#"{{"beyond_neutral":"{digits}","unit":"deg"}}"#)
}

fn fixed(digits: &str, direction: &str) -> String {
    format!(r#"{{"fixed_at":"{digits}","direction":"{direction}","unit":"deg"}}"#)
}

fn value(resource: &Node) -> Option<&str> {
    digits(resource.member("valueQuantity"))
}

fn state(resource: &Node) -> Option<&str> {
    component_word(resource, "joint-state", "joint-state")
}

/// Reads an Observation back to what was said, knowing only the table.
fn read_back(observation: &Node) -> (String, Spoken) {
    let measure = own_code(observation.member("code"), "measure").expect("our own code");
    let row = &catalogue().measures[measure];
    let value = value(observation).expect("a quantity");
    let (negative, magnitude) = match value.strip_prefix('-') {
        Some(magnitude) => (true, magnitude.to_owned()),
        None => (false, value.to_owned()),
    };
    let spoken = match (state(observation) == Some("fixed"), negative) {
        (true, true) => Spoken::Fixed {
            at: magnitude,
            direction: opposite(row).to_owned(),
        },
        (true, false) => Spoken::Fixed {
            at: magnitude,
            direction: movement(row).to_owned(),
        },
        (false, true) => Spoken::Lacks(magnitude),
        (false, false) => Spoken::Beyond(magnitude),
    };
    (measure.to_owned(), spoken)
}

#[test]
fn what_lacks_twenty_leaves_as_minus_twenty_in_every_measure() {
    for row in rows() {
        let observation = emitted(row, &lacks("20"));

        assert_eq!(value(&observation), Some("-20"), "{}", row.measure);
    }
}

#[test]
fn what_is_twenty_beyond_neutral_leaves_as_twenty_in_every_measure() {
    for row in rows() {
        let observation = emitted(row, &beyond("20"));

        assert_eq!(value(&observation), Some("20"), "{}", row.measure);
        assert_eq!(state(&observation), None, "{}", row.measure);
    }
}

#[test]
fn neutral_has_no_sign_whichever_way_it_is_said() {
    for row in rows() {
        for said in [lacks("0"), beyond("0")] {
            let observation = emitted(row, &said);

            assert_eq!(value(&observation), Some("0"), "{}", row.measure);
            assert_eq!(state(&observation), None, "{}", row.measure);
        }
    }
}

#[test]
fn a_fixed_joint_is_signed_by_the_side_of_neutral_it_is_fixed_on() {
    for row in passive_rows() {
        let with_it = emitted(row, &fixed("20", movement(row)));
        let against = emitted(row, &fixed("20", opposite(row)));

        assert_eq!(value(&with_it), Some("20"), "{}", row.measure);
        assert_eq!(value(&against), Some("-20"), "{}", row.measure);
        for observation in [&with_it, &against] {
            assert_eq!(state(observation), Some("fixed"), "{}", row.measure);
        }
    }
}

#[test]
fn two_measures_of_one_plane_read_one_fixed_joint_with_opposite_signs() {
    let rows = passive_rows();
    for row in &rows {
        let mirrored = rows.iter().find(|other| {
            other.kind == row.kind
                && other.mode == row.mode
                && other.site == row.site
                && other.movement == row.opposite
        });
        let Some(mirrored) = mirrored else { continue };

        let here = emitted(row, &fixed("20", movement(row)));
        let there = emitted(mirrored, &fixed("20", movement(row)));

        assert_eq!(value(&here), Some("20"), "{}", row.measure);
        assert_eq!(value(&there), Some("-20"), "{}", mirrored.measure);
        assert_ne!(row.sign, mirrored.sign, "{}", row.measure);
    }
}

#[test]
fn the_sign_is_said_in_words_beside_the_code() {
    for row in rows() {
        let observation = emitted(row, &lacks("20"));

        let words = observation.at(&["code", "text"]).and_then(Node::text);
        let wanted = format!(
            "{}; degrees beyond neutral, minus is short of neutral",
            row.label
        );
        assert_eq!(words, Some(wanted.as_str()));
        assert_eq!(
            observation
                .at(&["valueQuantity", "code"])
                .and_then(Node::text),
            Some("deg")
        );
    }
}

#[test]
fn neutral_not_reached_is_said_of_a_passive_range_only() {
    for row in rows() {
        let observation = emitted(row, &lacks("20"));

        let passive_range = row.kind == Kind::Range && row.mode.as_deref() == Some("passive");
        let wanted = passive_range.then_some("neutral-not-reached");
        assert_eq!(state(&observation), wanted, "{}", row.measure);
        assert_eq!(
            component(&observation, "joint-state").is_some(),
            passive_range
        );
    }
}

#[test]
fn every_angle_reads_back_as_it_was_said() {
    let spoken = |row: &Measure| {
        let fixed_toward = |direction: &str| Spoken::Fixed {
            at: "17.50".to_owned(),
            direction: direction.to_owned(),
        };
        let mut spoken = vec![
            (lacks("17.50"), Spoken::Lacks("17.50".to_owned())),
            (beyond("17.50"), Spoken::Beyond("17.50".to_owned())),
        ];
        if row.mode.as_deref() == Some("passive") {
            spoken.push((fixed("17.50", movement(row)), fixed_toward(movement(row))));
            spoken.push((fixed("17.50", opposite(row)), fixed_toward(opposite(row))));
        }
        spoken
    };
    for row in rows() {
        for (said, wanted) in spoken(row) {
            let text = emitted(row, &said).compact();

            let read = read_back(&Node::parse(&text).expect("JSON"));

            assert_eq!(read, (row.measure.clone(), wanted));
        }
    }
}

#[test]
fn a_contracture_round_trips_lacking_one_way_and_beyond_the_other() {
    let document = edited(&[
        ("/findings/2/value", &lacks("25")),
        ("/findings/4/value", &lacks("20")),
        ("/findings/5/value", &beyond("45")),
    ]);

    let encoded = encoded(&document);

    let read = |measure: &str| read_back(of_measure(&encoded, measure)[0]).1;
    let dorsiflexion = "range.passive.ankle.dorsiflexion";
    assert_eq!(read(dorsiflexion), Spoken::Lacks("20".to_owned()));
    assert_eq!(
        read("range.passive.ankle.plantarflexion"),
        Spoken::Beyond("45".to_owned())
    );
    assert_eq!(
        state(of_measure(&encoded, dorsiflexion)[0]),
        Some("neutral-not-reached")
    );
}

#[test]
fn more_movement_than_is_usually_seen_round_trips_once_somebody_confirmed_it() {
    // At the shoulder this is not unusual.
    let unusual = |row: &&Measure| !usual(row, &beyond("180"));
    let rows: Vec<&Measure> = rows().into_iter().filter(unusual).collect();
    assert!(rows.len() >= 100, "{} rows ask", rows.len());
    for row in rows {
        let encoded = encoded(&with(row, &beyond("180"), CONFIRMED));

        let read = read_back(of_measure(&encoded, &row.measure)[0]).1;
        assert_eq!(read, Spoken::Beyond("180".to_owned()), "{}", row.measure);
    }
}
