//! Accepts a second that survive a power cut, over bare commits of the same rows.
//!
//! Fascicle accepts sessions that are encoded already: it looks for what it knows of person and session,
//! gives the number of the lane, binds the rows of the trail by their hashes, and commits. The bare side
//! takes the rows that came of it and writes them into a new store of the same schema, one transaction a
//! session, with the same settings of the engine; it reads and computes nothing. On PostgreSQL the order of
//! the trail costs most where several accept at a time: one commits after the other. So there the bare side
//! is measured with that order and without it.

use crate::server::Person;
use crate::stores::{Empty, Kind};
use crate::{Aim, Ratio, Size, bare, median, per_second};
use fascicle::base::clock::{Clock as _, MachineClock};
use fascicle::base::json::Node;
use fascicle::delivery::outbox::offer::{self, Key, Rejected, StatedPrecaution, Tables, Wanted};
use fascicle::delivery::outbox::{Accepted, Outbox};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::key::key_of;
use fascicle::tables::catalogue::Catalogue;
use std::sync::Arc;
use std::time::Instant;
use tokio::task::JoinSet;

const TARGET: &str = "record";

/// What a session is about, and what is to be kept of it.
type Prepared = (Key, offer::New);

pub(crate) async fn measured(size: Size) -> Vec<Ratio> {
    let catalogue = Catalogue::embedded().expect("sound tables");
    let (runs, sessions) = (size.of(2, 9), size.of(20, 200));
    let mut table = Vec::new();
    for kind in crate::stores::kinds() {
        for at_a_time in [1, 4] {
            table.extend(of_kind(&kind, &catalogue, (runs, sessions), at_a_time).await);
        }
    }
    table
}

async fn of_kind(
    kind: &Kind,
    catalogue: &Catalogue,
    (runs, sessions): (usize, usize),
    at_a_time: usize,
) -> Vec<Ratio> {
    // SQLite lets one write at a time; PostgreSQL has a row for the end of the trail.
    let orders = match kind {
        Kind::Postgres(_) if at_a_time > 1 => &[true, false][..],
        Kind::Postgres(_) => &[true][..],
        Kind::Sqlite => &[false][..],
    };
    let mut ours = Vec::new();
    let mut others = vec![Vec::new(); orders.len()];
    for run in 0..=runs {
        let new = kind.empty().await;
        let by_us = accepted(&new, catalogue, sessions, at_a_time).await;
        let rows = Arc::new(bare::rows(kind, &new).await);
        assert_eq!(rows.len(), sessions);
        for (order, others) in orders.iter().zip(&mut others) {
            let other = kind.empty().await;
            let outbox = Outbox::open_at(&other.place()).await.expect("a store");
            outbox.bind_target(TARGET, "none").await.expect("bound");
            outbox.close().await;
            let took = bare::commits(kind, &other, Arc::clone(&rows), at_a_time, *order).await;
            if run > 0 {
                others.push(per_second(sessions, took));
            }
        }
        if run > 0 {
            ours.push(by_us);
        }
    }
    let lines = orders.iter().zip(others).map(|(order, others)| {
        let ratios = ours.iter().zip(&others).map(|(by_us, other)| by_us / other);
        let order = match kind {
            Kind::Sqlite => "",
            Kind::Postgres(_) if *order => ", trail in a row",
            Kind::Postgres(_) => ", trail in no order",
        };
        Ratio {
            what: format!(
                "{}, {at_a_time} at a time: accepts / bare{order}",
                kind.name()
            ),
            came_to: median(ratios.collect()),
            ours: format!("{:.0}/s", median(ours.clone())),
            other: format!("{:.0}/s", median(others)),
            aim: Aim::AtLeast(0.8),
        }
    });
    lines.collect()
}

/// Accepts of Fascicle a second.
async fn accepted(new: &Empty, catalogue: &Catalogue, sessions: usize, at_a_time: usize) -> f64 {
    let outbox = Outbox::open_at(&new.place()).await.expect("a store");
    outbox.bind_target(TARGET, "none").await.expect("bound");
    let prepared: Vec<_> = (0..sessions).map(|_| prepared(catalogue)).collect();
    let mut parts: Vec<Vec<Prepared>> = (0..at_a_time).map(|_| Vec::new()).collect();
    for (number, one) in prepared.into_iter().enumerate() {
        parts[number % at_a_time].push(one);
    }
    let began = Instant::now();
    let mut accepting = JoinSet::new();
    for part in parts {
        let outbox = outbox.clone();
        accepting.spawn(async move {
            let targets = [TARGET.to_owned()];
            let wanted = Wanted {
                targets: &targets,
                all: &targets,
                route: None,
            };
            for (key, new) in part {
                let mut new = Some(new);
                let encode = |_| Ok(new.take().expect("nobody else adds to this person"));
                let accepted = outbox.accept(&key, wanted, MachineClock.now(), encode);
                let accepted: Result<Accepted, Rejected<()>> = accepted.await.expect("it answers");
                assert!(matches!(accepted, Ok(Accepted::New(_))), "{accepted:?}");
            }
        });
    }
    while let Some(ended) = accepting.join_next().await {
        ended.expect("it ends");
    }
    let by_us = per_second(sessions, began.elapsed());
    outbox.close().await;
    by_us
}

fn prepared(catalogue: &Catalogue) -> Prepared {
    let document = Person::unknown().session();
    let encoded = encode(
        &document,
        &Earlier::default(),
        catalogue,
        MachineClock.now(),
    );
    let encoded = encoded.expect("a sound session");
    let canonical = Node::parse(&encoded.canonical).expect("JSON");
    let stated = canonical.items_of("precautions").iter();
    let precautions = stated.map(|node| StatedPrecaution {
        id: node
            .text_of("id")
            .and_then(|id| id.parse().ok())
            .expect("an id"),
        stated: node.compact(),
        standing: true,
    });
    let new = offer::New {
        precautions: precautions.collect(),
        urgent: vec!["precaution.new".to_owned()],
        record: encoded.checked.seal(),
        document: encoded.canonical,
        form: 1,
        tables: Tables {
            sha256: catalogue.sha256.clone(),
            own_files: catalogue.own_files.clone(),
        },
    };
    (key_of(&document).expect("a key"), new)
}
