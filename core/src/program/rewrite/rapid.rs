//! Moves in rapid: shifted, or made to arrive from the reference direction.

use super::Rewriter;
use super::block::Block;
use super::emit::Patches;
use super::refusal::Stop;
use super::track::Place;
use super::write::split_end;
use crate::axis::{Axis, Direction, PerAxis};
use crate::length::Length;
use crate::program::modal::Distance;

impl Rewriter<'_> {
    /// Whether X and Y may overrun on the way from the present height to another.
    pub(super) fn is_clear(&self, height: Length) -> bool {
        let z = &self.axes.z;
        self.clear.is_some_and(|clear| z.is_told() && z.wanted >= clear && height >= clear)
    }

    /// Whether an axis stands at a place from which it can be sent aside and back.
    pub(super) fn can_overrun(&self, axis: Axis) -> bool {
        let track = self.axes.get(axis);
        match track.place {
            Place::Known => true,
            Place::Unknown => self.can_follow(axis),
            // Not before it has left the place to which it was taken.
            Place::Elsewhere | Place::Returned => track.seat.is_some() && self.can_follow(axis),
        }
    }

    #[inline(never)]
    pub(super) fn rapid(
        &mut self,
        block: &Block,
        line: &[u8],
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        self.after_cut = false;
        let targets = self.targets(block)?;
        let (here, known) = (self.axes.z.wanted, self.axes.z.is_told());
        let sideways = block.axes.x.is_some() || block.axes.y.is_some();
        let up = known && targets.z >= here;
        if !sideways && block.axes.z.is_some() && !up && self.is_clear(here) {
            // The last place at this height before the work: what does not bear right is seated here.
            let needs = |axis: Axis| {
                let track = self.axes.get(axis);
                let bears_wrong = match track.seat {
                    None => track.corrected(),
                    Some(seat) => track.enters_one_way() && seat != track.reference(axis),
                };
                axis != Axis::Z && bears_wrong && self.can_overrun(axis)
            };
            let axes = PerAxis::from_fn(needs);
            self.overrun(block, &axes, sink)?;
        }
        let clear = self.is_clear(targets.z);
        let mut patches = Patches::<3>::new();
        let mut back = PerAxis::from_fn(|_| None);
        for axis in Axis::ALL {
            if block.axes.get(axis).is_none() {
                continue;
            }
            let target = *targets.get(axis);
            if self.axes.get(axis).corrected() {
                let overruns = axis != Axis::Z && clear && block.after.is_none();
                *back.get_mut(axis) = self.rapid_axis(block, axis, target, overruns, &mut patches)?;
            } else {
                self.arrive(block, axis, target);
            }
        }
        if back.iter().all(|(_, place)| place.is_none()) {
            self.write_line(line, &patches, sink);
            return Ok(());
        }
        let (body, end) = split_end(line);
        self.write_line(body, &patches, sink);
        self.end_inserted(sink);
        self.begin(block, b"G0", sink);
        for axis in Axis::ALL {
            if let Some(place) = *back.get(axis) {
                self.insert_axis(axis, place, *targets.get(axis), None, sink)?;
            }
        }
        self.counts.one_way_moves = self.counts.one_way_moves.saturating_add(1);
        sink(end);
        Ok(())
    }

    /// Sends one corrected axis to its target; gives the command to come back to where the line
    /// overruns it.
    #[inline(never)]
    fn rapid_axis(
        &mut self,
        block: &Block,
        axis: Axis,
        target: Length,
        clear: bool,
        patches: &mut Patches<3>,
    ) -> Result<Option<Length>, Stop> {
        let track = *self.axes.get(axis);
        let reference = track.reference(axis);
        let incremental = self.modal.distance == Distance::Incremental;
        let followed = self.can_follow(axis);
        let towards = self.heading(axis, target);
        if incremental && !track.named() && !track.is_uniform() {
            // Where in the table this is cannot be known: the command keeps what it has.
            let command = target.saturating_add(track.sent.saturating_sub(track.wanted));
            self.patch_axis(block, axis, command, target, patches)?;
            let seat = track.seat_after(track.sent, command, towards);
            self.settle(axis, target, seat);
            return Ok(None);
        }
        let seat_at = |command| track.seat_after(track.sent, command, towards);
        let arrives =
            towards == Some(reference) && seat_at(track.command(target, reference)) == Some(reference);
        if clear && track.enters_one_way() && !arrives && (!followed || towards.is_some()) {
            let end = track.command(target, reference);
            let past = past(end, track.overrun(), reference);
            self.patch_axis(block, axis, past, target, patches)?;
            self.settle(axis, target, Some(reference));
            return Ok(Some(end));
        }
        let (command, seat) = self.command_to(axis, target);
        self.patch_axis(block, axis, command, target, patches)?;
        self.settle(axis, target, seat);
        Ok(None)
    }

    /// An axis has arrived at a place.
    pub(super) fn settle(&mut self, axis: Axis, wanted: Length, seat: Option<Direction>) {
        let absolute = self.modal.distance == Distance::Absolute;
        let track = self.axes.get_mut(axis);
        track.wanted = wanted;
        if absolute {
            (track.place, track.placed) = (Place::Known, true);
        }
        track.seat = seat;
        if seat.is_some() {
            track.told = false;
        }
    }

    /// An axis without correction has arrived where its word said.
    pub(super) fn arrive(&mut self, block: &Block, axis: Axis, target: Length) {
        if block.axes.get(axis).is_some() {
            self.axes.get_mut(axis).sent = target;
            self.settle(axis, target, None);
        }
    }
}

/// A place an overrun away from another, on the side from which the reference direction leads to it.
pub(super) const fn past(end: Length, overrun: Length, reference: Direction) -> Length {
    match reference {
        Direction::Plus => end.saturating_sub(overrun),
        Direction::Minus => end.saturating_add(overrun),
    }
}
