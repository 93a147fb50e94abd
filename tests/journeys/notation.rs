#![cfg(test)]
//! A plane in three numbers: both directions, named, and back.

use crate::document::{catalogue, edited, encoded, lines, now, told};
use crate::part::digits;
use crate::resource::of_measure;
use fascicle::base::code::Code;
use fascicle::base::json::Node;
use fascicle::base::problem::Problem;
use fascicle::examination::measure::notation::planes;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::words;

/// A document of one plane of an elbow.
fn plane(order: &str, text: &str, more: &str) -> Node {
    let finding = format!(
        r#"[{{"measure":"range.passive.elbow","side":"right","value":{{"notation":{{"order":"{order}",
        "text":"{text}"}},"unit":"deg"}},"ended":{{"how":"end-of-range"}},"method":"goniometry",
        "instrument":"goniometer"{more}}}]"#
    );
    edited(&[("/findings", &finding)])
}

/// Flexion and extension of what was encoded.
fn found(document: &Node) -> [Option<String>; 2] {
    let encoded = encoded(document);
    ["flexion", "extension"].map(|movement| {
        let found = of_measure(&encoded, &format!("range.passive.elbow.{movement}"));
        digits(found.first()?.member("valueQuantity")).map(str::to_owned)
    })
}

fn problems(document: &Node) -> Vec<Problem> {
    match encode(&document.compact(), &Earlier::default(), catalogue(), now()) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    }
}

/// Source: fernlehrgang-heilpraktiker.com/forum/thread-2865: flexion/extension 150-0-5 is 5-0-150 as
/// extension/flexion; flexion/extension 150-20-0 lacks 20 of extension. The orders differ between
/// publishers: de.academic.ru/dic.nsf/dewiki/1014238 has extension first.
#[test]
fn one_plane_is_two_findings_whatever_the_order() {
    let pair =
        |flexion: &str, extension: &str| [Some(flexion.to_owned()), Some(extension.to_owned())];

    assert_eq!(
        found(&plane("flexion/extension", "150-0-5", "")),
        pair("150", "5")
    );
    assert_eq!(
        found(&plane("extension/flexion", "5-0-150", "")),
        pair("150", "5")
    );
    assert_eq!(
        found(&plane("flexion/extension", "150-20-0", "")),
        pair("150", "-20")
    );
    assert_eq!(
        found(&plane("extension/flexion", "0-20-150", "")),
        pair("150", "-20")
    );
    assert_eq!(
        found(&plane("extension/flexion", "S 10-0-150", "")),
        pair("150", "10")
    );
}

/// Source: sportgesundheit.eu/neutral-null-methode.html: two equal numbers before or after the 0 for
/// an ankylosis.
#[test]
fn an_ankylosis_is_fixed_in_both_directions() {
    let pair = [Some("30".to_owned()), Some("-30".to_owned())];

    assert_eq!(found(&plane("extension/flexion", "0-30-30", "")), pair);
    assert_eq!(found(&plane("flexion/extension", "30-30-0", "")), pair);
    assert_eq!(found(&plane("flexion/extension", "30-0", "")), pair);
}

#[test]
fn without_an_order_both_readings_are_shown_and_nothing_is_sent() {
    let document = edited(&[(
        "/findings",
        r#"[{"measure":"range.passive.elbow","side":"right","value":{"notation":{"text":"0-20-150"},
        "unit":"deg"},"ended":{"how":"end-of-range"},"method":"goniometry","instrument":"goniometer"}]"#,
    )]);

    let told = problems(&document);

    assert_eq!(
        lines(&told),
        ["error notation.unordered /findings/0/value/notation/order"]
    );
    for reading in [
        "as extension/flexion: lacks 20 of extension, flexion to 150",
        "as flexion/extension: lacks 20 of flexion, extension to 150",
    ] {
        assert!(told[0].what.contains(reading), "{}", told[0].what);
    }
}

#[test]
fn a_letter_that_says_the_other_order_is_refused_with_both_readings() {
    let told = problems(&plane("flexion/extension", "S 10-0-150", ""));

    let letter = told.iter().find(|one| one.code == Code::NotationLetter);
    let letter = letter.expect("the letter is told");
    assert_eq!(letter.path, "/findings/0/value/notation/text");
    for reading in [
        "as flexion/extension: flexion to 10, extension to 150",
        "as extension/flexion: extension to 10, flexion to 150",
    ] {
        assert!(letter.what.contains(reading), "{}", letter.what);
    }
}

#[test]
fn what_is_told_of_a_direction_stands_at_the_notation_it_was_written_in() {
    assert_eq!(
        told(&plane("extension/flexion", "40-0-170", "")),
        [
            "caution angle.unusual /findings/0/value/notation",
            "caution angle.unusual /findings/0/value/notation",
        ]
    );
    assert_eq!(
        told(&plane("extension/abduction", "5-0-140", "")),
        [
            "error measure.unknown /findings/0/measure",
            "error notation.plane /findings/0/value/notation/order",
        ]
    );
}

/// The arm is held in one position in both directions, and its name stands in the order.
#[test]
fn a_position_that_is_part_of_the_measure_is_part_of_the_order() {
    let order = "lateral-rotation.arm-abducted/medial-rotation.arm-abducted";
    let document = edited(&[(
        "/findings",
        &format!(
            r#"[{{"measure":"range.passive.shoulder","side":"left","value":{{"notation":{{
            "order":"{order}","text":"R 80-0-60"}},"unit":"deg"}},"ended":{{"how":"end-of-range"}},
            "method":"goniometry","instrument":"goniometer"}}]"#
        ),
    )]);

    let encoded = encoded(&document);

    let written = planes(&encoded.measured, "sftr", catalogue());
    assert_eq!(written.len(), 1);
    let written = written[0].to_string();
    assert!(
        written.ends_with("lateral-rotation/medial-rotation: R 80-0-60"),
        "{written}"
    );
}

#[test]
fn each_direction_keeps_the_identity_that_follows_from_the_one_given() {
    let id = r#","id":"7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1f01""#;
    let ids = |document: &Node| {
        let session = words::understood(1, &document.compact()).expect("it reads");
        let ids = session
            .findings
            .iter()
            .map(|one| (one.measure.clone(), one.id));
        ids.collect::<std::collections::BTreeMap<_, _>>()
    };

    let first = ids(&plane("extension/flexion", "5-0-140", id));
    let turned = ids(&plane("flexion/extension", "135-0-5", id));

    assert_eq!(first, turned);
    assert_eq!(first.len(), 2);
}

#[test]
fn planes_are_written_in_the_order_asked_for_and_a_bound_is_not() {
    let whole = encoded(&plane("extension/flexion", "0-20-150", ""));
    let stopped = plane("extension/flexion", "0-20-150", "");
    let stopped = stopped.compact().replace("end-of-range", "pain");
    let stopped = encoded(&Node::parse(&stopped).expect("JSON"));
    let written = |encoded: &fascicle::service::app::encode::Encoded, order| {
        let planes = planes(&encoded.measured, order, catalogue());
        planes.iter().map(ToString::to_string).collect::<Vec<_>>()
    };

    for (order, text) in [
        ("away-first", "extension/flexion: 0-20-150"),
        ("flexion-first", "flexion/extension: 150-20-0"),
        ("sftr", "extension/flexion: S 0-20-150"),
    ] {
        let place = "right elbow, passive, supine";
        assert_eq!(written(&whole, order), [format!("{place}, {text}")]);
    }
    let stopped = written(&stopped, "sftr");
    assert!(stopped[0].contains("a movement was stopped"), "{stopped:?}");
}
