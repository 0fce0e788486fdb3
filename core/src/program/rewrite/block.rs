//! One block: its words sorted by what they concern, its modal effects applied.

use super::refusal::{Reason, Stop};
use crate::axis::{Axis, PerAxis};
use crate::program::modal::{Modal, Plane};
use crate::program::words::{Span, Token, Word, Words};

/// What the axis words of a block are for, when not for a move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    /// The motion in force.
    Move,
    /// A dwell: they are times.
    Dwell,
    /// Data of offsets: all places and seats are in doubt.
    Offsets,
    /// A reference return or a place in machine coordinates: the named axes go there, or all.
    Machine,
    /// G92: the place where the axis is gets a new name.
    Rename,
}

/// The words of a block.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    pub purpose: Purpose,
    pub axes: PerAxis<Option<Word>>,
    pub centre: PerAxis<Option<Word>>,
    pub radius: Option<Word>,
    pub feed: Option<Word>,
    /// P in an arc, L or K in a cycle.
    pub turns: Option<Word>,
    pub repeats: Option<Word>,
    /// Where a motion word stands.
    pub motion_word: Option<Span>,
    /// An M word that acts after the move: stop, end, spindle or coolant off.
    pub after: Option<Span>,
    /// A word that changes units, distance or feed mode.
    pub mode_word: bool,
    pub skip: Option<Span>,
    pub forgets: bool,
    pub program: bool,
    pub rotary: bool,
    /// The tolerance of G64 P.
    pub blending: Option<Word>,
}

/// The mark that a corrected program carries in a comment.
pub(super) const MARK: &[u8] = b"LOST MOTION TAKEN UP";

const fn plane_has(plane: Plane, axis: Axis) -> bool {
    match plane {
        Plane::Xy => !matches!(axis, Axis::Z),
        Plane::Zx => !matches!(axis, Axis::Y),
        Plane::Yz => !matches!(axis, Axis::X),
    }
}

fn once(slot: &mut Option<Word>, word: Word) -> Result<(), Stop> {
    if slot.replace(word).is_some() { Err(Stop(Some(word.span), Reason::Twice)) } else { Ok(()) }
}

impl Block {
    const EMPTY: Block = Block {
        purpose: Purpose::Move,
        axes: PerAxis { x: None, y: None, z: None },
        centre: PerAxis { x: None, y: None, z: None },
        radius: None,
        feed: None,
        turns: None,
        repeats: None,
        motion_word: None,
        after: None,
        mode_word: false,
        skip: None,
        forgets: false,
        program: false,
        rotary: false,
        blending: None,
    };

    /// Reads a line and applies its modal words. `corrected` says which axes are corrected.
    #[inline]
    pub fn read(line: &[u8], modal: &mut Modal, corrected: &PerAxis<bool>) -> Result<Block, Stop> {
        let mut block = Block::EMPTY;
        let (mut plane_wide, mut blend) = (None, false);
        for token in Words::new(line) {
            let word = match token? {
                Token::Word(word) => word,
                Token::Comment(span) => {
                    if contains_mark(span.of(line)) {
                        return Err(Stop(Some(span), Reason::AlreadyCorrected));
                    }
                    continue;
                }
                Token::BlockDelete(span) => {
                    block.skip = Some(span);
                    continue;
                }
                Token::Percent(_) => continue,
            };
            match word.letter {
                b'X' => once(&mut block.axes.x, word)?,
                b'Y' => once(&mut block.axes.y, word)?,
                b'Z' => once(&mut block.axes.z, word)?,
                b'I' => once(&mut block.centre.x, word)?,
                b'J' => once(&mut block.centre.y, word)?,
                b'K' => once(&mut block.centre.z, word)?,
                b'R' => once(&mut block.radius, word)?,
                b'F' => once(&mut block.feed, word)?,
                b'P' => block.turns = Some(word),
                b'L' => block.repeats = Some(word),
                b'N' | b'O' | b':' => continue,
                b'U' | b'V' | b'W' => return Err(Stop(Some(word.span), Reason::UnknownCode)),
                b'A' | b'B' | b'C' => block.rotary = true,
                b'G' => block.general(word, modal, corrected, &mut plane_wide, &mut blend)?,
                b'M' => block.machine(word)?,
                _ => {}
            }
            block.program = true;
        }
        if let Some((span, reason)) = plane_wide
            && corrected.iter().any(|(axis, on)| *on && plane_has(modal.plane, axis))
        {
            return Err(Stop(Some(span), reason));
        }
        if blend {
            block.blending = block.turns;
        }
        Ok(block)
    }

