//! Lines known by their shapes, and which of them follows which: a program repeats a few lines in turn, such as the
//! quarters of a circle, and what was found out about one need not be found out again.

use super::packed::Packed;
use super::shape::Shape;
use super::spelt::Spelt;
use crate::program::modal::Motion;
use heapless::Vec;

/// Lines that are known at most, with the one that is not.
const MOST: usize = 8;

/// Where the one line stands that is read word by word and not kept.
const UNKNOWN: usize = 0;

/// A word, at a place counted from the begin of its line.
#[derive(Clone, Copy)]
pub(super) struct Standing {
    pub letter: usize,
    first_digit: usize,
    /// One after its last digit or its point.
    pub end: usize,
    /// Its number, in the line that had it last.
    pub number: Spelt,
}

impl Standing {
    /// Of a letter at a place in a text, in a line that begins at another.
    pub const fn of(letter: usize, number: Spelt, begin: usize) -> Self {
        let (letter, first_digit) = (letter.wrapping_sub(begin), number.start().wrapping_sub(begin));
        Self { letter, first_digit, end: number.end.wrapping_sub(begin), number }
    }

    /// The number in a line of the same shape that begins at a place in a text.
    #[inline(always)]
    pub fn again(&self, text: &[u8], begin: usize) -> Spelt {
        self.number.like_at(text, begin.wrapping_add(self.first_digit), begin.wrapping_add(self.end))
    }
}

/// The word of a corrected axis in a line.
#[derive(Clone, Copy)]
pub(super) struct Going {
    pub axis: usize,
    pub word: Standing,
    pub to: Packed,
    /// It bears on the `+` seat then.
    pub plus: bool,
}

/// What is known of a line.
#[derive(Clone)]
pub(super) struct Line {
    pub shape: Shape,
    pub letters: u16,
    /// Its motion word, whose digits may differ in the next one.
    pub motion: Option<Standing>,
    pub goings: Vec<Going, 3>,
    /// The line that came behind it last time.
    follower: usize,
}

impl Line {
    const NONE: Line =
        Line { shape: Shape::NONE, letters: 0, motion: None, goings: Vec::new(), follower: UNKNOWN };
}

/// The motion that a G word chooses, if it is a cut.
pub(super) const fn motion_of(number: &Spelt) -> Option<Motion> {
    match (number.packed().number(), number.decimals) {
        (1, 0) => Some(Motion::Line),
        (2, 0) => Some(Motion::ArcClockwise),
        (3, 0) => Some(Motion::ArcCounterclockwise),
        _ => None,
    }
}

/// The known lines.
pub(super) struct Familiar {
    lines: [Line; MOST],
    /// The line that was found last, and the one that is expected behind it.
    current: usize,
    expected: usize,
    /// The one that the next new one takes the place of.
    oldest: usize,
    /// Lines one after another that were not expected.
    surprises: u32,
}

impl Familiar {
    /// No line is known.
    pub const NONE: Familiar = Familiar {
        lines: [const { Line::NONE }; MOST],
        current: UNKNOWN,
        expected: UNKNOWN,
        oldest: 1,
        surprises: 0,
    };

    /// The line that should come next; one without a shape if nothing is known about that.
    #[inline(always)]
    pub fn expected(&mut self) -> Option<&mut Line> {
        self.lines.get_mut(self.expected)
    }

    /// It came.
    #[inline(always)]
    pub fn came(&mut self) {
        self.surprises = 0;
        // In a surface each line has the shape of the one before.
        if self.current != self.expected {
            self.current = self.expected;
            self.expected = self.lines.get(self.current).map_or(UNKNOWN, |line| line.follower);
        }
    }

    /// The line found last.
    #[inline(always)]
    pub fn current(&self) -> &Line {
        // There is always one of that number.
        static NONE: Line = Line::NONE;
        self.lines.get(self.current).unwrap_or(&NONE)
    }

    /// Another line came: an empty one, for what is found in it.
    pub fn new_line(&mut self) -> Option<&mut Line> {
        let line = self.lines.get_mut(UNKNOWN)?;
        line.goings.clear();
        line.motion = None;
        Some(line)
    }

    /// Keeps what was found in the new line, if that is worth while, as what follows the line before it.
    pub fn keep(&mut self, text: &[u8]) {
        let before = core::mem::replace(&mut self.current, UNKNOWN);
        self.expected = UNKNOWN;
        // Where each line is a surprise, making shapes is only tried now and then.
        self.surprises = self.surprises.wrapping_add(1);
        if self.surprises >= MOST as u32 && !self.surprises.is_multiple_of(MOST as u32) {
            return;
        }
        let shape = Shape::of(text);
        let kept = self.lines.iter().skip(1).position(|line| line.shape == shape);
        let slot = match kept {
            Some(place) => place.wrapping_add(1),
            None => {
                let next = self.oldest.wrapping_add(1);
                core::mem::replace(&mut self.oldest, if next < MOST { next } else { 1 })
            }
        };
        if before != UNKNOWN
            && let Some(line) = self.lines.get_mut(before)
        {
            line.follower = slot;
        }
        if let [unknown, known @ ..] = &mut self.lines
            && let Some(line) = known.get_mut(slot.wrapping_sub(1))
        {
            let follower = if kept.is_some() { line.follower } else { slot };
            line.clone_from(unknown);
            (line.shape, line.follower) = (shape, follower);
        }
        (self.current, self.expected) = (slot, self.lines.get(slot).map_or(UNKNOWN, |line| line.follower));
    }
}
