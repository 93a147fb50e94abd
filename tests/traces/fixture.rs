#![cfg(test)]
#![expect(
    clippy::disallowed_methods,
    clippy::float_arithmetic,
    reason = "the document is a file, and signals are made of floats"
)]
//! The document with traces of every muscle, made from synthetic stretches of an invented person.

use crate::synthetic::{Shape, Stretch};
use fascicle::base::json::{Node, object, text};
use fascicle::tables::catalogue::Catalogue;
use fascicle::tables::catalogue::rows::{Kind, Measure};
use fastrand::Rng;
use std::fs;
use std::path::Path;
use uuid::Uuid;

const FILE: &str = "fixtures/sessions/every-trace.json";
const FIRST: u128 = 0x7d1f_0a52_3c68_4b0e_9a57_7ace_0000_0000;

/// One trace: a stretch from `start` on, as an instrument that shows tenths of a degree records it.
pub(crate) fn trace(
    row: &Measure,
    speed: &str,
    stretch: &Stretch,
    number: u128,
    start: f64,
) -> Node {
    let mut rng = Rng::with_seed(u64::try_from(number).expect("a small number"));
    let turned = number % 2 == 1;
    let turn = if turned { -1.0 } else { 1.0 };
    let angles = stretch.samples(&mut rng).into_iter();
    let angles = angles.map(|angle| {
        let written = format!("{:.1}", turn * (start + angle));
        text(if written == "-0.0" {
            "0.0".to_owned()
        } else {
            written
        })
    });
    let positive = if turned { &row.opposite } else { &row.movement };
    let mut members = vec![
        ("id", text(Uuid::from_u128(FIRST + number).to_string())),
        ("measure", text(row.measure.clone())),
        ("side", text("right")),
        ("speed", text(speed)),
        ("angle_unit", text("deg")),
        ("time_unit", text("ms")),
        ("positive", text(positive.clone().expect("a movement"))),
        ("angles", Node::List(angles.collect())),
        ("period", text(format!("{}", 1000.0 / stretch.rate))),
        ("instrument", text("sensor-1")),
    ];
    if let Some(joint) = &row.neighbour {
        let position = object([
            ("joint", text(joint.clone())),
            ("position", text("straight")),
        ]);
        members.push(("neighbour", position));
    }
    object(members)
}

fn traces(catalogue: &Catalogue) -> Vec<Node> {
    let stretches = catalogue
        .measures
        .values()
        .filter(|row| row.kind == Kind::StretchFast);
    let mut traces = Vec::new();
    let mut number = 0;
    for fast in stretches {
        let slow = fast.measure.replace("stretch.fast", "stretch.slow");
        let high: f64 = fast
            .ask_above
            .expect("a bound")
            .to_string()
            .parse()
            .expect("a float");
        for (repeat, (shape, speed)) in [
            (Shape::Smooth, 40.0),
            (Shape::Catch, 100.0),
            (Shape::Catch, 180.0),
            (Shape::Release, 260.0),
        ]
        .into_iter()
        .enumerate()
        {
            let row = if repeat == 0 {
                &catalogue.measures[&slow]
            } else {
                fast
            };
            let stretch = Stretch {
                shape,
                excursion: 60.0,
                speed,
                at: 0.55 - 0.0005 * speed,
                noise: 0.1,
                rate: if repeat == 0 { 50.0 } else { 100.0 },
            };
            let word = ["V1", "V2", "V3", "V3"][repeat];
            let mut trace = trace(row, word, &stretch, number, high - 75.0);
            // Of every third muscle the therapist accepted what was computed.
            if repeat > 0 && number % 12 < 4 {
                let at = text("2026-11-16T10:18:00+01:00");
                trace.set("accepted", object([("by", text("therapist")), ("at", at)]));
            }
            if repeat == 3 {
                trace.set("repeat", Node::Number("2".to_owned()));
            }
            traces.push(trace);
            number += 1;
        }
    }
    traces
}

fn document() -> Node {
    let catalogue = Catalogue::embedded().expect("sound tables");
    let every = include_str!("../../fixtures/sessions/every-measure.json");
    let mut document = Node::parse(every).expect("JSON");
    let score = |finding: &&Node| finding.at(&["value", "score"]).is_some();
    let first = document.items_of("findings").iter().find(score).cloned();
    document.set("findings", Node::List(first.into_iter().collect()));
    document.remove("precautions");
    document.set("no_precautions", text("asked and looked up, none known"));
    let session = document.member_mut("session").expect("a session");
    session.remove("confirmations");
    session.set("id", text(Uuid::from_u128(FIRST + 0xffff).to_string()));
    let identifier = object([
        ("system", text("https://invented-clinic.example/devices")),
        ("value", text("SENSOR-1")),
    ]);
    let sensor = object([
        ("key", text("sensor-1")),
        ("kind", text("inertial sensor")),
        ("identifier", identifier),
        ("resolution", text("0.1")),
        ("unit", text("deg")),
    ]);
    document.set("instruments", Node::List(vec![sensor]));
    document.set("traces", Node::List(traces(&catalogue)));
    document
}

/// One trace a line, so that a change shows.
fn written(document: &Node) -> String {
    let mut plain = document.clone();
    plain.set("traces", Node::List(Vec::new()));
    let lines = document.items_of("traces").iter().map(Node::compact);
    let lines: Vec<String> = lines.collect();
    let traces = format!("\"traces\": [\n{}\n]", lines.join(",\n"));
    plain.pretty().replace("\"traces\": []", &traces)
}

#[test]
fn the_document_of_every_muscle_is_made_of_these_stretches() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(FILE);
    let made = written(&document());

    if std::env::var_os("UPDATE_EXPECT").is_some() {
        fs::write(&file, &made).expect("written");
    }

    assert!(
        fs::read_to_string(&file).expect("the document") == made,
        "stale: UPDATE_EXPECT=1 cargo test --test traces"
    );
}
