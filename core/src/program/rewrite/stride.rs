//! The short way for most lines of a program that cuts surfaces: those that only go on with a cut.
//!
//! Such a line has the words of a line, or of an arc in a plane without correction, and nothing else that
//! matters; nothing is in doubt before it, and where an axis turns round in it the clearance is crossed as
//! anywhere. It comes out as by the long way, which takes all other lines; a test sends both ways. Many such
//! lines are taken at once: what does not change in them is handed out in one piece, and of the axes without
//! correction only the last place is read.

use super::Rewriter;
use super::emit::{Text, dimension, last_digit, put};
use super::familiar::{Familiar, Going, Standing, motion_of};
use super::packed::Packed;
use super::spelt::Spelt;
use super::track::Track;
use crate::axis::{Axis, Direction};
use crate::length::{Length, Unit};
use crate::program::modal::{Distance, Feed, Motion};
use crate::program::number::Integers;
use crate::program::words::{LONGEST_LINE, Token, Words};
use heapless::Vec;

/// The decimals that places are followed with here, of a millimetre and of an inch: as many as programs have.
const fn followed_decimals(unit: Unit) -> u8 {
    match unit {
        Unit::Mm => 4,
        Unit::Inch => 5,
    }
}

/// Longer numbers before the point are left to the long way, which looks whether they are out of range.
const MOST_WHOLE: u32 = 6;

/// Letters of a line as bits, those of the axes lowest.
mod letters {
    pub const X: u16 = 1;
    pub const Y: u16 = 1 << 1;
    pub const Z: u16 = 1 << 2;
    pub const AXES: u16 = X | Y | Z;
    pub const I: u16 = 1 << 3;
    pub const J: u16 = 1 << 4;
    pub const K: u16 = 1 << 5;
    pub const R: u16 = 1 << 6;
    pub const ARC: u16 = I | J | K | R;
    pub const MOTION: u16 = 1 << 7;
    pub const FEED: u16 = 1 << 8;
    pub const NUMBER: u16 = 1 << 9;
    /// Blanks, line ends, and all that such a line has not.
    pub const NONE: u16 = 0x8000;

    const fn bit(letter: u8) -> u16 {
        match letter.to_ascii_uppercase() {
            b'X' => X,
            b'Y' => Y,
            b'Z' => Z,
            b'I' => I,
            b'J' => J,
            b'K' => K,
            b'R' => R,
            b'G' => MOTION,
            b'F' => FEED,
            b'N' => NUMBER,
            _ => NONE,
        }
    }

    /// The bit of each byte.
    pub static BITS: [u16; 256] = {
        let mut bits = [NONE; 256];
        let mut rest: &mut [u16] = &mut bits;
        let mut letter = 0;
        while let [first, others @ ..] = rest {
            *first = bit(letter);
            letter = letter.wrapping_add(1);
            rest = others;
        }
        bits
    };
}

/// The line that crosses clearances: a motion word and three axes.
type Crossing = Vec<u8, 80>;

/// A corrected axis, followed in last digits.
#[derive(Clone, Copy, Default)]
struct Bearing {
    wanted: Packed,
    /// It bears on its `+` seat.
    plus: bool,
    /// The corrections on its `-` and on its `+` seat.
    shifts: [Packed; 2],
}

impl Bearing {
    /// How an axis bears; `None` if something about it is in doubt, or finer than the last digit.
    fn of(track: &Track<'_>, digit: i64) -> Option<Self> {
        let packed = |length: Length| {
            let counts = length.counts();
            (counts.checked_rem(digit)? == 0).then(|| Packed::of(counts.checked_div(digit)?))?
        };
        let seat = track.seat.filter(|_| track.is_told() && track.is_uniform())?;
        if track.unsure || track.sent != track.command(track.wanted, seat) {
            return None;
        }
        let shift = |towards| packed(track.command(Length::ZERO, towards));
        let shifts = [shift(Direction::Minus)?, shift(Direction::Plus)?];
        Some(Self { wanted: packed(track.wanted)?, plus: seat == Direction::Plus, shifts })
    }

