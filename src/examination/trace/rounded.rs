//! The edge of the room: floats become exact decimals, rounded half to even in binary to a stated
//! number of digits after the point.

use crate::base::exact::Exact;

/// Digits after the point of an angle or a velocity: a tenth.
pub(super) const TENTH: usize = 1;
/// Digits after the point of a sharpness or a frequency.
pub(super) const HUNDREDTH: usize = 2;
/// Digits after the point of a slope, in seconds.
pub(super) const TEN_THOUSANDTH: usize = 4;

/// A float with so many digits after the point; nothing for what is no number.
pub(super) fn exact(value: f64, digits: usize) -> Option<Exact> {
    if !value.is_finite() {
        return None;
    }
    let written = format!("{value:.digits$}");
    let zero = written.trim_start_matches('-');
    // A rounding toward zero leaves the sign behind.
    let is_zero = zero.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    Exact::parse(if is_zero { zero } else { &written }).ok()
}

#[cfg(test)]
mod tests {
    use super::exact;

    #[test]
    fn floats_leave_with_the_digits_that_were_asked_for() {
        let told = |value: f64, digits| exact(value, digits).map(|e| e.to_string());

        assert_eq!(told(-31.449, 1), Some("-31.4".to_owned()));
        assert_eq!(told(-0.04, 1), Some("0.0".to_owned()));
        assert_eq!(told(250.0, 2), Some("250.00".to_owned()));
        assert_eq!(told(f64::NAN, 1), None);
        assert_eq!(told(f64::INFINITY, 1), None);
    }
}
