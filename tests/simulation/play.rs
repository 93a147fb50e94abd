#![cfg(test)]
//! One simulation from its seed to its verdict.

use crate::network::{BASE, Simulated, cut};
use crate::scenario::{Clocks, Event, NODES, Scenario, Submission};
use crate::server::Server;
use crate::sessions::visits;
use crate::verdict;
use crate::world::{Acting, Director, Happening, World, at_once};
use chrono::{DateTime, Utc};
use fascicle::base::clock::Clock;
use fascicle::base::code::Code;
use fascicle::base::code::reason::Reason;
use fascicle::base::private::Private;
use fascicle::delivery::deliver::breaker::Limits;
use fascicle::delivery::deliver::http::Connection;
use fascicle::delivery::deliver::plan::Sending;
use fascicle::delivery::deliver::{Proxy, Purpose, SignIn, Target, Unmatched};
use fascicle::delivery::outbox::kept::KeptText;
use fascicle::delivery::outbox::offer::{Before, New, Rejected, Wanted};
use fascicle::delivery::outbox::{Accepted, Decision, Item, Outbox, OutboxError, State};
use fascicle::fhir::record::fitted::Fitting;
use fascicle::service::app::deliver::Delivery;
use fascicle::tables::catalogue::sha256_hex;
use fastrand::Rng;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;
use std::time::Duration;
use tempfile::TempDir;

/// Who submits, and who decides.
const WARD: usize = NODES;
const PERSON: usize = NODES + 1;

/// The one target.
pub(crate) const TARGET: &str = "ward";

/// How long after the last fault everything has to be settled, in ms: clocks that jumped by an hour set
/// times that far ahead, and a wait is 15 minutes at most.
const SETTLES: u64 = 4 * 3_600_000;

/// What came of a seed.
#[derive(Debug)]
pub(crate) struct Played {
    pub(crate) faults: Vec<String>,
    pub(crate) log: Vec<String>,
}

impl Played {
    /// The hash of everything that happened.
    pub(crate) fn hash(&self) -> String {
        sha256_hex(self.log.join("\n").as_bytes())
    }
}

/// A store that nothing was put into yet: making one costs more than what most seeds do with it.
pub(crate) fn blank(folder: &Path) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build();
    runtime.expect("a runtime").block_on(async {
        let outbox = Outbox::open(folder).await.expect("a store");
        outbox.close().await;
    });
}

/// A folder in memory, where the machine has one.
pub(crate) fn folder() -> TempDir {
    let memory = Path::new("/dev/shm");
    let made = if memory.is_dir() {
        tempfile::tempdir_in(memory)
    } else {
        tempfile::tempdir()
    };
    made.expect("a folder")
}

/// Plays one seed.
pub(crate) fn play(seed: u64, blank: &Path) -> Played {
    let folder = folder();
    let name = "fascicle.sqlite";
    std::fs::copy(blank.join(name), folder.path().join(name)).expect("a copy");
    // The jitter of the product comes from the generator of the thread.
    fastrand::seed(seed);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .start_paused(true)
        .build();
    runtime
        .expect("a runtime")
        .block_on(Box::pin(played(seed, folder.path())))
}

async fn played(seed: u64, folder: &Path) -> Played {
    let mut rng = Rng::with_seed(seed);
    let scenario = Scenario::of(&mut rng);
    let refuses = scenario.poison.map(|(number, _)| {
        let visit = &visits()[number];
        let observations = visit.observations.keys().cloned();
        observations.chain([visit.name.clone()]).collect()
    });
    let server = Server::new(
        (scenario.server, scenario.searches),
        refuses.unwrap_or_default(),
    );
    let world = World::new(scenario.clone(), server, rng);
    world.say(format_args!("seed {seed}: {scenario:?}"));
    let outbox = at_once(Outbox::open(folder)).await.expect("a store");
    let outbox = match scenario.clocks {
        Clocks::Database => outbox.held_by(world.clock(NODES)),
        Clocks::Machine => outbox,
    };
    happenings(&world, &scenario);
    let start = |actor: usize| -> Acting {
        let (world, outbox) = (Arc::clone(&world), outbox.clone());
        match actor {
            WARD => Box::pin(ward(world, outbox, folder.to_owned())),
            PERSON => Box::pin(person(world, outbox)),
            node => Box::pin(working(world, outbox, node)),
        }
    };
    let mut director = Director::new(Arc::clone(&world), &start);
    director.play(scenario.calm + SETTLES).await;
    drop(director);
    at_once(verdict::given(&world, &outbox)).await;
    at_once(outbox.close()).await;
    let mut inside = world.inside();
    Played {
        faults: std::mem::take(&mut inside.faults),
        log: std::mem::take(&mut inside.log),
    }
}

