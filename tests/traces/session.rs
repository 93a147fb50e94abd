#![cfg(test)]
//! From a session document with traces to what is sent.

use crate::document::{catalogue, edited, encoded, encoding, lines, now, set, sound, told};
use crate::fixture::trace;
use crate::resource::{all, of_measure, own_code};
use crate::synthetic::{Shape, Stretch};
use fascicle::base::json::{Node, text};
use fascicle::examination::trace::plot::svg;
use fascicle::fhir::record::amend::VersionBefore;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::words;

const SENSOR: &str = r#"{"key":"sensor-1","kind":"inertial sensor","identifier":{"system":"https://invented-clinic.example/devices","value":"SENSOR-1"},"resolution":"0.1","unit":"deg"}"#;

fn stretch(shape: Shape, speed: f64, at: f64, rate: f64) -> Stretch {
    Stretch {
        shape,
        excursion: 50.0,
        speed,
        at,
        noise: 0.1,
        rate,
    }
}

/// The sound document with a slow and a fast trace of the right calf; felt at -5, caught at -5.
fn with_traces() -> Node {
    let rows = &catalogue().measures;
    let slow = stretch(Shape::Smooth, 40.0, 1.0, 50.0);
    let fast = stretch(Shape::Catch, 200.0, 0.5, 200.0);
    let traces = vec![
        trace(&rows["stretch.slow.calf"], "V1", &slow, 2, -30.0),
        trace(&rows["stretch.fast.calf"], "V3", &fast, 4, -30.0),
    ];
    let mut document = edited(&[("/instruments/1", SENSOR)]);
    document.set("traces", Node::List(traces));
    document
}

fn part<'a>(resource: &'a Node, name: &str) -> Option<&'a Node> {
    let parts = resource.items_of("component").iter();
    parts
        .into_iter()
        .find(|part| own_code(part.member("code"), "component") == Some(name))
}

fn word<'a>(resource: &'a Node, name: &str) -> Option<&'a str> {
    own_code(part(resource, name)?.member("valueCodeableConcept"), name)
}

#[test]
fn a_trace_leaves_as_recorded_and_a_catch_stands_beside_what_was_felt() {
    let document = with_traces();
    let sent = encoded(&document);

    let traces = of_measure(&sent, "trace.stretch.calf");
    let computed = of_measure(&sent, "trace.catch.calf");
    let felt = of_measure(&sent, "stretch.fast.calf");

    assert_eq!((traces.len(), computed.len(), felt.len()), (2, 1, 2));
    let angles: Vec<&str> = document.items_of("traces")[1]
        .items_of("angles")
        .iter()
        .filter_map(Node::text)
        .collect();
    let sampled = traces[1].member("valueSampledData").expect("samples");
    assert_eq!(sampled.text_of("data"), Some(angles.join(" ").as_str()));
    assert_eq!(
        sampled.member("period"),
        Some(&Node::Number("5".to_owned()))
    );
    assert_eq!(traces[1].text_of("status"), Some("final"));
    let computed = computed[0];
    assert_eq!(computed.text_of("status"), Some("preliminary"));
    assert_eq!(word(computed, "trace-outcome"), Some("catch"));
    assert_eq!(computed.items_of("derivedFrom").len(), 2);
    assert!(part(computed, "trace-late-by").is_some() && part(computed, "trace-cut-off").is_some());
    assert_eq!(
        own_code(felt[0].member("method"), "method"),
        Some("goniometry")
    );
    let value = felt[0].at(&["valueQuantity", "value"]);
    assert_eq!(value, Some(&Node::Number("-5".to_owned())));
    let device = all(&sent, "Device").len();
    assert_eq!(device, 2);
    assert!(lines(&sent.told).is_empty(), "{:?}", lines(&sent.told));
}

#[test]
fn a_catch_that_differs_from_what_was_felt_is_told_and_both_are_kept() {
    let mut document = with_traces();
    set(&mut document, "/findings/7/value/lacks", Some(text("20")));

    let sent = encoded(&document);

    assert_eq!(lines(&sent.told), ["note trace.differs /traces/1"]);
    let computed = of_measure(&sent, "trace.catch.calf")[0];
    assert!(
        computed
            .compact()
            .contains("a catch was felt at 20 degrees of plantarflexion, and computed at ")
    );
    assert!(!computed.compact().contains("short of neutral"));
    let felt = of_measure(&sent, "stretch.fast.calf")[0];
    let value = felt.at(&["valueQuantity", "value"]);
    assert_eq!(value, Some(&Node::Number("-20".to_owned())));
}

#[test]
fn a_computed_catch_becomes_final_when_the_therapist_accepts_it_and_not_before() {
    let first = with_traces();
    let before = encoded(&first);
    let mut second = first.clone();
    set(
        &mut second,
        "/session/version",
        Some(Node::Number("2".to_owned())),
    );
    let accepted = r#"{"by":"therapist","at":"2026-11-16T10:18:00+01:00"}"#;
    set(
        &mut second,
        "/traces/1/accepted",
        Node::parse(accepted).ok(),
    );
    let earlier = Earlier {
        version_before: VersionBefore {
            entries: before.checked.record().entries.clone(),
            names: words::names(&before.session),
        },
        ..Earlier::default()
    };

    let after = encode(&second.compact(), &earlier, catalogue(), now()).expect("holds");

    let statuses = |encoded, measure| -> Vec<String> {
        let found = of_measure(encoded, measure).into_iter();
        found
            .filter_map(|one| one.text_of("status").map(str::to_owned))
            .collect()
    };
    assert_eq!(statuses(&before, "trace.catch.calf"), ["preliminary"]);
    assert_eq!(statuses(&after, "trace.catch.calf"), ["final"]);
    assert_eq!(statuses(&after, "trace.stretch.calf"), ["final", "final"]);
    let accepted = of_measure(&after, "trace.catch.calf")[0];
    assert!(part(accepted, "trace-accepted-by").is_some());
}

