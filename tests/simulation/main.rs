#![cfg(test)]
//! Outbox and delivery under a simulator: every seed is a course of events that can be played again.
//!
//! Simulated are the clocks (one for each node and one for the store, wrong by minutes and jumping), the
//! time that passes, the network (slow, lossy, late, twice, cut), what stands on it and answers in the
//! place of the server, the deaths of two nodes, the record server (`server`), who submits, again as well
//! and to another node while a document is encoded, and who decides. What else happens is drawn in `scenario`, with what a site may count on; a page of a
//! search may be as short as two resources.
//!
//! Real are the store with its SQL on `SQLite`, and all of `deliver` and `app::deliver` but HTTP itself:
//! claims, leases, fences, searches, sending in every mode, reading back, retries and the breaker. A store
//! with a clock of its own stands for a database that several nodes share (`Outbox::held_by`); one without
//! is the file of one machine, whose nodes have its one clock.
//!
//! Not simulated are HTTP, TLS and sign-in (`tests/e2e` has them on real sockets), the pause between two
//! looks at an idle queue, a store that fails or is slow, a second target, and the locks of PostgreSQL
//! (`tests/stores` and `tests/e2e/nodes.rs` have it). A node dies where it waits for the network or for
//! time, never within a transaction: that one is undone by `SQLite`, which is the same as dying before it.
//!
//! `FASCICLE_SEEDS=10000` plays so many, on as many threads as the machine has or `FASCICLE_THREADS` says;
//! `FASCICLE_SEED=…` plays one and prints all that happened.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "how many seeds to play is told by a variable, and which one failed is told"
)]

mod network;
mod play;
mod scenario;
mod server;
mod sessions;
mod verdict;
mod world;

use crate::play::{Played, blank, folder, play};
use std::collections::BTreeSet;
use std::num::NonZero;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

/// Seeds that every run plays.
const FEW: u64 = 40;

/// How many failing seeds are told before a run ends.
const MOST_TOLD: usize = 5;

fn number(variable: &str) -> Option<u64> {
    let text = std::env::var(variable).ok()?;
    Some(text.parse().expect("a number"))
}

#[test]
fn whatever_happens_everything_is_there_once_and_in_order() {
    let blank_store = folder();
    blank(blank_store.path());
    if let Some(seed) = number("FASCICLE_SEED") {
        let played = play(seed, blank_store.path());
        println!("{}", played.log.join("\n"));
        println!("seed {seed}: log {}", played.hash());
        assert!(played.faults.is_empty(), "{:#?}", played.faults);
        return;
    }
    let seeds = number("FASCICLE_SEEDS").unwrap_or(FEW);
    let failed = all(seeds, blank_store.path());
    for (seed, faults) in &failed {
        println!("seed {seed} fails: {faults:#?}");
        println!(
            "again: FASCICLE_SEED={seed} cargo test --test simulation whatever -- --nocapture"
        );
    }
    println!("seeds {seeds}, failed {}", failed.len());
    assert!(failed.is_empty(), "the first that failed: {}", failed[0].0);
}

/// Plays seeds until all are played or too many failed; those that did, the lowest first.
fn all(seeds: u64, blank: &Path) -> Vec<(u64, Vec<String>)> {
    let cores = thread::available_parallelism().map_or(1, NonZero::get);
    let threads = number("FASCICLE_THREADS").unwrap_or(u64::try_from(cores).expect("a number"));
    let (next, failed) = (AtomicU64::new(0), Mutex::new(Vec::new()));
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::SeqCst);
                    let enough = failed.lock().expect("nobody panicked").len() >= MOST_TOLD;
                    if seed >= seeds || enough {
                        break;
                    }
                    let played = play(seed, blank);
                    if !played.faults.is_empty() {
                        let told = (seed, played.faults);
                        failed.lock().expect("nobody panicked").push(told);
                    }
                }
            });
        }
    });
    let mut failed = failed.into_inner().expect("nobody panicked");
    failed.sort();
    failed
}

#[test]
fn a_seed_is_the_same_every_time_and_another_one_is_not() {
    let blank_store = folder();
    blank(blank_store.path());
    let mut hashes = BTreeSet::new();

    for seed in 100..108 {
        let (once, again) = (
            play(seed, blank_store.path()),
            play(seed, blank_store.path()),
        );
        let differs = differing(&once, &again);
        assert!(differs.is_none(), "seed {seed}: {differs:#?}");
        hashes.insert(once.hash());
    }

    assert_eq!(hashes.len(), 8);
}

/// The first line in which two plays differ.
fn differing<'a>(one: &'a Played, other: &'a Played) -> Option<(&'a String, &'a String)> {
    if one.hash() == other.hash() {
        return None;
    }
    let mut lines = one.log.iter().zip(&other.log);
    Some(
        lines
            .find(|(one, other)| one != other)
            .expect("a line that differs"),
    )
}
