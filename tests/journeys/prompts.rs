#![cfg(test)]
//! Prompts to look: each beside the nearest session that raises none.

use crate::days::LATER;
use crate::document::{catalogue, edited, encoded, lines, now};
use crate::resource::of_measure;
use fascicle::base::json::Node;
use fascicle::delivery::outbox::Outbox;
use fascicle::examination::intake::parts::Side;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::earlier::of_session;
use fascicle::service::app::encode::{Encoded, encode};
use fascicle::service::app::submit::{Submitted, submit};
use fascicle::service::app::summary::{self, Wanted};
use fascicle::tables::catalogue::cautions::CautionKind;
use std::collections::BTreeSet;

/// Edits of the sound document: a JSON Pointer and the JSON text to stand there.
type Edits<'a> = &'a [(&'a str, &'a str)];

/// A code, the session before, the session that raises it, and the nearest that does not.
type Case<'a> = (&'a str, Edits<'a>, Edits<'a>, Edits<'a>);

const NOTHING: Edits<'_> = &[];

fn with(last_time: Edits<'_>, edits: Edits<'_>) -> Encoded {
    let before = encoded(&edited(last_time));
    let earlier = Earlier {
        sessions: vec![of_session(&before.session, &before.measured)],
        ..Earlier::default()
    };
    let document = edited(edits).compact();
    encode(&document, &earlier, catalogue(), now())
        .unwrap_or_else(|held| panic!("{:#?}", lines(&held.problems)))
}

fn raised(last_time: Edits<'_>, edits: Edits<'_>) -> Vec<String> {
    let prompts = with(last_time, edits).prompts;
    prompts.into_iter().map(|prompt| prompt.code).collect()
}

macro_rules! word {
    ($measure:literal, $side:literal, $word:literal) => {
        concat!(
            r#"{"measure":""#,
            $measure,
            r#"","side":""#,
            $side,
            r#"","value":{"word":""#,
            $word,
            r#""},"method":"palpation"}"#
        )
    };
}

macro_rules! filament {
    ($site:literal, $marking:literal) => {
        concat!(
            r#"{"measure":"sensation.monofilament."#,
            $site,
            r#"","side":"right","value":{"grade":""#,
            $marking,
            r#""},"method":"monofilament"}"#
        )
    };
}

macro_rules! calf {
    ($side:literal, $amount:literal, $unit:literal) => {
        concat!(
            r#"{"measure":"girth.calf.10-below-tibial-tuberosity","side":""#,
            $side,
            r#"","value":{"amount":""#,
            $amount,
            r#"","unit":""#,
            $unit,
            r#""},"method":"tape-measure"}"#
        )
    };
}

macro_rules! pain {
    ($condition:literal, $score:literal) => {
        concat!(
            r#"{"measure":"pain.intensity.shoulder","side":"right","value":{"score":""#,
            $score,
            r#""},"condition":""#,
            $condition,
            r#"","method":"self-report"}"#
        )
    };
}

macro_rules! ankle {
    ($side:literal, $score:literal) => {
        concat!(
            r#"{"measure":"pain.intensity.ankle","side":""#,
            $side,
            r#"","value":{"score":""#,
            $score,
            r#""},"condition":"at-rest","method":"self-report"}"#
        )
    };
}

