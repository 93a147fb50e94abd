#![cfg(test)]
//! Swapping the sides of every finding flips the signs of side differences and nothing else; a
//! finding that was not tested, or only bounds a movement, gives no number to any comparison.

use crate::document::{catalogue, encoded, now, set, sound};
use crate::few;
use fascicle::base::exact::Exact;
use fascicle::base::json::Node;
use fascicle::examination::compare::Rule;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::earlier::of_session;
use fascicle::service::app::encode::{Encoded, encode};
use proptest::prelude::{Strategy, any, prop_assert, prop_assert_eq, proptest};
use std::collections::BTreeMap;

const MEASURES: [&str; 4] = [
    "range.passive.elbow.extension",
    "range.passive.elbow.flexion",
    "range.passive.forearm.pronation",
    "range.active.wrist.extension",
];

/// One angle in tenths of a degree, or none: whether it was tested and carried through.
type Found = (i32, bool, bool);

fn finding(measure: &str, side: &str, (tenths, tested, ended): Found) -> String {
    let what = if tested {
        let key = if tenths < 0 {
            "lacks"
        } else {
            "beyond_neutral"
        };
        let (whole, rest) = (tenths.abs() / 10, tenths.abs() % 10);
        let how = if ended { "end-of-range" } else { "pain" };
        format!(
            r#""value":{{"{key}":"{whole}.{rest}","unit":"deg"}},"ended":{{"how":"{how}"}},
            "instrument":"goniometer","#
        )
    } else {
        r#""not_tested":{"reason":"pain"},"#.to_owned()
    };
    format!(r#"{{"measure":"{measure}","side":"{side}",{what}"method":"goniometry"}}"#)
}

fn document(found: &[(Found, Found)], swapped: bool) -> Node {
    let (first, second) = if swapped {
        ("right", "left")
    } else {
        ("left", "right")
    };
    let findings = MEASURES
        .iter()
        .zip(found)
        .flat_map(|(measure, (a, b))| [finding(measure, first, *a), finding(measure, second, *b)]);
    let findings = format!("[{}]", findings.collect::<Vec<_>>().join(","));
    let mut document = sound();
    set(
        &mut document,
        "/findings",
        Some(Node::parse(&findings).expect("JSON")),
    );
    set(&mut document, "/session/confirmations", None);
    document
}

fn found() -> impl Strategy<Value = Vec<(Found, Found)>> {
    let one = || (0..200_i32, any::<bool>(), any::<bool>());
    proptest::collection::vec((one(), one()), MEASURES.len())
}

/// Number and verdict of each comparison of a rule, by measure and side.
fn outcomes(encoded: &Encoded, rule: Rule) -> BTreeMap<(String, String), Option<(String, String)>> {
    let of_rule = encoded.comparisons.iter().filter(|one| one.rule == rule);
    let outcome = of_rule.map(|one| {
        let key = (
            one.about.row.measure.clone(),
            one.about.finding.side.word().to_owned(),
        );
        let found = one.outcome.as_ref().ok().map(|found| {
            let amount = found
                .amount
                .as_ref()
                .map(|amount| amount.number.to_string());
            (amount.unwrap_or_default(), found.verdict.code().to_owned())
        });
        (key, found)
    });
    outcome.collect()
}

fn flipped((number, verdict): (String, String)) -> (String, String) {
    let number = Exact::parse(&number)
        .expect("a number")
        .negated()
        .to_string();
    let verdict = match verdict.as_str() {
        "higher" => "lower",
        "lower" => "higher",
        other => other,
    };
    (number, verdict.to_owned())
}

proptest! {
    #![proptest_config(few(24))]

    #[test]
    fn swapping_the_sides_flips_the_signs_only(found in found()) {
        let straight = outcomes(&encoded(&document(&found, false)), Rule::SideDifference);
        let swapped = outcomes(&encoded(&document(&found, true)), Rule::SideDifference);

        let turned: BTreeMap<_, _> = swapped
            .into_iter()
            .map(|(key, found)| (key, found.map(flipped)))
            .collect();
        prop_assert_eq!(straight, turned);
    }

    #[test]
    fn what_was_not_tested_or_only_a_bound_gives_no_number(found in found(), then in found()) {
        let earlier = encoded(&document(&then, false));
        let earlier = Earlier {
            sessions: vec![of_session(&earlier.session, &earlier.measured)],
            ..Earlier::default()
        };
        let text = document(&found, false).compact();
        let encoded = encode(&text, &earlier, catalogue(), now()).expect("holds");
        let reached = |(_, tested, ended): &Found| *tested && *ended;

        let sides = outcomes(&encoded, Rule::SideDifference);
        let changes = outcomes(&encoded, Rule::Change);

        for ((measure, (left, right)), (before_left, before_right)) in
            MEASURES.iter().zip(&found).zip(&then)
        {
            let key = |side: &str| ((*measure).to_owned(), side.to_owned());
            prop_assert_eq!(sides[&key("right")].is_some(), reached(left) && reached(right));
            for (side, now, then) in [("left", left, before_left), ("right", right, before_right)] {
                let change = &changes[&key(side)];
                prop_assert_eq!(change.is_some(), reached(now) && reached(then));
                let exact = |found: &Found| Exact::parse(&format!("{}.{}", found.0 / 10, found.0 % 10));
                if let Some((number, _)) = change {
                    let wanted = exact(now).expect("a number").minus(exact(then).expect("a number"));
                    prop_assert_eq!(number, &wanted.expect("held").to_string());
                }
            }
        }
        prop_assert!(!sides.is_empty() && !changes.is_empty());
    }
}
