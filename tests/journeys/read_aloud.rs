#![cfg(test)]
//! Every Observation says in words what the therapist meant: read aloud, it needs no code, no sign
//! and no table.

use crate::document::{catalogue, edited, encoded};
use crate::every;
use crate::resource::{all, of_measure, own_code};
use fascicle::base::json::Node;
use fascicle::tables::catalogue::rows::Kind;

/// The words of a narrative, with its markup taken off.
fn words(resource: &Node) -> String {
    let div = resource
        .at(&["text", "div"])
        .and_then(Node::text)
        .expect("a narrative");
    let inner = div
        .strip_prefix("<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>")
        .and_then(|rest| rest.strip_suffix("</p></div>"));
    inner.expect("one paragraph").to_owned()
}

fn value_of<'a>(finding: &'a Node, field: &str) -> Option<&'a str> {
    finding.at(&["value", field]).and_then(Node::text)
}

/// What has to be heard of a finding, from the document and the tables alone.
fn expected(finding: &Node) -> Vec<String> {
    let row = &catalogue().measures[finding.text_of("measure").expect("a measure")];
    let label = |list: &str, code: &str| {
        let word = catalogue().word(list, code);
        word.unwrap_or_else(|| panic!("{list} has no {code}"))
            .label
            .clone()
    };
    let list = row.scale.as_deref().unwrap_or_default();
    let spoken = |movement: &Option<String>| movement.clone().expect("one").replace('-', " ");
    let mut heard = vec![row.label.clone()];
    heard.extend(
        finding
            .text_of("side")
            .filter(|side| *side != "middle")
            .map(str::to_owned),
    );
    let reason = finding.at(&["not_tested", "reason"]).and_then(Node::text);
    heard.extend(reason.map(|code| format!("not tested: {}", label("not-tested-reason", code))));
    heard.extend(value_of(finding, "word").map(|code| label(list, code)));
    heard.extend(value_of(finding, "relative").map(|code| label("relative", code)));
    heard.extend(value_of(finding, "score").map(|points| format!("{points} of 10")));
    let unit = value_of(finding, "unit").unwrap_or_default();
    // Of "kilogram of force" only the first word is counted.
    let unit = catalogue().unit_label(unit).unwrap_or_default();
    let unit = unit.split(' ').next().unwrap_or_default();
    heard.extend(value_of(finding, "amount").map(|amount| format!("{amount} {unit}")));
    for part in finding.items_of("parts") {
        let said = |field: &str| part.text_of(field).unwrap_or_default();
        heard.push(label("component", said("part")));
        let unit = catalogue().unit_label(said("unit")).unwrap_or("word");
        heard.push(format!("{} {}", said("amount"), unit));
    }
    let landmark = catalogue().landmarks.get(&row.measure);
    heard.extend(landmark.map(|row| label("landmark", &row.landmark)));
    heard.extend(landmark.map(|row| format!("{} centimetre", row.distance)));
    let version = value_of(finding, "grade_version");
    let list = version.map_or(list, |_| "mrc-power-plus-minus");
    heard.extend(
        value_of(finding, "grade").map(|code| format!("grade {code}: {}", label(list, code))),
    );
    let zero = |digits: &&str| digits.trim_matches(['0', '.']).is_empty();
    heard.extend(
        value_of(finding, "beyond_neutral").map(|digits| match digits {
            digits if zero(&digits) => "neutral".to_owned(),
            digits => format!("{digits} degrees of {}", spoken(&row.movement)),
        }),
    );
    heard.extend(value_of(finding, "lacks").map(|digits| match digits {
        digits if zero(&digits) => "neutral".to_owned(),
        // A catch is a position on the way: that it lies before neutral says nothing of the end.
        digits if row.kind == Kind::StretchFast => {
            format!("a catch at {digits} degrees of {}.", spoken(&row.opposite))
        }
        digits => format!(
            "{digits} degrees of {}, neutral not reached",
            spoken(&row.opposite)
        ),
    }));
    heard
}

#[test]
fn every_measure_on_both_sides_is_heard_as_it_was_said() {
    let document = Node::parse(include_str!("../../fixtures/sessions/every-measure.json"));
    let encoded = encoded(&document.expect("JSON"));
    let told: Vec<(String, String)> = encoded
        .measured
        .iter()
        .zip(all(&encoded, "Observation"))
        .map(|(one, resource)| (one.finding.path.clone(), words(resource).to_lowercase()))
        .collect();
    assert_eq!(told.len(), every::findings().len());

    let mut missing = Vec::new();
    for ((path, told), finding) in told.iter().zip(every::findings()) {
        let heard = expected(finding);
        assert!(heard.len() >= 2, "{path}");
        let silent = heard
            .into_iter()
            .filter(|part| !told.contains(&part.to_lowercase()));
        missing.extend(silent.map(|part| format!("{path}: {part} in {told}")));
    }

    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn no_sign_has_to_be_heard() {
    let document = Node::parse(include_str!("../../fixtures/sessions/every-measure.json"));
    let encoded = encoded(&document.expect("JSON"));

    for resource in all(&encoded, "Observation") {
        let code = own_code(resource.member("code"), "measure").expect("a measure of ours");
        let signed = catalogue().measures[code].kind != Kind::Panel;
        if !signed {
            continue;
        }
        let told = words(resource);
        let minus = told
            .split(' ')
            .any(|word| word.starts_with('-') && word.len() > 1);
        assert!(!minus, "{told}");
    }
}

#[test]
fn a_bound_a_fixed_joint_and_a_withdrawal_are_heard() {
    let heard = |edits: &[(&str, &str)]| {
        let encoded = encoded(&edited(edits));
        words(of_measure(&encoded, "range.passive.ankle.dorsiflexion")[0])
    };
    let stopped = r#"{"how":"stopped-on-purpose","because":"precaution"}"#;
    let fixed = r#"{"fixed_at":"20","direction":"plantarflexion","unit":"deg"}"#;

    let bound = heard(&[
        ("/findings/4/ended", stopped),
        ("/findings/4/value", r#"{"lacks":"5","unit":"deg"}"#),
        ("/findings/4/end_feel", ""),
    ]);
    assert!(
        bound.contains("End not reached: stopped on purpose"),
        "{bound}"
    );
    // Nobody knows whether neutral could have been reached.
    assert!(bound.contains("before neutral"), "{bound}");
    assert!(!bound.contains("neutral not reached"), "{bound}");
    assert!(
        bound.contains("taken no further: a precaution forbids it"),
        "{bound}"
    );
    let fixed = heard(&[("/findings/4/value", fixed)]);
    assert!(
        fixed.contains("Fixed at 20 degrees of plantarflexion"),
        "{fixed}"
    );
    let withdrawn = heard(&[("/findings/4/withdrawn", "true"), ("/session/version", "2")]);
    assert!(
        withdrawn.starts_with("Entered in error, not to be used."),
        "{withdrawn}"
    );
}

#[test]
fn markup_in_a_note_is_heard_and_not_obeyed() {
    let encoded = encoded(&edited(&[(
        "/findings/4/note",
        r#""<script>alert(1)</script> & 5 < 6""#,
    )]));

    let told = words(of_measure(&encoded, "range.passive.ankle.dorsiflexion")[0]);

    assert!(
        told.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; 5 &lt; 6"),
        "{told}"
    );
    assert!(!told.contains('<'), "{told}");
}
