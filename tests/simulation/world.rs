#![cfg(test)]
//! The one thread on which everything happens, one after another.
//!
//! Time is tokio's own, paused: it goes on only when nobody has anything to do, and then straight to
//! what comes next. The store answers from a thread of its own, at a moment that nobody can foresee; so
//! whoever asks it keeps the turn until it has answered, and no time passes meanwhile. Turns change only
//! where somebody waits in simulated time: then the seed has drawn who is next.

use crate::scenario::{NODES, Scenario};
use crate::server::Server;
use chrono::{DateTime, TimeDelta, Utc};
use fascicle::base::clock::Clock;
use fastrand::Rng;
use std::collections::BTreeMap;
use std::fmt::Debug;
use std::future::{Future, poll_fn};
use std::pin::Pin;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard};
use std::task::{Context, Poll, Wake, Waker};
use std::thread::{self, Thread};
use std::time::Duration;
use tokio::time::Instant;

/// Who may have the turn: the nodes, then who submits, then who decides.
pub(crate) const ACTORS: usize = NODES + 2;

/// When the simulation begins, by a clock that is right.
pub(crate) const BEGIN: &str = "2026-11-25T08:00:00Z";

/// What everybody sees of the world.
#[derive(Debug)]
pub(crate) struct World {
    begun: Instant,
    inside: Mutex<Inside>,
}

/// What there is in it.
#[derive(Debug)]
pub(crate) struct Inside {
    pub(crate) scenario: Scenario,
    pub(crate) rng: Rng,
    pub(crate) server: Server,
    /// By how many ms the clocks are off: those of the nodes, then that of the store.
    pub(crate) off: [i64; NODES + 1],
    /// Until when a node and the record server do not hear each other.
    pub(crate) cut_until: [u64; NODES],
    pub(crate) log: Vec<String>,
    pub(crate) faults: Vec<String>,
    /// Which nodes found nothing due and wait.
    pub(crate) idle: [bool; NODES],
    /// How often a node died.
    pub(crate) deaths: usize,
    /// How often a node searched.
    pub(crate) searches: u64,
    /// True once nothing more is to happen.
    pub(crate) over: bool,
    /// What happens when: a time, and a number for what happens at the same.
    happenings: BTreeMap<(u64, u64), Happening>,
    next: u64,
    waits: [Option<(u64, u64)>; ACTORS],
    turn: Option<usize>,
}

/// Something that happens by itself.
pub(crate) enum Happening {
    /// Something changes.
    Change(Box<dyn FnOnce(&mut Inside) + Send>),
    /// A node dies.
    Crash(usize),
    /// Another one starts in its place.
    Start(usize),
}

impl Debug for Happening {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("a happening")
    }
}

impl World {
    pub(crate) fn new(scenario: Scenario, server: Server, rng: Rng) -> Arc<Self> {
        let mut off = [0; NODES + 1];
        off[..NODES].copy_from_slice(&scenario.skew);
        let inside = Inside {
            scenario,
            rng,
            server,
            off,
            cut_until: [0; NODES],
            log: Vec::new(),
            faults: Vec::new(),
            idle: [false; NODES],
            deaths: 0,
            searches: 0,
            over: false,
            happenings: BTreeMap::new(),
            next: 0,
            waits: [None; ACTORS],
            turn: None,
        };
        Arc::new(Self {
            begun: Instant::now(),
            inside: Mutex::new(inside),
        })
    }

    pub(crate) fn inside(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().expect("nobody panicked")
    }

    /// Ms since the simulation began.
    pub(crate) fn now(&self) -> u64 {
        u64::try_from(self.begun.elapsed().as_millis()).expect("a time")
    }

    pub(crate) fn say(&self, what: impl std::fmt::Display) {
        let now = self.now();
        self.inside().log.push(format!("{now:>9} {what}"));
    }

    /// Something that is not as it should be.
    pub(crate) fn fault(&self, what: String) {
        self.say(format_args!("FAULT {what}"));
        self.inside().faults.push(what);
    }

    /// Has something happen at a time.
    pub(crate) fn at(&self, time: u64, happening: Happening) {
        let mut inside = self.inside();
        let number = inside.number();
        inside.happenings.insert((time, number), happening);
    }

