#![cfg(test)]
//! A movement that was stopped before its end gives a bound, and a bound enters no comparison.

use crate::document::{catalogue, edited, encoded, told};
use crate::part::component_word;
use crate::resource::{all, of_measure};
use fascicle::app::encode::Encoded;
use fascicle::catalogue::rows::ReferenceRow;
use fascicle::compare::{self, NotCompared};
use fascicle::json::Node;
use fascicle::measure::Measured;

const ACTIVE: usize = 2;
const PASSIVE: usize = 4;
const FAST: usize = 7;
const SLOW: usize = 8;
/// The passive range of the other side, added by [`both_sides`].
const OTHER_SIDE: usize = 12;

/// Edits of the fields of one finding.
type Edits = Vec<(&'static str, &'static str)>;

/// Every way of ending, and whether it is the end of range.
fn endings() -> Vec<(&'static str, bool)> {
    let list = &catalogue().scales["ending"].rows;
    let endings: Vec<_> = list
        .iter()
        .map(|row| (row.code.as_str(), row.code == "end-of-range"))
        .collect();
    assert_eq!(endings.iter().filter(|(_, end)| *end).count(), 1);
    assert!(endings.len() > 3);
    endings
}

fn ended(how: &str) -> String {
    // The reason has a code only where a movement was taken no further on purpose.
    let because = if how == "stopped-on-purpose" {
        r#""because":"pain","#
    } else {
        ""
    };
    format!(r#"{{"how":"{how}",{because}"why":"said in words"}}"#)
}

/// Edits of one finding, by its fields.
fn of(finding: usize, edits: &[(&str, &str)]) -> Vec<(String, String)> {
    edits
        .iter()
        .map(|(field, json)| (format!("/findings/{finding}/{field}"), (*json).to_owned()))
        .collect()
}

fn document(edits: &[(String, String)]) -> Node {
    // An end feel belongs to an end that was reached.
    let no_end_feel = [("/findings/4/end_feel", "")];
    let edits: Vec<(&str, &str)> = edits
        .iter()
        .map(|(p, j)| (p.as_str(), j.as_str()))
        .chain(no_end_feel)
        .collect();
    edited(&edits)
}

/// The sound document with the passive range of the left side beside that of the right, and a
/// second kind of instrument.
fn both_sides(more: &[(String, String)]) -> Node {
    let other = r#"{"measure":"range.passive.ankle.dorsiflexion","side":"left",
        "neighbour":{"joint":"knee","position":"straight"},
        "value":{"beyond_neutral":"12","unit":"deg"},"ended":{"how":"end-of-range"},
        "method":"goniometry","instrument":"goniometer"}"#;
    let mut edits = of(OTHER_SIDE, &[("", other)]);
    edits[0].0 = format!("/findings/{OTHER_SIDE}");
    edits.push(("/instruments/1".to_owned(), INCLINOMETER.to_owned()));
    edits.extend_from_slice(more);
    document(&edits)
}

const INCLINOMETER: &str = r#"{"key":"inclinometer","kind":"inclinometer","identifier":
    {"system":"https://invented-clinic.example/instruments","value":"INC-1"},
    "resolution":"1","unit":"deg"}"#;

fn find(encoded: &Encoded, finding: usize) -> &Measured {
    let path = format!("/findings/{finding}");
    let found = encoded.measured.iter().find(|one| one.finding.path == path);
    found.expect("the finding was measured")
}

fn derived(encoded: &Encoded) -> usize {
    all(encoded, "Observation")
        .iter()
        .filter(|resource| resource.member("derivedFrom").is_some())
        .count()
}

fn reference_row() -> Vec<ReferenceRow> {
    let off = catalogue().reference_ranges.first().expect("a row").clone();
    let passive = "range.passive.ankle.dorsiflexion".to_owned();
    vec![ReferenceRow {
        used: "on".to_owned(),
        measure: passive,
        ..off
    }]
}

fn side_difference(document: &Node) -> Result<String, NotCompared> {
    let encoded = encoded(document);
    compare::side_difference(find(&encoded, OTHER_SIDE), find(&encoded, PASSIVE))
        .map(|difference| difference.degrees.to_string())
}

fn reference(document: &Node) -> Result<String, NotCompared> {
    let encoded = encoded(document);
    compare::reference(find(&encoded, PASSIVE), &reference_row())
        .map(|against| format!("{:?}", against.place))
}

fn change(earlier: &Node, later: &Node) -> Result<String, NotCompared> {
    let (earlier, later) = (encoded(earlier), encoded(later));
    compare::change(
        (find(&earlier, PASSIVE), &earlier.session),
        (find(&later, PASSIVE), &later.session),
        &catalogue().measurement_error,
    )
    .map(|change| change.degrees.to_string())
}

