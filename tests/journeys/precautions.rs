#![cfg(test)]
//! What limits an examination, and how long.

use crate::days::{LAST, LATER, LIFTED, OTHER};
use crate::document::{catalogue, edited, encoded, sound, told};
use crate::part::{component, component_word};
use crate::resource::{all, of_measure, own_code};
use crate::store::Store;
use fascicle::base::json::Node;
use fascicle::service::app::encode::Encoded;
use std::collections::BTreeSet;

const STANDING: &str = "note precaution.carried /precautions";
const FORBIDDEN: &str = "precaution.forbids /findings/11";

const NONE_KNOWN: [(&str, &str); 3] = [
    ("/precautions", "[]"),
    ("/no_precautions", r#""asked and looked up, none known""#),
    ("/findings/11", ""),
];

/// The finding that was left out because of the precaution, done all the same.
const DONE: [(&str, &str); 1] = [(
    "/findings/11",
    r#"{"measure":"stretch.fast.calf","side":"left",
        "neighbour":{"joint":"knee","position":"straight"},
        "value":{"lacks":"5","unit":"deg"},"ended":{"how":"end-of-range"},
        "method":"goniometry","instrument":"goniometer","stretch":{"speed":"V3","quality":"2","quality_version":"0-4"}}"#,
)];

/// Every word of a list is a word of the second form.
const SECOND: [(&str, &str); 2] = [
    ("/fascicle", r#""session/2""#),
    ("/findings/6/value", r#"{"sensation":"normal"}"#),
];

const CONFIRMED: [(&str, &str); 1] = [(
    "/session/confirmations",
    r#"[{"code":"precaution.forbids","path":"/findings/11","by":"therapist",
        "at":"2026-11-16T10:18:00+01:00","reason":"cleared by Dr Testsurgeon on the telephone"}]"#,
)];

fn document(parts: &[&[(&str, &str)]]) -> Node {
    edited(&parts.concat())
}

fn notes(resource: &Node) -> Vec<&str> {
    let notes = resource.items_of("note").iter();
    notes.filter_map(|note| note.text_of("text")).collect()
}

fn panel_notes(encoded: &Encoded) -> Vec<String> {
    let panel = of_measure(encoded, "session.examination");
    notes(panel[0]).into_iter().map(str::to_owned).collect()
}

/// The precautions of a record that was kept.
fn precautions_of(bundle: &Node) -> Vec<&Node> {
    let resources = bundle.items_of("entry").iter();
    resources
        .filter_map(|entry| entry.member("resource"))
        .filter(|resource| own_code(resource.member("code"), "measure") == Some("precaution"))
        .collect()
}