#[test]
fn a_later_version_that_does_not_speak_of_a_trace_is_refused_and_a_withdrawn_one_takes_its_result_along()
 {
    let first = with_traces();
    let before = encoded(&first);
    let earlier = Earlier {
        version_before: VersionBefore {
            entries: before.checked.record().entries.clone(),
            names: words::names(&before.session),
        },
        ..Earlier::default()
    };
    let mut silent = first.clone();
    set(
        &mut silent,
        "/session/version",
        Some(Node::Number("2".to_owned())),
    );
    let mut withdrawn = silent.clone();
    set(
        &mut withdrawn,
        "/traces/1/withdrawn",
        Some(Node::Bool(true)),
    );
    set(&mut silent, "/traces/1", None);

    let silent = encode(&silent.compact(), &earlier, catalogue(), now()).expect_err("held");
    let withdrawn = encode(&withdrawn.compact(), &earlier, catalogue(), now()).expect("holds");

    assert!(lines(&silent.problems).contains(&"error correction.silent /findings".to_owned()));
    let status = |measure, number: usize| {
        of_measure(&withdrawn, measure)[number]
            .text_of("status")
            .map(str::to_owned)
    };
    assert_eq!(
        status("trace.stretch.calf", 1).as_deref(),
        Some("entered-in-error")
    );
    assert_eq!(
        status("trace.catch.calf", 0).as_deref(),
        Some("entered-in-error")
    );
}

#[test]
fn uneven_samples_are_sent_at_even_times_and_said_to_be() {
    let mut document = with_traces();
    let number = document.items_of("traces")[1].items_of("angles").len();
    let times = (0..number).map(|n| text(format!("{}", n * 5 + (n * n) % 3)));
    let times = Node::List(times.collect());
    set(&mut document, "/traces/1/times", Some(times));
    set(&mut document, "/traces/1/period", None);

    let sent = encoded(&document);

    assert_eq!(lines(&sent.told), ["note trace.resampled /traces/1/times"]);
    let trace = of_measure(&sent, "trace.stretch.calf")[1];
    assert_eq!(word(trace, "trace-sampling"), Some("resampled"));
    let raw = document.items_of("traces")[1].items_of("times");
    assert!(
        sent.canonical.contains(&raw[2].compact()),
        "what was recorded is kept"
    );
}

#[test]
fn more_samples_or_traces_than_a_session_has_are_refused() {
    let mut long = with_traces();
    let angles = Node::List(vec![text("1.0"); 100_001]);
    set(&mut long, "/traces/1/angles", Some(angles));
    let mut many = with_traces();
    let one = many.items_of("traces")[0].clone();
    let traces = (0..65).map(|number| {
        let mut trace = one.clone();
        trace.set(
            "id",
            text(format!("7d1f0a52-3c68-4b0e-9a57-7ace00000{number:03}")),
        );
        trace
    });
    many.set("traces", Node::List(traces.collect()));

    assert_eq!(
        told(&long),
        [
            "error trace.size /traces/1/angles",
            "note trace.not-determinable /traces/1"
        ][..1]
    );
    assert_eq!(told(&many), ["error trace.size /traces"]);
}

#[test]
fn the_other_positive_direction_says_the_same() {
    let document = with_traces();
    let mut turned = document.clone();
    let angles = document.items_of("traces")[1].items_of("angles").iter();
    let negated = angles
        .filter_map(Node::text)
        .map(|angle| match angle.strip_prefix('-') {
            Some(angle) => text(angle),
            None if angle.bytes().all(|b| b"0.".contains(&b)) => text(angle),
            None => text(format!("-{angle}")),
        });
    let negated = Node::List(negated.collect());
    set(&mut turned, "/traces/1/angles", Some(negated));
    set(
        &mut turned,
        "/traces/1/positive",
        Some(text("plantarflexion")),
    );

    assert_eq!(
        encoded(&document).checked.record().entries,
        encoded(&turned).checked.record().entries
    );
}

#[test]
fn every_trace_of_every_muscle_has_a_picture_with_a_title_and_words() {
    let every = include_str!("../../fixtures/sessions/every-trace.json");
    let every = encode(every, &Earlier::default(), catalogue(), now()).expect("holds");

    for one in &every.traces.each {
        let picture = svg(one);
        let caught = one
            .computed
            .as_ref()
            .is_some_and(|computed| computed.angle.is_some());
        assert!(picture.contains("<title id=\"title\">Stretch of the right "));
        assert!(picture.contains("not validated on patients"));
        assert_eq!(picture.matches("<polyline").count(), 3);
        assert_eq!(picture.contains("computed catch at"), caught);
        assert!(!picture.contains("NaN") && !picture.contains("inf"));
    }
    assert_eq!(every.traces.each.len(), 48);
}

#[test]
fn what_the_computation_cannot_tell_has_a_picture_too() {
    let mut document = with_traces();
    set(
        &mut document,
        "/traces/1/angles",
        Node::parse(r#"["1","2"]"#).ok(),
    );

    let sent = encoding(&document).expect("holds");

    let picture = svg(&sent.traces.each[1]);
    assert!(picture.contains("not determinable: too short"));
    assert!(sound().member("traces").is_none());
}
