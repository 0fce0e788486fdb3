//! How the drive of the drill bears where a hole begins.
//!
//! The R word is made for the way down. Where the drive still bears on the other side there, from a rise or the retract
//! of the hole before, the tool stands lower by the lost motion. A deep cut crosses that, in air. Cuts shorter than it
//! would not be made.

use super::pecks;
use crate::axis::{Axis, Direction, PerAxis};
use crate::length::Length;
use crate::program::modal::Distance;
use crate::program::rewrite::Rewriter;
use crate::program::rewrite::block::Block;
use crate::program::rewrite::refusal::Stop;
use crate::program::rewrite::track::direction;

impl Rewriter<'_> {
    /// Whether the first cut from the R plane is shorter than the lost motion that the drive has yet to cross there, coming
    /// from a level: wanted and sent.
    pub(super) fn begins_unseated(&self, third: Axis, [wanted, sent]: [Length; 2]) -> Result<bool, Stop> {
        let track = self.axes.get(third);
        if !track.corrected() {
            return Ok(false);
        }
        let [plane, depth] = self.plane_and_depth(wanted)?;
        let stroke = plane.saturating_sub(depth);
        let drilling = &self.drilling;
        let first = if drilling.pecks_by_centre() { drilling.centre.x } else { drilling.peck };
        let pecks = self.modal.cycle.is_some_and(|code| pecks(code.get()));
        let cut = match first.filter(|_| pecks) {
            Some(number) => match self.in_length(&number)?.saturating_abs() {
                Length::ZERO => stroke,
                peck => peck.min(stroke),
            },
            None => stroke,
        };
        let down = track.command(plane, Direction::Minus);
        let bears = match direction(sent, down) {
            _ if plane > wanted => None,
            towards => track.seat_after(sent, down, towards),
        };
        Ok(cut > Length::ZERO && cut < track.width && bears != Some(Direction::Minus))
    }

    /// R plane and bottom of the holes, in a cycle that counts from a level where it is incremental.
    fn plane_and_depth(&self, level: Length) -> Result<[Length; 2], Stop> {
        let (depth, plane) = self.depth_and_plane()?;
        Ok(match self.modal.distance {
            Distance::Absolute => [plane, depth],
            Distance::Incremental => {
                let plane = level.saturating_add(plane);
                [plane, plane.saturating_add(depth)]
            }
        })
    }

    /// Brings the drill to where an absolute cycle begins on the right side, or far enough above it that the cycle
    /// does, where its first cut needs that. So it does where it begins below its R plane by so little that the tool would
    /// not rise at all: it would go to the hole too low. `true` if the cycle was interrupted.
    #[inline(never)]
    pub(super) fn seat_at_plane(
        &mut self,
        block: &Block,
        third: Axis,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<bool, Stop> {
        if !self.can_follow(third) {
            return Ok(false);
        }
        let track = *self.axes.get(third);
        let [plane, _] = self.plane_and_depth(track.wanted)?;
        let begins = !self.drilling.drilled;
        let (up, down) = (track.command(plane, Direction::Plus), track.command(plane, Direction::Minus));
        let rise = plane.saturating_sub(track.wanted);
        let rises = rise > Length::ZERO;
        let rises_short = begins && rises && rise <= track.width.saturating_add(track.width) && up != down;
        let unseated = self.begins_unseated(third, [track.wanted, track.sent])?;
        if !rises_short && !unseated {
            return Ok(false);
        }
        let stands = track.wanted.max(plane);
        let level = self.drilling.level();
        if !begins && !self.modal.to_r_plane && level.is_none_or(|(wanted, _)| wanted > stands) {
            // It comes out to its level anyway, and can begin from there, where that can be reached.
            let Some((wanted, _)) = level else { return Ok(false) };
            let rises = rises && !self.is_back_bore();
            if rises {
                self.lift(block, third, stands, sink)?;
            }
            if self.reaches_level(third, plane, wanted) {
                self.drilling.begin_at((wanted, track.command(wanted, Direction::Plus)));
                self.stand_at_level(third, stands);
            }
            return Ok(rises);
        }
        // From the other side the way down crosses the clearance. Else the drill comes down from farther up, where only Z may.
        let above = track.command(stands, Direction::Plus);
        let lags = track.takes_up() && (track.seat.is_some() || track.crosses(track.sent, above));
        let lifts = lags || rises;
        let overruns = unseated && !lags && third == Axis::Z && track.reference(third) == Direction::Minus;
        if lifts {
            self.lift(block, third, stands, sink)?;
        }
        if overruns {
            self.overrun(block, &PerAxis::from_fn(|axis| axis == third), sink)?;
        }
        if !lifts && !overruns {
            return Ok(false);
        }
        self.stand_at_level(third, stands);
        Ok(true)
    }

    /// Sends the drill up to a place.
    pub(super) fn lift(
        &mut self,
        block: &Block,
        third: Axis,
        place: Length,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let track = *self.axes.get(third);
        let up = track.command(place, Direction::Plus);
        self.begin(block, b"G0", sink);
        self.insert_axis(third, up, place, None, sink)?;
        self.end_inserted(sink);
        self.counts.one_way_moves = self.counts.one_way_moves.saturating_add(1);
        let seat = track.seat_after(track.sent, up, Some(Direction::Plus));
        self.settle(third, place, seat.or(track.crosses(track.sent, up).then_some(Direction::Plus)));
        Ok(())
    }
}
