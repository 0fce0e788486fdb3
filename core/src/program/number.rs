//! The numbers of words: exact decimals that remember how they were written.
//!
//! A length in a program is a decimal fraction, not a float: `X0.1` is a tenth exactly. A number
//! that must be written again keeps its decimals, its point and its leading zero.

use crate::length::{Length, Unit};

/// The most digits a number may have, before and after its point together: 10^18 fits in `i64`.
pub const MOST_DIGITS: u8 = 18;

/// Powers of ten up to the most digits.
const POWERS: [i64; 19] = [
    1,
    10,
    100,
    1_000,
    10_000,
    100_000,
    1_000_000,
    10_000_000,
    100_000_000,
    1_000_000_000,
    10_000_000_000,
    100_000_000_000,
    1_000_000_000_000,
    10_000_000_000_000,
    100_000_000_000_000,
    1_000_000_000_000_000,
    10_000_000_000_000_000,
    100_000_000_000_000_000,
    1_000_000_000_000_000_000,
];

/// Ten to a power, held at the largest that fits.
pub(crate) fn power_of_ten(exponent: u8) -> i64 {
    POWERS.get(usize::from(exponent)).copied().unwrap_or(1_000_000_000_000_000_000)
}

/// What a dimension word without a decimal point means.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Integers {
    /// Whole units: `X10` is 10 mm or 10 in.
    #[default]
    Units,
    /// Least increments: `X10` is 10 × 0.001 mm or 10 × 0.0001 in.
    Increments,
}

/// Whether a number was written with a decimal point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Point {
    /// As `5`.
    Absent,
    /// As `5.` or `.5` or `0.50`.
    Present,
}

/// The sign a number was written with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Sign {
    /// No sign.
    Absent,
    /// `+`.
    Plus,
    /// `-`.
    Minus,
}

/// An exact decimal number and the style it was written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Number {
    /// Lower and upper half: a word of 64 bits would take its neighbours' room in a microcontroller, which has a
    /// dozen numbers at hand.
    mantissa: [u32; 2],
    whole_digits: u8,
    decimals: u8,
    point: Point,
    sign: Sign,
}

impl Number {
    /// A number of which `whole_digits` and `decimals` were written before and behind its point.
    pub(super) const fn new(mantissa: i64, whole_digits: u8, decimals: u8, point: Point, sign: Sign) -> Self {
        Self { mantissa: [mantissa as u32, (mantissa >> 32) as u32], whole_digits, decimals, point, sign }
    }

    /// All digits as one signed whole number: `-1.50` is −150.
    #[must_use]
    pub const fn mantissa(&self) -> i64 {
        let [lower, upper] = self.mantissa;
        (lower as u64 | (upper as u64).wrapping_shl(32)) as i64
    }

    /// Digits written before the point: none in `.5`, two in `01`.
    #[must_use]
    pub const fn whole_digits(&self) -> u8 {
        self.whole_digits
    }

    /// Digits written after the point.
    #[must_use]
    pub const fn decimals(&self) -> u8 {
        self.decimals
    }

    /// Whether a point was written.
    #[must_use]
    pub const fn point(&self) -> Point {
        self.point
    }

    /// The sign as written.
    #[must_use]
    pub const fn sign(&self) -> Sign {
        self.sign
    }