const CASES: &[Case<'_>] = &[
    // Swelling, warmth and tenderness of the calf: new, and not what was known before.
    (
        "calf.sign-new",
        NOTHING,
        &[("/findings/12", word!("sign.swelling.calf", "left", "new"))],
        &[("/findings/12", word!("sign.swelling.calf", "left", "known"))],
    ),
    (
        "calf.sign-new",
        NOTHING,
        &[("/findings/12", word!("sign.warmth.calf", "left", "new"))],
        &[("/findings/12", word!("sign.warmth.foot", "left", "new"))],
    ),
    (
        "calf.sign-new",
        NOTHING,
        &[("/findings/12", word!("sign.tenderness.calf", "left", "new"))],
        &[(
            "/findings/12",
            word!("sign.tenderness.calf", "left", "absent"),
        )],
    ),
    // Source: Thrombosis Journal 2015, Table 1: more than 3 cm, so 3 cm raises nothing.
    (
        "calf.larger",
        NOTHING,
        &[
            ("/findings/12", calf!("left", "39.6", "cm")),
            ("/findings/13", calf!("right", "36.5", "cm")),
        ],
        &[
            ("/findings/12", calf!("left", "39.5", "cm")),
            ("/findings/13", calf!("right", "36.5", "cm")),
        ],
    ),
    (
        "calf.larger",
        NOTHING,
        &[
            ("/findings/12", calf!("left", "15.6", "[in_i]")),
            ("/findings/13", calf!("right", "14.4", "[in_i]")),
        ],
        // Two units are never set against each other.
        &[
            ("/findings/12", calf!("left", "40.6", "cm")),
            ("/findings/13", calf!("right", "14.4", "[in_i]")),
        ],
    ),
    // Source: Angiology 2007;58:593, abstract: less than 0.6 cm counts as agreeing.
    (
        "calf.grown",
        &[("/findings/12", calf!("right", "36.0", "cm"))],
        &[("/findings/12", calf!("right", "36.6", "cm"))],
        &[("/findings/12", calf!("right", "36.5", "cm"))],
    ),
    (
        "calf.grown",
        &[("/findings/12", calf!("right", "14.00", "[in_i]"))],
        &[("/findings/12", calf!("right", "14.24", "[in_i]"))],
        // The other leg of last time says nothing of this one.
        &[("/findings/12", calf!("left", "14.24", "[in_i]"))],
    ),
    // Source: Pain 2001;94:149, abstract: about two points.
    (
        "pain.risen",
        NOTHING,
        &[
            ("/findings/12", pain!("before-treatment", "2")),
            ("/findings/13", pain!("after-treatment", "4")),
        ],
        &[
            ("/findings/12", pain!("before-treatment", "2")),
            ("/findings/13", pain!("after-treatment", "3")),
        ],
    ),
    (
        "pain.risen",
        NOTHING,
        &[
            ("/findings/12", pain!("at-rest", "0")),
            ("/findings/13", pain!("after-treatment", "2")),
        ],
        &[
            ("/findings/12", pain!("during-movement", "0")),
            ("/findings/13", pain!("after-treatment", "2")),
        ],
    ),
    // Pain that comes with a movement is set against the pain at rest as well.
    (
        "pain.risen",
        NOTHING,
        &[
            ("/findings/12", pain!("at-rest", "1")),
            ("/findings/13", pain!("during-movement", "3")),
        ],
        &[
            ("/findings/12", pain!("at-rest", "1")),
            ("/findings/13", pain!("during-movement", "2")),
        ],
    ),
    (
        "pain.risen",
        NOTHING,
        &[
            ("/findings/12", pain!("before-treatment", "4")),
            ("/findings/13", pain!("during-stretch", "6")),
        ],
        // What was said before treatment comes before what was said at rest.
        &[
            ("/findings/12", pain!("before-treatment", "4")),
            ("/findings/13", pain!("at-rest", "0")),
            ("/findings/14", pain!("during-stretch", "5")),
        ],
    ),
    // The number that stands with a movement counts; the other ankle says nothing of this one.
    (
        "pain.risen",
        NOTHING,
        &[
            ("/findings/12", ankle!("right", "1")),
            ("/findings/4/pain_during", r#""5""#),
        ],
        &[
            ("/findings/12", ankle!("left", "1")),
            ("/findings/4/pain_during", r#""5""#),
        ],
    ),
    (
        "sensation.protective-absent",
        NOTHING,
        &[(
            "/findings/12",
            word!("sensation.pinprick.foot", "right", "absent"),
        )],
        &[(
            "/findings/12",
            word!("sensation.pinprick.foot", "right", "reduced"),
        )],
    ),
    (
        "sensation.protective-absent",
        NOTHING,
        &[(
            "/findings/12",
            word!("sensation.protective.foot", "right", "absent"),
        )],
        &[(
            "/findings/12",
            word!("sensation.protective.foot", "right", "present"),
        )],
    ),
    // Source: PubMed Central 7873561, Table 1: 5.07 is the filament of 10 grams.
    (
        "sensation.protective-absent",
        NOTHING,
        &[("/findings/12", filament!("foot", "5.18"))],
        &[("/findings/12", filament!("foot", "5.07"))],
    ),
    (
        "sensation.protective-absent",
        NOTHING,
        &[("/findings/12", filament!("great-toe", "not-felt"))],
        &[("/findings/12", filament!("hand", "5.18"))],
    ),
    (
        "sensation.temperature-absent",
        NOTHING,
        &[(
            "/findings/12",
            word!("sensation.temperature.foot", "right", "absent"),
        )],
        &[(
            "/findings/12",
            word!("sensation.temperature.foot", "right", "reduced"),
        )],
    ),
    // 1+ to 3 is two steps, 1+ to 2 is one.
    (
        "tone.risen",
        NOTHING,
        &[("/findings/9/value/grade", r#""3""#)],
        &[("/findings/9/value/grade", r#""2""#)],
    ),
    (
        "tone.risen",
        NOTHING,
        &[("/findings/9/value/grade", r#""4""#)],
        // With the knee bent another muscle is held against.
        &[
            ("/findings/9/value/grade", r#""4""#),
            ("/findings/9/neighbour/position", r#""bent""#),
        ],
    ),
];

#[test]
fn each_prompt_is_raised_where_it_should_be_and_not_beside_it() {
    let mut faults = Vec::new();

    for (number, (code, last_time, raises, nearest)) in CASES.iter().enumerate() {
        let told = raised(last_time, raises);
        if told != [(*code).to_owned()] {
            faults.push(format!(
                "case {number}: {code} is not raised alone: {told:?}"
            ));
        }
        let told = raised(last_time, nearest);
        if !told.is_empty() {
            faults.push(format!(
                "case {number}: the nearest to {code} raises {told:?}"
            ));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn every_prompt_of_the_table_has_a_case() {
    let tried: BTreeSet<&str> = CASES.iter().map(|(code, ..)| *code).collect();

    let rows = catalogue().cautions.values();
    let prompts = rows.filter(|row| row.asked == CautionKind::Prompt);
    let wanted: BTreeSet<&str> = prompts.map(|row| row.caution.as_str()).collect();

    assert_eq!(tried, wanted);
}

#[test]
fn without_a_session_before_nothing_has_risen_or_grown() {
    let told = raised(NOTHING, &[("/findings/12", calf!("right", "60.0", "cm"))]);
    let tone = encoded(&edited(&[("/findings/9/value/grade", r#""4""#)])).prompts;

    assert!(told.is_empty() && tone.is_empty(), "{told:?} {tone:?}");
}

/// Wasting of one leg makes the other look swollen, so the side that is told is the larger one,
/// whichever is the more affected.
#[test]
fn of_two_calves_the_larger_one_is_named_first() {
    for (right, left, larger) in [
        (
            calf!("right", "34.0", "cm"),
            calf!("left", "38.0", "cm"),
            Side::Left,
        ),
        (
            calf!("right", "38.0", "cm"),
            calf!("left", "34.0", "cm"),
            Side::Right,
        ),
    ] {
        let encoded = with(NOTHING, &[("/findings/12", right), ("/findings/13", left)]);

        let [prompt] = encoded.prompts.as_slice() else {
            panic!("one prompt");
        };
        assert_eq!(prompt.side, larger);
        assert!(prompt.urgent);
        assert_eq!(prompt.findings.len(), 2);
        let first = encoded
            .measured
            .iter()
            .find(|one| one.finding.id == prompt.findings[0]);
        assert_eq!(first.expect("a finding").finding.side, larger);
        assert!(
            prompt.wording.contains("wasting of one side"),
            "{}",
            prompt.wording
        );
        assert!(prompt.wording.contains("38.0"), "{}", prompt.wording);
    }
}

#[test]
fn a_prompt_is_shown_and_is_delivered_with_its_findings_and_waits_for_nobody() {
    let encoded = encoded(&edited(&[(
        "/findings/12",
        word!("sign.swelling.calf", "left", "new"),
    )]));

    assert!(lines(&encoded.told).contains(&"note prompt.raised /findings/12".to_owned()));
    let swelling = of_measure(&encoded, "sign.swelling.calf")[0].compact();
    assert!(
        swelling.contains("prompt to look: a new swelling"),
        "{swelling}"
    );
    assert!(swelling.contains("local policy and the treating team come first"));
    let other = of_measure(&encoded, "tone.rest.calf")[0].compact();
    assert!(!other.contains("prompt to look"), "{other}");
}

#[test]
fn pain_at_one_site_is_one_prompt_that_names_all_that_has_risen() {
    let stopped = r#"{"how":"pain"}"#;
    let edits = [
        ("/findings/12", ankle!("right", "1")),
        ("/findings/4/pain_during", r#""4""#),
        ("/findings/4/ended", stopped),
        ("/findings/4/end_feel", ""),
        ("/findings/5/pain_during", r#""6""#),
        ("/findings/6/pain_during", r#""2""#),
    ];
    let encoded = encoded(&edited(&edits));

    let [prompt] = encoded.prompts.as_slice() else {
        panic!("{:?}", encoded.prompts);
    };
    let words = "pain has risen during the session (right: 1 at rest, 6 during passive plantarflexion of the \
                 ankle, 4 during passive dorsiflexion of the ankle)";
    assert_eq!(prompt.wording, words);
    assert_eq!(prompt.path, "/findings/5");
    assert_eq!(prompt.findings.len(), 3);
    assert!(encoded.summary.text().contains(words));
    let movement = of_measure(&encoded, "range.passive.ankle.plantarflexion")[0].compact();
    assert!(movement.contains(words), "{movement}");
    // A movement that pain stopped without a number raises nothing: there is no number to set beside.
    let told = raised(NOTHING, &[edits[0], edits[2], edits[3]]);
    assert!(told.is_empty(), "{told:?}");
}

#[test]
fn what_comes_before_every_prompt_stands_in_each_resource_and_once_above_them_in_a_summary() {
    let encoded = encoded(&edited(&[
        (
            "/findings/12",
            word!("sensation.pinprick.foot", "right", "absent"),
        ),
        (
            "/findings/13",
            word!("sensation.temperature.foot", "right", "absent"),
        ),
        (
            "/findings/14",
            word!("sensation.temperature.foot", "left", "absent"),
        ),
    ]));
    let first = "local policy and the treating team come first";

    let text = encoded.summary.text();

    assert_eq!(encoded.prompts.len(), 3);
    assert_eq!(text.matches(first).count(), 1, "{text}");
    let section = text
        .split("\nPrompts to look\n")
        .nth(1)
        .expect("it is told");
    let head = section.lines().next().expect("a line");
    assert!(head.contains(first), "{head}");
    assert!(section.contains("warn of burns by bath, kettle and hot packs"));
    for measure in ["sensation.pinprick.foot", "sensation.temperature.foot"] {
        for resource in of_measure(&encoded, measure) {
            assert!(resource.compact().contains(first), "{measure}");
        }
    }
}

#[test]
fn what_was_withdrawn_or_not_tested_prompts_nothing() {
    let swollen = word!("sign.swelling.calf", "left", "new");
    let withdrawn = swollen.replacen('{', r#"{"withdrawn":true,"#, 1);
    let not_tested = swollen.replacen(
        r#""value":{"word":"new"}"#,
        r#""not_tested":{"reason":"refused"}"#,
        1,
    );

    for finding in [withdrawn.as_str(), not_tested.as_str()] {
        let told = raised(
            NOTHING,
            &[("/session/version", "2"), ("/findings/12", finding)],
        );
        assert!(told.is_empty(), "{told:?}");
    }
}

#[test]
fn the_order_of_the_findings_changes_no_prompt() {
    let edits: Edits<'_> = &[
        ("/findings/12", calf!("left", "39.6", "cm")),
        ("/findings/13", calf!("right", "36.5", "cm")),
        (
            "/findings/14",
            word!("sensation.pinprick.foot", "right", "absent"),
        ),
        ("/findings/15", pain!("at-rest", "0")),
        ("/findings/16", pain!("after-treatment", "2")),
    ];
    let mut turned = edited(edits);
    turned
        .member_mut("findings")
        .map(Node::items_mut)
        .expect("findings")
        .reverse();

    let told = |document: &Node| {
        let prompts = encoded(document).prompts.into_iter();
        let told = prompts.map(|one| (one.code, one.side, one.urgent, one.wording));
        told.collect::<BTreeSet<_>>()
    };

    assert_eq!(told(&edited(edits)), told(&turned));
    assert_eq!(told(&turned).len(), 3);
}

/// Tone and girth may differ because the person lies now and sat last time; a prompt is raised all the
/// same, because people have to look, and it says what else differs.
#[test]
fn what_was_found_in_another_way_is_told_with_the_prompt() {
    let calf = ("/findings/12", calf!("right", "36.0", "cm"));
    let edits = [
        ("/session/body_position", r#""sitting""#),
        ("/findings/9/value/grade", r#""4""#),
        ("/findings/12", calf!("right", "38.0", "cm")),
    ];
    let alike = with(&[calf], &edits[1..]).prompts;
    let prompts = with(&[calf], &edits).prompts;

    let codes: Vec<&str> = prompts.iter().map(|one| one.code.as_str()).collect();
    assert_eq!(codes, ["calf.grown", "tone.risen"]);
    let differs = "not found in the same way: the position of the body differs";
    assert!(prompts.iter().all(|one| one.wording.contains(differs)));
    assert_eq!(alike.len(), 2);
    assert!(!alike.iter().any(|one| one.wording.contains("same way")));
}

/// The session before comes from the store, as `send` and `serve` have it, and what is urgent stands
/// before everything that was found.
#[tokio::test]
async fn what_has_grown_since_a_session_in_the_store_is_urgent_and_stands_at_the_top() {
    let folder = tempfile::tempdir().expect("a folder");
    let outbox = Outbox::open(folder.path()).await.expect("a store");
    let calf = |size| ("/findings/12", size);
    let first = edited(&[calf(calf!("right", "36.0", "cm"))]);
    let risen = [
        ("/findings/9/value/grade", r#""4""#),
        calf(calf!("right", "38.0", "cm")),
    ];
    let second = edited(&[&LATER[..], &risen].concat());
    let targets = ["ward".to_owned()];

    let mut told = Vec::new();
    for document in [&first, &second] {
        let text = document.compact();
        let submitted = submit(&outbox, catalogue(), &targets, &text, now()).await;
        match submitted.expect("the store answers") {
            Submitted::Accepted { items, .. } => told.push(items[0].urgent.clone()),
            Submitted::Held(held) => panic!("{:#?}", lines(&held.problems)),
        }
    }
    let session = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a11"
        .parse()
        .expect("a name");
    let today = now().date_naive();
    let asked = summary::kept(&outbox, catalogue(), session, Wanted::Session, today).await;
    let Ok(summary::SummaryAnswer::Summary(summary)) = asked else {
        panic!("{asked:?}");
    };

    assert!(!told[0].contains(&"calf.grown".to_owned()), "{told:?}");
    assert!(told[1].contains(&"calf.grown".to_owned()), "{told:?}");
    let text = summary.text();
    let at = |part: &str| text.find(part).unwrap_or_else(|| panic!("{part}: {text}"));
    let places = [
        at("\nPrecautions\n"),
        at("\nTo reach the treating team at once\n"),
        at("the calf has grown since last time (right 38.0 cm, last time 36.0 cm)"),
        at("\nThe examination\n"),
        at("\nNot tested, and why\n"),
        at("\nPrompts to look\n"),
        at("tone has risen since last time"),
    ];
    assert!(places.is_sorted(), "{places:?} {text}");
}
