//! Words and lines written: numbers in the style of the program, patches of a line, inserted lines.

use super::packed::Packed;
use crate::length::{Length, Unit};
use crate::program::modal::Modal;
use crate::program::number::{Integers, Number, Point, Sign, power_of_ten};
use crate::program::words::Span;
use core::ops::Range;
use heapless::Vec;

/// A word: letter, sign, nine digits before the point (a length has no more), point, nine decimals and a
/// blank at most; a number as it was read has eighteen digits at most.
pub(super) type Text = Vec<u8, 24>;
/// A count of 0.1 nm is not finer than this many decimals, of a millimetre or an inch.
const MOST_DECIMALS: u8 = 9;

/// Adds bytes; the sizes above make room for all that is ever added.
pub(super) fn put<const N: usize>(text: &mut Vec<u8, N>, bytes: &[u8]) {
    let _ = text.extend_from_slice(bytes);
}

/// The decimals that words are written with at least: 0.001 mm, 0.00001 in.
const fn fine_decimals(unit: Unit) -> u8 {
    match unit {
        Unit::Mm => 3,
        Unit::Inch => 5,
    }
}

/// The last digit that words are written with at least: 0.001 mm or 0.00001 in, or a least increment.
pub(super) const fn step(unit: Unit, integers: Integers) -> Length {
    match (unit, integers) {
        (Unit::Mm, _) => Length::from_counts(10_000),
        (Unit::Inch, Integers::Units) => Length::from_counts(2_540),
        (Unit::Inch, Integers::Increments) => Length::from_counts(25_400),
    }
}

/// Writes digits of a whole number with at least `width` digits.
fn digits<const N: usize>(text: &mut Vec<u8, N>, number: u64, width: u8) {
    let mut buffer = [b'0'; 20];
    let (mut left, mut count) = (number, 0_usize);
    for slot in buffer.iter_mut().rev() {
        if left == 0 {
            break;
        }
        *slot = (left % 10) as u8 | b'0';
        left /= 10;
        count = count.saturating_add(1);
    }
    let shown = count.max(usize::from(width)).min(buffer.len());
    put(text, buffer.get(buffer.len().saturating_sub(shown)..).unwrap_or(&[]));
}

/// `number` × `factor` / `divisor` to the nearest, halves away from zero.
fn scaled(number: i64, factor: i64, divisor: i64) -> i64 {
    // Nearly every number of a program fits in 64 bits, where dividing is fast.
    if let Some(numerator) = number.checked_mul(factor) {
        let half = (divisor / 2).saturating_mul(numerator.signum());
        if let Some(sum) = numerator.checked_add(half) {
            return sum.checked_div(divisor).unwrap_or(0);
        }
    }
    let numerator = i128::from(number).saturating_mul(i128::from(factor));
    let half = i128::from(divisor / 2).saturating_mul(numerator.signum());
    let nearest = numerator.saturating_add(half).checked_div(i128::from(divisor)).unwrap_or(0);
    i64::try_from(nearest).unwrap_or(0)
}

/// Writes a word for a length in the style of the word it replaces, and says what it stands for:
/// the length rounded to the decimals of the word, but no coarser than 0.001 mm or 0.00001 in
/// (least increments where the program counts in those).
pub(super) fn dimension<const N: usize>(
    text: &mut Vec<u8, N>,
    letter: u8,
    length: Length,
    style: Option<&Number>,
    modal: &Modal,
) -> Length {
    let unit = modal.unit.counts();
    let whole_increments =
        modal.integers == Integers::Increments && style.is_some_and(|number| number.point() == Point::Absent);
    let written = style.map_or(0, Number::decimals).min(MOST_DECIMALS);
    let decimals = match (whole_increments, modal.unit) {
        (true, Unit::Mm) => 3,
        (true, Unit::Inch) => 4,
        (false, unit) => written.max(fine_decimals(unit)),
    };
    let scale = power_of_ten(decimals);
    // Nearly always a last digit is a whole number of counts.
    let (rounded, value) = match last_digit(modal.unit, decimals) {
        Some(digit) => {
            let rounded = scaled(length.counts(), 1, digit);
            (rounded, rounded.saturating_mul(digit))
        }
        None => {
            let rounded = scaled(length.counts(), scale, unit);
            (rounded, scaled(rounded, unit, scale))
        }
    };
    let mut size = rounded.unsigned_abs();
    if whole_increments {
        put(text, &[letter]);
        if rounded < 0 {
            put(text, b"-");
        }
        digits(text, size, 1);
        return Length::from_counts(value);
    }
    let bare = size < scale.unsigned_abs() && style.is_some_and(|number| number.whole_digits() == 0);
    let (fewest, least) = if bare { (written.max(1), 0) } else { (written, 1) };
    if let Some(packed) = Packed::of(rounded).filter(|_| decimals < 8) {
        put(text, &packed.word(letter, u32::from(decimals), u32::from(fewest), least));
        return Length::from_counts(value);
    }
    put(text, &[letter]);
    if rounded < 0 {
        put(text, b"-");
    }
    let (mut shown, mut scale) = (decimals, scale.unsigned_abs());
    while shown > fewest && size % 10 == 0 {
        (size, scale) = (size / 10, scale / 10);
        shown = shown.saturating_sub(1);
    }
    digits(text, size.checked_div(scale).unwrap_or(0), least as u8);
    put(text, b".");
    if shown > 0 {
        digits(text, size.checked_rem(scale).unwrap_or(0), shown);
    }
    Length::from_counts(value)
}

