//! What puts places, seats and coordinates in doubt: returns, offsets, new names of places, tool changes,
//! blocks that may be skipped.

use super::block::{Blend, Block, Purpose};
use super::emit::{Patches, Text, dimension};
use super::refusal::{Reason, Stop};
use super::track::Place;
use super::{AlongTravel, Note, Rewriter};
use crate::axis::{Axis, Direction, PerAxis};
use crate::length::Length;
use crate::program::modal::{Distance, Modal};
use crate::program::number::Integers;
use crate::program::words::{Span, Word};

/// G54, which is in force behind the end of a program, or the one that was.
const FIRST_OFFSET: (u16, u16) = (540, 0);
/// One of the two, and which is not known.
const SOME_OFFSET: (u16, u16) = (0, 0);

/// Whether a program has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ended {
    /// It goes on.
    Not,
    /// By M2 or M30.
    Yes,
    /// Behind that stands something that is no program.
    WithText,
    /// Another program has begun in the same file.
    Another,
}

impl Ended {
    /// Whether nothing has moved since the end.
    pub const fn is_behind(self) -> bool {
        matches!(self, Ended::Yes | Ended::WithText)
    }
}

/// How the axes stand before a block that may be skipped.
pub(super) struct Standing {
    after_cut: bool,
    fed: bool,
    wanted: PerAxis<Length>,
    sent: PerAxis<Length>,
    seats: PerAxis<Option<Direction>>,
    unsure: PerAxis<bool>,
    known: PerAxis<bool>,
}

