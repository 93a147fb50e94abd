#![cfg(test)]
//! What a seed draws: the server, the ways of the clocks and of the network, what comes in and when,
//! and when whom something hits.
//!
//! What a site may count on is drawn with it. No client can promise more than once in effect on a server
//! that stores whatever it is sent, if a request may arrive there at any time: so on a plain server a
//! request that left has arrived and shows before the window is over in which nothing is sent again, less
//! what clocks may jump by. On a server with conditional creates requests arrive as late and as often as
//! they like, and clocks jump by hours.

use crate::server::{Includes, Kind};
use crate::sessions::{PEOPLE, visits};
use fascicle::delivery::deliver::plan::Mode;
use fascicle::delivery::outbox::LeaseLength;
use fastrand::Rng;
use std::time::Duration;

/// How many nodes work on the store.
pub(crate) const NODES: usize = 2;

/// How a session is sent, the usual way more often.
const MODES: [Mode; 4] = [
    Mode::Transaction,
    Mode::Transaction,
    Mode::Batch,
    Mode::Single,
];

/// Whose clock holds the leases.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Clocks {
    /// That of a database; each node has another of its own.
    Database,
    /// That of the one machine on which both work.
    Machine,
}

/// Something that happens at a time, in ms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Event {
    /// A node dies, and another starts in its place after so long.
    Crash { node: usize, down: u64 },
    /// The clock of a node, or of the store where there is no node, jumps by so many ms.
    Jump { node: Option<usize>, by: i64 },
    /// A node and the record server do not hear each other for so long.
    Cut { node: usize, lasts: u64 },
}

/// Everything a seed draws before anything happens.
#[derive(Debug, Clone)]
pub(crate) struct Scenario {
    pub(crate) server: Kind,
    pub(crate) mode: Mode,
    pub(crate) clocks: Clocks,
    pub(crate) lease: LeaseLength,
    pub(crate) timeout: Duration,
    pub(crate) visibility: Duration,
    /// The longest that a stored resource takes to show, in ms.
    pub(crate) lag: u64,
    /// The longest that a request is under way, in ms.
    pub(crate) late: u64,
    pub(crate) searches: Searches,
    /// The slowest that an answer usually is, in ms.
    pub(crate) slow: u64,
    /// Of a thousand requests so many meet a fault.
    pub(crate) faults: u32,
    /// When the faults end, in ms.
    pub(crate) calm: u64,
    /// By how much each clock is off, in ms: those of the nodes.
    pub(crate) skew: [i64; NODES],
    pub(crate) events: Vec<(u64, Event)>,
    /// The visits that come in.
    pub(crate) visits: Vec<usize>,
    /// What comes in; some of it again, because whoever submits got no answer.
    pub(crate) submissions: Vec<Submission>,
    /// The visit that the server refuses, and whether a person drops it.
    pub(crate) poison: Option<(usize, bool)>,
    /// At which search, counted over all nodes, the clock of the database jumps and ends every lease, and
    /// by how many ms.
    pub(crate) stolen: Option<(u64, i64)>,
}

/// A visit comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Submission {
    /// When, in ms.
    pub(crate) at: u64,
    pub(crate) visit: usize,
    /// The visit of the same person that another node accepts while this one is encoded.
    pub(crate) meanwhile: Option<usize>,
}

/// How the server searches.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Searches {
    /// How many resources a page holds at most.
    pub(crate) page: usize,
    /// What it makes of the wish to get with what is found what refers to it.
    pub(crate) includes: Includes,
}

impl Searches {
    fn of(rng: &mut Rng) -> Self {
        const INCLUDES: [Includes; 4] = [
            Includes::Given,
            Includes::Given,
            Includes::Ignored,
            Includes::Refused,
        ];
        Self {
            page: any(rng, &[200, 200, 3, 2]),
            includes: any(rng, &INCLUDES),
        }
    }
}

/// Leases that end while their holders are about to send, on a server that keeps whatever it is sent: only
/// the fence stands between two requests then. The window is so long that the jump leaves enough of it.
const STOLEN: (u64, u64, u64) = (20, 8, 60);