    fn general(
        &mut self,
        word: Word,
        modal: &mut Modal,
        corrected: &PerAxis<bool>,
        plane_wide: &mut Option<(Span, Reason)>,
        blend: &mut bool,
    ) -> Result<(), Stop> {
        let stop = |reason| Err(Stop(Some(word.span), reason));
        let Some(tenths) = word.number.tenths() else { return stop(Reason::UnknownCode) };
        if modal.apply(tenths) {
            match tenths {
                0..=30 | 730 | 800..=890 => self.motion_word = Some(word.span),
                200 | 210 | 700 | 710 | 900..=950 => self.mode_word = true,
                _ => {}
            }
            return Ok(());
        }
        match tenths {
            40 => self.purpose = Purpose::Dwell,
            100 => {
                self.purpose = Purpose::Offsets;
                self.forgets = true;
            }
            280 | 300 | 530 => self.purpose = Purpose::Machine,
            520 => {
                self.purpose = Purpose::Offsets;
                self.forgets = true;
            }
            920 => self.purpose = Purpose::Rename,
            921..=923 | 430 | 431 | 432 | 440 | 490 | 540..=593 => self.forgets = true,
            281 | 301 => self.purpose = Purpose::Offsets,
            640 => *blend = true,
            400 | 80 | 90 | 51 | 150 | 500 | 501 | 610 | 611 | 690 | 960 | 970 | 1870 => {}
            410 | 411 | 420 | 421 => *plane_wide = Some((word.span, Reason::CutterCompensation)),
            160 | 680 => *plane_wide = Some((word.span, Reason::Transformed)),
            510 | 511 if corrected.iter().any(|(_, on)| *on) => return stop(Reason::Transformed),
            434 | 435 => return stop(Reason::ToolPoint),
            320 | 330 | 331 | 340 | 760 => return stop(Reason::Threading),
            310 | 380..=385 => return stop(Reason::Probing),
            50 | 52 | 53 | 60 | 61 | 62 => *plane_wide = Some((word.span, Reason::Spline)),
            650 | 660 | 661 | 670 => return stop(Reason::Subprogram),
            _ => return stop(Reason::UnknownCode),
        }
        Ok(())
    }

    fn machine(&mut self, word: Word) -> Result<(), Stop> {
        match word.number.whole() {
            Some(6) => self.forgets = true,
            Some(0 | 1 | 2 | 5 | 9 | 30 | 60) => self.after = self.after.or(Some(word.span)),
            Some(96..=99) => return Err(Stop(Some(word.span), Reason::Subprogram)),
            Some(_) => {}
            None => return Err(Stop(Some(word.span), Reason::UnknownCode)),
        }
        Ok(())
    }

    /// Whether any of X, Y, Z stands in the block.
    pub fn names_axis(&self) -> bool {
        self.axes.x.is_some() || self.axes.y.is_some() || self.axes.z.is_some()
    }

    /// The first word that belongs to the move, before which a motion word can be put.
    pub fn first_dimension(&self) -> usize {
        let all =
            [self.axes.x, self.axes.y, self.axes.z, self.centre.x, self.centre.y, self.centre.z, self.radius];
        all.iter().flatten().map(|word| word.span.start).min().unwrap_or(0)
    }
}

fn contains_mark(comment: &[u8]) -> bool {
    comment.windows(MARK.len()).any(|window| window.eq_ignore_ascii_case(MARK))
}