fn happenings(world: &Arc<World>, scenario: &Scenario) {
    for (at, event) in scenario.events.iter().copied() {
        match event {
            Event::Crash { node, down } => {
                world.at(at, Happening::Crash(node));
                world.at(at + down, Happening::Start(node));
            }
            Event::Cut { node, lasts } => {
                let change = Box::new(move |inside: &mut _| cut(inside, node, at + lasts));
                world.at(at, Happening::Change(change));
            }
            Event::Jump { node, by } => {
                let machine = scenario.clocks == Clocks::Machine;
                let change = Box::new(move |inside: &mut crate::world::Inside| {
                    inside.look_now(at);
                    let whose = node.unwrap_or(NODES);
                    for (number, off) in inside.off.iter_mut().enumerate() {
                        // On one machine there is one clock.
                        if machine || number == whose {
                            *off += by;
                        }
                    }
                    inside
                        .log
                        .push(format!("{at:>9} clock {node:?} jumps by {by}"));
                });
                world.at(at, Happening::Change(change));
            }
        }
    }
}

fn target(scenario: &Scenario) -> Target {
    Target {
        name: TARGET.to_owned(),
        base: Private::new(BASE.to_owned()),
        sign_in: SignIn::None,
        timeout: scenario.timeout,
        visibility: scenario.visibility,
        purpose: Purpose::NotSaid,
        paused: false,
        report: false,
        sending: Sending {
            mode: scenario.mode,
            ..Sending::default()
        },
        breaker: Limits {
            failures: 5,
            pause: Duration::from_secs(30),
        },
        fitting: Fitting::default(),
        encounters: Unmatched::default(),
        practitioners: Unmatched::default(),
        proxy: Proxy::Direct,
        headers: Vec::new(),
        ca_file: None,
        client_certificate: None,
    }
}

/// A node: what `Delivery::until_stopped` does, with fewer looks at a queue in which nothing is due.
async fn working(world: Arc<World>, outbox: Outbox, node: usize) {
    let scenario = world.inside().scenario.clone();
    let wire = Arc::new(Simulated {
        world: Arc::clone(&world),
        node,
    });
    let delivery = Delivery {
        outbox,
        connection: Connection::over(wire, target(&scenario)),
        clock: world.clock(node),
        lease: scenario.lease,
    };
    world.wait(node, 1).await;
    loop {
        world.inside().idle[node] = false;
        let ms = match delivery.once().await {
            Ok(true) => 1,
            Ok(false) => {
                let ms = idle(&world, &delivery.outbox).await;
                world.inside().idle[node] = true;
                ms
            }
            Err(cause) => {
                world.fault(format!("node {node}: the store failed: {cause}"));
                2000
            }
        };
        let jitter = world.inside().rng.u64(..200);
        world.wait(node, ms + jitter).await;
    }
}

async fn idle(world: &Arc<World>, outbox: &Outbox) -> u64 {
    let due = outbox.next_due(TARGET).await.expect("the store answers");
    let now = world.clock(NODES).now().timestamp_millis();
    let left = due.map_or(40_000, |due| due - now);
    u64::try_from(left.clamp(500, 40_000)).expect("a time")
}

