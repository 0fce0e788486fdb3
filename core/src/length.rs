//! Exact lengths: whole counts of 0.1 nm, so that 0.001 mm and 0.000001 in are both exact.
//!
//! A program that is read and written back keeps every digit: sums and differences of lengths are
//! exact, in millimetres and in inches. Statistics use `f64` millimetres instead.

use core::fmt;

/// Counts of 0.1 nm in a millimetre.
pub const COUNTS_PER_MM: i64 = 10_000_000;
/// Counts of 0.1 nm in an inch: exactly 25.4 mm, by the international definition of the inch.
pub const COUNTS_PER_INCH: i64 = 254_000_000;

/// A unit of length that people and programs use.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Unit {
    /// Millimetres.
    #[default]
    Mm,
    /// Inches.
    Inch,
}

impl Unit {
    /// Counts of 0.1 nm in the unit.
    #[must_use]
    pub const fn counts(self) -> i64 {
        match self {
            Unit::Mm => COUNTS_PER_MM,
            Unit::Inch => COUNTS_PER_INCH,
        }
    }

    /// Millimetres in the unit.
    #[must_use]
    pub const fn as_mm(self) -> f64 {
        match self {
            Unit::Mm => 1.0,
            Unit::Inch => 25.4,
        }
    }

    /// `mm` or `in`, as documents and screens write it.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Unit::Mm => "mm",
            Unit::Inch => "in",
        }
    }

    /// The unit with a symbol, in any case.
    #[must_use]
    pub const fn from_symbol(symbol: &str) -> Option<Self> {
        if symbol.eq_ignore_ascii_case("mm") {
            Some(Unit::Mm)
        } else if symbol.eq_ignore_ascii_case("in") {
            Some(Unit::Inch)
        } else {
            None
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// A length or a position along an axis, in counts of 0.1 nm.
///
/// The range is about ±922 thousand kilometres; arithmetic is checked all the same, because
/// programs come from anywhere.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Length(i64);

impl Length {
    /// No length.
    pub const ZERO: Length = Length(0);

    /// A length from counts of 0.1 nm.
    #[must_use]
    pub const fn from_counts(counts: i64) -> Self {
        Length(counts)
    }

    /// The counts of 0.1 nm.
    #[must_use]
    pub const fn counts(self) -> i64 {
        self.0
    }

    /// The length nearest to a number of millimetres; `None` for NaN, infinity or beyond the range.
    ///
    /// ```
    /// use takeup_core::length::Length;
    /// assert_eq!(Length::from_mm(0.12).map(Length::counts), Some(1_200_000));
    /// assert_eq!(Length::from_mm(f64::NAN), None);
    /// ```
    #[must_use]
    pub fn from_mm(mm: f64) -> Option<Self> {
        let counts = libm::round(mm * COUNTS_PER_MM as f64);
        // 2^63 is a float exactly; below it the conversion cannot saturate.
        (libm::fabs(counts) < 9_223_372_036_854_775_808.0).then_some(Length(counts as i64))
    }

    /// The length nearest to a number in a unit; `None` as for [`Length::from_mm`].
    #[must_use]
    pub fn from_unit(value: f64, unit: Unit) -> Option<Self> {
        Self::from_mm(value * unit.as_mm())
    }

    /// The length in millimetres, to the precision of `f64`.
    #[must_use]
    pub const fn as_mm(self) -> f64 {
        self.0 as f64 / COUNTS_PER_MM as f64
    }

    /// The length in a unit, to the precision of `f64`.
    #[must_use]
    pub const fn as_unit(self, unit: Unit) -> f64 {
        self.0 as f64 / unit.counts() as f64
    }

    /// The sum, or `None` beyond the range.
    #[must_use]
    pub const fn checked_add(self, other: Length) -> Option<Length> {
        match self.0.checked_add(other.0) {
            Some(counts) => Some(Length(counts)),
            None => None,
        }
    }

    /// The difference, or `None` beyond the range.
    #[must_use]
    pub const fn checked_sub(self, other: Length) -> Option<Length> {
        match self.0.checked_sub(other.0) {
            Some(counts) => Some(Length(counts)),
            None => None,
        }
    }

    /// The negative, or `None` beyond the range.
    #[must_use]
    pub const fn checked_neg(self) -> Option<Length> {
        match self.0.checked_neg() {
            Some(counts) => Some(Length(counts)),
            None => None,
        }
    }

    /// The sum, held at the ends of the range.
    #[must_use]
    pub const fn saturating_add(self, other: Length) -> Length {
        Length(self.0.saturating_add(other.0))
    }

    /// The difference, held at the ends of the range.
    #[must_use]
    pub const fn saturating_sub(self, other: Length) -> Length {
        Length(self.0.saturating_sub(other.0))
    }

    /// The size without the sign, held at the end of the range.
    #[must_use]
    pub const fn saturating_abs(self) -> Length {
        Length(self.0.saturating_abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn smallest_program_steps_are_whole_counts() {
        assert_eq!(COUNTS_PER_MM % 1_000, 0);
        assert_eq!(COUNTS_PER_INCH % 1_000_000, 0);
        assert_eq!(Length::from_unit(0.000_001, Unit::Inch), Some(Length::from_counts(254)));
    }

    #[test]
    fn rubbish_is_not_a_length() {
        for mm in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300, 9.3e11] {
            assert_eq!(Length::from_mm(mm), None, "{mm}");
        }
        assert_eq!(Length::from_mm(f64::MIN_POSITIVE), Some(Length::ZERO));
    }

    #[test]
    fn arithmetic_stops_at_the_ends_of_the_range() {
        let most = Length::from_counts(i64::MAX);
        assert_eq!(most.checked_add(Length::from_counts(1)), None);
        assert_eq!(most.saturating_add(most), most);
        assert_eq!(Length::from_counts(i64::MIN).checked_neg(), None);
        assert_eq!(Length::from_counts(i64::MIN).saturating_abs(), most);
    }

    proptest! {
        #[test]
        fn millimetres_read_back(counts in -1_000_000_000_000_000_i64..1_000_000_000_000_000) {
            let length = Length::from_counts(counts);
            prop_assert_eq!(Length::from_mm(length.as_mm()), Some(length));
            let in_inches = Length::from_unit(length.as_unit(Unit::Inch), Unit::Inch);
            prop_assert_eq!(in_inches, Some(length));
        }
    }
}
