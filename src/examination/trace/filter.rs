//! The zero-phase low-pass: a Butterworth filter of second order run forward and backward.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, Q_BUTTERWORTH_F64, ToHertz, Type};

/// Samples by which a signal is lengthened at each end: three times the three coefficients of one
/// section, as `scipy.signal.sosfiltfilt` does by default.
const EDGE: usize = 9;

/// Low-pass of second order run both ways: zero phase, fourth order in effect, half the power of
/// one pass left at the cut-off. Ends are lengthened by their odd reflection, and each pass starts
/// in the state a constant signal would have left it in, as `scipy.signal.sosfiltfilt` does.
///
/// Nothing for fewer than ten samples, or a cut-off that is not below half the sampling rate.
/// `rate` and `cut_off` in hertz.
pub fn low_pass(values: &[f64], rate: f64, cut_off: f64) -> Option<Vec<f64>> {
    if values.len() <= EDGE || !(cut_off > 0.0 && cut_off < rate / 2.0) {
        return None;
    }
    // The cookbook low-pass with this quality is the bilinear transform of a Butterworth filter.
    let coefficients =
        Coefficients::<f64>::from_params(Type::LowPass, rate.hz(), cut_off.hz(), Q_BUTTERWORTH_F64)
            .ok()?;
    let mut lengthened = lengthened(values)?;
    pass(coefficients, &mut lengthened);
    lengthened.reverse();
    pass(coefficients, &mut lengthened);
    lengthened.reverse();
    Some(
        lengthened
            .into_iter()
            .skip(EDGE)
            .take(values.len())
            .collect(),
    )
}

/// One pass over a signal, in place.
fn pass(coefficients: Coefficients<f64>, values: &mut [f64]) {
    let Some(first) = values.first().copied() else {
        return;
    };
    let mut section = DirectForm2Transposed::<f64>::new(coefficients);
    // For a constant input x the output is x: s1 = (1 - b0) x and s2 = (b2 - a2) x.
    section.s1 = (1.0 - coefficients.b0) * first;
    section.s2 = (coefficients.b2 - coefficients.a2) * first;
    for value in values {
        *value = section.run(*value);
    }
}

/// The signal with its odd reflection at both ends.
fn lengthened(values: &[f64]) -> Option<Vec<f64>> {
    let (first, last) = (*values.first()?, *values.last()?);
    let before = values
        .iter()
        .skip(1)
        .take(EDGE)
        .rev()
        .map(|value| 2.0 * first - value);
    let after = values
        .iter()
        .rev()
        .skip(1)
        .take(EDGE)
        .map(|value| 2.0 * last - value);
    Some(before.chain(values.iter().copied()).chain(after).collect())
}