/// Whether the check of active against passive looked at the pair.
fn asked_about(document: &Node) -> bool {
    told(document).contains(&"caution range.active-beyond-passive /findings/2".to_owned())
}

/// An active range far beyond the passive one of the sound document.
fn turned_round() -> Vec<(String, String)> {
    of(ACTIVE, &[("value/beyond_neutral", "\"35\"")])
}

#[test]
fn a_bound_says_at_least_and_how_it_ended() {
    for (how, end) in endings() {
        let document = document(&of(PASSIVE, &[("ended", &ended(how))]));

        let encoded = encoded(&document);

        let observation = of_measure(&encoded, "range.passive.ankle.dorsiflexion")[0];
        let comparator = observation.at(&["valueQuantity", "comparator"]);
        let wanted = (!end).then_some(">=");
        assert_eq!(comparator.and_then(Node::text), wanted, "{how}");
        assert_eq!(component_word(observation, "ending", "ending"), Some(how));
    }
}

#[test]
fn a_bound_of_either_stretch_gives_no_dynamic_component() {
    for (how, end) in endings() {
        for stretch in [SLOW, FAST] {
            let document = document(&of(stretch, &[("ended", &ended(how))]));

            let encoded = encoded(&document);

            let made = usize::from(end);
            assert_eq!(encoded.dynamics.len(), made, "{how} of {stretch}");
            assert_eq!(derived(&encoded), made, "{how} of {stretch}");
        }
    }
}

#[test]
fn a_bound_of_either_side_gives_no_side_difference() {
    for (how, end) in endings() {
        for side in [PASSIVE, OTHER_SIDE] {
            let difference = side_difference(&both_sides(&of(side, &[("ended", &ended(how))])));

            let wanted = if end {
                Ok("-3".to_owned())
            } else {
                Err(NotCompared::Bound)
            };
            assert_eq!(difference, wanted, "{how} of {side}");
        }
    }
}

#[test]
fn a_bound_is_held_against_no_published_range() {
    for (how, end) in endings() {
        let place = reference(&document(&of(PASSIVE, &[("ended", &ended(how))])));

        let wanted = if end {
            Ok("Within".to_owned())
        } else {
            Err(NotCompared::Bound)
        };
        assert_eq!(place, wanted, "{how}");
    }
}

#[test]
fn a_bound_then_or_now_gives_no_change() {
    let sound = document(&[]);
    for (how, end) in endings() {
        let edits = [
            ("ended", ended(how)),
            ("value/beyond_neutral", "\"19\"".to_owned()),
        ];
        let edits: Vec<(&str, &str)> = edits.iter().map(|(f, j)| (*f, j.as_str())).collect();
        let other = document(&of(PASSIVE, &edits));

        let (up, down) = (change(&sound, &other), change(&other, &sound));

        let wanted = |degrees: &str| {
            if end {
                Ok(degrees.to_owned())
            } else {
                Err(NotCompared::Bound)
            }
        };
        assert_eq!((up, down), (wanted("4"), wanted("-4")), "{how}");
    }
}

#[test]
fn a_bound_is_not_held_against_the_other_mode() {
    for (how, end) in endings() {
        for range in [ACTIVE, PASSIVE] {
            let mut edits = turned_round();
            edits.extend(of(range, &[("ended", &ended(how))]));

            assert_eq!(asked_about(&document(&edits)), end, "{how} of {range}");
        }
    }
}

