#![cfg(test)]
//! A movement that was stopped before its end gives a bound, and a bound enters no comparison.

use crate::compared::{came_to, of as of_rule};
use crate::document::{catalogue, edited, encoded, now, told};
use crate::part::component_word;
use crate::resource::of_measure;
use fascicle::base::exact::Exact;
use fascicle::base::json::Node;
use fascicle::examination::compare::Rule;
use fascicle::examination::compare::reason::NotCompared;
use fascicle::examination::measure::way::Differs;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::earlier::of_session;
use fascicle::service::app::encode::{Encoded, encode};
use fascicle::tables::catalogue::Catalogue;
use fascicle::tables::catalogue::comparing::{ReferenceRow, Statistic, Use};

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

/// What the comparison of a rule that is about a finding came to; nothing where there is none.
fn of_finding(encoded: &Encoded, rule: Rule, finding: usize) -> Compared {
    let path = format!("/findings/{finding}");
    let found = of_rule(encoded, rule);
    let found = found.into_iter().find(|one| one.about.finding.path == path);
    found.map(came_to)
}

/// What a comparison came to, where there is one.
type Compared = Option<Result<String, NotCompared>>;

/// What R2-R1 of the right calf came to, and that its Observation says the same.
fn dynamic(encoded: &Encoded) -> Compared {
    let came_to = of_finding(encoded, Rule::DynamicPart, SLOW);
    let emitted = of_measure(encoded, "stretch.dynamic.calf");
    assert_eq!(emitted.len(), usize::from(came_to.is_some()));
    for one in emitted {
        let value = one.at(&["valueQuantity", "value"]).map(Node::compact);
        let number = came_to.clone().and_then(Result::ok);
        assert_eq!(value, number);
        assert_eq!(one.member("dataAbsentReason").is_some(), value.is_none());
        assert_eq!(one.items_of("derivedFrom").len(), 2);
    }
    came_to
}

/// The tables with an invented published range of the passive movement.
fn with_range() -> Catalogue {
    let mut catalogue = Catalogue::embedded().expect("sound tables");
    let whole = catalogue.reference_ranges.iter();
    let whole = whole.filter(|row| row.for_one_person().is_some());
    let row = whole.into_iter().next().expect("a row").clone();
    let method = Some("goniometry".to_owned());
    catalogue.reference_ranges = vec![ReferenceRow {
        table: "invented".to_owned(),
        measure: Some("range.passive.ankle.dorsiflexion".to_owned()),
        position: None,
        instrument: None,
        method,
        sex: fascicle::tables::catalogue::comparing::OfSex::Any,
        age_from: None,
        age_to: None,
        low: Some(Exact::from(5)),
        high: Some(Exact::from(31)),
        statistic: Statistic::ObservedRange,
        used: Use::On,
        ..row
    }];
    catalogue
        .use_reference_tables(&["invented".to_owned()])
        .expect("it is there");
    catalogue
}

fn side_difference(document: &Node) -> Compared {
    of_finding(&encoded(document), Rule::SideDifference, PASSIVE)
}

fn reference(document: &Node) -> Compared {
    let encoded = encode(
        &document.compact(),
        &Earlier::default(),
        &with_range(),
        now(),
    );
    of_finding(&encoded.expect("holds"), Rule::PublishedRange, PASSIVE)
}

fn change(earlier: &Node, later: &Node) -> Compared {
    let before = encoded(earlier);
    let earlier = Earlier {
        sessions: vec![of_session(&before.session, &before.measured)],
        ..Earlier::default()
    };
    let after = encode(&later.compact(), &earlier, catalogue(), now());
    of_finding(&after.expect("holds"), Rule::Change, PASSIVE)
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

            let made = dynamic(&encoded(&document));

            let wanted = if end {
                Ok("20".to_owned())
            } else {
                Err(NotCompared::Bound)
            };
            assert_eq!(made, Some(wanted), "{how} of {stretch}");
        }
    }
}

#[test]
fn a_bound_of_either_side_gives_no_side_difference() {
    for (how, end) in endings() {
        for side in [PASSIVE, OTHER_SIDE] {
            let difference = side_difference(&both_sides(&of(side, &[("ended", &ended(how))])));

            let wanted = if end {
                Ok("3".to_owned())
            } else {
                Err(NotCompared::Bound)
            };
            assert_eq!(difference, Some(wanted), "{how} of {side}");
        }
    }
}