/// Whoever submits: each visit at its time, and some of them again.
async fn ward(world: Arc<World>, outbox: Outbox, folder: PathBuf) {
    let submissions = world.inside().scenario.submissions.clone();
    for submission in submissions {
        world.until(WARD, submission.at).await;
        let Submission {
            visit, meanwhile, ..
        } = submission;
        let now = world.clock(NODES).now();
        let mut coming = meanwhile;
        let mut against = Vec::new();
        let encode = |before: Before| {
            against = texts(&before.sessions);
            if let Some(other) = coming.take() {
                other_node(&folder, other, now);
                world.say(format_args!(
                    "visit {other} comes in, while {visit} is encoded"
                ));
            }
            visits()[visit].made()
        };
        match accept(&outbox, visit, now, encode).await {
            Ok(Ok(Accepted::New(_))) => {
                let stood = outbox.sessions_before(&visits()[visit].key).await;
                if texts(&stood.expect("the store answers")) != against {
                    world.fault(format!(
                        "visit {visit} was encoded against what did not stand"
                    ));
                }
                world.say(format_args!("visit {visit} comes in"));
            }
            Ok(Ok(Accepted::Before(_))) => world.say(format_args!("visit {visit} comes in again")),
            other => world.fault(format!("visit {visit} is not accepted: {other:?}")),
        }
    }
    world.wait(WARD, u64::MAX / 4).await;
}

fn texts(kept: &[KeptText]) -> Vec<String> {
    let texts = kept.iter().map(|one| one.as_it_stands().open().clone());
    texts.collect()
}

async fn accept(
    outbox: &Outbox,
    visit: usize,
    now: DateTime<Utc>,
    mut made: impl FnMut(Before) -> New + Send,
) -> Result<Result<Accepted, Rejected<()>>, OutboxError> {
    let targets = [TARGET.to_owned()];
    let wanted = Wanted {
        targets: &targets,
        all: &targets,
        route: None,
    };
    let encode = |before| Ok(made(before));
    outbox
        .accept(&visits()[visit].key, wanted, now, encode)
        .await
}

/// Another node, on a thread of its own, accepts a visit before this one goes on.
fn other_node(folder: &Path, visit: usize, now: DateTime<Utc>) {
    let accepting = async {
        let outbox = Outbox::open(folder).await.expect("a store");
        let outbox = outbox.held_by(Arc::new(At(now)));
        let made = |_before| visits()[visit].made();
        let accepted = accept(&outbox, visit, now, made).await;
        accepted
            .expect("the store answers")
            .expect("it is accepted");
        outbox.close().await;
    };
    thread::scope(|scope| {
        let accepting = scope.spawn(|| {
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build();
            runtime.expect("a runtime").block_on(accepting);
        });
        accepting.join().expect("nothing holds it up");
    });
}

/// A clock that stands: simulated time is seen on its own thread only.
#[derive(Debug)]
struct At(DateTime<Utc>);

impl Clock for At {
    fn now(&self) -> DateTime<Utc> {
        self.0
    }
}

/// Whoever looks at the queue: releases what was tried too often, and drops what was refused, where the
/// scenario says so. Ends the simulation when nothing more can happen.
async fn person(world: Arc<World>, outbox: Outbox) {
    loop {
        world.wait(PERSON, 45_000).await;
        let items = outbox.items(false).await.expect("the store answers");
        let poison = world.inside().scenario.poison;
        let mut moving = false;
        for item in &items {
            let is_poison = poison.is_some_and(|(number, _)| is_of(item, number));
            let decision = match item.state {
                State::Waiting if too_often(item) => Some(Decision::Release),
                State::Refused if is_poison && poison.is_some_and(|(_, dropped)| dropped) => {
                    Some(Decision::Drop)
                }
                State::Queued | State::Sending | State::Unknown => {
                    moving |= item.behind.is_none();
                    None
                }
                State::Delivered | State::Refused | State::Waiting | State::Dropped => None,
            };
            if let Some(decision) = decision {
                moving = true;
                let now = world.clock(NODES).now();
                let why = "looked at the record server";
                let decided = outbox
                    .decide(item.id, &decision, "somebody", why, now)
                    .await;
                world.say(format_args!("a person decides {decision:?}: {decided:?}"));
            }
        }
        let now = world.now();
        let mut inside = world.inside();
        let all_in = items.len() == inside.scenario.visits.len();
        inside.over = now > inside.scenario.calm && all_in && !moving;
    }
}

/// What a person has to look at after many tries, whatever is wrong.
fn too_often(item: &Item) -> bool {
    let code = item.reason.as_ref().map(Reason::code);
    code == Some(Code::UnknownTooOften)
}

/// True where an item is the delivery of a visit.
pub(crate) fn is_of(item: &Item, number: usize) -> bool {
    let visit = &visits()[number];
    item.session == visit.key.session && item.version == visit.version
}
