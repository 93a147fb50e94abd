#![cfg(test)]
//! What was done with another part held in another way, or felt on another occasion, is not set
//! against each other.

use crate::compared::of;
use crate::document::{edited, encoded};
use crate::resource::of_measure;
use fascicle::base::json::Node;
use fascicle::examination::compare::Rule;
use fascicle::examination::measure::sense::comparable;
use fascicle::service::app::encode::Encoded;

/// The slow stretch of the shoulder internal rotators and the fast one, with the arm held as named.
fn stretches(slow: &str, fast: &str) -> Encoded {
    let finding = |kind: &str, held: &str, stretch: &str, degrees: &str| {
        format!(
            r#"{{"measure":"stretch.{kind}.shoulder-internal-rotators.{held}","side":"right",
            "value":{{"beyond_neutral":"{degrees}","unit":"deg"}},"ended":{{"how":"end-of-range"}},
            "method":"goniometry","instrument":"goniometer","stretch":{stretch}}}"#
        )
    };
    let fast_stretch = r#"{"speed":"V3","quality":"2","quality_version":"0-4"}"#;
    let findings = format!(
        "[{},{}]",
        finding("slow", slow, r#"{"speed":"V1"}"#, "40"),
        finding("fast", fast, fast_stretch, "15")
    );
    encoded(&edited(&[("/findings", &findings)]))
}

#[test]
fn a_stretch_with_the_arm_at_the_side_goes_with_no_stretch_of_the_abducted_arm() {
    let alike = stretches("arm-at-side", "arm-at-side");
    let apart = stretches("arm-at-side", "arm-abducted");

    let measure = "stretch.dynamic.shoulder-internal-rotators.arm-at-side";
    let made = of_measure(&alike, measure);
    let value = made
        .first()
        .and_then(|one| one.at(&["valueQuantity", "value"]));
    assert_eq!(value.map(Node::compact).as_deref(), Some("25"));
    assert_eq!(of(&alike, Rule::DynamicPart).len(), 1);
    assert!(of(&apart, Rule::DynamicPart).is_empty());
}

#[test]
fn what_was_found_after_treatment_is_not_set_against_what_was_found_before() {
    let finding = |condition: &str| {
        let range = r#"{"measure":"range.passive.wrist.extension","side":"right",
            "value":{"beyond_neutral":"30","unit":"deg"},"ended":{"how":"end-of-range"},
            "method":"visual-estimate""#;
        format!(r#"{range},"condition":"{condition}"}}"#)
    };
    let of = |condition: &str| {
        let findings = format!("[{}]", finding(condition));
        encoded(&edited(&[("/findings", &findings)]))
    };
    let (rest, after) = (of("at-rest"), of("after-treatment"));

    assert!(comparable(&rest.measured[0], &rest.measured[0]));
    assert!(!comparable(&rest.measured[0], &after.measured[0]));
}
