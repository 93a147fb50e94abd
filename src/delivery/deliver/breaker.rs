//! When a target is left alone: after so many failures in a row nothing is tried until a pause is
//! over, then one attempt alone finds out whether it works again.

use crate::base::code::meaning::Sign;
use chrono::{DateTime, Utc};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// The longest pause: a server that comes back is noticed within it.
const LONGEST: Duration = Duration::from_mins(15);

/// When a breaker opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Failures in a row; 0 never opens.
    pub failures: u32,
    /// The first pause; each further one is twice as long, up to 15 minutes.
    pub pause: Duration,
}

/// Whether an attempt may be made now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Permit {
    /// Nothing stands in the way.
    Go,
    /// One attempt, to find out; the others wait for its end.
    Probe,
    /// Not yet.
    No,
}

/// What changed by a sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StateChange {
    /// It opened: nothing is tried before this time, after so many failures.
    Opened(DateTime<Utc>, u32),
    /// The probe failed: nothing is tried before this time.
    StillOpen(DateTime<Utc>),
    /// It closed: all goes on.
    Closed,
    /// As before.
    Same,
}

/// The breaker of one target in one process.
#[derive(Debug)]
pub struct Breaker {
    limits: Limits,
    inside: Mutex<Inside>,
    worked: AtomicBool,
}

#[derive(Debug, Default)]
struct Inside {
    failures: u32,
    /// While it is open: how often it opened since it was closed, and until when.
    open: Option<(u32, DateTime<Utc>)>,
    /// Since when an attempt finds out.
    probing: Option<DateTime<Utc>>,
}

impl Breaker {
    /// A closed one.
    pub fn new(limits: Limits) -> Self {
        Self {
            limits,
            inside: Mutex::default(),
            worked: AtomicBool::new(false),
        }
    }

    /// True once: what an earlier process noted of this target may have to be ended.
    pub fn first_sign(&self) -> bool {
        !self.worked.swap(true, Ordering::Relaxed)
    }

    /// Asks for leave to make an attempt. Whoever gets it tells how it ended, or gives it back.
    pub fn ask(&self, now: DateTime<Utc>) -> Permit {
        let mut inside = self.inside();
        let Some((_, until)) = inside.open else {
            return Permit::Go;
        };
        // A pause longer than any we make comes from a clock that was set back since.
        if now < until && until - now <= chrono_of(LONGEST) {
            return Permit::No;
        }
        // A probe that never came back must not hold the target for ever.
        let lost = |since: DateTime<Utc>| now < since || now - since > chrono_of(LONGEST);
        if inside.probing.is_some_and(|since| !lost(since)) {
            return Permit::No;
        }
        inside.probing = Some(now);
        Permit::Probe
    }

    /// Gives a leave back that was not used.
    pub fn give_back(&self, leave: Permit) {
        if leave == Permit::Probe {
            self.inside().probing = None;
        }
    }

    /// Tells how an attempt ended.
    pub fn tell(&self, sign: Sign, leave: Permit, now: DateTime<Utc>) -> StateChange {
        let mut inside = self.inside();
        if leave == Permit::Probe {
            inside.probing = None;
        }
        match (sign, inside.open) {
            (Sign::Nothing, _) => StateChange::Same,
            (Sign::Works, open) => {
                *inside = Inside::default();
                open.map_or(StateChange::Same, |_| StateChange::Closed)
            }
            // What began before it opened says nothing new.
            (Sign::Fails, Some(_)) if leave != Permit::Probe => StateChange::Same,
            (Sign::Fails, Some((times, _))) => {
                let until = self.until(times, now);
                inside.open = Some((times.saturating_add(1), until));
                StateChange::StillOpen(until)
            }
            (Sign::Fails, None) => {
                inside.failures = inside.failures.saturating_add(1);
                if self.limits.failures == 0 || inside.failures < self.limits.failures {
                    return StateChange::Same;
                }
                let until = self.until(0, now);
                inside.open = Some((1, until));
                StateChange::Opened(until, inside.failures)
            }
        }
    }

    fn until(&self, times: u32, now: DateTime<Utc>) -> DateTime<Utc> {
        let doubled = 1_u32.checked_shl(times.min(16)).unwrap_or(1);
        now + self.limits.pause.saturating_mul(doubled).min(LONGEST)
    }

