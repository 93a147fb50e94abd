#![cfg(test)]
//! Findings of several joints: which of them a limit reaches, and how each muscle lengthens.

use crate::document::{edited, encoded, told};
use crate::every;
use crate::part::digits;
use crate::resource::of_measure;
use fascicle::base::json::Node;

/// One right-sided finding of a measure, with another value where one is given.
fn finding(measure: &str, value: Option<&str>) -> String {
    let found = every::findings().iter().find(|finding| {
        finding.text_of("measure") == Some(measure) && finding.text_of("side") == Some("right")
    });
    let mut finding = found.expect("the long document has it").clone();
    if let Some(value) = value {
        finding.set("value", Node::parse(value).expect("JSON"));
    }
    finding.compact()
}

/// True when a finding is asked about because of a limit at a site of the same side.
fn asked(measure: &str, site: &str, limit: &[(&str, &str)]) -> bool {
    let findings = format!("[{}]", finding(measure, None));
    let site = format!(r#""{site}""#);
    let mut edits = vec![
        ("/findings", findings.as_str()),
        ("/precautions/0/side", r#""right""#),
        ("/precautions/0/site", &site),
    ];
    edits.extend(limit);
    let told = told(&edited(&edits));
    if told.is_empty() {
        return false;
    }
    assert_eq!(
        told,
        ["caution precaution.forbids /findings/0"],
        "{measure}"
    );
    true
}

#[test]
fn a_limit_at_one_joint_says_nothing_of_the_same_movement_at_another() {
    let no_flexion_beyond_five = [
        ("/precautions/0/limit", r#""no-movement-beyond""#),
        ("/precautions/0/movement", r#""flexion""#),
        ("/precautions/0/angle", r#""5""#),
    ];
    let asked = |measure: &str, site: &str| asked(measure, site, &no_flexion_beyond_five);

    assert!(asked("range.passive.hip.flexion", "hip"));
    assert!(!asked("range.passive.knee.flexion", "hip"));
    assert!(asked("range.active.wrist.flexion", "wrist"));
    assert!(!asked("range.active.finger-index-mcp.flexion", "wrist"));
    // Of the hand nobody can tell which joint is meant.
    assert!(asked("range.active.wrist.flexion", "hand"));
    assert!(asked(
        "range.active-assisted.finger-index-mcp.flexion",
        "hand"
    ));
}

#[test]
fn a_stretch_is_reached_where_its_muscle_lies_and_where_it_moves() {
    let strictest = [("/precautions/0/limit", r#""do-not-test""#)];
    let asked = |measure: &str, site: &str| asked(measure, site, &strictest);

    for site in ["thigh", "hip", "knee", "hamstrings"] {
        assert!(asked("stretch.slow.hamstrings", site), "{site}");
        assert!(asked("tone.ashworth.hamstrings", site), "{site}");
    }
    for site in ["upper-arm", "elbow"] {
        assert!(asked("stretch.slow.elbow-flexors", site), "{site}");
    }
    assert!(!asked("stretch.slow.elbow-flexors", "wrist"));
    assert!(!asked("stretch.slow.hamstrings", "ankle"));
    assert!(!asked("sensation.felt-numb.thigh", "knee"));
}

#[test]
fn the_dynamic_component_runs_in_the_direction_in_which_the_muscle_lengthens() {
    let at = |degrees: &str| match degrees.strip_prefix('-') {
        Some(lacks) => format!(r#"{{"lacks":"{lacks}","unit":"deg"}}"#),
        None => format!(r#"{{"beyond_neutral":"{degrees}","unit":"deg"}}"#),
    };
    // An elbow caught at 60 degrees of flexion and carried on to 20 lacks 60, then 20, of extension;
    // a popliteal angle is what extension of the knee lacks.
    for (muscle, catch, end, dynamic) in [
        ("elbow-flexors", "-60", "-20", "40"),
        ("elbow-extensors", "60", "110", "50"),
        ("wrist-flexors", "-10", "40", "50"),
        ("hamstrings", "-70", "-40", "30"),
        ("quadriceps", "60", "110", "50"),
        ("calf", "-20", "5", "25"),
    ] {
        let slow = finding(&format!("stretch.slow.{muscle}"), Some(&at(end)));
        let fast = finding(&format!("stretch.fast.{muscle}"), Some(&at(catch)));

        let encoded = encoded(&edited(&[("/findings", &format!("[{slow},{fast}]"))]));

        let found = of_measure(&encoded, &format!("stretch.dynamic.{muscle}"));
        assert_eq!(found.len(), 1, "{muscle}");
        assert_eq!(
            digits(found[0].member("valueQuantity")),
            Some(dynamic),
            "{muscle}"
        );
    }
}
