//! An evenly sampled angle, made from what was recorded.

use crate::examination::trace::Reason;
use crate::examination::trace::parameters::Parameters;

/// An evenly sampled angle in the direction in which the muscle lengthens.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// Seconds between samples.
    pub period: f64,
    /// Degrees.
    pub degrees: Vec<f64>,
    /// True when it was resampled, because what was recorded was not even.
    pub resampled: bool,
    /// The largest step of time over the usual one.
    pub widest: f64,
}

/// A number of things as a float; more than fit are more than any trace has.
pub(super) fn count(number: usize) -> f64 {
    u32::try_from(number).map_or(f64::INFINITY, f64::from)
}

impl Signal {
    /// A signal recorded with one period, in seconds.
    pub const fn even(period: f64, degrees: Vec<f64>) -> Self {
        Self {
            period,
            degrees,
            resampled: false,
            widest: 1.0,
        }
    }

    /// A signal with time stamps, in seconds and strictly increasing: kept as it is where they are
    /// even, else interpolated in straight lines at a period of whole microseconds.
    ///
    /// Nothing for fewer than two samples.
    pub fn stamped(times: &[f64], degrees: Vec<f64>, parameters: &Parameters) -> Option<Self> {
        let (first, last) = (*times.first()?, *times.last()?);
        if times.len() < 2 || times.len() != degrees.len() || last <= first {
            return None;
        }
        let usual = (last - first) / count(times.len().saturating_sub(1));
        let steps = times.iter().zip(times.iter().skip(1)).map(|(a, b)| b - a);
        let (mut widest, mut furthest) = (0.0_f64, 0.0_f64);
        for step in steps {
            widest = widest.max(step / usual);
            furthest = furthest.max((step - usual).abs() / usual);
        }
        let period = ((usual * 1e6).round() / 1e6).max(1e-6);
        if furthest <= parameters.uneven {
            return Some(Self {
                period,
                degrees,
                resampled: false,
                widest,
            });
        }
        Some(Self {
            period,
            degrees: interpolated(times, &degrees, period),
            resampled: true,
            widest,
        })
    }

    /// Samples a second.
    pub fn rate(&self) -> f64 {
        1.0 / self.period
    }

    /// What keeps it from being analysed at all.
    pub(super) fn reasons(&self, parameters: &Parameters) -> Vec<Reason> {
        let mut reasons = Vec::new();
        if count(self.degrees.len()) < parameters.fewest {
            reasons.push(Reason::TooShort);
        }
        // A period given in whole milliseconds is a little off its rate.
        if self.rate() < parameters.lowest_rate * 0.999 {
            reasons.push(Reason::SamplingTooCoarse);
        }
        if self.widest > parameters.gap {
            reasons.push(Reason::Gap);
        }
        if self.clipped(parameters) {
            reasons.push(Reason::Clipped);
        }
        reasons
    }

    /// True where the angle runs at speed into a plateau at its very end, as when an instrument
    /// can show no more.
    fn clipped(&self, parameters: &Parameters) -> bool {
        let top = self
            .degrees
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let steps = || {
            self.degrees
                .iter()
                .zip(self.degrees.iter().skip(1))
                .map(|(a, b)| (*b, b - a))
        };
        let largest = steps().map(|(_, step)| step).fold(0.0, f64::max);
        let mut into = 0.0;
        let mut run = 0_usize;
        for (value, step) in steps() {
            if value < top {
                run = 0;
            } else if run == 0 {
                into = step;
                run = 1;
            } else {
                run = run.saturating_add(1);
            }
            if count(run) >= parameters.clipped_samples
                && into > 0.0
                && into >= parameters.clipped_share * largest
            {
                return true;
            }
        }
        false
    }
}

/// Straight lines between what was recorded, at even times from the first stamp to the last.
fn interpolated(times: &[f64], degrees: &[f64], period: f64) -> Vec<f64> {
    let points = times.iter().copied().zip(degrees.iter().copied());
    let mut pairs = points.clone().zip(points.skip(1));
    let Some(mut pair) = pairs.next() else {
        return degrees.to_vec();
    };
    let begin = pair.0.0;
    let last = times.last().copied().unwrap_or(begin);
    let mut even = Vec::with_capacity(degrees.len());
    for number in 0..=degrees.len() {
        let time = begin + count(number) * period;
        if time > last + period * 1e-6 {
            break;
        }
        while pair.1.0 < time {
            let Some(next) = pairs.next() else { break };
            pair = next;
        }
        let ((from, low), (to, high)) = pair;
        let share = ((time - from) / (to - from)).clamp(0.0, 1.0);
        even.push(low + share * (high - low));
    }
    even
}
