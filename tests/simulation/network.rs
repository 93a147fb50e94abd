#![cfg(test)]
//! The way between a node and the record server: slow, lossy, late, and cut at times.
//!
//! A request that left goes on by itself, whatever becomes of who sent it.

use crate::scenario::NODES;
use crate::server::{Answer, Kind, outcome};
use crate::world::{Happening, Inside, World};
use chrono::{DateTime, TimeDelta, Utc};
use fascicle::base::private::Private;
use fascicle::delivery::deliver::cause::Cause;
use fascicle::delivery::deliver::unanswered::{Silence, Unanswered};
use fascicle::delivery::deliver::wire::{Exchange, Request, Response, Wire};
use fastrand::Rng;
use reqwest::header::{HeaderMap, HeaderValue, RETRY_AFTER};
use std::sync::{Arc, Mutex};

/// Where the server is, for those who ask it.
pub(crate) const BASE: &str = "https://record.example/fhir";

/// The wire of one node.
#[derive(Debug)]
pub(crate) struct Simulated {
    pub(crate) world: Arc<World>,
    pub(crate) node: usize,
}

/// What becomes of one request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fate {
    /// It arrives and is answered.
    Passes,
    /// Nobody listens.
    Refused,
    /// It is lost on the way.
    Lost,
    /// It arrives, perhaps long after its sender gave up, and its answer is lost.
    LostAnswer,
    /// The connection breaks: whether it arrived, nobody knows.
    Broken { arrives: bool },
    /// Something on the way answers in the place of the server.
    Says(u16),
    /// It arrives, and something on the way answers otherwise.
    SaysAfter(u16),
    /// It arrives, and half of the answer comes back.
    Halved,
    /// It arrives, is answered, and arrives again later.
    Again,
    /// The node dies before it leaves, on its way, or with its answer at the door.
    Dies(u8),
}

/// Where the answer of the server is put once it is there.
type Slot = Arc<Mutex<Option<Answer>>>;

/// When things happen to one request, in ms.
struct Way {
    fate: Fate,
    arrives: u64,
    answered: u64,
    gives_up: u64,
    again: u64,
    down: u64,
}

impl Wire for Simulated {
    fn exchange(&self, request: Request, _most_bytes: usize) -> Exchange<'_> {
        Box::pin(self.exchanged(request))
    }
}

impl Simulated {
    async fn exchanged(&self, request: Request) -> Result<Response, Unanswered> {
        let (world, node) = (&self.world, self.node);
        let now = world.now();
        let way = way(&mut world.inside(), node, now);
        let slot = Slot::default();
        let path = request
            .address
            .open()
            .strip_prefix(BASE)
            .unwrap_or_default();
        world.say(format_args!(
            "node {node} asks {} {path}: {:?}",
            request.method, way.fate
        ));
        if path.ends_with("/_search") {
            world.inside().searched(now);
        }
        match way.fate {
            Fate::Refused => {
                world.until(node, way.answered).await;
                return Err(silent(Silence::Unreachable));
            }
            Fate::Lost => {}
            Fate::Broken { arrives } => {
                if arrives {
                    self.arrival(&request, way.arrives, &slot);
                }
                world.until(node, way.answered.min(way.gives_up)).await;
                return Err(silent(Silence::NoAnswer));
            }
            Fate::Says(status) => {
                world.until(node, way.answered.min(way.gives_up)).await;
                return Ok(self.says(status));
            }
            Fate::Dies(when) => {
                let at = [now + 1, way.arrives + 1, way.answered][usize::from(when)];
                world.at(at, Happening::Crash(node));
                world.at(at + way.down, Happening::Start(node));
                if when > 0 {
                    self.arrival(&request, way.arrives, &slot);
                }
            }
            Fate::Passes | Fate::LostAnswer | Fate::SaysAfter(_) | Fate::Halved => {
                self.arrival(&request, way.arrives, &slot);
            }
            Fate::Again => {
                self.arrival(&request, way.arrives, &slot);
                self.arrival(&request, way.again, &Slot::default());
            }
        }
        self.answered(&way, &slot).await
    }

    /// What comes back of a request that left.
    async fn answered(&self, way: &Way, slot: &Slot) -> Result<Response, Unanswered> {
        let (world, node) = (&self.world, self.node);
        let silent_to_the_end = matches!(way.fate, Fate::Lost | Fate::LostAnswer | Fate::Dies(_));
        if silent_to_the_end || way.answered > way.gives_up {
            world.until(node, way.gives_up).await;
            return Err(silent(Silence::NoAnswer));
        }
        world.until(node, way.answered).await;
        let answer = slot.lock().expect("nobody panicked").take();
        let (status, body) = answer.expect("it arrived before its answer");
        match way.fate {
            Fate::SaysAfter(status) => Ok(self.says(status)),
            Fate::Halved => {
                let text = body.compact();
                let half = text.get(..text.len() / 2).unwrap_or_default();
                Ok(response(status, half.to_owned()))
            }
            Fate::Passes
            | Fate::Refused
            | Fate::Lost
            | Fate::LostAnswer
            | Fate::Broken { .. }
            | Fate::Says(_)
            | Fate::Again
            | Fate::Dies(_) => Ok(response(status, body.compact())),
        }
    }