#[test]
fn status_source_limit_and_days_reach_the_record() {
    let encoded = encoded(&document(&[&[("/precautions/0/end", r#""2027-01-31""#)]]));

    let precaution = of_measure(&encoded, "precaution")[0];

    let word = |name: &str| component_word(precaution, name, name);
    let day = |name: &str| component(precaution, name).and_then(|c| c.text_of("valueDateTime"));
    assert_eq!(word("precaution-status"), Some("active"));
    assert_eq!(word("precaution-source"), Some("surgeon"));
    assert_eq!(
        own_code(
            precaution.member("valueCodeableConcept"),
            "precaution-limit"
        ),
        Some("no-fast-stretch")
    );
    assert_eq!(day("precaution-set"), Some("2026-10-05"));
    assert_eq!(day("precaution-review"), Some("2026-12-15"));
    assert_eq!(day("precaution-end"), Some("2027-01-31"));
    assert_eq!(
        component(precaution, "precaution-reason").and_then(|c| c.text_of("valueString")),
        Some("fixation of an ankle fracture in 2025")
    );
}

#[test]
fn every_word_of_status_and_source_is_accepted_and_leaves_as_it_came() {
    for (list, field) in [
        ("precaution-status", "status"),
        ("precaution-source", "source"),
    ] {
        for row in &catalogue().scales[list].rows {
            let word = format!(r#""{}""#, row.code);
            let path = format!("/precautions/0/{field}");
            let lifted = if row.code == "lifted" {
                &LIFTED[1..]
            } else {
                &[]
            };

            let encoded = encoded(&document(&[
                &SECOND,
                &[(&path, &word), ("/findings/11", "")],
                lifted,
            ]));

            let precaution = of_measure(&encoded, "precaution")[0];
            assert_eq!(
                component_word(precaution, list, list),
                Some(row.code.as_str())
            );
        }
    }
}

#[test]
fn a_limit_by_angle_is_passed_only_beyond_it_and_only_in_its_movement() {
    let limited = |movement: &str, angle: &str| {
        let movement = format!(r#""{movement}""#);
        let angle = format!(r#""{angle}""#);
        told(&document(&[&[
            ("/precautions/0/side", r#""right""#),
            ("/precautions/0/limit", r#""no-movement-beyond""#),
            ("/precautions/0/movement", &movement),
            ("/precautions/0/angle", &angle),
            ("/findings/11", ""),
        ]]))
    };

    let at_the_angle = limited("dorsiflexion", "15");
    let below_it = limited("dorsiflexion", "14.9");
    let other_way = limited("plantarflexion", "44");

    // What cannot be stopped at an angle is asked about whatever the angle: clonus, a fast stretch,
    // a graded stretch.
    let asked = |findings: &[usize]| -> Vec<String> {
        let paths = findings.iter();
        paths
            .map(|finding| format!("caution precaution.forbids /findings/{finding}"))
            .collect()
    };
    assert_eq!(at_the_angle, asked(&[0, 7, 9]));
    assert_eq!(below_it, asked(&[0, 4, 7, 8, 9]));
    assert_eq!(other_way, asked(&[0, 5, 7, 9]));
}

#[test]
fn an_unknown_limit_forbids_all_that_the_strictest_forbids() {
    let sound = sound();
    let findings = sound.items_of("findings").iter();
    let measures = findings.filter_map(|finding| finding.text_of("measure"));
    let sites: BTreeSet<&str> = measures
        .filter_map(|measure| catalogue().measures[measure].site.as_deref())
        .collect();
    for site in sites {
        let asked = |limit: &str| {
            let site = format!(r#""{site}""#);
            let limit = format!(r#""{limit}""#);
            told(&document(&[&[
                ("/precautions/0/side", r#""right""#),
                ("/precautions/0/site", &site),
                ("/precautions/0/limit", &limit),
                ("/findings/11", ""),
            ]]))
        };

        let (strictest, unknown) = (asked("do-not-test"), asked("limit-unknown"));

        assert_eq!(strictest, unknown, "{site}");
        // Every measure that moves the leg is asked about; touching and asking are, at their site.
        assert!(strictest.len() >= 8, "{site}: {strictest:?}");
        assert!(
            strictest
                .iter()
                .all(|line| line.starts_with("caution precaution.forbids "))
        );
    }
}

#[test]
fn no_limit_forbids_what_the_strictest_lets_pass() {
    let asked = |limit: &str| {
        let limit = format!(r#""{limit}""#);
        let beyond = limit.contains("no-movement-beyond");
        let angle: &[(&str, &str)] = if beyond {
            &[
                ("/precautions/0/movement", r#""dorsiflexion""#),
                ("/precautions/0/angle", r#""-30""#),
            ]
        } else {
            &[]
        };
        let edits: &[(&str, &str)] = &[
            ("/precautions/0/side", r#""right""#),
            ("/precautions/0/limit", &limit),
            ("/findings/11", ""),
        ];
        told(&document(&[&SECOND, edits, angle]))
    };
    let strictest = asked("do-not-test");

    for limit in &catalogue().scales["precaution-limit"].rows {
        let less = asked(&limit.code);

        assert!(
            less.iter().all(|line| strictest.contains(line)),
            "{}: {less:?}",
            limit.code
        );
    }
}

#[test]
fn a_fast_stretch_under_a_precaution_asks_who_cleared_it() {
    let done = document(&[&DONE]);

    assert_eq!(told(&done), [format!("caution {FORBIDDEN}")]);
    assert_eq!(
        told(&document(&[&DONE, &CONFIRMED])),
        [format!("note {FORBIDDEN}")]
    );
}

#[test]
fn the_slow_stretch_and_the_other_side_are_not_asked_about() {
    let slow = [
        ("/findings/11/measure", r#""stretch.slow.calf""#),
        ("/findings/11/stretch", r#"{"speed":"V1"}"#),
    ];
    let other_side = [
        ("/findings/11/side", r#""right""#),
        ("/findings/11/repeat", "2"),
    ];

    assert_eq!(told(&document(&[&DONE, &slow])), [""; 0]);
    assert_eq!(told(&document(&[&DONE, &other_side])), [""; 0]);
}

#[test]
fn a_confirmation_keeps_code_path_person_time_and_reason_in_the_panel() {
    let encoded = encoded(&document(&[&DONE, &CONFIRMED]));

    let kept = &encoded.session.confirmations[0];
    assert_eq!(
        (kept.code.as_str(), kept.path.as_str(), kept.by.as_str()),
        ("precaution.forbids", "/findings/11", "therapist")
    );
    assert_eq!(kept.at.text, "2026-11-16T10:18:00+01:00");
    assert_eq!(
        kept.reason.open(),
        "cleared by Dr Testsurgeon on the telephone"
    );
    let note = "confirmed precaution.forbids of /findings/11 by therapist (physiotherapist) at \
                2026-11-16T10:18:00+01:00: cleared by Dr Testsurgeon on the telephone";
    assert!(
        panel_notes(&encoded).contains(&note.to_owned()),
        "{:?}",
        panel_notes(&encoded)
    );
}

#[test]
fn none_known_stands_in_the_panel_only_when_it_was_said() {
    let unsaid = document(&[&NONE_KNOWN[..1], &NONE_KNOWN[2..]]);
    let said = "precautions: asked and looked up, none known".to_owned();

    assert_eq!(told(&unsaid), ["error precautions.unsaid /precautions"]);
    assert!(panel_notes(&encoded(&document(&[&NONE_KNOWN]))).contains(&said));
    assert!(!panel_notes(&encoded(&document(&[]))).contains(&said));
}

#[test]
fn an_overdue_precaution_is_asked_about_and_still_limits() {
    let overdue = [("/precautions/0/review", r#""2026-11-15""#)];

    let told = told(&document(&[&overdue, &DONE]));

    assert_eq!(
        told,
        [
            format!("caution {FORBIDDEN}"),
            "caution precaution.overdue /precautions/0/review".to_owned()
        ]
    );
}

#[test]
fn a_lifted_precaution_no_longer_limits_and_names_who_lifted_it() {
    let lifted = document(&[&LIFTED, &DONE]);

    let encoded = encoded(&lifted);

    assert_eq!(told(&lifted), [""; 0]);
    let precaution = of_measure(&encoded, "precaution")[0];
    let part = |name: &str| component(precaution, name);
    assert_eq!(
        part("precaution-lifted-by").and_then(|c| c.text_of("valueString")),
        Some("lifted by Dr Testsurgeon, surgeon")
    );
    assert_eq!(
        part("precaution-lifted").and_then(|c| c.text_of("valueDateTime")),
        Some("2026-11-16")
    );
}

#[test]
fn a_precaution_lifted_after_the_examination_limited_it() {
    let later = [(
        "/precautions/0/lifted",
        r#"{"by":"Dr Testsurgeon, surgeon","on":"2026-11-17"}"#,
    )];

    assert_eq!(
        told(&document(&[&LIFTED[..1], &later, &DONE])),
        [format!("caution {FORBIDDEN}")]
    );
    // What was left out because of it was rightly left out.
    assert_eq!(told(&document(&[&LIFTED[..1], &later])), [""; 0]);
}

#[test]
fn what_was_left_out_needs_a_precaution_that_stood() {
    let told = told(&document(&[&LIFTED]));

    assert_eq!(
        told,
        ["error not-tested.precaution /findings/11/not_tested/reason"]
    );
}

#[tokio::test]
async fn a_precaution_carries_into_the_next_session_and_limits_it() {
    let store = Store::open().await;
    store.submit(&document(&[])).await.expect("holds");

    let done = store.submit(&document(&[&LATER, &[OTHER], &DONE])).await;
    let left_out = store.submit(&document(&[&LATER, &[OTHER]])).await;

    let asked = vec![format!("caution {FORBIDDEN}"), STANDING.to_owned()];
    assert_eq!(done, Err(asked));
    assert_eq!(left_out, Ok(vec![STANDING.to_owned()]));
    let kept = store.sessions().await;
    let precautions = precautions_of(&kept[1]);
    assert_eq!(precautions.len(), 2);
    let carried = precautions
        .iter()
        .find(|one| notes(one) == ["carried over from an earlier session, not lifted"]);
    let carried = carried.expect("the carried one");
    let limit = own_code(carried.member("valueCodeableConcept"), "precaution-limit");
    assert_eq!(limit, Some("no-fast-stretch"));
    assert_eq!(
        component(carried, "precaution-set").and_then(|c| c.text_of("valueDateTime")),
        Some("2026-10-05")
    );
}

#[tokio::test]
async fn it_carries_on_through_a_session_that_did_not_speak_of_it() {
    let store = Store::open().await;
    store.submit(&document(&[])).await.expect("holds");
    store
        .submit(&document(&[&LATER, &[OTHER]]))
        .await
        .expect("holds");

    let third = store.submit(&document(&[&LAST, &[OTHER]])).await;

    assert_eq!(third, Ok(vec![STANDING.to_owned()]));
    assert_eq!(precautions_of(&store.sessions().await[2]).len(), 2);
}

#[tokio::test]
async fn once_lifted_by_a_named_person_it_carries_no_further() {
    let store = Store::open().await;
    store.submit(&document(&[])).await.expect("holds");

    let lifted = store.submit(&document(&[&LATER, &LIFTED, &DONE])).await;
    let after = store.submit(&document(&[&LAST, &NONE_KNOWN])).await;

    assert_eq!(lifted, Ok(Vec::new()));
    assert_eq!(after, Ok(Vec::new()));
    assert_eq!(precautions_of(&store.sessions().await[2]).len(), 0);
}

#[tokio::test]
async fn what_was_entered_in_error_never_held_and_carries_nowhere() {
    let store = Store::open().await;
    store.submit(&document(&[])).await.expect("holds");
    let in_error = [
        ("/session/version", "2"),
        ("/precautions/0/status", r#""entered-in-error""#),
    ];

    let corrected = store.submit(&document(&[&in_error, &DONE])).await;
    let after = store.submit(&document(&[&LATER, &NONE_KNOWN])).await;

    assert_eq!(corrected, Ok(Vec::new()));
    assert_eq!(after, Ok(Vec::new()));
}

#[tokio::test]
async fn a_withdrawn_session_hands_on_no_precaution() {
    let store = Store::open().await;
    store.submit(&document(&[])).await.expect("holds");
    let withdrawn = [("/session/version", "2"), ("/session/withdrawn", "true")];

    let gone = store.submit(&document(&[&withdrawn])).await;
    let after = store.submit(&document(&[&LATER, &NONE_KNOWN])).await;

    assert_eq!(gone, Ok(Vec::new()));
    assert_eq!(after, Ok(Vec::new()));
}

#[tokio::test]
async fn none_known_is_refused_while_one_stands() {
    let store = Store::open().await;
    store.submit(&document(&[])).await.expect("holds");
    let before = store.holds().await;

    let refused = store.submit(&document(&[&LATER, &NONE_KNOWN])).await;

    let wanted = "error precautions.still-active /no_precautions".to_owned();
    assert_eq!(refused, Err(vec![wanted]));
    assert_eq!(store.holds().await, before);
}

#[tokio::test]
async fn it_does_not_carry_to_another_person() {
    let store = Store::open().await;
    store.submit(&document(&[])).await.expect("holds");
    let other = [("/patient/identifier/value", r#""TEST-0003""#)];

    let accepted = store
        .submit(&document(&[&LATER, &NONE_KNOWN, &other]))
        .await;

    assert_eq!(accepted, Ok(Vec::new()));
}

#[test]
fn precautions_are_members_of_the_panel_though_nothing_was_left_out() {
    let encoded = encoded(&document(&[&[("/findings/11", "")]]));

    let panel = of_measure(&encoded, "session.examination")[0];
    let members = panel.items_of("hasMember").len();
    assert_eq!(members, all(&encoded, "Observation").len() - 1);
    assert_eq!(of_measure(&encoded, "precaution").len(), 1);
}