    const fn shift(&self, plus: bool) -> Packed {
        let [below, above] = self.shifts;
        if plus { above } else { below }
    }
}

/// The line found last.
struct Stride {
    begin: usize,
    /// One after its line end.
    end: usize,
    letters: u16,
    motion: Motion,
    /// The axes that turn round.
    turning: u16,
    familiar: Familiar,
}

/// What lines that go on with a cut change.
struct Course {
    /// Arcs are cut as lines are: no axis of their plane is corrected.
    arcs: bool,
    /// Decimals that places are followed with, and the counts of the last one.
    decimals: u32,
    digit: i64,
    motion: Motion,
    fed: bool,
    /// The corrected axes.
    corrected: u16,
    bearings: [Bearing; 4],
    /// The letters and the place of the line before, and the line before that in which each axis stood last.
    letters: u16,
    begin: usize,
    last: [Option<usize>; 3],
}

const fn bit(axis: Axis) -> u16 {
    match axis {
        Axis::X => letters::X,
        Axis::Y => letters::Y,
        Axis::Z => letters::Z,
    }
}

/// Whether two lines give an axis one place, where both words have the same decimals, as almost always. That spares a program
/// of surfaces the general reader of words, in which it spent about a twentieth of its time.
fn spelt_alike(text: &[u8], line: usize, next: usize, axis: Axis) -> Option<bool> {
    // Such lines have a letter once, and no remarks.
    let number = |line: usize| {
        let rest = text.get(line..)?;
        let letter = rest.iter().position(|byte| byte.to_ascii_uppercase() == axis.letter() as u8)?;
        Spelt::read(rest, letter.wrapping_add(1))
    };
    let (stands, goes) = (number(line)?, number(next)?);
    (stands.decimals == goes.decimals).then(|| stands.packed() == goes.packed())
}

const fn towards(plus: bool) -> Direction {
    if plus { Direction::Plus } else { Direction::Minus }
}

impl Course {
    /// Finds the next line in `text`, after the one found last; `false` if it is not whole or not such a line.
    #[inline(always)]
    fn next(&self, text: &[u8], stride: &mut Stride) -> bool {
        let begin = stride.end;
        let Some(line) = stride.familiar.expected() else { return false };
        let Some(length) = line.shape.length_at(text, begin) else {
            return self.read(text, stride).is_some();
        };
        let motion = match &line.motion {
            Some(word) => motion_of(&word.again(text, begin)),
            None => Some(self.motion),
        };
        let Some(motion) = motion.filter(|motion| self.fits(*motion, line.letters)) else { return false };
        stride.turning = 0;
        for going in &mut line.goings {
            if self.follow(going, going.word.again(text, begin), &mut stride.turning).is_none() {
                return false;
            }
        }
        (stride.begin, stride.end) = (begin, begin.wrapping_add(length));
        (stride.letters, stride.motion) = (line.letters, motion);
        stride.familiar.came();
        true
    }

    /// The next line has other letters than the one before.
    fn change_letters(&mut self, letters: u16) {
        self.last = Axis::ALL.map(|axis| self.last(axis));
        self.letters = letters;
        self.fed |= letters & letters::FEED != 0;
    }

    /// The line in which an axis stood last.
    fn last(&self, axis: Axis) -> Option<usize> {
        let [x, y, z] = self.last;
        match axis {
            _ if self.letters & bit(axis) != 0 => Some(self.begin),
            Axis::X => x,
            Axis::Y => y,
            Axis::Z => z,
        }
    }

    /// Whether a line with these words is one that goes on with a cut in this motion.
    #[inline(always)]
    const fn fits(&self, motion: Motion, letters: u16) -> bool {
        letters & letters::AXES != 0 && if motion.is_arc() { self.arcs } else { letters & letters::ARC == 0 }
    }

