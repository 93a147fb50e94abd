//! What follows a catch: a release, or clonus.

use crate::examination::trace::filter::low_pass;
use crate::examination::trace::motion::{Moment, Motion, derivative};
use crate::examination::trace::parameters::Parameters;
use crate::examination::trace::signal::count;

/// True when the limb settled after the catch and then gave way: went on by more than the least
/// travel at more than the least velocity.
pub(super) fn release(motion: &Motion, catch: &Moment, parameters: &Parameters) -> bool {
    let settled = parameters.settled_share * motion.peak_velocity;
    let mut later = motion
        .degrees
        .iter()
        .zip(&motion.velocity)
        .skip(catch.sample)
        .skip_while(|(_, velocity)| **velocity > settled);
    let Some((from, _)) = later.next() else {
        return false;
    };
    let mut furthest = f64::NEG_INFINITY;
    let mut fastest = f64::NEG_INFINITY;
    for (degrees, velocity) in later {
        furthest = furthest.max(*degrees);
        fastest = fastest.max(*velocity);
    }
    furthest - from > parameters.release_travel && fastest > parameters.release_velocity
}

/// Beats after the catch: peaks of velocity that follow each other at the pace of clonus, at least
/// the fewest that count; 0 otherwise.
pub(super) fn beats(motion: &Motion, catch: &Moment, parameters: &Parameters) -> usize {
    let rate = 1.0 / motion.period;
    let hertz = parameters.clonus_cut_off.min(rate / 4.0);
    // What the first low-pass left is low-passed again only where clonus has its pace.
    let Some(degrees) = low_pass(&motion.raw, rate, hertz) else {
        return 0;
    };
    let times: Vec<f64> = (0..degrees.len())
        .map(|number| count(number) * motion.period)
        .collect();
    let velocity = derivative(&degrees, &times);
    let least = parameters
        .clonus_velocity
        .max(4.0 * motion.velocity_noise(hertz));
    let (slowest, fastest) = parameters.clonus_band;
    let mut beats = 0_usize;
    let mut most = 0_usize;
    let mut previous: Option<f64> = None;
    for seconds in peaks(&velocity, &times, catch.seconds, least) {
        let pace = previous.map(|previous| 1.0 / (seconds - previous));
        if pace.is_some_and(|pace| pace >= slowest && pace <= fastest) {
            beats = beats.saturating_add(1);
        } else {
            beats = 1;
        }
        most = most.max(beats);
        previous = Some(seconds);
    }
    if count(most) >= parameters.clonus_beats {
        most
    } else {
        0
    }
}

/// Times of the peaks of velocity above `least` after `from`, between which the limb went back.
fn peaks(velocity: &[f64], times: &[f64], from: f64, least: f64) -> Vec<f64> {
    let mut found = Vec::new();
    let mut best: Option<(f64, f64)> = None;
    // The stretch itself is fast as well; beats are counted once it has turned round.
    let later = velocity
        .iter()
        .zip(times)
        .skip_while(|(_, time)| **time < from)
        .skip_while(|(velocity, _)| **velocity > 0.0);
    for (velocity, time) in later {
        if *velocity > least && best.is_none_or(|(highest, _)| *velocity > highest) {
            best = Some((*velocity, *time));
        } else if *velocity < 0.0 {
            found.extend(best.take().map(|(_, time)| time));
        }
    }
    found.extend(best.map(|(_, time)| time));
    found
}
