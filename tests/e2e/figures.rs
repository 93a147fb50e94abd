#![cfg(test)]
//! What was counted in the rounds of a scenario.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a scenario tells its figures and how long it took"
)]

use crate::binary::Site;
use crate::document::{Document, OBSERVATIONS, PROVENANCES, Person, REPORTS};
use crate::server::{Holding, Server};
use std::collections::BTreeSet;
use std::time::Instant;

/// The figures of one scenario on one server.
pub(crate) struct Figures {
    name: String,
    began: Instant,
    rounds: usize,
    lost: usize,
    duplicated: usize,
    out_of_order: usize,
    loose_ends: usize,
    faults: Vec<String>,
}

impl Figures {
    pub(crate) fn new(server: &Server, name: &str) -> Self {
        let kind = if server.real { "real" } else { "practice" };
        Self {
            name: format!("{kind}: {name}"),
            began: Instant::now(),
            rounds: 0,
            lost: 0,
            duplicated: 0,
            out_of_order: 0,
            loose_ends: 0,
            faults: Vec::new(),
        }
    }

    /// One round is over.
    pub(crate) fn round(&mut self) {
        self.rounds += 1;
    }

    /// Counts what the server holds of a person after these sessions, against the table.
    pub(crate) fn count(&mut self, server: &Server, person: &Person, sessions: &[&Document]) {
        let instruments: BTreeSet<String> = sessions.iter().map(|one| one.instrument()).collect();
        let instruments: Vec<String> = instruments.into_iter().collect();
        let holding = Holding::of(server, &person.reference, &instruments);
        let expected = [
            sessions.len() * OBSERVATIONS,
            sessions.len() * PROVENANCES,
            instruments.len(),
            sessions.len() * REPORTS,
        ];
        let counts = holding.counts();
        for (found, expected) in counts.into_iter().zip(expected) {
            self.lost += expected.saturating_sub(found);
            self.duplicated += found.saturating_sub(expected);
        }
        if counts != expected {
            let fault = format!("{} has {counts:?}, not {expected:?}", person.reference);
            self.faults.push(fault);
        }
        let loose = holding.loose_ends(server);
        self.loose_ends += loose.len();
        self.faults.extend(loose);
    }

    /// Looks through the trail of a site that serves one person, and verifies it.
    pub(crate) fn order(&mut self, site: &Site) {
        self.out_of_order += site.out_of_order();
        let verified = site.run("trail", &["--verify"]);
        if verified.code != Some(0) {
            self.faults.push(verified.text);
        }
    }

    /// Looks through the trail of a site at the sessions of one person.
    pub(crate) fn order_of(&mut self, site: &Site, sessions: &[String]) {
        self.out_of_order += site.out_of_order_of(sessions);
    }

    /// Something else that is not as it should be.
    pub(crate) fn fault(&mut self, fault: String) {
        self.faults.push(fault);
    }

    /// Adds the figures of rounds that ran beside these.
    pub(crate) fn add(&mut self, other: Self) {
        self.rounds += other.rounds;
        self.lost += other.lost;
        self.duplicated += other.duplicated;
        self.out_of_order += other.out_of_order;
        self.loose_ends += other.loose_ends;
        self.faults.extend(other.faults);
    }

    /// Asserts that no round was left out.
    pub(crate) fn rounds_are(&self, expected: usize) {
        assert_eq!(self.rounds, expected, "{}", self.name);
    }

    /// Whether anything is not as it should be.
    pub(crate) fn is_wrong(&self) -> bool {
        let wrong = self.lost + self.duplicated + self.out_of_order + self.loose_ends;
        wrong > 0 || !self.faults.is_empty()
    }

    /// The figures for a script to read.
    pub(crate) fn pairs(&self) -> String {
        format!(
            "lost={} duplicated={} out_of_order={} loose_ends={} other={}",
            self.lost,
            self.duplicated,
            self.out_of_order,
            self.loose_ends,
            self.faults.len()
        )
    }

    /// Tells the figures and asserts that all is well.
    pub(crate) fn told(self) {
        println!(
            "{:60} rounds {:3}  lost {}  duplicated {}  out of order {}  loose ends {}  \
             other {}  in {:.1} s",
            self.name,
            self.rounds,
            self.lost,
            self.duplicated,
            self.out_of_order,
            self.loose_ends,
            self.faults.len(),
            self.began.elapsed().as_secs_f64()
        );
        let wrong = self.lost + self.duplicated + self.out_of_order + self.loose_ends;
        assert!(wrong == 0 && self.faults.is_empty(), "{:#?}", self.faults);
    }
}