impl Scenario {
    pub(crate) fn of(rng: &mut Rng) -> Self {
        let stolen = (rng.u8(..4) == 0).then(|| rng.u64(1..40));
        let (server, clocks, (whole, timeout, visibility)) = site(rng, stolen.is_some());
        let window = 1000 * u64::max(whole, visibility);
        // What clocks may jump by, what a server takes to show, and what is left for the way.
        let jump = match stolen {
            Some(_) => window / 2,
            None => any(rng, &[window / 8, window / 2]),
        };
        let lag = any(rng, &[0, window / 20, window / 4]);
        let late = window - jump - lag - 2000;
        let calm = 30_000 * rng.u64(3..13);
        let hours = 3_600_000;
        let (jump, late) = match server {
            Kind::Conditional => (any(rng, &[jump, hours]), any(rng, &[late, hours])),
            Kind::Plain => (jump, late),
        };
        let widest = match clocks {
            Clocks::Database => 600_000,
            Clocks::Machine => 0,
        };
        // Two of the three people; the sessions of the last are single ones, of which one may be refused.
        let absent = rng.usize(..PEOPLE);
        let visits: Vec<usize> = visits()
            .iter()
            .enumerate()
            .filter_map(|(number, visit)| (visit.person != absent).then_some(number))
            .collect();
        let refused = rng.u8(..3) == 0 && absent != PEOPLE - 1;
        let submissions = submissions(rng, calm, &visits);
        let poison = refused.then(|| (visits[visits.len() - rng.usize(1..=2)], rng.bool()));
        Self {
            server,
            mode: any(rng, &MODES),
            clocks,
            lease: LeaseLength {
                whole: Duration::from_secs(whole),
                margin: Duration::from_secs(whole / 6),
            },
            timeout: Duration::from_secs(timeout),
            visibility: Duration::from_secs(visibility),
            lag,
            late,
            searches: Searches::of(rng),
            slow: any(rng, &[50, 400, 3000, 1000 * timeout / 2]),
            faults: any(rng, &[20, 60, 120, 250]),
            calm,
            skew: [0; NODES].map(|_| rng.i64(-widest..=widest)),
            events: events(
                rng,
                (calm, 1000 * whole),
                (jump, stolen.is_some()),
                &submissions,
            ),
            stolen: stolen.map(|search| (search, i64::try_from(jump).expect("a time"))),
            submissions,
            visits,
            poison,
        }
    }
}

/// The kind of server, whose clock holds the leases, and lease, timeout and visibility in s.
fn site(rng: &mut Rng, stolen: bool) -> (Kind, Clocks, (u64, u64, u64)) {
    if stolen {
        return (Kind::Plain, Clocks::Database, STOLEN);
    }
    (
        any(rng, &[Kind::Conditional, Kind::Plain, Kind::Plain]),
        any(rng, &[Clocks::Database, Clocks::Machine]),
        any(rng, &[(60, 20, 60), (30, 8, 20), (24, 30, 40)]),
    )
}

fn events(
    rng: &mut Rng,
    (calm, lease): (u64, u64),
    (jump, jumped_already): (u64, bool),
    submissions: &[Submission],
) -> Vec<(u64, Event)> {
    let mut events = Vec::new();
    let most = i64::try_from(jump).expect("a time");
    if rng.bool() {
        // What hurts most: leases end long before their time, while whoever holds one works.
        let came_in = any(rng, submissions).at;
        let jump = Event::Jump {
            node: None,
            by: most,
        };
        events.push((came_in + rng.u64(..lease), jump));
    }
    for _ in 0..rng.usize(..6) {
        let node = rng.usize(..NODES);
        let at = rng.u64(..calm);
        let event = match rng.u8(..3) {
            0 => Event::Crash {
                node,
                down: rng.u64(100..90_000),
            },
            1 => Event::Cut {
                node,
                lasts: rng.u64(1000..120_000),
            },
            _ => Event::Jump {
                node: rng.bool().then_some(node),
                by: rng.i64(-most..=most),
            },
        };
        events.push((at, event));
    }
    // What clocks may be off by is told once: several jumps forward would add up.
    let mut jumped = usize::from(jumped_already);
    events.retain(|(_, event)| {
        let jumps = matches!(event, Event::Jump { .. });
        jumped += usize::from(jumps);
        !jumps || jumped == 1
    });
    events
}

/// The visits of each person come in one after another, each at its own time, and some again.
fn submissions(rng: &mut Rng, calm: u64, numbers: &[usize]) -> Vec<Submission> {
    let mut submissions: Vec<Submission> = Vec::new();
    let last = calm / 2;
    let mut times: Vec<u64> = numbers.iter().map(|_| rng.u64(..last)).collect();
    times.sort_unstable();
    let mut again = Vec::new();
    // Some persons come in at the same time, so that their lanes meet.
    let all_at_once = rng.u8(..3) == 0;
    for (visit, time) in numbers.iter().copied().zip(times) {
        let place = u64::try_from(visit).expect("a number");
        let at = if all_at_once { place } else { time };
        let other_session = |one: &Submission| {
            let (before, this) = (&visits()[one.visit], &visits()[visit]);
            before.person == this.person && before.session != this.session
        };
        let before = submissions.last().copied().filter(other_session);
        let meanwhile = before.filter(|one| one.meanwhile.is_none() && rng.bool());
        if meanwhile.is_some() {
            submissions.pop();
        }
        submissions.push(Submission {
            at,
            visit,
            meanwhile: meanwhile.map(|one| one.visit),
        });
        if rng.u8(..3) == 0 {
            again.push(Submission {
                at: at + rng.u64(1..calm),
                visit,
                meanwhile: None,
            });
        }
    }
    submissions.extend(again);
    submissions.sort_unstable();
    submissions
}

pub(crate) fn any<T: Copy>(rng: &mut Rng, of: &[T]) -> T {
    of[rng.usize(..of.len())]
}
