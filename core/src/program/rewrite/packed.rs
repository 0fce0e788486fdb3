//! Eight decimal digits in the bytes of a 64-bit word: read, added and written all together, without a division.

use super::emit::Text;

/// The digit zero in each byte, the highest bit of each, and what carries a ten out of each.
const ZEROS: u64 = 0x3030_3030_3030_3030;
const HIGHEST: u64 = 0x8080_8080_8080_8080;
const TO_CARRY: u64 = 0xf6f6_f6f6_f6f6_f6f6;

/// A whole number of eight digits at most with its sign: its last digit in the lowest byte, the whole word
/// negative if the number is. Numbers lie in the order of their words.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Packed(i64);

/// Bits of a number of bytes.
const fn bits(bytes: u32) -> u32 {
    bytes.wrapping_mul(8)
}

/// Where tens were carried, or borrowed, too much was added: taken from the bytes that show it.
const fn corrected(sum: u64) -> u64 {
    let uncarried = (sum & HIGHEST) >> 7;
    sum.wrapping_sub(uncarried.wrapping_mul(0xf6))
}

impl Packed {
    /// Zero.
    pub const ZERO: Packed = Packed(0);

    /// From ASCII digits, the first in the lowest byte, the last in the highest; other bytes are zero digits.
    pub const fn of_ascii(digits: u64, minus: bool) -> Self {
        let packed = (digits ^ ZEROS).swap_bytes() as i64;
        Packed(if minus { packed.wrapping_neg() } else { packed })
    }

    /// From a number; `None` if it has more than eight digits.
    pub fn of(number: i64) -> Option<Self> {
        let size = number.unsigned_abs();
        if size >= 100_000_000 {
            return None;
        }
        // Halves, quarters and single digits, each beside its neighbour; the first digit in the lowest byte.
        let halves = (size / 10_000) | (size % 10_000).wrapping_shl(32);
        let hundreds = (halves.wrapping_mul(10_486) >> 20) & 0x0000_007f_0000_007f;
        let quarters = hundreds | halves.wrapping_sub(hundreds.wrapping_mul(100)).wrapping_shl(16);
        let tens = (quarters.wrapping_mul(103) >> 10) & 0x000f_000f_000f_000f;
        let digits = tens | quarters.wrapping_sub(tens.wrapping_mul(10)).wrapping_shl(8);
        Some(Self::of_ascii(digits | ZEROS, number < 0))
    }

    /// The number.
    pub const fn number(self) -> i64 {
        // Neighbours are joined to tens, those to hundreds, those to all.
        let digits = self.0.unsigned_abs().swap_bytes();
        let tens = digits.wrapping_mul(10).wrapping_add(digits >> 8) & 0x00ff_00ff_00ff_00ff;
        let hundreds = tens.wrapping_mul(100).wrapping_add(tens >> 16) & 0x0000_ffff_0000_ffff;
        let size = (hundreds.wrapping_mul(10_000).wrapping_add(hundreds >> 32) & 0xffff_ffff) as i64;
        if self.0 < 0 { size.wrapping_neg() } else { size }
    }

    /// Whether it is zero.
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// Whether it has fewer digits than one more than these.
    pub const fn size_below(self, digits: u32) -> bool {
        self.0.unsigned_abs().leading_zeros() >> 3 >= 8_u32.saturating_sub(digits)
    }

    /// Whether little can be added: from 99 000 000 on.
    #[inline(always)]
    pub const fn nearly_full(self) -> bool {
        self.0.unsigned_abs() >= 0x0909_0000_0000_0000
    }

    /// Times ten to a power; what passes eight digits is lost.
    pub const fn times_ten_to(self, power: u32) -> Self {
        Packed(self.0.wrapping_shl(bits(power)))
    }

    /// The sum; `None` if it has more than eight digits.
    #[inline]
    pub const fn plus(self, other: Self) -> Option<Self> {
        let (a, b) = (self.0.unsigned_abs(), other.0.unsigned_abs());
        let (size, minus) = if (self.0 < 0) == (other.0 < 0) {
            let (sum, over) = a.wrapping_add(b).overflowing_add(TO_CARRY);
            if over {
                return None;
            }
            (corrected(sum), self.0 < 0)
        } else if a >= b {
            (corrected(a.wrapping_sub(b)), self.0 < 0)
        } else {
            (corrected(b.wrapping_sub(a)), other.0 < 0)
        };
        let size = size as i64;
        Some(Packed(if minus { size.wrapping_neg() } else { size }))
    }

