//! Whether a stretch met a catch.

use crate::examination::trace::motion::{Moment, Motion};
use crate::examination::trace::parameters::Parameters;
use crate::examination::trace::signal::count;
use crate::examination::trace::{Outcome, Reason, after};

/// The sharpest stop of a stretch, held against the gate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop {
    /// Where the limb slowed down most.
    pub at: Moment,
    /// Deceleration there times excursion over peak velocity squared, without unit: 1.6422 for a
    /// movement of least jerk, whatever its size and duration.
    pub sharpness: f64,
    /// What the sharpness has to exceed: the gate of the cut-off and an allowance for noise.
    pub gate: f64,
    /// The sharpness a catch would have at this speed and cut-off.
    pub of_a_catch: f64,
}

impl Stop {
    /// True when the limb stopped more sharply than a smooth movement ends.
    pub fn is_sharp(&self) -> bool {
        self.sharpness > self.gate
    }
}

/// What a fast stretch showed.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Catch, none, or not to be told.
    pub outcome: Outcome,
    /// Why.
    pub reasons: Vec<Reason>,
    /// The sharpest stop.
    pub stop: Option<Stop>,
    /// True when the limb gave way after the catch.
    pub release: bool,
    /// Beats of clonus after the catch.
    pub beats: usize,
}

impl Verdict {
    /// Nothing can be told, and why.
    pub const fn undetermined(reasons: Vec<Reason>) -> Self {
        Self {
            outcome: Outcome::NotDeterminable,
            reasons,
            stop: None,
            release: false,
            beats: 0,
        }
    }
}

/// The sharpest stop of a motion: the largest deceleration between peak velocity and rest.
pub fn sharpest(motion: &Motion, parameters: &Parameters) -> Option<Stop> {
    let span = motion.acceleration.iter().enumerate();
    let span = span
        .take(motion.stop.sample.saturating_add(1))
        .skip(motion.peak.sample);
    let (sample, lowest) = span.min_by(|a, b| a.1.total_cmp(b.1))?;
    let scale = motion.excursion / (motion.peak_velocity * motion.peak_velocity);
    let noise = motion.acceleration_noise() * scale;
    // The duration of a movement of least jerk with this peak velocity and excursion.
    let duration = 1.875 * motion.excursion / motion.peak_velocity;
    let hertz = motion.cut_off.hertz;
    let of_a_catch = duration * hertz / (1.875 * (hertz * parameters.decay + parameters.smoothing));
    Some(Stop {
        at: between(motion, sample)?,
        sharpness: -lowest * scale,
        gate: motion.cut_off.gate + parameters.noise_factor * noise,
        of_a_catch,
    })
}

/// The place of the lowest acceleration between samples, by the parabola through three of them.
fn between(motion: &Motion, sample: usize) -> Option<Moment> {
    let at = |values: &[f64], number: Option<usize>| number.and_then(|n| values.get(n).copied());
    let near = [sample.checked_sub(1), Some(sample), sample.checked_add(1)];
    let [before, here, after] = near.map(|number| at(&motion.acceleration, number));
    let [left, middle, right] = near.map(|number| at(&motion.degrees, number));
    let middle = middle?;
    let mut shift = 0.0;
    if let (Some(before), Some(here), Some(after)) = (before, here, after) {
        let bend = before - 2.0 * here + after;
        if bend > 0.0 {
            shift = (0.5 * (before - after) / bend).clamp(-0.5, 0.5);
        }
    }
    let next = if shift < 0.0 { left } else { right };
    let degrees = next.map_or(middle, |next| middle + f64::abs(shift) * (next - middle));
    Some(Moment {
        sample,
        seconds: (count(sample) + shift) * motion.period,
        degrees,
    })
}

/// What a fast stretch showed, beside the slow one of the same muscle.
pub fn verdict(fast: &Motion, slow: Option<&Motion>, parameters: &Parameters) -> Verdict {
    let Some(stop) = sharpest(fast, parameters) else {
        return Verdict::undetermined(vec![Reason::TooShort]);
    };
    let (outcome, reasons) = told(fast, &stop, slow, parameters);
    let caught = outcome == Outcome::Catch;
    Verdict {
        outcome,
        reasons,
        stop: Some(stop),
        release: caught && after::release(fast, &stop.at, parameters),
        beats: if caught {
            after::beats(fast, &stop.at, parameters)
        } else {
            0
        },
    }
}

fn told(
    fast: &Motion,
    stop: &Stop,
    slow: Option<&Motion>,
    parameters: &Parameters,
) -> (Outcome, Vec<Reason>) {
    if fast.peak_velocity < parameters.slowest_fast {
        return (Outcome::NotDeterminable, vec![Reason::TooSlow]);
    }
    if fast.coarse {
        return (Outcome::NotDeterminable, vec![Reason::SamplingTooCoarse]);
    }
    if !stop.is_sharp() {
        let hidden = stop.gate > parameters.resolvable * stop.of_a_catch;
        return if hidden {
            (Outcome::NotDeterminable, vec![Reason::Noisy])
        } else {
            (Outcome::NoCatch, vec![Reason::NotSharp])
        };
    }
    let Some(slow) = slow else {
        return (Outcome::NotDeterminable, vec![Reason::NoSlowStretch]);
    };
    if sharpest(slow, parameters).is_some_and(|stop| stop.is_sharp()) {
        return (Outcome::NotDeterminable, vec![Reason::SlowStretchCaught]);
    }
    if slow.furthest.degrees - stop.at.degrees > parameters.error_of_difference {
        (Outcome::Catch, vec![Reason::SharpAndShort])
    } else {
        (Outcome::NoCatch, vec![Reason::AtTheEnd])
    }
}
