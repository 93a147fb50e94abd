//! Counts for a monitor, in OpenMetrics text. Labels carry our own words and names of targets; nothing
//! in them is about a person.

use crate::delivery::outbox::kept::{Kind, Unread};
use crate::delivery::outbox::{Item, LeftAlone, State as Standing, TargetHeld};
use crate::service::web::connections::Why;
use chrono::{DateTime, Utc};
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::Registry;
use std::collections::BTreeMap;

/// What this process counted since it started; everything else is asked of the store.
#[derive(Debug, Default)]
pub(super) struct Meters {
    requests: Family<Request, Counter>,
    documents: Family<Outcome, Counter>,
    closed: Family<Closed, Counter>,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Request {
    method: &'static str,
    route: String,
    status: u32,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Outcome {
    outcome: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Closed {
    why: &'static str,
}

/// What came of a submitted document.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Document {
    Accepted,
    AcceptedBefore,
    Refused,
    WaitsForConfirmation,
}

impl Document {
    const fn word(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::AcceptedBefore => "accepted-before",
            Self::Refused => "refused",
            Self::WaitsForConfirmation => "waits-for-confirmation",
        }
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfTarget {
    target: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfKind {
    kind: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Queued {
    target: String,
    state: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Event {
    event: String,
    target: String,
}

/// What the store tells for one answer.
pub(super) struct Seen {
    pub(super) targets: Vec<TargetHeld>,
    pub(super) left_alone: BTreeMap<String, LeftAlone>,
    pub(super) events: BTreeMap<(Option<String>, String), i64>,
    pub(super) urgent: Vec<Item>,
    pub(super) unread: Vec<Unread>,
}

impl Meters {
    pub(super) fn request(&self, method: &'static str, route: &str, status: u16) {
        let labels = Request {
            method,
            route: route.to_owned(),
            status: u32::from(status),
        };
        self.requests.get_or_create(&labels).inc();
    }

    pub(super) fn document(&self, outcome: Document) {
        let outcome = outcome.word();
        self.documents.get_or_create(&Outcome { outcome }).inc();
    }

    /// A connection was closed before its time, or not taken.
    pub(super) fn closed(&self, why: Why) {
        let why = why.word();
        self.closed.get_or_create(&Closed { why }).inc();
    }

    /// What this process counted.
    fn counted(&self, registry: &mut Registry) {
        let build = Info::new([("version", env!("CARGO_PKG_VERSION"))]);
        registry.register("build", "Version of the program", build);
        registry.register(
            "http_requests",
            "Requests answered since the start",
            self.requests.clone(),
        );
        registry.register(
            "documents",
            "Documents submitted over HTTP since the start, by what came of them",
            self.documents.clone(),
        );
        for why in Why::ALL.map(Why::word) {
            drop(self.closed.get_or_create(&Closed { why }));
        }
        registry.register(
            "connections_closed",
            "Connections that the service closed before their time, or did not take, by why",
            self.closed.clone(),
        );
    }

    pub(super) fn registry(&self, seen: &Seen, paused: &[&str], now: DateTime<Utc>) -> Registry {
        let Seen {
            targets, events, ..
        } = seen;
        let mut registry = Registry::with_prefix("fascicle");
        self.counted(&mut registry);
        let (items, oldest, stopped) = of_targets(targets, paused, now);
        registry.register("queue_items", "Deliveries in each state", items);
        registry.register(
            "queue_oldest_seconds",
            "Age of the oldest session that is not delivered, 0 where none waits",
            oldest,
        );
        registry.register(
            "target_paused",
            "1 while a target is paused, by a person or by the settings",
            stopped,
        );
        let (urgent, oldest_urgent) = urgent_of(seen, now);
        registry.register(
            "queue_urgent_items",
            "Deliveries that are urgent and not done, in each state",
            urgent,
        );
        registry.register(
            "queue_urgent_oldest_seconds",
            "Age of the oldest delivery that is urgent and not done, 0 where none is",
            oldest_urgent,
        );
        let alone = left_alone_of(seen);
        registry.register(
            "target_left_alone",
            "1 while a target is left alone because it failed again and again",
            alone,
        );
        registry.register(
            "kept_unread",
            "Kept rows that do not read, by what they are",
            unread_of(seen),
        );
        let rows = Family::<Event, Counter>::default();
        for ((target, event), count) in events {
            let (target, event) = (target.clone().unwrap_or_default(), event.clone());
            let counter = rows.get_or_create_owned(&Event { event, target });
            counter.inc_by(u64::try_from(*count).unwrap_or_default());
        }
        registry.register("trail_rows", "Rows of the trail, by event and target", rows);
        registry
    }
}

fn unread_of(seen: &Seen) -> Family<OfKind, Gauge> {
    let unread = Family::<OfKind, Gauge>::default();
    for kind in Kind::ALL {
        unread.get_or_create(&OfKind { kind: kind.word() }).set(0);
    }
    for one in &seen.unread {
        let kind = one.row.kind.word();
        unread.get_or_create(&OfKind { kind }).inc();
    }
    unread
}

fn left_alone_of(seen: &Seen) -> Family<OfTarget, Gauge> {
    let alone = Family::<OfTarget, Gauge>::default();
    for held in &seen.targets {
        let target = held.name.clone();
        let is = seen.left_alone.contains_key(&target);
        alone.get_or_create(&OfTarget { target }).set(i64::from(is));
    }
    alone
}

fn urgent_of(seen: &Seen, now: DateTime<Utc>) -> (Family<Queued, Gauge>, Family<OfTarget, Gauge>) {
    let (items, oldest) = <(Family<Queued, Gauge>, Family<OfTarget, Gauge>)>::default();
    for held in &seen.targets {
        let target = held.name.clone();
        oldest.get_or_create(&OfTarget { target }).set(0);
        for state in Standing::ALL.into_iter().filter(|state| !state.is_done()) {
            let (target, state) = (held.name.clone(), state.word());
            items.get_or_create(&Queued { target, state }).set(0);
        }
    }
    for item in &seen.urgent {
        let (target, state) = (item.target.clone(), item.state.word());
        let labels = Queued { target, state };
        items.get_or_create(&labels).inc();
        let target = labels.target;
        let age = (now - item.accepted_at).num_seconds();
        let gauge = oldest.get_or_create_owned(&OfTarget { target });
        gauge.set(gauge.get().max(age));
    }
    (items, oldest)
}

type Gauges = (
    Family<Queued, Gauge>,
    Family<OfTarget, Gauge>,
    Family<OfTarget, Gauge>,
);

fn of_targets(targets: &[TargetHeld], paused: &[&str], now: DateTime<Utc>) -> Gauges {
    let (items, oldest, stopped) = Gauges::default();
    for held in targets {
        let target = held.name.clone();
        for (state, count) in &held.counts {
            let labels = Queued {
                target: target.clone(),
                state: state.word(),
            };
            items.get_or_create(&labels).set(*count);
        }
        let of_target = OfTarget { target };
        let age = held.oldest_open.map_or(0, |at| (now - at).num_seconds());
        oldest.get_or_create(&of_target).set(age.max(0));
        let is = held.paused.is_some() || paused.contains(&held.name.as_str());
        stopped.get_or_create(&of_target).set(i64::from(is));
    }
    (items, oldest, stopped)
}
