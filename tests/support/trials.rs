//! How often the computation finds what is known to be in synthetic stretches.
#![expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::float_arithmetic,
    reason = "signals are made of floats"
)]

use crate::synthetic::{Shape, Stretch};
use fascicle::examination::trace::Outcome;
use fascicle::examination::trace::motion::Motion;
use fascicle::examination::trace::parameters::Parameters;
use fascicle::examination::trace::signal::Signal;
use fascicle::examination::trace::verdict::{Verdict, verdict};
use fastrand::Rng;

/// Stretches that share everything but chance and the place of the catch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Condition {
    pub(crate) shape: Shape,
    pub(crate) speed: f64,
    pub(crate) noise: f64,
    pub(crate) rate: f64,
}

/// What came of the stretches of a condition.
#[derive(Debug, Clone, Default)]
pub(crate) struct Came {
    pub(crate) number: usize,
    pub(crate) catches: usize,
    pub(crate) none: usize,
    pub(crate) not_determinable: usize,
    pub(crate) released: usize,
    pub(crate) clonus: usize,
    /// Computed less true angle of each catch, degrees.
    pub(crate) errors: Vec<f64>,
    /// The same after the bias correction.
    pub(crate) corrected: Vec<f64>,
    /// The random error that the computation tells, two standard deviations.
    pub(crate) told: Vec<f64>,
}

impl Came {
    pub(crate) fn and(mut self, other: &Self) -> Self {
        self.number += other.number;
        self.catches += other.catches;
        self.none += other.none;
        self.not_determinable += other.not_determinable;
        self.released += other.released;
        self.clonus += other.clonus;
        self.errors.extend(&other.errors);
        self.corrected.extend(&other.corrected);
        self.told.extend(&other.told);
        self
    }
}

/// Mean of errors: the bias.
pub(crate) fn mean(errors: &[f64]) -> f64 {
    errors.iter().sum::<f64>() / errors.len() as f64
}

/// Standard deviation of errors about their mean.
pub(crate) fn deviation(errors: &[f64]) -> f64 {
    let middle = mean(errors);
    let squares = errors.iter().map(|one| (one - middle) * (one - middle));
    (squares.sum::<f64>() / errors.len() as f64).sqrt()
}

/// The magnitude that 95 of 100 errors do not exceed.
pub(crate) fn ninety_five(errors: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = errors.iter().map(|one| one.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let place = (sizes.len() as f64 * 0.95).ceil() as usize;
    sizes
        .get(place.saturating_sub(1))
        .copied()
        .unwrap_or(f64::NAN)
}

fn moved(stretch: &Stretch, parameters: &Parameters, rng: &mut Rng) -> Option<Motion> {
    let signal = Signal::even(1.0 / stretch.rate, stretch.samples(rng));
    Motion::of(&signal, parameters).ok()
}

/// Makes and computes `number` stretches of a condition, with one slow stretch to compare with.
pub(crate) fn trial(
    condition: &Condition,
    number: usize,
    parameters: &Parameters,
    rng: &mut Rng,
) -> Came {
    let Condition {
        shape,
        speed,
        noise,
        rate,
    } = *condition;
    let made = |shape, speed, at| Stretch {
        shape,
        excursion: 80.0,
        speed,
        at,
        noise,
        rate,
    };
    let slow = moved(&made(Shape::Smooth, 20.0, 1.0), parameters, rng);
    let mut came = Came {
        number,
        ..Came::default()
    };
    for _one in 0..number {
        let stretch = made(shape, speed, 0.3 + 0.45 * rng.f64());
        let motion = moved(&stretch, parameters, rng);
        let told = motion.as_ref().map_or_else(
            || Verdict::undetermined(Vec::new()),
            |motion| verdict(motion, slow.as_ref(), parameters),
        );
        came.released += usize::from(told.release);
        came.clonus += usize::from(told.beats > 0);
        match told.outcome {
            Outcome::NoCatch => came.none += 1,
            Outcome::NotDeterminable => came.not_determinable += 1,
            Outcome::Catch => {
                came.catches += 1;
                let (Some(stop), Some(motion)) = (told.stop, motion) else {
                    continue;
                };
                let error = stop.at.degrees - stretch.truth();
                came.errors.push(error);
                came.corrected
                    .push(error - parameters.lateness * motion.peak_velocity);
                came.told.push(motion.random_error(&stop.at));
            }
        }
    }
    came
}