    /// Has a request arrive at a time.
    fn arrival(&self, request: &Request, at: u64, slot: &Slot) {
        let (request, slot, node) = (request.clone(), Arc::clone(slot), self.node);
        let arrives = Box::new(move |inside: &mut Inside| {
            let lag = inside.scenario.lag;
            let shows = at + inside.rng.u64(..=lag);
            let path = request
                .address
                .open()
                .strip_prefix(BASE)
                .unwrap_or_default();
            let header = |name: &str| {
                let value = request.headers.get(name)?;
                Some(value.to_str().expect("text").to_owned())
            };
            let empty = String::new();
            let body = request.body.as_ref().map_or(&empty, Private::open);
            let asked = (request.method.as_str(), path);
            let answer = inside.server.answer(asked, header, body, (at, shows));
            let said = format!("{at:>9} server answers node {node} {path}: {}", answer.0);
            inside.log.push(said);
            *slot.lock().expect("nobody panicked") = Some(answer);
        });
        self.world.at(at, Happening::Change(arrives));
    }

    /// What something on the way says: some of it in FHIR, some with a time to wait.
    fn says(&self, status: u16) -> Response {
        let (with_outcome, wait) = {
            let rng = &mut self.world.inside().rng;
            (rng.bool() && status != 404, rng.u64(..120))
        };
        let (status, body) = if with_outcome {
            let (status, body) = outcome(status, "not now");
            (status, body.compact())
        } else {
            (status, "<html></html>".to_owned())
        };
        let mut response = response(status, body);
        let seconds = match wait {
            ..40 => wait.to_string(),
            40..60 => date(&self.world, wait),
            _ => return response,
        };
        let value = HeaderValue::try_from(seconds).expect("a header");
        response.headers.insert(RETRY_AFTER, value);
        response
    }
}

/// A date by a clock that is right.
fn date(world: &World, seconds: u64) -> String {
    let begin: DateTime<Utc> = crate::world::BEGIN.parse().expect("a time");
    let at = i64::try_from(world.now() + 1000 * seconds).expect("a time");
    let at = begin + TimeDelta::milliseconds(at);
    at.format("%a, %d %b %Y %H:%M:%S GMT").to_string()
}

const fn silent(silence: Silence) -> Unanswered {
    Unanswered {
        silence,
        cause: Cause::Other,
    }
}

fn response(status: u16, body: String) -> Response {
    Response {
        status,
        headers: HeaderMap::new(),
        body: Private::new(body.into_bytes()),
        whole: true,
    }
}

fn way(inside: &mut Inside, node: usize, now: u64) -> Way {
    let (scenario, rng) = (inside.scenario.clone(), &mut inside.rng);
    let timeout = u64::try_from(scenario.timeout.as_millis()).expect("a time");
    let is_calm = now >= scenario.calm;
    let slow = if is_calm { 50 } else { scenario.slow };
    let fate = if is_calm {
        Fate::Passes
    } else if inside.cut_until[node] > now {
        if rng.bool() {
            Fate::Refused
        } else {
            Fate::Lost
        }
    } else if rng.u32(..1000) < scenario.faults {
        drawn(rng, scenario.server)
    } else {
        Fate::Passes
    };
    let mut arrives = now + 1 + rng.u64(..=slow / 2);
    let late = matches!(fate, Fate::LostAnswer | Fate::Broken { .. } | Fate::Dies(_));
    if late && rng.bool() {
        arrives = now + 1 + rng.u64(..scenario.late);
    }
    let by_another = matches!(fate, Fate::Broken { .. } | Fate::Says(_) | Fate::Refused);
    let answered = if by_another {
        now + 1 + rng.u64(..=slow)
    } else {
        arrives + 1 + rng.u64(..=slow / 2)
    };
    let again = arrives + 1 + rng.u64(..scenario.late);
    Way {
        fate,
        arrives,
        answered,
        gives_up: now + timeout,
        again,
        down: rng.u64(100..60_000),
    }
}

fn drawn(rng: &mut Rng, server: Kind) -> Fate {
    const STATUSES: [u16; 9] = [401, 404, 409, 412, 429, 500, 502, 503, 504];
    let status = STATUSES[rng.usize(..STATUSES.len())];
    match rng.u8(..14) {
        0 => Fate::Refused,
        1 => Fate::Lost,
        2 | 3 => Fate::LostAnswer,
        4 => Fate::Broken { arrives: false },
        5 | 6 => Fate::Broken { arrives: true },
        7 => Fate::Says(status),
        8 => Fate::SaysAfter([500, 502, 503, 504][rng.usize(..4)]),
        9 => Fate::Halved,
        // A way that says a thing twice makes two of it at a server that stores whatever it is sent.
        10 if server == Kind::Conditional => Fate::Again,
        11 => Fate::Dies(0),
        12 => Fate::Dies(1),
        13 => Fate::Dies(2),
        _ => Fate::Passes,
    }
}

/// Cuts a node off for a while.
pub(crate) fn cut(inside: &mut Inside, node: usize, until: u64) {
    assert!(node < NODES, "a node");
    inside.cut_until[node] = inside.cut_until[node].max(until);
}
