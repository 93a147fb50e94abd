//! Synthetic stretches of which the truth is known, and how often the computation finds it.
//!
//! A movement of least jerk, x(t) = A (10 u^3 - 15 u^4 + 6 u^5) with u = t/T (Flash and Hogan 1985,
//! J Neurosci 5:1688; the polynomial as it stands in any text on it). At a catch the velocity decays
//! with a time constant to nothing, or to a slow rest of travel (a release), or clonus follows. The
//! shapes after the catch are our own: nothing here was fitted to patients.
#![expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::float_arithmetic,
    reason = "signals are made of floats"
)]

use fastrand::Rng;

/// What happens on the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    /// A smooth movement to the end.
    Smooth,
    /// A catch at which the limb stays.
    Catch,
    /// A catch that gives way.
    Release,
    /// A catch with clonus after it.
    Clonus,
}

/// One synthetic stretch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stretch {
    /// What happens.
    pub(crate) shape: Shape,
    /// Degrees to the end of range.
    pub(crate) excursion: f64,
    /// Peak velocity of the whole movement, degrees per second.
    pub(crate) speed: f64,
    /// Share of the excursion at which the catch lies.
    pub(crate) at: f64,
    /// Standard deviation of the noise, degrees.
    pub(crate) noise: f64,
    /// Samples a second.
    pub(crate) rate: f64,
}

/// Time constant of the velocity after a catch, seconds.
const DECAY: f64 = 0.03;
/// Rest before and after, seconds.
const REST: f64 = 0.3;
const HOLD: f64 = 1.0;
/// Velocity after a release, degrees per second.
const GIVES_WAY: f64 = 40.0;

/// Angle of a movement of least jerk.
pub(crate) fn least_jerk(excursion: f64, duration: f64, time: f64) -> f64 {
    let u = (time / duration).clamp(0.0, 1.0);
    excursion * u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)
}

/// Its velocity.
pub(crate) fn least_jerk_velocity(excursion: f64, duration: f64, time: f64) -> f64 {
    let u = (time / duration).clamp(0.0, 1.0);
    excursion / duration * 30.0 * u * u * (1.0 - u) * (1.0 - u)
}

impl Stretch {
    /// Seconds of the whole movement: its peak velocity is 1.875 A/T.
    pub(crate) fn duration(&self) -> f64 {
        1.875 * self.excursion / self.speed
    }

    /// The angle at which the catch begins.
    pub(crate) fn truth(&self) -> f64 {
        self.excursion * self.at
    }

    /// The angle without noise; time from the start of the movement.
    pub(crate) fn angle(&self, time: f64) -> f64 {
        let duration = self.duration();
        let free = least_jerk(self.excursion, duration, time);
        if self.shape == Shape::Smooth {
            return free;
        }
        let (mut low, mut high) = (0.0, duration);
        for _halving in 0..60 {
            let middle = f64::midpoint(low, high);
            if least_jerk(self.excursion, duration, middle) < self.truth() {
                low = middle;
            } else {
                high = middle;
            }
        }
        let since = time - low;
        if since <= 0.0 {
            return free;
        }
        let speed = least_jerk_velocity(self.excursion, duration, low);
        let rest = if self.shape == Shape::Release {
            GIVES_WAY.min(speed)
        } else {
            0.0
        };
        let decayed = 1.0 - (-since / DECAY).exp();
        let after = self.truth() + (speed - rest) * DECAY * decayed + rest * since;
        let beat = (since - 0.15).max(0.0);
        let clonus = if self.shape == Shape::Clonus {
            let shake = (std::f64::consts::TAU * 6.0 * beat).sin();
            -3.0 * shake * (-beat).exp() * (beat / 0.02).min(1.0)
        } else {
            0.0
        };
        after.min(self.excursion) + clonus
    }

    /// Samples with noise, from a rest before the movement to a hold after it.
    pub(crate) fn samples(&self, rng: &mut Rng) -> Vec<f64> {
        let seconds = REST + self.duration() + HOLD;
        let number = (seconds * self.rate) as usize;
        (0..number)
            .map(|sample| {
                let time = sample as f64 / self.rate - REST;
                self.angle(time) + self.noise * gaussian(rng)
            })
            .collect()
    }
}

/// A number of the standard normal distribution (Box and Muller 1958).
pub(crate) fn gaussian(rng: &mut Rng) -> f64 {
    let radius = (-2.0 * (1.0 - rng.f64()).ln()).sqrt();
    radius * (std::f64::consts::TAU * rng.f64()).cos()
}