    /// Gives the turn away until a time.
    pub(crate) fn until(self: &Arc<Self>, actor: usize, time: u64) -> Wait {
        Wait {
            world: Arc::clone(self),
            actor,
            time,
            begun: false,
        }
    }

    /// Gives the turn away for so many ms.
    pub(crate) fn wait(self: &Arc<Self>, actor: usize, ms: u64) -> Wait {
        self.until(actor, self.now() + ms)
    }

    /// The clock of a node, or that of the store.
    pub(crate) fn clock(self: &Arc<Self>, number: usize) -> Arc<dyn Clock> {
        let world = Arc::clone(self);
        Arc::new(OfOne { world, number })
    }
}

impl Inside {
    /// Has nodes that wait for something to be due look now: they look five times a second in truth.
    pub(crate) fn look_now(&mut self, now: u64) {
        for node in 0..NODES {
            if self.idle[node] && self.waits[node].is_some() {
                let number = self.number();
                self.waits[node] = Some((now + 1 + self.rng.u64(..200), number));
            }
        }
    }

    /// A node searches: at the search that the scenario names, the clock of the database jumps.
    pub(crate) fn searched(&mut self, now: u64) {
        self.searches += 1;
        if let Some((search, by)) = self.scenario.stolen
            && search == self.searches
        {
            self.off[NODES] += by;
            self.look_now(now);
            self.log.push(format!("{now:>9} clock None jumps by {by}"));
        }
    }

    fn number(&mut self) -> u64 {
        self.next += 1;
        self.next
    }
}

#[derive(Debug)]
struct OfOne {
    world: Arc<World>,
    number: usize,
}

impl Clock for OfOne {
    fn now(&self) -> DateTime<Utc> {
        let begin: DateTime<Utc> = BEGIN.parse().expect("a time");
        let passed = i64::try_from(self.world.now()).expect("a time");
        let off = self.world.inside().off[self.number];
        begin + TimeDelta::milliseconds(passed + off)
    }
}

/// Waiting in simulated time.
#[derive(Debug)]
pub(crate) struct Wait {
    world: Arc<World>,
    actor: usize,
    time: u64,
    begun: bool,
}

impl Future for Wait {
    type Output = ();

    fn poll(mut self: Pin<&mut Self>, _context: &mut Context<'_>) -> Poll<()> {
        let world = Arc::clone(&self.world);
        let mut inside = world.inside();
        if !self.begun {
            self.begun = true;
            let number = inside.number();
            inside.waits[self.actor] = Some((self.time, number));
            return Poll::Pending;
        }
        if inside.turn != Some(self.actor) {
            return Poll::Pending;
        }
        inside.turn = None;
        inside.waits[self.actor] = None;
        Poll::Ready(())
    }
}

impl Drop for Wait {
    /// Whoever was cut off waits no longer.
    fn drop(&mut self) {
        if self.begun {
            self.world.inside().waits[self.actor] = None;
        }
    }
}

/// Somebody who acts.
pub(crate) type Acting = Pin<Box<dyn Future<Output = ()>>>;

/// Gives turns.
pub(crate) struct Director<'a> {
    world: Arc<World>,
    actors: [Option<Acting>; ACTORS],
    woken: [Arc<Woken>; ACTORS],
    start: &'a dyn Fn(usize) -> Acting,
}

/// Whether somebody has to be asked again.
struct Woken {
    flag: AtomicBool,
    thread: Thread,
    director: Mutex<Waker>,
}

impl Woken {
    fn new() -> Self {
        Self {
            flag: AtomicBool::new(false),
            thread: thread::current(),
            director: Mutex::new(Waker::noop().clone()),
        }
    }
}

impl Wake for Woken {
    fn wake(self: Arc<Self>) {
        self.flag.store(true, Ordering::SeqCst);
        self.thread.unpark();
        self.director.lock().expect("nobody panicked").wake_by_ref();
    }
}

/// What comes next.
enum Next {
    /// Something in somebody woke up by itself: the time of an attempt is up.
    Woke(usize),
    Happens,
    Turn(usize),
    Nothing,
}

impl<'a> Director<'a> {
    pub(crate) fn new(world: Arc<World>, start: &'a dyn Fn(usize) -> Acting) -> Self {
        Self {
            world,
            actors: [const { None }; ACTORS],
            woken: [(); ACTORS].map(|()| Arc::new(Woken::new())),
            start,
        }
    }

