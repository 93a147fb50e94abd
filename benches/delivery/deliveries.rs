//! Observations a second that arrive by Fascicle, over those of a client that only posts.
//!
//! Both deliver sessions of the same kind to the same server, with as many requests at a time, measured with
//! one instrument that the server knows, as on a ward. The bare client posts each prebuilt Bundle once and looks
//! at nothing else. Fascicle claims the session, looks for person, performer, organisation and instrument,
//! searches for what is there already, notes that it sends, posts, reads everything back and compares it, and
//! notes the receipt: six requests and four commits beside the one post.

use crate::server::{OBSERVATIONS, Person, Server};
use crate::stores::Kind;
use crate::{Aim, Ratio, Size, median, per_second};
use fascicle::base::clock::{Clock as _, MachineClock};
use fascicle::delivery::deliver::Proxy;
use fascicle::delivery::deliver::http::Connection;
use fascicle::delivery::outbox::Outbox;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::deliver::Delivery;
use fascicle::service::app::encode::encode;
use fascicle::service::app::submit::{Submitted, submit};
use fascicle::service::config::Settings;
use fascicle::tables::catalogue::Catalogue;
use serde_json::{Value, json};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::task::JoinSet;

/// Workers of Fascicle, and requests of the bare client at a time: what `serve` has where nothing is said.
const AT_A_TIME: usize = 2;

pub(crate) async fn measured(server: &Server, size: Size) -> Ratio {
    let catalogue = Catalogue::embedded().expect("sound tables");
    let (runs, sessions) = (size.of(2, 7), size.of(4, 24));
    let (mut ours, mut bare, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
    // The first of each warms the server up.
    for run in 0..=runs {
        let instrument = instrument(server, &catalogue).await;
        let by_us = by_fascicle(server, &catalogue, (sessions, &instrument)).await;
        let barely = barely(server, &catalogue, (sessions, &instrument)).await;
        println!(
            "deliveries, run {run}: {by_us:.0} by Fascicle, {barely:.0} bare, Observations a second"
        );
        if run > 0 {
            ratios.push(by_us / barely);
            ours.push(by_us);
            bare.push(barely);
        }
    }
    Ratio {
        what: "Observations delivered a second / bare posts".to_owned(),
        ours: format!("{:.0}/s", median(ours)),
        other: format!("{:.0}/s", median(bare)),
        came_to: median(ratios),
        aim: Aim::AtLeast(0.95),
    }
}

/// An instrument that the server knows.
async fn instrument(server: &Server, catalogue: &Catalogue) -> String {
    let name = format!("GON-{}", uuid::Uuid::new_v4());
    let document = Person::unknown().session_with(&name);
    let mut bundle = record(&document, catalogue);
    let entries = bundle["entry"].as_array_mut().expect("entries");
    let mut entries = entries.iter_mut();
    let device = entries.find(|entry| entry["resource"]["resourceType"] == "Device");
    let device = device.expect("an instrument")["resource"].take();
    server.post("Device", device.to_string()).await;
    name
}

async fn by_fascicle(
    server: &Server,
    catalogue: &Catalogue,
    (sessions, instrument): (usize, &str),
) -> f64 {
    let new = Kind::Sqlite.empty().await;
    let text = format!(
        "state = '{}'\n[[target]]\nname = 'record'\nbase = '{}'\n",
        new.address, server.base
    );
    let settings = Settings::read(&text).expect("settings");
    let outbox = Outbox::open_at(&settings.state).await.expect("a store");
    let targets = ["record".to_owned()];
    for _ in 0..sessions {
        let document = server.person().await.session_with(instrument);
        let now = MachineClock.now();
        let submitted = submit(&outbox, catalogue, &targets, &document, now).await;
        let submitted = submitted.expect("the store answers");
        assert!(
            matches!(submitted, Submitted::Accepted { .. }),
            "{submitted:?}"
        );
    }
    let mut target = settings.targets[0].clone();
    target.proxy = Proxy::Direct;
    let delivery = Delivery {
        outbox: outbox.clone(),
        connection: Connection::new(target).expect("a connection"),
        clock: Arc::new(MachineClock),
        lease: settings.lease,
    };
    let began = Instant::now();
    let mut working = JoinSet::new();
    for _ in 0..AT_A_TIME {
        let delivery = delivery.clone();
        working.spawn(async move {
            loop {
                let attempted = delivery.once().await.expect("the store answers");
                if !attempted && delivery.outbox.items(true).await.expect("items").is_empty() {
                    return;
                }
                if !attempted {
                    tokio::time::sleep(Duration::from_millis(5)).await;
                }
            }
        });
    }
    while let Some(ended) = working.join_next().await {
        ended.expect("a worker that ends");
    }
    let took = began.elapsed();
    outbox.close().await;
    per_second(sessions * OBSERVATIONS, took)
}

async fn barely(
    server: &Server,
    catalogue: &Catalogue,
    (sessions, instrument): (usize, &str),
) -> f64 {
    let mut bundles = Vec::new();
    for _ in 0..sessions {
        let person = server.person().await;
        bundles.push(bundle(&person, instrument, catalogue));
    }
    let parts = bundles.chunks(sessions.div_ceil(AT_A_TIME));
    let began = Instant::now();
    let mut posting = JoinSet::new();
    for part in parts {
        let (client, base, part) = (server.client.clone(), server.base.clone(), part.to_vec());
        posting.spawn(async move {
            for bundle in part {
                let request = client.post(&base).body(bundle);
                let request = request.header("content-type", "application/fhir+json");
                let answer = request.send().await.expect("an answer");
                assert!(answer.status().is_success(), "{}", answer.status());
                answer.bytes().await.expect("a body");
            }
        });
    }
    while let Some(ended) = posting.join_next().await {
        ended.expect("a client that ends");
    }
    per_second(sessions * OBSERVATIONS, began.elapsed())
}

/// The record of a session with its person named as the server names it.
fn bundle(person: &Person, instrument: &str, catalogue: &Catalogue) -> String {
    let mut bundle = record(&person.session_with(instrument), catalogue);
    name(&mut bundle, &person.reference);
    bundle.to_string()
}

fn record(document: &str, catalogue: &Catalogue) -> Value {
    let now = MachineClock.now();
    let encoded = encode(document, &Earlier::default(), catalogue, now).expect("a sound session");
    let text = encoded.checked.record().text();
    serde_json::from_str(&text).expect("JSON")
}

fn name(node: &mut Value, reference: &str) {
    match node {
        Value::Object(members) => {
            if members.get("type") == Some(&json!("Patient")) && members.contains_key("identifier")
            {
                members.insert("reference".to_owned(), json!(reference));
            }
            members.values_mut().for_each(|one| name(one, reference));
        }
        Value::Array(items) => items.iter_mut().for_each(|one| name(one, reference)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}
