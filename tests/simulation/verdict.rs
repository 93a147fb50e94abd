#![cfg(test)]
//! What must be so in the end, whatever happened: everything is there once and in order, what waits does
//! so for a reason that the scenario gave, and the trail is whole.

use crate::play::is_of;
use crate::scenario::{Event, Scenario};
use crate::server::{Server, about};
use crate::sessions::{Visit, says, visits};
use crate::world::World;
use fascicle::base::json::Node;
use fascicle::delivery::outbox::{Item, Outbox, State, TrailRow};
use std::collections::{BTreeMap, BTreeSet};

/// Holds the end of a simulation against what must be so.
pub(crate) async fn given(world: &World, outbox: &Outbox) {
    let items = outbox.items(false).await.expect("the store answers");
    let scenario = world.inside().scenario.clone();
    let mut faults = states(&items, &scenario);
    let delivered: Vec<&Visit> = visits()
        .iter()
        .enumerate()
        .filter(|(number, _)| {
            of(&items, *number).is_some_and(|item| item.state == State::Delivered)
        })
        .map(|(_, visit)| visit)
        .collect();
    faults.extend(counts(&world.inside().server, &delivered));
    faults.extend(order(&world.inside().server));
    let verified = outbox.verify_trail(None).await.expect("the store answers");
    faults.extend(verified.faults);
    let rows = outbox.trail(None).await.expect("the trail");
    faults.extend(leases(&rows, &scenario, world.inside().deaths));
    faults.extend(attempts(&rows));
    for row in rows {
        let said = format!("{} {} {}", row.at, row.event, row.detail);
        world.say(format_args!("trail {}/{} {said}", row.session, row.version));
    }
    for fault in faults {
        world.fault(fault);
    }
}

/// A worker that lives ends its attempt before its lease ends; where no clock jumped, each lease that
/// ended under its worker is that of a node that died.
fn leases(rows: &[TrailRow], scenario: &Scenario, deaths: usize) -> Vec<String> {
    let jumps = |(_, event): &(u64, Event)| matches!(event, Event::Jump { .. });
    let ended = rows.iter().filter(|row| row.detail.contains("lease-ended"));
    let ended = ended.count();
    let jumped = scenario.stolen.is_some() || scenario.events.iter().any(jumps);
    if ended > deaths && !jumped {
        return vec![format!("{ended} leases ended, and {deaths} nodes died")];
    }
    Vec::new()
}

/// Only whoever holds an item says how its attempt ended.
fn attempts(rows: &[TrailRow]) -> Vec<String> {
    let mut faults = Vec::new();
    let mut begun: BTreeMap<String, Node> = BTreeMap::new();
    for row in rows {
        let detail = Node::parse(&row.detail).expect("JSON");
        let (Some(attempt), Some(item)) = (detail.member("attempt"), &row.item) else {
            continue;
        };
        let item = item.clone();
        if row.event == "sending" {
            begun.insert(item, attempt.clone());
        } else if begun.get(&item) != Some(attempt) {
            let attempt = attempt.compact();
            faults.push(format!(
                "{item}: attempt {attempt} was not the last to begin"
            ));
        }
    }
    faults
}

fn of(items: &[Item], number: usize) -> Option<&Item> {
    items.iter().find(|item| is_of(item, number))
}

/// Everything is delivered, but what the server refuses and what stands behind it.
fn states(items: &[Item], scenario: &Scenario) -> Vec<String> {
    let mut faults = Vec::new();
    let poison = scenario.poison;
    for number in scenario.visits.iter().copied() {
        let visit = &visits()[number];
        let behind = poison.is_some_and(|(poison, dropped)| {
            !dropped && visits()[poison].person == visit.person && number > poison
        });
        let wanted = match poison {
            Some((poison, true)) if poison == number => State::Dropped,
            Some((poison, false)) if poison == number => State::Refused,
            _ if behind => State::Queued,
            _ => State::Delivered,
        };
        let item = of(items, number);
        match item {
            Some(item) if item.state == wanted => {
                if behind && item.attempts > 0 {
                    faults.push(format!("visit {number} overtook what was refused"));
                }
            }
            _ => {
                let found = item.map(|item| (item.state, item.reason.clone(), item.attempts));
                faults.push(format!("visit {number} is {found:?}, not {wanted:?}"));
            }
        }
    }
    faults
}

/// Everything of what was delivered is there once, as its latest version says it, and nothing else is.
fn counts(server: &Server, delivered: &[&Visit]) -> Vec<String> {
    let mut faults = Vec::new();
    let mut wanted: BTreeMap<&String, &String> = BTreeMap::new();
    for visit in delivered {
        wanted.extend(&visit.observations);
    }
    let names: BTreeSet<&String> = delivered.iter().map(|visit| &visit.name).collect();
    let instruments: BTreeSet<&String> = delivered.iter().map(|visit| &visit.instrument).collect();
    let observations: BTreeSet<&String> = wanted.keys().copied().collect();
    let all = [
        ("Observation", observations),
        ("Provenance", names),
        ("Device", instruments),
    ];
    for (kind, wanted) in all {
        let mut found: BTreeMap<String, usize> = BTreeMap::new();
        for one in server.of(kind) {
            *found.entry(about(&one.resource)).or_default() += 1;
        }
        for name in &wanted {
            if !found.contains_key(*name) {
                faults.push(format!("lost: {kind} {name}"));
            }
        }
        for (name, count) in &found {
            // The instrument of what was refused may be there.
            let known = wanted.contains(name) || kind == "Device";
            if *count > 1 || !known {
                faults.push(format!("duplicated: {kind} {name} is there {count} times"));
            }
        }
    }
    for one in server.of("Observation") {
        let name = about(&one.resource);
        if wanted
            .get(&name)
            .is_some_and(|wanted| **wanted != says(&one.resource))
        {
            faults.push(format!("out of order: {name} holds another version"));
        }
    }
    faults
}

/// What was written of each person was written in the order in which it was accepted.
fn order(server: &Server) -> Vec<String> {
    let mut faults = Vec::new();
    let mut reached: BTreeMap<usize, usize> = BTreeMap::new();
    for write in server.writes() {
        let place = visits().iter().position(|visit| {
            visit.name == write.about || visit.observations.get(&write.about) == Some(&write.says)
        });
        let Some(place) = place else {
            if write.kind != "Device" {
                faults.push(format!("nobody sent {} {}", write.kind, write.about));
            }
            continue;
        };
        let last = reached.entry(visits()[place].person).or_default();
        if place < *last {
            faults.push(format!("out of order: visit {place} after visit {last}"));
        }
        *last = place.max(*last);
    }
    faults
}