    /// The value, to the precision of `f64`.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.mantissa() as f64 / power_of_ten(self.decimals) as f64
    }

    /// The value when it is a whole number, however written (`3`, `3.`, `03.0`).
    #[must_use]
    pub fn whole(&self) -> Option<i64> {
        let unit = power_of_ten(self.decimals);
        (self.mantissa().checked_rem(unit)? == 0).then(|| self.mantissa().checked_div(unit))?
    }

    /// Tenths of the value when it has no finer part: the code of a G word, 10 for `G1` and `G01`,
    /// 901 for `G90.1`.
    #[must_use]
    pub fn tenths(&self) -> Option<i64> {
        match self.decimals {
            0 => self.mantissa().checked_mul(10),
            1 => Some(self.mantissa()),
            decimals => {
                let unit = power_of_ten(decimals.saturating_sub(1));
                (self.mantissa().checked_rem(unit)? == 0).then(|| self.mantissa().checked_div(unit))?
            }
        }
    }

    /// The length the number stands for in a dimension word, to the nearest 0.1 nm; `None` beyond
    /// the range of [`Length`].
    ///
    /// ```
    /// use takeup_core::length::{Length, Unit};
    /// use takeup_core::program::{Integers, Token, Words};
    /// let mut words = Words::new(b"X-.5");
    /// let Some(Ok(Token::Word(word))) = words.next() else { panic!() };
    /// assert_eq!(word.number.length(Unit::Mm, Integers::Units), Some(Length::from_counts(-5_000_000)));
    /// ```
    #[must_use]
    #[inline]
    pub fn length(&self, unit: Unit, integers: Integers) -> Option<Length> {
        let decimals = match (self.point, integers, unit) {
            (Point::Present, _, _) | (Point::Absent, Integers::Units, _) => self.decimals,
            (Point::Absent, Integers::Increments, Unit::Mm) => 3,
            (Point::Absent, Integers::Increments, Unit::Inch) => 4,
        };
        // 1 mm is 10^7 counts and 1 in is 254 × 10^6, so that seven and six decimals are whole counts.
        let (factor, exact) = match unit {
            Unit::Mm => (1, 7_u8),
            Unit::Inch => (254, 6_u8),
        };
        let scaled = self.mantissa().checked_mul(factor);
        if let (Some(spare), Some(scaled)) = (exact.checked_sub(decimals), scaled) {
            return scaled.checked_mul(power_of_ten(spare)).map(Length::from_counts);
        }
        // Finer than a count: the nearest one, halves away from zero.
        let counts = i128::from(self.mantissa()).checked_mul(i128::from(unit.counts()))?;
        let divisor = i128::from(power_of_ten(decimals));
        let half = divisor.checked_div(2)?.checked_mul(counts.signum())?;
        let nearest = counts.checked_add(half)?.checked_div(divisor)?;
        i64::try_from(nearest).ok().map(Length::from_counts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::program::{Token, Words};
    use proptest::prelude::*;

    fn number(text: &str) -> Number {
        let line = std::format!("X{text}");
        match Words::new(line.as_bytes()).next() {
            Some(Ok(Token::Word(word))) => word.number,
            other => panic!("{text}: {other:?}"),
        }
    }

    fn counts(text: &str, unit: Unit, integers: Integers) -> Option<i64> {
        number(text).length(unit, integers).map(Length::counts)
    }

    #[test]
    fn values_are_exact_in_both_units() {
        assert_eq!(counts("0.1", Unit::Mm, Integers::Units), Some(1_000_000));
        assert_eq!(counts("-0.0001", Unit::Inch, Integers::Units), Some(-25_400));
        assert_eq!(counts("10", Unit::Mm, Integers::Units), Some(100_000_000));
        assert_eq!(counts("10", Unit::Mm, Integers::Increments), Some(100_000));
        assert_eq!(counts("10.", Unit::Mm, Integers::Increments), Some(100_000_000));
        assert_eq!(counts("10", Unit::Inch, Integers::Increments), Some(254_000));
    }

    #[test]
    fn digits_finer_than_a_count_are_rounded_to_the_nearest() {
        assert_eq!(counts("0.00000005", Unit::Mm, Integers::Units), Some(1));
        assert_eq!(counts("-0.00000005", Unit::Mm, Integers::Units), Some(-1));
        assert_eq!(counts("0.00000004999", Unit::Mm, Integers::Units), Some(0));
        assert_eq!(counts("1.00000000000000000", Unit::Mm, Integers::Units), Some(10_000_000));
        assert_eq!(counts("999999999999999999", Unit::Mm, Integers::Units), None);
    }

    #[test]
    fn codes_are_read_however_they_are_written() {
        for (text, tenths, whole) in
            [("1", 10, Some(1)), ("01", 10, Some(1)), ("90.1", 901, None), ("2.00", 20, Some(2))]
        {
            assert_eq!((number(text).tenths(), number(text).whole()), (Some(tenths), whole), "{text}");
        }
        assert_eq!(number("1.25").tenths(), None);
    }

    proptest! {
        #[test]
        fn a_decimal_agrees_with_its_float(mantissa in -1_000_000_000_i64..1_000_000_000, decimals in 0_u8..9) {
            let scale = power_of_ten(decimals);
            let text = std::format!("{}{}.{:0width$}", if mantissa < 0 { "-" } else { "" },
                mantissa.abs() / scale, mantissa.abs() % scale, width = usize::from(decimals));
            let read = number(text.trim_end_matches(if decimals == 0 { "0" } else { "" }));
            prop_assert_eq!(read.mantissa(), mantissa);
            let length = read.length(Unit::Mm, Integers::Units).unwrap();
            prop_assert!((length.as_mm() - read.value()).abs() <= 0.5e-7 + 1e-9 * read.value().abs());
        }
    }
}