    fn inside(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn chrono_of(duration: Duration) -> chrono::TimeDelta {
    chrono::TimeDelta::from_std(duration).unwrap_or(chrono::TimeDelta::MAX)
}

#[cfg(test)]
mod tests {
    use super::{Breaker, Limits, Permit, StateChange};
    use crate::base::code::meaning::Sign;
    use chrono::{DateTime, TimeDelta, Utc};
    use std::time::Duration;

    const LIMITS: Limits = Limits {
        failures: 3,
        pause: Duration::from_secs(30),
    };

    fn at(seconds: i64) -> DateTime<Utc> {
        let start: DateTime<Utc> = "2026-11-25T08:00:00Z".parse().expect("a time");
        start + TimeDelta::seconds(seconds)
    }

    fn opened() -> Breaker {
        let breaker = Breaker::new(LIMITS);
        for _ in 0..2 {
            assert_eq!(
                breaker.tell(Sign::Fails, Permit::Go, at(0)),
                StateChange::Same
            );
        }
        let turn = breaker.tell(Sign::Fails, Permit::Go, at(0));
        assert_eq!(turn, StateChange::Opened(at(30), 3));
        breaker
    }

    #[test]
    fn it_opens_after_failures_in_a_row_and_not_before() {
        let breaker = Breaker::new(LIMITS);

        for sign in [
            Sign::Fails,
            Sign::Fails,
            Sign::Works,
            Sign::Fails,
            Sign::Fails,
        ] {
            assert_eq!(breaker.tell(sign, Permit::Go, at(0)), StateChange::Same);
        }

        assert_eq!(breaker.ask(at(0)), Permit::Go);
        assert_eq!(opened().ask(at(29)), Permit::No);
    }

    #[test]
    fn one_probe_alone_finds_out_and_closes_it() {
        let breaker = opened();

        assert_eq!(breaker.ask(at(30)), Permit::Probe);
        assert_eq!(breaker.ask(at(31)), Permit::No);
        assert_eq!(
            breaker.tell(Sign::Works, Permit::Probe, at(32)),
            StateChange::Closed
        );
        assert_eq!(breaker.ask(at(32)), Permit::Go);
        assert_eq!(breaker.ask(at(32)), Permit::Go);
    }

    #[test]
    fn a_probe_that_fails_waits_twice_as_long_up_to_the_cap() {
        let breaker = opened();
        let mut now = 30;

        let pauses: Vec<i64> = (0..7)
            .map(|_| {
                assert_eq!(breaker.ask(at(now)), Permit::Probe);
                let StateChange::StillOpen(until) =
                    breaker.tell(Sign::Fails, Permit::Probe, at(now))
                else {
                    panic!("it stays open");
                };
                let pause = (until - at(now)).num_seconds();
                now += pause;
                pause
            })
            .collect();

        assert_eq!(pauses, [60, 120, 240, 480, 900, 900, 900]);
    }

    #[test]
    fn a_probe_that_found_nothing_to_do_lets_another_try() {
        let breaker = opened();

        let leave = breaker.ask(at(30));
        breaker.give_back(leave);

        assert_eq!(breaker.ask(at(30)), Permit::Probe);
        assert_eq!(breaker.ask(at(30 + 901)), Permit::Probe);
    }

    #[test]
    fn a_clock_that_is_set_back_does_not_hold_it_open() {
        assert_eq!(opened().ask(at(-86_400)), Permit::Probe);
    }

    #[test]
    fn stragglers_change_nothing_and_no_failures_turn_it_off() {
        let breaker = opened();
        let never = Breaker::new(Limits {
            failures: 0,
            ..LIMITS
        });

        assert_eq!(
            breaker.tell(Sign::Fails, Permit::Go, at(5)),
            StateChange::Same
        );
        assert_eq!(breaker.ask(at(30)), Permit::Probe);
        for _ in 0..100 {
            assert_eq!(
                never.tell(Sign::Fails, Permit::Go, at(0)),
                StateChange::Same
            );
        }
        assert_eq!(never.ask(at(0)), Permit::Go);
    }
}