#[test]
fn a_bound_is_held_against_no_published_range() {
    for (how, end) in endings() {
        let place = reference(&document(&of(PASSIVE, &[("ended", &ended(how))])));

        let wanted = if end {
            Ok("within-range".to_owned())
        } else {
            Err(NotCompared::Bound)
        };
        assert_eq!(place, Some(wanted), "{how}");
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
            Some(if end {
                Ok(degrees.to_owned())
            } else {
                Err(NotCompared::Bound)
            })
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
    for (edits, beside, alone) in [
        (
            &word[..],
            NotCompared::WordAgainstNumber,
            NotCompared::OnlyWords,
        ),
        (
            &untested[..],
            NotCompared::NotTested,
            NotCompared::NotTested,
        ),
    ] {
        let edits = of(PASSIVE, edits);
        let changed = document(&edits);
        let mut turned = turned_round();
        turned.extend(edits.clone());

        assert_eq!(
            side_difference(&both_sides(&edits)),
            Some(Err(beside.clone()))
        );
        assert_eq!(reference(&changed), Some(Err(alone)));
        assert_eq!(change(&document(&[]), &changed), Some(Err(beside.clone())));
        assert_eq!(change(&changed, &document(&[])), Some(Err(beside)));
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

    let made = dynamic(&encoded(&document));

    assert_eq!(made, Some(Err(NotCompared::NoCatch)));
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

    let nothing = Some(Err(NotCompared::Fixed));
    assert_eq!(side_difference(&both_sides(&edits)), nothing);
    assert_eq!(reference(&document(&edits)), nothing);
    assert_eq!(change(&document(&[]), &document(&edits)), nothing);
    assert!(!asked_about(&document(&turned)));
    for stretch in [SLOW, FAST] {
        assert_eq!(
            dynamic(&encoded(&document(&of(stretch, &[fixed])))),
            nothing
        );
    }
}

/// Ways in which two findings differ that must not be set against each other, and the reason that is
/// told. The last flag tells that both have the same, which is no match either.
fn other_ways() -> Vec<(Differs, Edits, bool)> {
    let bent = ("neighbour/position", "\"bent\"");
    let unknown = ("neighbour/position", "\"not-recorded\"");
    vec![
        (Differs::Neighbour, vec![bent], false),
        (Differs::NeighbourNotRecorded, vec![unknown], false),
        (Differs::NeighbourNotRecorded, vec![unknown], true),
        (Differs::Position, vec![("position", "\"prone\"")], false),
        (
            Differs::Instrument,
            vec![("instrument", "\"inclinometer\"")],
            false,
        ),
        (
            Differs::Method,
            vec![("method", "\"visual-estimate\""), ("instrument", "")],
            false,
        ),
        (
            Differs::Condition,
            vec![("condition", "\"after-treatment\"")],
            false,
        ),
    ]
}

#[test]
fn what_was_found_in_another_way_never_matches() {
    for (differs, edits, both) in other_ways() {
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

        let nothing = Some(Err(NotCompared::Way(differs)));
        let sides = side_difference(&both_sides(&apply(PASSIVE, OTHER_SIDE)));
        assert_eq!(sides, nothing);
        let changed = change(&earlier, &both_sides(&of(PASSIVE, &edits)));
        assert_eq!(changed, nothing);
        assert!(!asked_about(&both_sides(&turned)), "{differs:?}");
        assert_eq!(dynamic(&stretches), None, "{differs:?}");
    }
}

#[test]
fn what_was_withdrawn_is_never_compared() {
    let withdrawn = [("withdrawn", "true")];
    let gone = of(PASSIVE, &withdrawn);

    assert_eq!(side_difference(&both_sides(&gone)), None);
    assert_eq!(
        side_difference(&both_sides(&of(OTHER_SIDE, &withdrawn))),
        None
    );
    assert_eq!(reference(&document(&gone)), None);
    assert_eq!(change(&document(&[]), &document(&gone)), None);
    assert_eq!(change(&document(&gone), &document(&[])), None);
    for range in [ACTIVE, PASSIVE] {
        let mut turned = turned_round();
        turned.extend(of(range, &withdrawn));
        assert!(!asked_about(&document(&turned)));
    }
    for stretch in [SLOW, FAST] {
        let encoded = encoded(&document(&of(stretch, &withdrawn)));
        assert_eq!(dynamic(&encoded), None);
    }
}
