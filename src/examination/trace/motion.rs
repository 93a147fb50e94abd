//! How a limb moved: velocity, acceleration, and the landmarks of a stretch.

use crate::examination::trace::Reason;
use crate::examination::trace::filter::low_pass;
use crate::examination::trace::parameters::{CutOff, Parameters};
use crate::examination::trace::signal::{Signal, count};

/// Power of white noise left by the low-pass and one or two derivatives: the integral over u of
/// u^2/(1+u^4)^2, and of u^4/(1+u^4)^2, both pi/(8 sqrt 2).
const NOISE: f64 = 0.277_680_183_634_898_3;

/// A place on a trace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Number of the sample, from 0.
    pub sample: usize,
    /// Seconds from the first sample; between samples for a catch.
    pub seconds: f64,
    /// Degrees, low-passed.
    pub degrees: f64,
}

/// A trace as it moved.
#[derive(Clone, PartialEq)]
pub struct Motion {
    /// Seconds between samples.
    pub period: f64,
    /// The cut-off used and its gate.
    pub cut_off: CutOff,
    /// True when its speed asks for a higher cut-off than the sampling allows.
    pub coarse: bool,
    /// Degrees as sampled.
    pub raw: Vec<f64>,
    /// Degrees, low-passed.
    pub degrees: Vec<f64>,
    /// Degrees per second.
    pub velocity: Vec<f64>,
    /// Degrees per second squared.
    pub acceleration: Vec<f64>,
    /// Standard deviation of what the low-pass took away, degrees.
    pub noise: f64,
    /// Where the stretch begins.
    pub onset: Moment,
    /// Where it is fastest.
    pub peak: Moment,
    /// Where it first comes to rest after that.
    pub stop: Moment,
    /// The largest angle from the onset on.
    pub furthest: Moment,
    /// Peak velocity, degrees per second.
    pub peak_velocity: f64,
    /// Mean velocity between a tenth and nine tenths of the excursion, degrees per second.
    pub mean_velocity: f64,
    /// Degrees from onset to stop.
    pub excursion: f64,
}

impl std::fmt::Debug for Motion {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Motion [private]")
    }
}

/// Derivative over time stamps by central differences of second order, one-sided at the ends, as
/// `numpy.gradient` does with an array of positions.
pub fn derivative(values: &[f64], times: &[f64]) -> Vec<f64> {
    let slope = |a: (&f64, &f64), b: (&f64, &f64)| (b.0 - a.0) / (b.1 - a.1);
    let points = || values.iter().zip(times.iter());
    let (Some(first), Some(second)) = (points().next(), points().nth(1)) else {
        return vec![0.0; values.len()];
    };
    let mut derived = Vec::with_capacity(values.len());
    derived.push(slope(first, second));
    let middle = points().zip(points().skip(1)).zip(points().skip(2));
    derived.extend(middle.map(|((a, b), c)| {
        let (before, after) = (b.1 - a.1, c.1 - b.1);
        (before * slope(b, c) + after * slope(a, b)) / (before + after)
    }));
    let mut back = points().rev();
    if let (Some(last), Some(before)) = (back.next(), back.next()) {
        derived.push(slope(before, last));
    }
    derived
}

impl Motion {
    /// The motion of a signal, at the cut-off of the ladder that its own speed asks for.
    ///
    /// # Errors
    /// Every reason why nothing can be said of it.
    pub fn of(signal: &Signal, parameters: &Parameters) -> Result<Self, Vec<Reason>> {
        let mut reasons = signal.reasons(parameters);
        if !signal.degrees.iter().all(|angle| angle.is_finite()) {
            reasons.push(Reason::TooShort);
        }
        if !reasons.is_empty() {
            return Err(reasons);
        }
        // A quarter of the sampling rate leaves the derivatives room.
        let most = signal.rate() / 4.0;
        let mut rate = 0.0_f64;
        let mut found = None;
        for _round in 0..4 {
            let wanted = parameters.cut_off(rate);
            let cut_off = CutOff {
                hertz: wanted.hertz.min(most),
                ..wanted
            };
            let motion = Self::at(signal, cut_off, wanted.hertz > most, parameters)
                .ok_or_else(|| vec![Reason::TooShort])?;
            rate = motion.peak_velocity / motion.excursion.max(1.0);
            let settled = parameters.cut_off(rate) == wanted;
            found = Some(motion);
            if settled {
                break;
            }
        }
        let motion = found.ok_or_else(|| vec![Reason::TooShort])?;
        let reasons = motion.reasons(parameters);
        if reasons.is_empty() {
            Ok(motion)
        } else {
            Err(reasons)
        }
    }