    /// Lets everybody act until it is over, or until this time.
    pub(crate) async fn play(&mut self, until: u64) {
        for actor in 0..ACTORS {
            self.actors[actor] = Some((self.start)(actor));
            self.turn(actor, false).await;
        }
        while !self.world.inside().over && self.world.now() < until {
            match self.next().await {
                Next::Woke(actor) => self.turn(actor, false).await,
                Next::Turn(actor) => self.turn(actor, true).await,
                Next::Happens => self.happen().await,
                Next::Nothing => break,
            }
        }
    }

    async fn next(&self) -> Next {
        let (time, next) = {
            let inside = self.world.inside();
            let waits = inside.waits.iter().enumerate();
            let turn = waits.filter_map(|(actor, wait)| Some(((*wait)?, Next::Turn(actor))));
            let happens = inside.happenings.keys().next();
            let happens = happens.map(|at| (*at, Next::Happens));
            match turn.chain(happens).min_by_key(|(at, _)| *at) {
                Some(((time, _), next)) => (time, next),
                None => return Next::Nothing,
            }
        };
        let sleep = tokio::time::sleep_until(self.world.begun + Duration::from_millis(time));
        let mut sleep = Box::pin(sleep);
        let woke = poll_fn(|context| {
            for woken in &self.woken {
                let mut director = woken.director.lock().expect("nobody panicked");
                director.clone_from(context.waker());
            }
            let woke = |woken: &Arc<Woken>| woken.flag.load(Ordering::SeqCst);
            match self.woken.iter().position(woke) {
                Some(actor) => Poll::Ready(Some(actor)),
                None => sleep.as_mut().poll(context).map(|()| None),
            }
        });
        woke.await.map_or(next, Next::Woke)
    }

    async fn happen(&mut self) {
        let happening = self.world.inside().happenings.pop_first();
        match happening.map(|(_, happening)| happening) {
            Some(Happening::Change(change)) => change(&mut self.world.inside()),
            Some(Happening::Crash(node)) => {
                if self.actors[node].take().is_some() {
                    self.world.say(format_args!("node {node} dies"));
                    let mut inside = self.world.inside();
                    inside.deaths += 1;
                    inside.idle[node] = false;
                }
            }
            Some(Happening::Start(node)) if self.actors[node].is_none() => {
                self.world.say(format_args!("node {node} starts"));
                self.actors[node] = Some((self.start)(node));
                self.turn(node, false).await;
            }
            Some(Happening::Start(_)) | None => {}
        }
    }

    /// Lets somebody act until they wait in simulated time.
    async fn turn(&mut self, actor: usize, given: bool) {
        let woken = Arc::clone(&self.woken[actor]);
        if given {
            self.world.inside().turn = Some(actor);
        }
        loop {
            woken.flag.store(false, Ordering::SeqCst);
            let Some(acting) = &mut self.actors[actor] else {
                return;
            };
            let waker = Waker::from(Arc::clone(&woken));
            if acting
                .as_mut()
                .poll(&mut Context::from_waker(&waker))
                .is_ready()
            {
                self.actors[actor] = None;
                return;
            }
            if self.world.inside().waits[actor].is_some() {
                return;
            }
            the_store_answers(&woken).await;
        }
    }
}

/// Does something with the store while no time passes.
pub(crate) async fn at_once<T>(doing: impl Future<Output = T>) -> T {
    let woken = Arc::new(Woken::new());
    let waker = Waker::from(Arc::clone(&woken));
    let mut doing = Box::pin(doing);
    loop {
        woken.flag.store(false, Ordering::SeqCst);
        if let Poll::Ready(done) = doing.as_mut().poll(&mut Context::from_waker(&waker)) {
            return done;
        }
        the_store_answers(&woken).await;
    }
}

/// Waits in the time of the machine. What the store itself has to tidy up runs meanwhile.
async fn the_store_answers(woken: &Woken) {
    for _ in 0..1_000_000 {
        tokio::task::yield_now().await;
        if woken.flag.load(Ordering::SeqCst) {
            return;
        }
        thread::park_timeout(Duration::from_micros(100));
    }
    panic!("the store does not answer");
}
