//! Numbers that keep their digits.
//!
//! Owns: exact decimals as FHIR writes them.
//! In: text. Out: the same text, or exact arithmetic. Never: a float, an exponent, a rounding that
//! its caller does not name.

use rust_decimal::{Decimal, RoundingStrategy};
use std::fmt;

/// An exact decimal that prints as it was written.
///
/// "The precision of the decimal value has significance" (FHIR R4 4.0.1, datatypes, decimal:
/// hl7.org/fhir/R4/datatypes.html#decimal). At most 28 digits after the point and a magnitude
/// below 2^96, the limits of the decimal library; more is refused, never rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Exact(Decimal);

/// Why a text is no exact decimal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotExact {
    /// Not of the pattern `-?(0|[1-9][0-9]*)(\.[0-9]+)?`.
    #[error("not a plain decimal number")]
    Pattern,
    /// More digits than can be held exactly.
    #[error("more digits than can be held exactly")]
    Digits,
}

impl Exact {
    /// Zero, written `0`.
    pub const ZERO: Self = Self(Decimal::ZERO);

    /// Reads a decimal of the FHIR pattern without exponent.
    ///
    /// # Errors
    /// [`NotExact::Pattern`] for anything else, [`NotExact::Digits`] when it cannot be held.
    pub fn parse(text: &str) -> Result<Self, NotExact> {
        if !plain(text) {
            return Err(NotExact::Pattern);
        }
        let number = Decimal::from_str_exact(text).map_err(|_cause| NotExact::Digits)?;
        // The library drops the sign of zero; `-0` would not leave as it was written.
        if number.is_zero() && text.starts_with('-') {
            Err(NotExact::Pattern)
        } else {
            Ok(Self(number))
        }
    }

    /// The same magnitude with the other sign; zero stays as it is.
    #[must_use]
    pub fn negated(self) -> Self {
        if self.0.is_zero() {
            self
        } else {
            Self(-self.0)
        }
    }

    /// The magnitude without its sign.
    #[must_use]
    pub fn magnitude(self) -> Self {
        Self(self.0.abs())
    }

    /// `self - other`, exact.
    ///
    /// # Errors
    /// [`NotExact::Digits`] when the result cannot be held.
    pub fn minus(self, other: Self) -> Result<Self, NotExact> {
        self.whole(other, self.0.checked_sub(other.0))
    }

    /// `self + other`, exact.
    ///
    /// # Errors
    /// [`NotExact::Digits`] when the result cannot be held.
    pub fn plus(self, other: Self) -> Result<Self, NotExact> {
        self.whole(other, self.0.checked_add(other.0))
    }

    /// `self * other`, exact.
    ///
    /// # Errors
    /// [`NotExact::Digits`] when the result cannot be held.
    pub fn times(self, other: Self) -> Result<Self, NotExact> {
        let wanted = self.decimals().saturating_add(other.decimals());
        let mut result = self.0.checked_mul(other.0).ok_or(NotExact::Digits)?;
        if result.is_zero() && (self.is_zero() || other.is_zero()) {
            result.rescale(wanted);
        }
        // A product that the library had to round has fewer digits after the point.
        if result.scale() == wanted {
            Ok(Self(result))
        } else {
            Err(NotExact::Digits)
        }
    }

    /// `self / other`, rounded to so many digits after the point, halves away from zero.
    ///
    /// # Errors
    /// [`NotExact::Digits`] when `other` is zero or the result cannot be held.
    pub fn ratio(self, other: Self, decimals: u32) -> Result<Self, NotExact> {
        let quotient = self.0.checked_div(other.0).ok_or(NotExact::Digits)?;
        Ok(Self(quotient).rounded(decimals))
    }

    /// Rounded to so many digits after the point, halves away from zero, and written with them.
    #[must_use]
    pub fn rounded(self, decimals: u32) -> Self {
        let strategy = RoundingStrategy::MidpointAwayFromZero;
        let mut rounded = self.0.round_dp_with_strategy(decimals, strategy);
        rounded.rescale(decimals);
        // The library may leave a sign on a zero; `-0` would not leave as a plain decimal.
        if rounded.is_zero() {
            rounded.set_sign_positive(true);
        }
        Self(rounded)
    }