    /// A word with a point before the last `decimals`, of which zeros at the end fall away down to `fewest`, and
    /// with at least `whole` digits before it. `decimals` and `whole` together are eight at most.
    #[inline]
    pub fn word(self, letter: u8, decimals: u32, fewest: u32, whole: u32) -> Text {
        let packed = self.0.unsigned_abs();
        let zeros = if packed == 0 { 8 } else { packed.trailing_zeros() >> 3 };
        let dropped = zeros.min(decimals.saturating_sub(fewest));
        let packed = packed.checked_shr(bits(dropped)).unwrap_or(0);
        let decimals = decimals.wrapping_sub(dropped);
        let shown = 8_u32.wrapping_sub(packed.leading_zeros() >> 3).max(decimals.wrapping_add(whole));
        let text = (packed | ZEROS).checked_shl(bits(8_u32.wrapping_sub(shown))).unwrap_or(0).swap_bytes();
        let before = shown.wrapping_sub(decimals);
        let head = 1_u64.checked_shl(bits(before)).unwrap_or(0).wrapping_sub(1);
        let point = u64::from(b'.').checked_shl(bits(before)).unwrap_or(0);
        let [a, b, c, d, e, f, g, h] = ((text & head) | point | (text & !head).wrapping_shl(8)).to_le_bytes();
        // What the point has pushed out, if there is anything; behind eight digits it is the point itself.
        let last = if before >= 8 { b'.' } else { (text >> 56) as u8 };
        let (bytes, length) = if self.0 < 0 {
            ([letter, b'-', a, b, c, d, e, f, g, h, last, 0, 0, 0, 0, 0], shown.wrapping_add(3))
        } else {
            ([letter, a, b, c, d, e, f, g, h, last, 0, 0, 0, 0, 0, 0], shown.wrapping_add(2))
        };
        let mut word = Text::new();
        let _ = word.extend_from_slice(&bytes);
        word.truncate(length as usize);
        word
    }
}

#[cfg(test)]
mod tests {
    use super::Packed;
    use proptest::prelude::*;
    use std::format;

    fn packed(number: i64) -> Packed {
        Packed::of(number).unwrap()
    }

    #[test]
    fn sums_pass_through_zero_and_end_at_eight_digits() {
        assert_eq!(Packed::of(100_000_000), None);
        assert_eq!(packed(99_999_999).plus(packed(1)), None);
        assert_eq!(packed(-99_999_999).plus(packed(-1)), None);
        assert_eq!(packed(-120).plus(packed(120)), Some(Packed::ZERO));
        assert_eq!(packed(7).times_ten_to(3), packed(7000));
    }

    #[test]
    fn words_keep_the_decimals_that_they_had() {
        let word = |number, decimals, fewest, whole| {
            std::string::String::from_utf8(packed(number).word(b'Z', decimals, fewest, whole).to_vec())
                .unwrap()
        };
        assert_eq!(word(-12_340, 4, 3, 1), "Z-1.234");
        assert_eq!(word(12_000, 4, 0, 1), "Z1.2");
        assert_eq!(word(50_000, 4, 0, 1), "Z5.");
        assert_eq!(word(0, 4, 1, 0), "Z.0");
        assert_eq!(word(-500, 4, 1, 0), "Z-.05");
        assert_eq!(word(12_345_678, 0, 0, 1), "Z12345678.");
        assert_eq!(word(12_345_678, 4, 4, 1), "Z1234.5678");
    }

    proptest! {
        #[test]
        fn numbers_are_kept_ordered_added_and_written(
            a in -99_999_999_i64..100_000_000, b in -99_999_999_i64..100_000_000, decimals in 0_u32..8,
        ) {
            prop_assert_eq!(packed(a).number(), a);
            prop_assert_eq!(packed(a).cmp(&packed(b)), a.cmp(&b));
            prop_assert_eq!(packed(a).plus(packed(b)), Packed::of(a + b));
            let (size, scale) = (a.abs(), 10_i64.pow(decimals));
            let (whole, fraction) = (size / scale, size % scale);
            let width = decimals as usize;
            let digits = if width > 0 { format!("{fraction:0width$}") } else { "".into() };
            let expected = format!("Z{}{whole}.{digits}", if a < 0 { "-" } else { "" });
            prop_assert_eq!(packed(a).word(b'Z', decimals, decimals, 1).to_vec(), expected.as_bytes());
        }
    }
}
