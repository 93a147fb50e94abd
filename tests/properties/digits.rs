#![cfg(test)]
//! Digits are kept from the document to the text of the Bundle.

use crate::document::{edited, encoded};
use crate::few;
use fascicle::base::json::Node;
use proptest::prelude::{prop_assert, proptest};

/// Decimals that no bound asks about, with up to 26 digits after the point.
const ANGLE: &str = r"(4|[5-9]|[1-3][0-9])(\.[0-9]{1,26})?";
const VELOCITY: &str = r"(0|[1-9][0-9]{0,2})(\.[0-9]{1,20})?";

/// The text of the Bundle of a document that has to hold.
fn bundle(edits: &[(&str, &str)]) -> String {
    encoded(&edited(edits)).checked.record().bundle().compact()
}

/// A quantity as it stands in the text.
fn quantity(digits: &str, unit: &str) -> String {
    format!(r#"{{"value":{digits},"unit":"{unit}""#)
}

/// Every number of a tree.
fn numbers<'a>(node: &'a Node, found: &mut Vec<&'a str>) {
    if let Node::Number(digits) = node {
        found.push(digits);
    }
    for (_, member) in node.members() {
        numbers(member, found);
    }
    for item in node.items() {
        numbers(item, found);
    }
}

proptest! {
    #![proptest_config(few(48))]

    #[test]
    fn an_angle_leaves_with_the_digits_it_came_with(
        lacks in ANGLE,
        beyond in ANGLE,
        fixed in ANGLE,
    ) {
        let text = bundle(&[
            ("/findings/7/value", &format!(r#"{{"lacks":"{lacks}","unit":"deg"}}"#)),
            ("/findings/3/value", &format!(r#"{{"beyond_neutral":"{beyond}","unit":"deg"}}"#)),
            (
                "/findings/4/value",
                &format!(r#"{{"fixed_at":"{fixed}","direction":"plantarflexion","unit":"deg"}}"#),
            ),
        ]);

        for digits in [format!("-{lacks}"), beyond, format!("-{fixed}")] {
            prop_assert!(text.contains(&quantity(&digits, "degree")), "{digits}");
        }
    }

    #[test]
    fn a_velocity_and_a_limit_leave_with_the_digits_they_came_with(
        velocity in VELOCITY,
        limit in ANGLE,
    ) {
        let text = bundle(&[
            ("/findings/7/stretch/velocity", ""),
            ("/findings/8/stretch/velocity", &format!(r#""{velocity}""#)),
            ("/precautions/0/limit", r#""no-movement-beyond""#),
            ("/precautions/0/movement", r#""dorsiflexion""#),
            ("/precautions/0/angle", &format!(r#""{limit}""#)),
        ]);

        prop_assert!(text.contains(&quantity(&velocity, "degree per second")), "{velocity}");
        prop_assert!(text.contains(&quantity(&limit, "degree")), "{limit}");
    }

    #[test]
    fn the_dynamic_component_is_exact_and_no_number_has_an_exponent(
        slow in ANGLE,
        catch in ANGLE,
    ) {
        let encoded = encoded(&edited(&[
            ("/findings/8/value", &format!(r#"{{"beyond_neutral":"{slow}","unit":"deg"}}"#)),
            ("/findings/7/value", &format!(r#"{{"lacks":"{catch}","unit":"deg"}}"#)),
        ]));

        let bundle = encoded.checked.record().bundle();
        let mut found = Vec::new();
        numbers(&bundle, &mut found);
        let exact = |digits: &str| fascicle::base::exact::Exact::parse(digits).expect("exact");
        let sum = exact(&slow).plus(exact(&catch)).expect("it can be held").to_string();
        prop_assert!(found.contains(&sum.as_str()), "{sum}");
        prop_assert!(found.iter().all(|digits| !digits.contains(['e', 'E', '+'])));
    }
}