    /// Where the word of a corrected axis leads.
    #[inline(always)]
    fn follow(&self, going: &mut Going, number: Spelt, turning: &mut u16) -> Option<()> {
        let finer = self.decimals.wrapping_sub(number.decimals);
        let to = number.packed().times_ten_to(finer);
        let bearing = self.bearings.get(going.axis)?;
        let plus = if to == bearing.wanted { bearing.plus } else { to > bearing.wanted };
        // X, Y and Z are the lowest bits.
        *turning |= if plus == bearing.plus { 0 } else { 1_u16.wrapping_shl(going.axis as u32) };
        (going.to, going.plus) = (to, plus);
        (!to.nearly_full()).then_some(())
    }

    /// Reads the line word by word.
    #[inline(never)]
    fn read(&self, text: &[u8], stride: &mut Stride) -> Option<()> {
        let begin = stride.end;
        let mut at = begin;
        let (mut found, mut motion, mut turning) = (0_u16, self.motion, 0);
        let line = stride.familiar.new_line()?;
        let end = loop {
            let byte = *text.get(at)?;
            let next = at.wrapping_add(1);
            let bit = letters::BITS.get(usize::from(byte)).copied().unwrap_or(letters::NONE);
            if bit == letters::NONE {
                match byte {
                    b' ' | b'\t' => {
                        at = next;
                        continue;
                    }
                    b'\n' => break next,
                    b'\r' if text.get(next) == Some(&b'\n') => break next.wrapping_add(1),
                    _ => return None,
                }
            }
            if found & bit != 0 {
                return None;
            }
            found |= bit;
            let number = Spelt::read(text, next)?;
            let word = Standing::of(at, number, begin);
            if bit & self.corrected != 0 {
                if number.whole_digits.wrapping_add(self.decimals) > 8 || number.decimals > self.decimals {
                    return None;
                }
                let axis = bit.trailing_zeros() as usize;
                let mut going = Going { axis, word, to: Packed::ZERO, plus: false };
                self.follow(&mut going, number, &mut turning)?;
                let _ = line.goings.push(going);
            } else if bit == letters::MOTION {
                motion = motion_of(&number)?;
                line.motion = Some(word);
            } else if bit & letters::AXES != 0 && number.whole_digits > MOST_WHOLE {
                return None;
            }
            at = number.end;
        };
        if end.wrapping_sub(begin) > LONGEST_LINE || !self.fits(motion, found) {
            return None;
        }
        line.letters = found;
        stride.familiar.keep(text.get(begin..end)?);
        (stride.begin, stride.end) = (begin, end);
        (stride.letters, stride.motion, stride.turning) = (found, motion, turning);
        Some(())
    }

    /// The word that sends an axis where it goes, if its command is not the place.
    #[inline(always)]
    fn word(&self, going: &Going) -> Option<Text> {
        let shift = self.bearings.get(going.axis)?.shift(going.plus);
        if shift.is_zero() {
            return None;
        }
        // No place is so far that its command would need more digits.
        let command = going.to.plus(shift)?;
        let letter = b'X'.wrapping_add(going.axis as u8);
        let written = going.word.number.decimals;
        let bare = going.word.number.whole_digits == 0 && command.size_below(self.decimals);
        let (fewest, least) = if bare { (written.max(1), 0) } else { (written, 1) };
        Some(command.word(letter, self.decimals, fewest, least))
    }
}