impl Rewriter<'_> {
    /// What a block puts in doubt, and what a person should know of its words.
    #[inline(never)]
    pub(super) fn doubt(&mut self, block: &Block, note: &mut Note) -> Result<(), Stop> {
        match block.blend {
            Blend::Unchanged => {}
            Blend::Without => note.blending = self.swallowed(None),
            Blend::Within => {
                let number = block.p.map(|word| word.number);
                let tolerance = number.and_then(|number| number.length(self.modal.unit, Integers::Units));
                note.blending = self.swallowed(Some(tolerance.unwrap_or_default()));
            }
        }
        if block.from_here {
            for axis in Axis::ALL {
                self.refuse_shifted(block, axis)?;
            }
        }
        if block.offset.is_some() && block.offset != self.offset {
            self.offset = block.offset.filter(|_| block.skip.is_none());
            for axis in Axis::ALL {
                self.other_coordinates(axis, note)?;
                self.forget(axis);
            }
        }
        if block.tool_length {
            if !self.axes.z.is_uniform() {
                note.along_travel = Some(AlongTravel::ToolLength);
            }
            self.lose_limits(Axis::Z, note);
        }
        if block.tool_change {
            for axis in Axis::ALL {
                self.axes.get_mut(axis).leave();
            }
            self.drilling.lose_level();
            self.after_cut = false;
        }
        let elsewhere = self.sets_another_offset(block);
        for axis in Axis::ALL {
            if !*block.doubt.get(axis) || elsewhere {
                continue;
            }
            if block.shifts_coordinates(axis) {
                if !self.axes.get(axis).is_uniform() {
                    return Err(Stop(None, Reason::OtherOffset(axis)));
                }
                self.other_coordinates(axis, note)?;
                self.lose_clear(axis, note);
            }
            self.forget(axis);
            if matches!(block.purpose, Purpose::Return | Purpose::Machine) {
                // Sent there by a word that is not shifted.
                let track = self.axes.get_mut(axis);
                track.sent = track.wanted;
                track.unsure = false;
                track.place = Place::Returned;
            }
        }
        Ok(())
    }

    /// M2 or M30. Some controls read nothing behind it, others go on there when they are started again, with the modes
    /// that NISTIR 6556 (section 3.6.1) then sets, or with those that were in force.
    #[inline(never)]
    pub(super) fn end(&mut self) {
        if self.ended.is_behind() {
            return;
        }
        let reset = Modal::new(self.modal.unit, self.modal.integers);
        // Modes that hang on skipped blocks too would be three sets of them, which are not followed.
        let unclear = self.skipped.is_some() && self.ended == Ended::Not;
        self.ended = if unclear { Ended::WithText } else { Ended::Yes };
        self.skipped = (reset != self.modal).then_some(reset);
        self.offset = self.offset.map(|offset| if offset == FIRST_OFFSET { offset } else { SOME_OFFSET });
    }

    /// Another program begins behind the end: a person may have moved the axes meanwhile, and the work offset may be
    /// the first again.
    #[inline(never)]
    pub(super) fn begin_another(&mut self, note: &mut Note) -> Result<(), Stop> {
        let elsewhere = self.offset == Some(SOME_OFFSET);
        for axis in Axis::ALL {
            if elsewhere {
                self.other_coordinates(axis, note)?;
            }
            self.forget(axis);
        }
        self.drilling.forget();
        (self.after_cut, self.fed, self.ended) = (false, false, Ended::Another);
        Ok(())
    }

    /// Whether a block sets the data of an offset that is not in force, which moves nothing.
    fn sets_another_offset(&self, block: &Block) -> bool {
        let chosen = match self.offset {
            Some((541, number)) => Some(i64::from(number)),
            // G54 to G59 are 1 to 6, G59.1 to G59.3 follow (NISTIR 6556, section 3.5.5, recalled from memory).
            Some((code @ 540..=593, 0)) => {
                Some(i64::from((code / 10).saturating_add(code % 10)).saturating_sub(53))
            }
            _ => None,
        };
        block.data_of.is_some() && chosen.is_some() && block.data_of != chosen
    }

    /// Place and seat of an axis are in doubt, and with them the level of a cycle along it.
    pub(super) fn forget(&mut self, axis: Axis) {
        self.axes.get_mut(axis).forget();
        if self.modal.plane.axes().2 == axis {
            self.drilling.lose_level();
        }
    }

    /// An axis has other coordinates from here: what was said in those before holds no more.
    fn other_coordinates(&mut self, axis: Axis, note: &mut Note) -> Result<(), Stop> {
        let track = self.axes.get(axis);
        if track.placed && !track.is_uniform() {
            return Err(Stop(None, Reason::OtherOffset(axis)));
        }
        self.lose_limits(axis, note);
        Ok(())
    }

    fn lose_limits(&mut self, axis: Axis, note: &mut Note) {
        if self.axes.get(axis).placed && self.limits.get_mut(axis).take().is_some() {
            note.limits_lost = true;
        }
    }

    fn lose_clear(&mut self, axis: Axis, note: &mut Note) {
        if axis == Axis::Z && self.axes.z.placed && self.clear.take().is_some() {
            note.clear_lost = true;
        }
    }

    /// G10 L20 takes the place where the command is on some controls, and none on others: where the command
    /// is shifted no word is right for both.
    fn refuse_shifted(&self, block: &Block, axis: Axis) -> Result<(), Stop> {
        let (Some(word), track) = (block.axes.get(axis), self.axes.get(axis)) else { return Ok(()) };
        if track.corrected() && (track.unsure || track.sent != track.wanted) {
            return Err(Stop(Some(word.span), Reason::Shifted(axis)));
        }
        Ok(())
    }

    /// G92: the place where the axis is gets a new name. Nothing moves: a shifted command keeps its shift,
    /// and the drive bears as it did.
    #[inline(never)] // the frames of what one line needs must not add up
    pub(super) fn rename(
        &mut self,
        block: &Block,
        line: &[u8],
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let mut patches = Patches::<3>::new();
        for axis in Axis::ALL {
            let Some(word) = block.axes.get(axis) else { continue };
            let value = self.length(word)?;
            let modal = self.modal;
            if !self.axes.get(axis).is_uniform() {
                return Err(Stop(Some(word.span), Reason::OtherOffset(axis)));
            }
            let track = self.axes.get(axis);
            if track.corrected() && track.unsure {
                return Err(Stop(Some(word.span), Reason::Skipped));
            }
            if !track.is_told() || track.wanted != value {
                self.other_coordinates(axis, note)?;
                self.lose_clear(axis, note);
                if modal.plane.axes().2 == axis {
                    self.drilling.lose_level();
                }
            }
            let track = self.axes.get_mut(axis);
            let shift = track.sent.saturating_sub(track.wanted);
            (track.place, track.placed) = (Place::Known, true);
            track.wanted = value;
            track.sent = value.saturating_add(shift);
            if track.corrected() && shift != Length::ZERO {
                let mut text = Text::new();
                let (letter, style) = (axis.letter() as u8, Some(&word.number));
                track.sent = dimension(&mut text, letter, track.sent, style, &modal);
                patches.replace(word.span, text);
            }
        }
        self.write_line(line, &patches, sink);
        Ok(())
    }

    /// How the axes stand now.
    #[inline(never)]
    pub(super) fn standing(&self) -> Standing {
        Standing {
            after_cut: self.after_cut,
            fed: self.fed,
            wanted: self.axes.map(|track| track.wanted),
            sent: self.axes.map(|track| track.sent),
            seats: self.axes.map(|track| track.seat),
            unsure: self.axes.map(|track| track.unsure),
            known: self.axes.map(|track| track.is_told()),
        }
    }

    /// A block that may be skipped, or was, with what was inserted for it: what is the same either way stays
    /// known.
    #[inline(never)]
    pub(super) fn doubt_after_skip(
        &mut self,
        block: &Block,
        span: Span,
        before: &Standing,
    ) -> Result<(), Stop> {
        self.after_cut |= before.after_cut;
        self.fed &= before.fed;
        let sticky = [block.radius, block.q, block.p, *block.axes.get(self.modal.plane.axes().2)];
        let drills = self.modal.drills() && block.purpose == Purpose::Move;
        if drills && sticky.iter().any(Option::is_some) {
            return Err(Stop(Some(span), Reason::SkippedMode));
        }
        let moves = matches!(block.purpose, Purpose::Move | Purpose::Rename);
        let relative = self.modal.distance == Distance::Incremental && block.purpose == Purpose::Move;
        for axis in Axis::ALL {
            let track = self.axes.get_mut(axis);
            let shift = |sent: Length, wanted| sent.saturating_sub(wanted);
            let shifted =
                shift(track.sent, track.wanted) != shift(*before.sent.get(axis), *before.wanted.get(axis));
            let named = moves && block.axes.get(axis).is_some();
            let moved = track.wanted != *before.wanted.get(axis) || (named && !*before.known.get(axis));
            if track.corrected() {
                if relative && (moved || named || shifted) {
                    return Err(Stop(Some(span), Reason::Skipped));
                }
                track.unsure |= shifted || *before.unsure.get(axis);
                if track.seat != *before.seats.get(axis) {
                    (track.seat, track.told) = (None, false);
                }
            }
            if moved {
                self.forget(axis);
            }
        }
        Ok(())
    }

    /// The way of an axis from here is told by a difference: not where it stands at one of two places.
    pub(super) fn refuse_unsure(&self, axis: Axis, word: &Word) -> Result<(), Stop> {
        let track = self.axes.get(axis);
        let relative = self.modal.distance == Distance::Incremental;
        if relative && track.corrected() && track.unsure {
            Err(Stop(Some(word.span), Reason::Skipped))
        } else {
            Ok(())
        }
    }
}
