//! How the angle of the catch depends on velocity.

use crate::examination::trace::Reason;
use crate::examination::trace::parameters::Parameters;
use crate::examination::trace::signal::count;

/// A straight line through catches at several speeds, by least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightLine {
    /// Degrees for each degree per second, which is seconds.
    pub slope: f64,
    /// The angle at no velocity, degrees.
    pub intercept: f64,
    /// How many catches it goes through.
    pub catches: usize,
}

/// The line through catches, each with its peak velocity (degrees per second) and angle (degrees).
///
/// # Errors
/// Why there is none: too few, or too much alike in speed.
pub fn line(catches: &[(f64, f64)], parameters: &Parameters) -> Result<StraightLine, Reason> {
    let number = count(catches.len());
    if number < parameters.catches {
        return Err(Reason::FewCatches);
    }
    let speeds = || catches.iter().map(|(speed, _)| *speed);
    let slowest = speeds().fold(f64::INFINITY, f64::min);
    let fastest = speeds().fold(f64::NEG_INFINITY, f64::max);
    if fastest < parameters.spread * slowest {
        return Err(Reason::SpeedsAlike);
    }
    let middle_speed = speeds().sum::<f64>() / number;
    let middle_angle = catches.iter().map(|(_, angle)| *angle).sum::<f64>() / number;
    let (mut over, mut under) = (0.0, 0.0);
    for (speed, angle) in catches {
        over += (speed - middle_speed) * (angle - middle_angle);
        under += (speed - middle_speed) * (speed - middle_speed);
    }
    let slope = over / under;
    if !slope.is_finite() {
        return Err(Reason::SpeedsAlike);
    }
    Ok(StraightLine {
        slope,
        intercept: middle_angle - slope * middle_speed,
        catches: catches.len(),
    })
}