/// The counts of a last digit, where they are whole.
pub(super) fn last_digit(unit: Unit, decimals: u8) -> Option<i64> {
    match unit {
        Unit::Mm => Some(power_of_ten(7_u8.checked_sub(decimals)?)),
        Unit::Inch => power_of_ten(6_u8.checked_sub(decimals)?).checked_mul(254),
    }
}

/// Writes a word with a number as it was written.
pub(super) fn put_number<const N: usize>(text: &mut Vec<u8, N>, letter: u8, number: &Number) {
    put(text, &[letter]);
    match number.sign() {
        Sign::Minus => put(text, b"-"),
        Sign::Plus | Sign::Absent => {}
    }
    let decimals = number.decimals();
    let scale = power_of_ten(decimals).unsigned_abs().max(1);
    let size = number.mantissa().unsigned_abs();
    digits(text, size.checked_div(scale).unwrap_or(0), if number.whole_digits() == 0 { 0 } else { 1 });
    if number.point() == Point::Present {
        put(text, b".");
        if decimals > 0 {
            digits(text, size.checked_rem(scale).unwrap_or(0), decimals);
        }
    }
}

/// Writes an F word with a point and up to six decimals.
pub(super) fn feed<const N: usize>(text: &mut Vec<u8, N>, value: f64) {
    let micro = libm::round(libm::fabs(value) * 1e6) as u64;
    put(text, b"F");
    digits(text, micro / 1_000_000, 1);
    put(text, b".");
    let (mut rest, mut shown) = (micro % 1_000_000, 6_u8);
    while shown > 0 && rest % 10 == 0 {
        (rest, shown) = (rest / 10, shown.saturating_sub(1));
    }
    if shown > 0 {
        digits(text, rest, shown);
    }
}

/// Changes of a line, `N` at most: ranges of bytes and what stands there instead, from left to right. Each kind
/// of line has room for the changes that it can need, and no more: they are the largest thing on the stack.
#[derive(Debug, Default)]
pub(super) struct Patches<const N: usize>(Vec<(usize, usize, Text), N>);

impl<const N: usize> Patches<N> {
    /// No changes.
    pub const fn new() -> Self {
        Self(Vec::new())
    }

    /// Puts a text in the place of a word.
    pub fn replace(&mut self, span: Span, text: Text) {
        self.add(span.start, span.end, text);
    }

    /// Puts bytes in the place of a word.
    #[inline(never)]
    pub fn put(&mut self, span: Span, bytes: &[u8]) {
        let mut text = Text::new();
        put(&mut text, bytes);
        self.replace(span, text);
    }

    /// Puts a text before a place.
    pub fn insert(&mut self, at: usize, text: &[u8]) {
        let mut copy = Text::new();
        put(&mut copy, text);
        self.add(at, at, copy);
    }

    /// What is put before a word comes before its change, in the order in which it was made.
    fn add(&mut self, start: usize, end: usize, text: Text) {
        let before = self.0.iter().take_while(|change| (change.0, change.1) <= (start, end)).count();
        let _ = self.0.insert(before, (start, end, text));
    }

    /// Whether nothing changes.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Writes the line with its changes, and without some words, each with a blank beside it.
    pub fn write(&self, line: &[u8], without: &[Span], sink: &mut impl FnMut(&[u8])) {
        let mut done = 0;
        for (start, end, text) in &self.0 {
            write_without(line, without, done..*start, sink);
            sink(text);
            done = *end;
        }
        write_without(line, without, done..line.len(), sink);
    }
}

fn write_without(line: &[u8], without: &[Span], part: Range<usize>, sink: &mut impl FnMut(&[u8])) {
    let mut done = part.start;
    for word in without.iter().filter(|word| part.contains(&word.start)) {
        let before = line.get(done..word.start).unwrap_or(&[]);
        if let [rest @ .., b' '] = before {
            sink(rest);
            done = word.end;
        } else {
            sink(before);
            let blank = line.get(word.end).is_some_and(|byte| *byte == b' ');
            done = word.end.saturating_add(usize::from(blank));
        }
    }
    sink(line.get(done..part.end).unwrap_or(&[]));
}