    fn at(signal: &Signal, cut_off: CutOff, coarse: bool, parameters: &Parameters) -> Option<Self> {
        let degrees = low_pass(&signal.degrees, signal.rate(), cut_off.hertz)?;
        let times: Vec<f64> = (0..degrees.len())
            .map(|number| count(number) * signal.period)
            .collect();
        let velocity = derivative(&degrees, &times);
        let acceleration = derivative(&velocity, &times);
        let taken = signal
            .degrees
            .iter()
            .zip(&degrees)
            .map(|(a, b)| (a - b) * (a - b));
        let noise = (taken.sum::<f64>() / count(degrees.len())).sqrt();
        let place = |sample: usize| {
            Some(Moment {
                sample,
                seconds: count(sample) * signal.period,
                degrees: *degrees.get(sample)?,
            })
        };
        let (peak, peak_velocity) = largest(&velocity)?;
        let still = (parameters.onset_share * peak_velocity).max(
            parameters
                .onset_velocity
                .min(parameters.onset_most * peak_velocity),
        );
        let resting = |speed: &&f64| **speed <= still;
        let before = velocity.get(..=peak)?.iter().rev();
        let onset = peak.saturating_sub(before.take_while(|one| !resting(one)).count());
        let after = velocity.get(peak..)?.iter();
        let stop = peak.saturating_add(after.take_while(|one| !resting(one)).count());
        let stop = stop.min(degrees.len().saturating_sub(1));
        let (further, _) = largest(degrees.get(onset..)?)?;
        let (onset, stop) = (place(onset)?, place(stop)?);
        let excursion = stop.degrees - onset.degrees;
        let mean_velocity = mean(&degrees, &onset, &stop, signal.period);
        Some(Self {
            period: signal.period,
            cut_off,
            coarse,
            onset,
            peak: place(peak)?,
            stop,
            furthest: place(onset.sample.saturating_add(further))?,
            peak_velocity,
            mean_velocity,
            excursion,
            noise,
            raw: signal.degrees.clone(),
            degrees,
            velocity,
            acceleration,
        })
    }

    fn reasons(&self, parameters: &Parameters) -> Vec<Reason> {
        let mut highest = f64::NEG_INFINITY;
        let mut drop = 0.0_f64;
        for degrees in &self.degrees {
            highest = highest.max(*degrees);
            drop = drop.max(highest - degrees);
        }
        let excursion = self.furthest.degrees - self.onset.degrees;
        let mut reasons = Vec::new();
        if drop > parameters.least_excursion && excursion < drop / 2.0 {
            reasons.push(Reason::WrongDirection);
        } else if excursion < parameters.least_excursion {
            reasons.push(Reason::TooSmall);
        }
        reasons
    }

    /// Standard deviation that the noise of the angle leaves in the velocity at a cut-off, degrees
    /// per second.
    pub(super) fn velocity_noise(&self, hertz: f64) -> f64 {
        let turn = std::f64::consts::TAU;
        self.noise * turn * hertz * (2.0 * NOISE * hertz * self.period).sqrt()
    }

    /// Standard deviation that the noise of the angle leaves in the acceleration, degrees per second
    /// squared: white noise through the low-pass run both ways and two derivatives.
    pub(super) fn acceleration_noise(&self) -> f64 {
        let (turn, hertz) = (std::f64::consts::TAU, self.cut_off.hertz);
        self.noise * turn * turn * hertz * hertz * (2.0 * NOISE * hertz * self.period).sqrt()
    }
}

impl Motion {
    /// Two standard deviations of the random error of a catch here, degrees.
    pub fn random_error(&self, catch: &Moment) -> f64 {
        2.0 * self.noise_of_catch(catch.sample)
    }

    /// Standard deviation that the noise leaves in the angle of a catch, degrees: how far the
    /// lowest acceleration moves in time by its own noise and by how sharply it bends there, at the
    /// velocity there. At most the travel between two samples of the cut-off.
    fn noise_of_catch(&self, sample: usize) -> f64 {
        let velocity = self.velocity.get(sample).map_or(0.0, |one| one.abs());
        let hertz = self.cut_off.hertz;
        // Noise moves the lowest point of a dip of this width by its share of the depth.
        let depth = self.acceleration.get(sample).map_or(0.0, |one| one.abs());
        // On synthetic traces a dip is about 1.6 times as wide as the low-pass alone makes it, and
        // both its width and the change of its noise with time come in.
        let width = 2.5 / (std::f64::consts::TAU * hertz);
        let share = (self.acceleration_noise() / depth.max(f64::MIN_POSITIVE)).min(1.0);
        velocity * width * share
    }
}

/// The first largest value and its place.
fn largest(values: &[f64]) -> Option<(usize, f64)> {
    let mut found: Option<(usize, f64)> = None;
    for (place, value) in values.iter().enumerate() {
        if found.is_none_or(|(_, largest)| *value > largest) {
            found = Some((place, *value));
        }
    }
    found
}

/// Mean velocity between a tenth and nine tenths of the excursion.
fn mean(degrees: &[f64], onset: &Moment, stop: &Moment, period: f64) -> f64 {
    let excursion = stop.degrees - onset.degrees;
    let (low, high) = (
        onset.degrees + 0.1 * excursion,
        onset.degrees + 0.9 * excursion,
    );
    let between = degrees
        .iter()
        .take(stop.sample.saturating_add(1))
        .skip(onset.sample);
    let inside: Vec<f64> = between
        .copied()
        .filter(|angle| *angle >= low && *angle <= high)
        .collect();
    let steps = count(inside.len().saturating_sub(1));
    match (inside.first(), inside.last()) {
        (Some(first), Some(last)) if steps > 0.0 => (last - first) / (steps * period),
        _ => 0.0,
    }
}
