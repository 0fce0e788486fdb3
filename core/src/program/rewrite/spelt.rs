//! How a number is spelt, found eight bytes at a time: where it ends and where its point stands. Its digits
//! are read only where they are wanted, which in a surface is one word in three.
//!
//! The bytes of a 64-bit word are looked at together: a byte that is no digit sets the highest bit of its place.

use super::packed::Packed;

/// The zero digit, the highest bits and the others, in each of eight bytes.
const ZEROS: u64 = 0x3030_3030_3030_3030;
const HIGHEST: u64 = 0x8080_8080_8080_8080;
const LOWER: u64 = 0x7f7f_7f7f_7f7f_7f7f;
/// Carries a value above nine into the highest bit.
const ABOVE_NINE: u64 = 0x7676_7676_7676_7676;

/// A number of eight digits at most in a text.
#[derive(Clone, Copy)]
pub(super) struct Spelt {
    /// Its digits and its point, the first in the lowest byte; what follows it, too.
    bytes: u64,
    minus: bool,
    /// Digits before its point.
    pub whole_digits: u32,
    /// Digits behind it.
    pub decimals: u32,
    pub has_point: bool,
    /// One after its last digit or its point.
    pub end: usize,
}

/// The highest bit of each byte that is no digit.
#[inline(always)]
pub(super) const fn others(bytes: u64) -> u64 {
    let values = bytes ^ ZEROS;
    ((values & LOWER).wrapping_add(ABOVE_NINE) | values) & HIGHEST
}

/// The eight bytes from a place on, the first one lowest; zeros behind the end of the text.
#[inline]
pub(super) fn eight(text: &[u8], at: usize) -> u64 {
    let rest = text.get(at..).unwrap_or(&[]);
    rest.first_chunk().map_or_else(|| padded(rest), |bytes| u64::from_le_bytes(*bytes))
}

#[cold]
fn padded(rest: &[u8]) -> u64 {
    rest.iter().rev().fold(0, |bytes, byte| bytes.wrapping_shl(8) | u64::from(*byte))
}

/// What stands behind blanks and a `+`, which no other sign follows.
#[cold]
fn behind_blanks(text: &[u8], mut at: usize) -> Option<usize> {
    while let Some(b' ' | b'\t') = text.get(at) {
        at = at.wrapping_add(1);
    }
    match text.get(at..)? {
        [b'+', b'-', ..] => None,
        [b'+', ..] => Some(at.wrapping_add(1)),
        _ => Some(at),
    }
}

impl Spelt {
    /// The number behind a letter; `None` if there is none, or one that is longer than eight digits, or than
    /// eight bytes with its point.
    #[inline(always)]
    pub fn read(text: &[u8], letter_end: usize) -> Option<Self> {
        let mut at = letter_end;
        let mut head = *text.get(at)?;
        if matches!(head, b' ' | b'\t' | b'+') {
            at = behind_blanks(text, at)?;
            head = *text.get(at)?;
        }
        let minus = head == b'-';
        let start = at.wrapping_add(usize::from(minus));
        let bytes = eight(text, start);
        let others = others(bytes);
        let whole_digits = others.trailing_zeros() >> 3;
        let has_point =
            bytes.wrapping_shr(whole_digits.wrapping_mul(8)) & 0xff == u64::from(b'.') && others != 0;
        // Without the lowest bit that is set, the next one.
        let behind = if has_point { others & others.wrapping_sub(1) } else { others };
        let length = behind.trailing_zeros() >> 3;
        let end = start.wrapping_add(length as usize);
        if behind == 0 && matches!(text.get(end), Some(b'0'..=b'9' | b'.')) {
            return None;
        }
        let digits = length.wrapping_sub(u32::from(has_point));
        let decimals = digits.wrapping_sub(whole_digits);
        (digits > 0).then_some(Self { bytes, minus, whole_digits, decimals, has_point, end })
    }

    /// The number at another place of a text, from its first digit to its end, that is spelt alike.
    #[inline(always)]
    pub fn like_at(&self, text: &[u8], first_digit: usize, end: usize) -> Self {
        Self { bytes: eight(text, first_digit), end, ..*self }
    }

    /// Its first digit, or its point.
    pub const fn start(&self) -> usize {
        let bytes = self.whole_digits.wrapping_add(self.decimals).wrapping_add(self.has_point as u32);
        self.end.wrapping_sub(bytes as usize)
    }

    /// All its digits as one number.
    #[inline(always)]
    pub const fn packed(&self) -> Packed {
        let digits = if self.has_point {
            let before = 1_u64.wrapping_shl(self.whole_digits.wrapping_mul(8)).wrapping_sub(1);
            (self.bytes & before) | (self.bytes.wrapping_shr(8) & !before)
        } else {
            self.bytes
        };
        // The last digit comes to the highest byte, what follows it falls out, and zeros come before the first.
        let digits_in_all = self.whole_digits.wrapping_add(self.decimals);
        let up = 8_u32.wrapping_sub(digits_in_all).wrapping_mul(8);
        let zeros = ZEROS.wrapping_shr(1).wrapping_shr(63_u32.wrapping_sub(up));
        Packed::of_ascii(digits.wrapping_shl(up) | zeros, self.minus)
    }
}

#[cfg(test)]
mod tests {
    use super::Spelt;
    use crate::program::number::Point;
    use crate::program::{Token, Words};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn numbers_are_found_as_the_reader_of_words_finds_them(
            number in " {0,2}[+-]{0,2}[0-9]{0,9}[.]?[0-9]{0,9}", behind in "[Xx\n;-]{0,9}",
        ) {
            let text = std::format!("Z{number}{behind}");
            let spelt = Spelt::read(text.as_bytes(), 1);
            match (Words::new(text.as_bytes()).next(), spelt) {
                (Some(Ok(Token::Word(word))), Some(spelt)) => {
                    let read = word.number;
                    prop_assert_eq!(spelt.packed().number(), read.mantissa());
                    prop_assert_eq!(spelt.end, word.span.end);
                    prop_assert_eq!(spelt.whole_digits, u32::from(read.whole_digits()));
                    prop_assert_eq!(spelt.decimals, u32::from(read.decimals()));
                    prop_assert_eq!(spelt.has_point, read.point() == Point::Present);
                }
                (Some(Ok(Token::Word(word))), None) => {
                    let bare = text[1..word.span.end].trim_start_matches([' ', '+', '-']);
                    prop_assert!(bare.len() > 8, "{bare}");
                }
                (other, spelt) => prop_assert!(spelt.is_none(), "{other:?}"),
            }
        }
    }
}