impl Rewriter<'_> {
    /// Takes whole lines from the head of `text` that only go on with a cut, as many as there are, and
    /// hands out what stands in their place. Gives how many bytes it took, none if the first line is another
    /// one. What it does not take is for [`Rewriter::line`], which takes any line, and these more slowly.
    ///
    /// ```
    /// # use takeup_core::correct::Table;
    /// # use takeup_core::program::rewrite::{Refusal, Rewriter, Settings};
    /// fn rewritten(text: &[u8], table: &Table, out: &mut Vec<u8>) -> Result<(), Refusal> {
    ///     let mut rewriter = Rewriter::new(table, &Settings::DEFAULT);
    ///     let mut sink = |part: &[u8]| out.extend_from_slice(part);
    ///     let mut rest = text;
    ///     loop {
    ///         let taken = rewriter.strides(rest, &mut sink);
    ///         let Some(line) = rest[taken..].split_inclusive(|byte| *byte == b'\n').next() else { return Ok(()) };
    ///         rewriter.line(line, &mut sink)?;
    ///         rest = &rest[taken + line.len()..];
    ///     }
    /// }
    /// # rewritten(b"G0 Z5\nG1 Z-1 F99\nX1\nX2\n", &Table::EMPTY, &mut Vec::new()).unwrap();
    /// ```
    pub fn strides(&mut self, text: &[u8], sink: &mut impl FnMut(&[u8])) -> usize {
        let Some(mut course) = self.in_stride() else { return 0 };
        let (mut done, mut copied, mut lines) = (0, 0, 0_u64);
        let familiar = Familiar::NONE;
        let mut stride = Stride { begin: 0, end: 0, letters: 0, motion: Motion::None, turning: 0, familiar };
        while course.next(text, &mut stride) {
            if stride.turning != 0 {
                self.bear(&course);
                let mut crossing = Crossing::new();
                if self.cross(&mut crossing, text, &stride, &course).is_none() {
                    break;
                }
                if !crossing.is_empty() {
                    sink(text.get(copied..done).unwrap_or(&[]));
                    sink(&crossing);
                    sink(self.line_end());
                    self.counts.lines_out = self.counts.lines_out.saturating_add(1);
                    copied = done;
                }
                let turns = u64::from(stride.turning.count_ones());
                self.counts.take_ups = self.counts.take_ups.saturating_add(turns);
            }
            let mut changed = 0;
            for going in &stride.familiar.current().goings {
                if let Some(word) = course.word(going) {
                    sink(text.get(copied..done.wrapping_add(going.word.letter)).unwrap_or(&[]));
                    sink(&word);
                    (copied, changed) = (done.wrapping_add(going.word.end), 1);
                }
                if let Some(bearing) = course.bearings.get_mut(going.axis) {
                    (bearing.wanted, bearing.plus) = (going.to, going.plus);
                }
            }
            self.counts.lines_changed = self.counts.lines_changed.saturating_add(changed);
            if stride.letters != course.letters {
                course.change_letters(stride.letters);
            }
            (course.motion, course.begin) = (stride.motion, done);
            (done, lines) = (stride.end, lines.wrapping_add(1));
        }
        if lines > 0 {
            sink(text.get(copied..done).unwrap_or(&[]));
            self.bear(&course);
            self.arrive_at(&course, text);
            (self.modal.motion, self.fed) = (course.motion, course.fed);
            self.counts.lines_in = self.counts.lines_in.saturating_add(lines);
            self.counts.lines_out = self.counts.lines_out.saturating_add(lines);
        }
        done
    }

    /// Whether nothing is in doubt and nothing is to be looked at but the words of a line.
    fn in_stride(&self) -> Option<Course> {
        let modal = &self.modal;
        let goes_on = modal.cuts()
            && modal.distance == Distance::Absolute
            && modal.feed != Feed::InverseTime
            && modal.integers == Integers::Units
            && self.marked
            && self.after_cut
            && !self.ended.is_behind()
            && self.skipped.is_none()
            && !self.revived;
        if !goes_on {
            return None;
        }
        let decimals = followed_decimals(modal.unit);
        let digit = last_digit(modal.unit, decimals)?;
        let (mut corrected, mut bearings) = (0, [Bearing::default(); 4]);
        for (axis, bearing) in Axis::ALL.into_iter().zip(&mut bearings) {
            let track = self.axes.get(axis);
            if self.limits.get(axis).is_some() {
                return None;
            }
            if track.corrected() {
                *bearing = Bearing::of(track, digit)?;
                corrected |= bit(axis);
            }
        }
        let (first, second, _) = modal.plane.axes();
        Some(Course {
            arcs: !self.axes.get(first).shifts() && !self.axes.get(second).shifts(),
            decimals: u32::from(decimals),
            digit,
            motion: modal.motion,
            fed: self.fed,
            corrected,
            bearings,
            letters: 0,
            begin: 0,
            last: [None; 3],
        })
    }

    /// Crosses the clearances of the axes that turn round in a line, in a line of its own unless such an axis
    /// moves alone; `None` if this is for the long way. The corrected axes stand where it begins.
    #[inline(never)]
    fn cross(&self, crossing: &mut Crossing, text: &[u8], stride: &Stride, course: &Course) -> Option<()> {
        let feeds = stride.letters & letters::FEED != 0;
        if stride.motion != Motion::Line || (feeds && !course.fed) {
            return None;
        }
        let to = |axis: Axis| self.named(text, stride.begin, axis);
        let stays = |axis: Axis| {
            if stride.letters & bit(axis) == 0 {
                return true;
            }
            let track = self.axes.get(axis);
            let stood = track.is_told().then_some(track.wanted);
            let stands = match course.last(axis).filter(|_| !track.corrected()) {
                Some(line) => match spelt_alike(text, line, stride.begin, axis) {
                    Some(alike) => return alike,
                    None => self.named(text, line, axis),
                },
                None => stood,
            };
            stands.is_some() && to(axis) == stands
        };
        for axis in Axis::ALL.into_iter().filter(|axis| stride.turning & bit(*axis) != 0) {
            let track = self.axes.get(axis);
            let towards = track.seat?.reversed();
            if !track.takes_up() {
                return None;
            }
            let sent = if Axis::ALL.into_iter().all(|other| other == axis || stays(other)) {
                track.command(to(axis)?, towards)
            } else {
                put(crossing, if crossing.is_empty() { b"G1 " } else { b" " });
                let command = track.command(track.wanted, towards);
                dimension(crossing, axis.letter() as u8, command, None, &self.modal)
            };
            if track.seat_after(track.sent, sent, Some(towards)) != Some(towards) {
                return None;
            }
        }
        Some(())
    }

    /// The place that a line gives an axis.
    fn named(&self, text: &[u8], line: usize, axis: Axis) -> Option<Length> {
        let rest = text.get(line..)?;
        // The line's own end is a fault in the midst of a text, behind which nothing is read.
        let words = Words::new(rest.get(..LONGEST_LINE).unwrap_or(rest));
        let mut numbers = words.filter_map(|token| match token {
            Ok(Token::Word(word)) if word.letter == axis.letter() as u8 => Some(word.number),
            _ => None,
        });
        numbers.next()?.length(self.modal.unit, self.modal.integers)
    }

    /// The corrected axes stand where lines have sent them.
    fn bear(&mut self, course: &Course) {
        for (axis, bearing) in Axis::ALL.into_iter().zip(course.bearings) {
            if course.corrected & bit(axis) != 0 {
                let place = Length::from_counts(bearing.wanted.number().saturating_mul(course.digit));
                let seat = towards(bearing.plus);
                let track = self.axes.get_mut(axis);
                track.sent = track.command(place, seat);
                self.settle(axis, place, Some(seat));
            }
        }
    }

    /// The other axes stand where their last words have sent them.
    fn arrive_at(&mut self, course: &Course, text: &[u8]) {
        for axis in Axis::ALL {
            if course.corrected & bit(axis) != 0 {
                continue;
            }
            if let Some(place) = course.last(axis).and_then(|line| self.named(text, line, axis)) {
                self.axes.get_mut(axis).sent = place;
                self.settle(axis, place, None);
            }
        }
    }
}