    /// The library rounds a result that it cannot hold, and then it has fewer digits after the point
    /// than the finer of the two; beside a zero it gives the other back with the digits that has.
    fn whole(self, other: Self, result: Option<Decimal>) -> Result<Self, NotExact> {
        let finer = self.decimals().max(other.decimals());
        let mut result = result.ok_or(NotExact::Digits)?;
        if self.is_zero() || other.is_zero() {
            result.rescale(finer);
        }
        if result.scale() == finer {
            Ok(Self(result))
        } else {
            Err(NotExact::Digits)
        }
    }

    /// True below zero.
    pub const fn is_negative(self) -> bool {
        self.0.is_sign_negative()
    }

    /// True at zero, however many zeros it was written with.
    pub const fn is_zero(self) -> bool {
        self.0.is_zero()
    }

    /// How many digits stand after the point.
    pub const fn decimals(self) -> u32 {
        self.0.scale()
    }
}

impl From<u32> for Exact {
    fn from(number: u32) -> Self {
        Self(Decimal::from(number))
    }
}

impl fmt::Display for Exact {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, formatter)
    }
}

fn plain(text: &str) -> bool {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let (whole, fraction) = match digits.split_once('.') {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (digits, None),
    };
    let all_digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    all_digits(whole)
        && (whole == "0" || !whole.starts_with('0'))
        && fraction.is_none_or(all_digits)
}

#[cfg(test)]
mod tests {
    use super::{Exact, NotExact};

    #[test]
    fn digits_leave_as_they_came() {
        for text in [
            "5",
            "5.0",
            "12.50",
            "-0.5",
            "0",
            "0.00",
            "1234567890.1234567890",
        ] {
            assert_eq!(
                Exact::parse(text).map(|exact| exact.to_string()),
                Ok(text.to_owned())
            );
        }
    }

    #[test]
    fn what_is_no_plain_decimal_is_refused() {
        for text in [
            "", "-", "+5", "05", ".5", "5.", "1e3", " 5", "5 ", "5,0", "NaN", "-0", "٥",
        ] {
            assert_eq!(Exact::parse(text), Err(NotExact::Pattern), "{text}");
        }
    }

    #[test]
    fn more_digits_than_can_be_held_are_refused_not_rounded() {
        for text in [
            "0.12345678901234567890123456789",
            "79228162514264337593543950336",
        ] {
            assert_eq!(Exact::parse(text), Err(NotExact::Digits), "{text}");
        }
    }

    #[test]
    fn a_result_with_more_digits_than_can_be_held_is_refused_not_rounded() {
        let exact = |text| Exact::parse(text).expect("a decimal");
        let fine = exact("-2514264337.000000000005000007");
        let large = exact("251426433759354390000005");

        let (zero, seven) = (exact("0.000"), exact("-7.0"));

        assert_eq!(large.plus(fine), Err(NotExact::Digits));
        assert_eq!(
            zero.minus(seven).map(|sum| sum.to_string()),
            Ok("7.000".to_owned())
        );
        assert_eq!(fine.minus(large), Err(NotExact::Digits));
    }

    #[test]
    fn a_product_is_exact_or_refused() {
        let exact = |text| Exact::parse(text).expect("a decimal");
        let product = |a, b| exact(a).times(exact(b)).map(|made| made.to_string());

        assert_eq!(product("1.96", "1.96"), Ok("3.8416".to_owned()));
        assert_eq!(product("-2.50", "2"), Ok("-5.00".to_owned()));
        assert_eq!(product("0.0", "7.25"), Ok("0.000".to_owned()));
        let fine = "0.1234567890123456789";
        assert_eq!(product(fine, fine), Err(NotExact::Digits));
    }

    #[test]
    fn a_ratio_is_rounded_as_it_says() {
        let exact = |text| Exact::parse(text).expect("a decimal");
        let ratio = |a, b| exact(a).ratio(exact(b), 2).map(|made| made.to_string());

        assert_eq!(ratio("25", "35"), Ok("0.71".to_owned()));
        assert_eq!(ratio("1", "8"), Ok("0.13".to_owned()));
        assert_eq!(ratio("-1", "8"), Ok("-0.13".to_owned()));
        assert_eq!(ratio("-1", "1000"), Ok("0.00".to_owned()));
        assert_eq!(ratio("1", "0"), Err(NotExact::Digits));
    }

    #[test]
    fn a_difference_keeps_the_finer_digits() {
        let difference = Exact::parse("5").and_then(|a| a.minus(Exact::parse("-20.5")?));

        assert_eq!(difference.map(|d| d.to_string()), Ok("25.5".to_owned()));
    }
}