#[test]
fn a_bound_of_a_catch_is_not_held_against_the_end_of_the_slow_stretch() {
    for (how, end) in endings() {
        for stretch in [SLOW, FAST] {
            let mut edits = of(
                FAST,
                &[("value", r#"{"beyond_neutral":"40","unit":"deg"}"#)],
            );
            edits.extend(of(stretch, &[("ended", &ended(how))]));

            let told = told(&document(&edits));

            let asked = told.iter().any(|line| line.contains("catch-beyond-end"));
            assert_eq!(asked, end, "{how} of {stretch}");
        }
    }
}

#[test]
fn a_word_or_nothing_measured_is_never_compared() {
    let word = [
        ("value", r#"{"word":"full"}"#),
        ("method", "\"visual-estimate\""),
        ("instrument", ""),
    ];
    let untested = [
        ("value", ""),
        ("ended", ""),
        ("end_feel", ""),
        ("not_tested", r#"{"reason":"pain"}"#),
    ];
    for edits in [&word[..], &untested[..]] {
        let edits = of(PASSIVE, edits);
        let changed = document(&edits);
        let mut turned = turned_round();
        turned.extend(edits.clone());

        let nothing = Err(NotCompared::NoNumber);
        assert_eq!(side_difference(&both_sides(&edits)), nothing);
        assert_eq!(reference(&changed), nothing);
        assert_eq!(change(&document(&[]), &changed), nothing);
        assert_eq!(change(&changed, &document(&[])), nothing);
        assert!(!asked_about(&document(&turned)));
    }
}

#[test]
fn no_catch_gives_no_dynamic_component() {
    let document = document(&of(
        FAST,
        &[
            ("value", r#"{"no_catch":true}"#),
            ("method", "\"handling\""),
            ("instrument", ""),
            ("stretch/quality", "\"0\""),
        ],
    ));

    let encoded = encoded(&document);

    assert_eq!((encoded.dynamics.len(), derived(&encoded)), (0, 0));
}

#[test]
fn a_fixed_joint_is_never_compared() {
    let fixed = (
        "value",
        r#"{"fixed_at":"15","direction":"dorsiflexion","unit":"deg"}"#,
    );
    let edits = of(PASSIVE, &[fixed]);
    let mut turned = turned_round();
    turned.extend(edits.clone());

    let nothing = Err(NotCompared::Fixed);
    assert_eq!(side_difference(&both_sides(&edits)), nothing);
    assert_eq!(reference(&document(&edits)), nothing);
    assert_eq!(change(&document(&[]), &document(&edits)), nothing);
    assert!(!asked_about(&document(&turned)));
    for stretch in [SLOW, FAST] {
        let encoded = encoded(&document(&of(stretch, &[fixed])));
        assert_eq!((encoded.dynamics.len(), derived(&encoded)), (0, 0));
    }
}

/// Ways in which two findings differ that must not be set against each other. The last flag tells
/// that both have the same, which is no match either.
fn other_ways() -> Vec<(&'static str, Edits, bool)> {
    let bent = ("neighbour/position", "\"bent\"");
    let unknown = ("neighbour/position", "\"not-recorded\"");
    vec![
        ("the knee is bent", vec![bent], false),
        ("the knee of one is not recorded", vec![unknown], false),
        ("the knee of both is not recorded", vec![unknown], true),
        (
            "another position of the body",
            vec![("position", "\"prone\"")],
            false,
        ),
        (
            "another kind of instrument",
            vec![("instrument", "\"inclinometer\"")],
            false,
        ),
        (
            "another method",
            vec![("method", "\"visual-estimate\""), ("instrument", "")],
            false,
        ),
    ]
}

#[test]
fn what_was_found_in_another_way_never_matches() {
    for (name, edits, both) in other_ways() {
        let apply = |one: usize, other: usize| {
            let mut all = of(one, &edits);
            all.extend(of(other, if both { &edits } else { &[] }));
            all
        };
        let earlier = if both {
            both_sides(&of(PASSIVE, &edits))
        } else {
            both_sides(&[])
        };
        let mut turned = turned_round();
        turned.extend(apply(PASSIVE, ACTIVE));

        let stretches = encoded(&both_sides(&apply(SLOW, FAST)));

        let nothing = Err(NotCompared::OtherWay);
        let sides = side_difference(&both_sides(&apply(PASSIVE, OTHER_SIDE)));
        assert_eq!(sides, nothing, "{name}");
        let changed = change(&earlier, &both_sides(&of(PASSIVE, &edits)));
        assert_eq!(changed, nothing, "{name}");
        assert!(!asked_about(&both_sides(&turned)), "{name}");
        assert_eq!(stretches.dynamics.len(), 0, "{name}");
        assert_eq!(derived(&stretches), 0, "{name}");
    }
}

#[test]
fn what_was_withdrawn_is_never_compared() {
    let withdrawn = [("withdrawn", "true")];
    let gone = of(PASSIVE, &withdrawn);
    let nothing = Err(NotCompared::Withdrawn);

    assert_eq!(side_difference(&both_sides(&gone)), nothing);
    assert_eq!(
        side_difference(&both_sides(&of(OTHER_SIDE, &withdrawn))),
        nothing
    );
    assert_eq!(reference(&document(&gone)), nothing);
    assert_eq!(change(&document(&[]), &document(&gone)), nothing);
    assert_eq!(change(&document(&gone), &document(&[])), nothing);
    for range in [ACTIVE, PASSIVE] {
        let mut turned = turned_round();
        turned.extend(of(range, &withdrawn));
        assert!(!asked_about(&document(&turned)));
    }
    for stretch in [SLOW, FAST] {
        let encoded = encoded(&document(&of(stretch, &withdrawn)));
        assert_eq!((encoded.dynamics.len(), derived(&encoded)), (0, 0));
    }
}
