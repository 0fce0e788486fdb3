//! Seats before a cut: overruns in the clear, and take-ups where an axis turns round.

use super::block::Block;
use super::emit::{Text, feed, put, put_number};
use super::rapid::past;
use super::refusal::Stop;
use super::track::direction;
use super::{Note, Rewriter};
use crate::axis::{Axis, Direction, PerAxis};
use crate::length::Length;
use crate::program::modal::{Distance, Feed, Motion};

impl Rewriter<'_> {
    /// The direction in which a block moves an axis, where that can be known.
    pub(super) fn heading(&self, axis: Axis, target: Length) -> Option<Direction> {
        if self.can_follow(axis) { direction(self.axes.get(axis).wanted, target) } else { None }
    }

    /// Whether the way to the next place of an axis is known.
    pub(super) fn can_follow(&self, axis: Axis) -> bool {
        let track = self.axes.get(axis);
        !track.unsure && (track.is_told() || self.modal.distance == Distance::Incremental)
    }

    /// The command that brings an axis to a place of a cut, and the seat on which it then bears.
    pub(super) fn command_to(&self, axis: Axis, target: Length) -> (Length, Option<Direction>) {
        let track = self.axes.get(axis);
        let towards = self.heading(axis, target);
        let followed = track.corrected() && self.can_follow(axis);
        let command = match towards {
            Some(towards) => track.command(target, towards),
            // Behind the retract of a cycle the command may be the one for the other seat.
            None if followed => match track.seat.filter(|_| track.takes_up() && !track.settled()) {
                Some(bears) => track.command(target, bears),
                None => track.sent,
            },
            None => track.command(target, track.reference(axis)),
        };
        let seat = if followed { track.seat_after(track.sent, command, towards) } else { None };
        if let (None, Some(_), Some(bears)) = (seat, towards, track.seat) {
            // Too short a way to turn round, but the table lagged: it may come right as it bears.
            let stays = track.command(target, bears);
            if direction(track.sent, stays).is_none_or(|way| way == bears) {
                return (stays, Some(bears));
            }
        }
        (command, seat)
    }

    /// Whether a block moves one axis alone, in a straight line: then the drive crosses the clearance
    /// on the way and the path is the same.
    fn moves_alone(&self, block: &Block, axis: Axis, targets: &PerAxis<Length>) -> bool {
        self.modal.motion == Motion::Line
            && block.rotary.is_none()
            && Axis::ALL.into_iter().all(|other| {
                let track = self.axes.get(other);
                other == axis
                    || (track.is_told() || block.axes.get(other).is_none())
                        && track.wanted == *targets.get(other)
            })
    }

    /// Whether a block cuts along an axis to a place from one that is not known: which way, the program does not tell.
    fn comes_from_unknown(&self, block: &Block, axis: Axis) -> bool {
        let track = self.axes.get(axis);
        let known = track.is_told() || self.modal.distance == Distance::Incremental;
        track.corrected() && block.axes.get(axis).is_some() && !known
    }

    /// Whether an axis must bear otherwise before a cut begins with a block.
    fn must_seat(&self, block: &Block, axis: Axis, targets: &PerAxis<Length>) -> bool {
        let track = self.axes.get(axis);
        if !track.corrected() {
            return false;
        }
        let reference = track.reference(axis);
        let heading = self.heading(axis, *targets.get(axis));
        if let Some(seat) = track.seat.filter(|_| track.settled()) {
            let bears_right = seat == reference || (track.takes_up() && heading == Some(seat));
            if self.after_cut || !track.enters_one_way() || bears_right {
                return false;
            }
        }
        let Some(towards) = heading else { return true };
        let command = track.command(*targets.get(axis), towards);
        let seats_itself = self.moves_alone(block, axis, targets)
            && (towards == reference || track.takes_up())
            && track.seat_after(track.sent, command, Some(towards)) == Some(towards);
        !seats_itself
    }

    /// How an axis bears whose command is the one for the other seat, as behind the retract of a drilling cycle: the table
    /// stands behind, and it is taken up whether the axis moves or not.
    fn lags(&self, axis: Axis) -> Option<Direction> {
        let track = self.axes.get(axis);
        track.seat.filter(|_| track.takes_up() && !track.settled() && self.can_follow(axis))
    }

    /// Seats axes before a cut, by overruns: Z upward, X and Y where it is clear. Says where a seat
    /// stays unknown. `true` if lines were inserted that changed the motion in force.
    #[inline(never)]
    pub(super) fn seat_before(
        &mut self,
        block: &Block,
        targets: &PerAxis<Length>,
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<bool, Stop> {
        let here = self.axes.z.wanted;
        let aside = self.is_clear(here);
        let mut up = PerAxis::from_fn(|_| false);
        let mut sideways = up;
        for axis in Axis::ALL {
            let from_unknown = self.comes_from_unknown(block, axis);
            if !from_unknown && !self.must_seat(block, axis, targets) {
                continue;
            }
            let clear = match axis {
                Axis::Z => self.axes.z.reference(axis) == Direction::Minus,
                Axis::X | Axis::Y => aside,
            };
            if !self.after_cut && clear && self.can_overrun(axis) {
                *(if axis == Axis::Z { &mut up } else { &mut sideways }).get_mut(axis) = true;
                continue;
            }
            let lags = self.lags(axis).is_some();
            let track = self.axes.get_mut(axis);
            if (track.settled() || lags) && !from_unknown {
                // The other seat it is; the command is shifted for it, or what it lags is taken up behind.
                if track.takes_up() && !lags {
                    self.counts.take_ups = self.counts.take_ups.saturating_add(1);
                }
            } else if !track.told {
                track.told = true;
                note.unseated = note.unseated.or(Some(axis));
            }
        }
        let aside = self.overrun(block, &sideways, sink)?;
        Ok(self.overrun(block, &up, sink)? || aside)
    }

    /// Overruns some axes together where they are, in rapid, and comes back from their reference
    /// directions. `true` if there were any.
    #[inline(never)]
    pub(super) fn overrun(
        &mut self,
        block: &Block,
        axes: &PerAxis<bool>,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<bool, Stop> {
        if !axes.iter().any(|(_, on)| *on) {
            return Ok(false);
        }
        for there in [true, false] {
            self.begin(block, b"G0", sink);
            for axis in Axis::ALL {
                if !*axes.get(axis) {
                    continue;
                }
                let track = *self.axes.get(axis);
                let reference = track.reference(axis);
                let end = track.command(track.wanted, reference);
                let command = if there { past(end, track.overrun(), reference) } else { end };
                self.insert_axis(axis, command, track.wanted, None, sink)?;
                let track = self.axes.get_mut(axis);
                track.seat = Some(reference);
                track.told = false;
            }
            self.end_inserted(sink);
        }
        self.counts.one_way_moves = self.counts.one_way_moves.saturating_add(1);
        Ok(true)
    }

    /// Crosses the clearance of every axis that turns round, unless it moves alone. `true` if a line
    /// was inserted that leaves another motion in force than the block's.
    #[inline(never)]
    pub(super) fn take_up(
        &mut self,
        block: &Block,
        targets: &PerAxis<Length>,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<bool, Stop> {
        if block.tool_change {
            // It would come before that, which takes the seats again.
            return Ok(false);
        }
        let mut inserted = false;
        for axis in Axis::ALL {
            let track = *self.axes.get(axis);
            let towards = self.heading(axis, *targets.get(axis)).or_else(|| self.lags(axis));
            let Some(towards) = towards else { continue };
            let command = track.command(track.wanted, towards);
            // From an unknown seat the move brings the axis to its place, if it is long enough.
            if !track.takes_up()
                || (track.seat == Some(towards) && track.settled())
                || (track.seat.is_none() && command == track.sent)
            {
                continue;
            }
            self.counts.take_ups = self.counts.take_ups.saturating_add(1);
            if self.moves_alone(block, axis, targets) {
                continue;
            }
            if !inserted {
                self.begin(block, b"G1", sink);
                inserted = true;
            }
            self.insert_axis(axis, command, track.wanted, None, sink)?;
            self.axes.get_mut(axis).seat = track.seat_after(track.sent, command, Some(towards));
        }
        if !inserted {
            return Ok(false);
        }
        let mut text = Text::new();
        if self.modal.feed == Feed::InverseTime {
            // A tenth of a second.
            put(&mut text, b" ");
            feed(&mut text, 600.0);
        } else if let (Some(word), false) = (&block.feed, self.fed) {
            put(&mut text, b" ");
            put_number(&mut text, b'F', &word.number);
            self.fed = true;
        }
        sink(&text);
        self.end_inserted(sink);
        Ok(self.modal.motion != Motion::Line)
    }
}
