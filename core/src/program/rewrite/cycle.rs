//! Drilling cycles: holes reached in rapid, depths reached coming down.
//!
//! After NISTIR 6556, section 3.5.16. X and Y arrive at each hole from their reference directions where
//! the drill is clear: an overrun before the block, which interrupts the cycle, and the block takes it up
//! again with all its sticky words. Elsewhere the command is shifted. The strokes themselves come down
//! onto their depths on the `-` seat; on the way out nothing is cut that matters. A back bore steps aside before it
//! goes down and comes back to the hole before it cuts: on the other side then, wherever the axis came from.

mod level;
mod plane;
mod strokes;

use super::block::Block;
use super::emit::Patches;
use super::rapid::past;
use super::refusal::{CycleTrouble, Reason, Stop};
use super::track::{Place, direction};
use super::{Note, Rewriter};
use crate::axis::{Axis, Direction, PerAxis};
use crate::length::Length;
use crate::program::modal::{Distance, Plane};
use crate::program::number::Number;
use crate::program::words::Word;

/// The changes of a block: a back bore taken up again needs most, its own word, depth, R plane, dwell, three
/// offsets and two places.
type Changes = Patches<10>;

/// What is remembered from block to block while a cycle is in force.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Drilling {
    /// The distances in which its sticky words were commanded, once it is in force.
    read_in: Option<Distance>,
    // Whether they are known stands apart from the places: as two options a filter does not fit in 4 KB.
    /// Where the third axis was when the cycle began: wanted and sent, where that is known.
    level: (Length, Length),
    knows_level: bool,
    /// What the control keeps as that level instead, where the cycle was taken up again elsewhere or brought up to its
    /// R plane before it began, and the direction for which it was commanded there.
    kept: Length,
    kept_for: Option<Direction>,
    depth: Option<Number>,
    plane: Option<Number>,
    peck: Option<Number>,
    dwell: Option<Number>,
    centre: PerAxis<Option<Number>>,
    /// A block has drilled holes.
    drilled: bool,
}

impl Drilling {
    /// Whether I, J and K, where they are, are the sizes of pecks.
    const fn pecks_by_centre(&self) -> bool {
        self.centre.x.is_some() && self.peck.is_none()
    }

    /// The cycle is cancelled, and its words with it.
    pub fn forget(&mut self) {
        if self.read_in.is_some() {
            *self = Self::default();
        }
    }
}

const fn trouble(word: Option<Word>, trouble: CycleTrouble) -> Stop {
    let span = match word {
        Some(word) => Some(word.span),
        None => None,
    };
    Stop(span, Reason::Cycle(trouble))
}

/// G87.
const BACK_BORE: u16 = 870;

/// G76: with the spindle stopped at its bottom the tool steps aside, which way the machine knows, and comes back above.
const FINE_BORE: u16 = 760;

/// G73 and G83.
const fn pecks(code: u16) -> bool {
    matches!(code, 730 | 830)
}

impl Rewriter<'_> {
    #[inline(never)]
    pub(super) fn cycle(
        &mut self,
        code: u16,
        block: &Block,
        line: &[u8],
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (first, second, third) = self.modal.plane.axes();
        self.remember(code, block, third);
        let repeats = self.repeats(code, block)?;
        let drills = (block.names_axis() || block.radius.is_some()) && repeats > 0;
        for axis in [first, second] {
            if repeats == 0 && block.axes.get(axis).is_some() {
                // Kept for the holes to come: whether the axis goes there, controls differ.
                self.forget(axis);
                let track = self.axes.get_mut(axis);
                track.unsure |= track.corrected() && track.sent != track.wanted;
            }
        }
        let mut patches = Changes::new();
        let mut targets = PerAxis::default();
        if drills {
            if self.drilling.depth.is_none() || self.drilling.plane.is_none() {
                return Err(trouble(block.axes.z.or(block.axes.x), CycleTrouble::Incomplete));
            }
            if code != BACK_BORE && self.axes.get(third).corrected() && self.goes_up()? {
                return Err(trouble(block.axes.get(third).or(block.radius), CycleTrouble::Upward));
            }
            self.after_cut = false;
            targets = self.targets(block)?;
            let interrupted = match self.modal.distance {
                Distance::Absolute => {
                    let seated = self.seat_at_plane(block, third, sink)?;
                    self.reach_holes(block, &targets, sink)? || seated
                }
                Distance::Incremental => self.step_to_holes(block, third, repeats, sink)?,
            };
            // What the words of earlier blocks say in other distances is corrected for those.
            let read_in = Some(self.modal.distance);
            let sticks = block.axes.get(third).is_none() || block.radius.is_none();
            let misread = sticks && self.drilling.read_in != read_in;
            self.drilling.read_in = read_in;
            if interrupted || misread {
                self.take_up_again(code, block, third, &mut patches)?;
            }
        }
        self.patch_strokes(code, block, third, &mut patches)?;
        if drills {
            for axis in [first, second] {
                let seat = self.patch_hole(block, axis, *targets.get(axis), repeats, &mut patches)?;
                let track = self.axes.get_mut(axis);
                if track.corrected() && seat.is_none() && !track.told {
                    track.told = true;
                    note.unseated = note.unseated.or(Some(axis));
                }
            }
            self.leave_hole(third)?;
            for axis in [first, second].into_iter().filter(|_| code == FINE_BORE) {
                let track = self.axes.get_mut(axis);
                (track.seat, track.told) = (None, false);
            }
            self.drilling.drilled = true;
        }
        self.write_line(line, &patches, sink);
        Ok(())
    }

    /// R plane and bottom of the hole that a block will drill, where they are known.
    pub(super) fn strokes(&self, block: &Block) -> Option<[Length; 2]> {
        let (_, _, third) = self.modal.plane.axes();
        let length = |word: Option<Word>, kept: Option<Number>| {
            self.in_length(&word.map(|word| word.number).or(kept)?).ok()
        };
        let plane = length(block.radius, self.drilling.plane)?;
        let depth = length(*block.axes.get(third), self.drilling.depth)?;
        match self.modal.distance {
            Distance::Absolute => Some([plane, depth]),
            Distance::Incremental if self.axes.get(third).is_told() => {
                let plane = self.counts_from(third).0.saturating_add(plane);
                Some([plane, plane.saturating_add(depth)])
            }
            Distance::Incremental => None,
        }
    }

    /// Depth and R plane as their words say them, zero what there is none of.
    #[inline(never)]
    fn depth_and_plane(&self) -> Result<(Length, Length), Stop> {
        let length =
            |number: &Option<Number>| number.as_ref().map_or(Ok(Length::ZERO), |n| self.in_length(n));
        Ok((length(&self.drilling.depth)?, length(&self.drilling.plane)?))
    }

    /// Whether a hole is drilled upward from its R plane: an error to NISTIR 6556 (recalled from memory), done by other
    /// controls (common practice, no source).
    #[inline(never)] // the frames of what one line needs must not add up
    fn goes_up(&self) -> Result<bool, Stop> {
        let (depth, plane) = self.depth_and_plane()?;
        let from = if self.modal.distance == Distance::Absolute { plane } else { Length::ZERO };
        Ok(depth > from)
    }

    /// The place from which an incremental cycle counts its R plane, wanted and sent: with G98 the level at which it began,
    /// even where an R plane above that is where it stands.
    fn counts_from(&self, third: Axis) -> (Length, Length) {
        let track = self.axes.get(third);
        let began = self.drilling.level().filter(|_| !self.modal.to_r_plane);
        began.unwrap_or((track.wanted, track.sent))
    }

    /// Takes the words of a block; what it lacks stays as it was.
    fn remember(&mut self, code: u16, block: &Block, third: Axis) {
        let track = self.axes.get(third);
        let followed = self.can_follow(third);
        let read_in = self.modal.distance;
        let drilling = &mut self.drilling;
        if drilling.read_in.is_none() {
            drilling.read_in = Some(read_in);
            (drilling.knows_level, drilling.level) = (followed, (track.wanted, track.sent));
        }
        let number = |word: Option<Word>, kept: Option<Number>| word.map(|word| word.number).or(kept);
        drilling.depth = number(*block.axes.get(third), drilling.depth);
        drilling.plane = number(block.radius, drilling.plane);
        drilling.peck = number(block.q, drilling.peck);
        drilling.dwell = number(block.p, drilling.dwell);
        for axis in Axis::ALL {
            if !pecks(code) && !matches!(code, BACK_BORE | FINE_BORE) {
                break;
            }
            let kept = *drilling.centre.get(axis);
            *drilling.centre.get_mut(axis) = number(*block.centre.get(axis), kept);
        }
    }

    fn in_length(&self, number: &Number) -> Result<Length, Stop> {
        number.length(self.modal.unit, self.modal.integers).ok_or(Stop(None, Reason::OutOfRange))
    }

    /// Overruns X and Y before the block where that is clear, so that they arrive at the hole from
    /// their reference directions. `true` if the cycle was interrupted for it.
    #[inline(never)]
    fn reach_holes(
        &mut self,
        block: &Block,
        targets: &PerAxis<Length>,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<bool, Stop> {
        let mut aside = PerAxis::from_fn(|_| None);
        let (_, _, third) = self.modal.plane.axes();
        let here = self.axes.get(third).wanted;
        let clear = third == Axis::Z && self.is_clear(here);
        if clear {
            for axis in [Axis::X, Axis::Y] {
                let track = self.axes.get(axis);
                let named = block.axes.get(axis).is_some();
                let target = *targets.get(axis);
                let stays = (!named && !self.can_overrun(axis)) || self.comes_back(axis).is_some();
                if !track.corrected() || !track.enters_one_way() || stays {
                    continue;
                }
                let reference = track.reference(axis);
                let towards = self.heading(axis, target);
                let (end, bears) = (track.command(target, reference), track.seat == Some(reference));
                let arrives = match towards {
                    Some(towards) => {
                        towards == reference
                            && track.seat_after(track.sent, end, Some(towards)) == Some(reference)
                    }
                    None => bears && self.can_follow(axis),
                };
                if !arrives {
                    *aside.get_mut(axis) = Some(past(end, track.overrun(), reference));
                }
            }
        }
        let began = self.drilling.level();
        let taken_up = self.drilling.drilled;
        if taken_up && began.is_none_or(|(wanted, _)| wanted < here) {
            // Interrupted here, the control would take this for the level to return to, and the way down to
            // the right one need not be clear.
            aside = PerAxis::from_fn(|_| None);
        }
        let overruns = aside.iter().any(|(_, place)| place.is_some());
        if taken_up && overruns {
            self.stand_at_level(third, here);
        }
        let plane = self.drilling.plane.map_or(Ok(here), |number| self.in_length(&number))?;
        let level = self.level_to_restore(third, plane).map_err(|reason| trouble(block.radius, reason))?;
        if !overruns && level.is_none() {
            return Ok(false);
        }
        let lifts_first = clear && level.is_some_and(|(wanted, _)| wanted > here);
        if lifts_first {
            self.set_level(block, third, level, sink)?;
        }
        if overruns || !lifts_first {
            self.go_to_holes(block, &aside, targets, sink)?;
        }
        if !lifts_first {
            self.set_level(block, third, level, sink)?;
        }
        if overruns {
            self.counts.one_way_moves = self.counts.one_way_moves.saturating_add(1);
        }
        Ok(true)
    }

    /// Goes to the hole on the axes that the block names, and past it on those that must come back to it.
    #[inline(never)]
    fn go_to_holes(
        &mut self,
        block: &Block,
        aside: &PerAxis<Option<Length>>,
        targets: &PerAxis<Length>,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (first, second, _) = self.modal.plane.axes();
        self.begin(block, b"G0", sink);
        for axis in [first, second] {
            let target = *targets.get(axis);
            let past = *aside.get(axis);
            if past.is_none() && block.axes.get(axis).is_none() {
                continue;
            }
            // Both go together, so that the way is the program's but for the overrun.
            let (command, seat) = self.command_to(axis, target);
            self.insert_axis(axis, past.unwrap_or(command), target, None, sink)?;
            self.settle(axis, target, seat);
            if past.is_some() {
                // What is left of the way is made from the reference direction.
                let track = self.axes.get_mut(axis);
                track.wanted = track.sent;
                track.seat = Some(track.reference(axis));
            }
        }
        self.end_inserted(sink);
        Ok(())
    }

    /// Sends the axis of the drill to the level to which the cycle returns.
    #[inline(never)]
    fn set_level(
        &mut self,
        block: &Block,
        third: Axis,
        level: Option<(Length, Length)>,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let Some((wanted, sent)) = level else { return Ok(()) };
        self.begin(block, b"G0", sink);
        self.insert_axis(third, sent, wanted, None, sink)?;
        self.settle(third, wanted, None);
        self.end_inserted(sink);
        self.stand_at_level(third, wanted);
        Ok(())
    }

    /// Incremental cycles count from where the axes stand: they are brought there as the strokes, or the steps from
    /// hole to hole, will need it.
    #[inline(never)]
    fn step_to_holes(
        &mut self,
        block: &Block,
        third: Axis,
        repeats: i64,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<bool, Stop> {
        let track = *self.axes.get(third);
        if !track.is_uniform() && !track.is_told() {
            return Err(trouble(*block.axes.get(third), CycleTrouble::Incremental));
        }
        let unknown = |axis: &Axis| {
            let track = self.axes.get(*axis);
            *axis != third && !track.is_uniform() && !track.is_told()
        };
        if let Some(axis) = Axis::ALL.into_iter().find(unknown) {
            return Err(Stop(block.axes.get(axis).map(|word| word.span), Reason::TravelUnknown(axis)));
        }
        if self.drilling.kept().is_some() && !self.modal.to_r_plane {
            return Err(trouble(block.radius, CycleTrouble::Level));
        }
        let mut interrupted = false;
        let again = self.drilling.drilled;
        let (wanted, sent) = self.counts_from(third);
        let level = track.command(wanted, Direction::Minus);
        // Behind holes with G99 the place is not known, and only Z with a uniform correction can be seated anywhere.
        let seated_nowhere = again && self.modal.to_r_plane && (third != Axis::Z || !track.is_uniform());
        if track.corrected() && (seated_nowhere || (sent != level && wanted != track.wanted)) {
            return Err(trouble(*block.axes.get(third), CycleTrouble::CountsFromR));
        }
        let may_be_sent = !seated_nowhere && wanted == track.wanted && self.can_overrun(third);
        let unseated = may_be_sent && self.begins_unseated(third, [wanted, sent])?;
        if track.corrected() && (sent != level || unseated) {
            if track.reference(third) == Direction::Minus {
                let axes = PerAxis::from_fn(|axis| axis == third);
                self.overrun(block, &axes, sink)?;
            } else {
                if unseated {
                    self.lift(block, third, track.wanted, sink)?;
                }
                self.begin(block, b"G0", sink);
                self.insert_axis(third, level, track.wanted, None, sink)?;
                self.end_inserted(sink);
            }
            interrupted = true;
            if !again || !self.modal.to_r_plane {
                let track = self.axes.get(third);
                let level = (track.wanted, track.sent);
                self.drilling.begin_at(level);
            }
        }
        // Interrupted above the level at which it began, the cycle would count from there.
        let risen = self.drilling.drilled
            && !self.modal.to_r_plane
            && self.drilling.level().is_none_or(|(wanted, _)| wanted != self.axes.get(third).wanted);
        if self.modal.plane == Plane::Xy && !risen && self.is_clear(self.axes.z.wanted) {
            let lost = |axis: Axis| {
                let track = self.axes.get(axis);
                axis != Axis::Z && track.corrected() && track.seat.is_none() && self.can_overrun(axis)
            };
            let axes = PerAxis::from_fn(lost);
            interrupted |= self.overrun(block, &axes, sink)?;
        }
        let mut inserted = false;
        for axis in Axis::ALL {
            let track = *self.axes.get(axis);
            if axis == third || repeats == 1 || !track.corrected() {
                continue;
            }
            let target = self.target(block, axis)?;
            let Some(towards) = self.comes_back(axis).or(direction(track.wanted, target)) else { continue };
            if !track.is_uniform() {
                return Err(trouble(block.l, CycleTrouble::Incremental));
            }
            let command = track.command(track.wanted, towards);
            if command != track.sent {
                if risen {
                    return Err(trouble(block.l, CycleTrouble::TurnsAbove));
                }
                if !inserted {
                    self.begin(block, b"G0", sink);
                    inserted = true;
                }
                self.insert_axis(axis, command, track.wanted, None, sink)?;
                self.axes.get_mut(axis).seat = track.seat_after(track.sent, command, Some(towards));
            }
        }
        if inserted {
            self.end_inserted(sink);
            interrupted = true;
        }
        if interrupted && self.drilling.drilled && self.modal.to_r_plane {
            self.drilling.keep_unknown();
        }
        // Along the travel a depth depends on the R plane from which it is counted, though only one of them is said anew.
        let said = block.radius.is_some() || block.axes.get(third).is_some();
        Ok(interrupted || (said && again && !track.is_uniform()))
    }

    /// The place of the hole on an axis of the plane. Gives the seat at it: at the first of several, between
    /// which the axis may yet find its seat.
    fn patch_hole(
        &mut self,
        block: &Block,
        axis: Axis,
        target: Length,
        repeats: i64,
        patches: &mut Changes,
    ) -> Result<Option<Direction>, Stop> {
        let back = self.comes_back(axis);
        let stays = block.axes.get(axis).is_none() && self.axes.get(axis).wanted == target;
        if stays && !(back.is_some() && self.can_follow(axis)) {
            return Ok(self.axes.get(axis).seat);
        }
        if self.modal.distance == Distance::Incremental && repeats != 1 {
            let track = self.axes.get_mut(axis);
            let step = target.saturating_sub(track.wanted);
            let way = Length::from_counts(step.counts().saturating_mul(repeats));
            let seat_after = |way| {
                let towards = direction(track.wanted, target);
                back.or_else(|| track.seat_after(track.sent, track.sent.saturating_add(way), towards))
            };
            let (first, last) = (seat_after(step), seat_after(way));
            track.sent = track.sent.saturating_add(way);
            let end = track.wanted.saturating_add(way);
            self.settle(axis, end, last);
            return Ok(first);
        }
        if !self.axes.get(axis).corrected() {
            self.arrive(block, axis, target);
            return Ok(self.axes.get(axis).seat);
        }
        let (command, seat) = match back {
            Some(back) => (self.axes.get(axis).command(target, back), Some(back)),
            None => self.command_to(axis, target),
        };
        self.patch_axis(block, axis, command, target, patches)?;
        self.settle(axis, target, seat);
        Ok(self.axes.get(axis).seat)
    }

    /// Where the third axis is after the holes of a block. The retract leaves the drive on the other
    /// seat, where the command is not for it: the table stands behind.
    fn leave_hole(&mut self, third: Axis) -> Result<(), Stop> {
        let (depth, plane) = self.depth_and_plane()?;
        let level = self.comes_out_to(third);
        let again = self.drilling.drilled;
        let to_r_plane = self.modal.to_r_plane;
        let distance = self.modal.distance;
        let (from, _) = self.counts_from(third);
        let track = self.axes.get_mut(third);
        track.seat = None;
        track.told = false;
        let (r_wanted, bottom) = match distance {
            Distance::Absolute => (plane, depth),
            Distance::Incremental => {
                let r_plane = from.saturating_add(plane);
                (r_plane, r_plane.saturating_add(depth))
            }
        };
        let r_sent = track.command(r_wanted, Direction::Minus);
        if to_r_plane {
            if distance == Distance::Incremental && again {
                // From here or from where the cycle began: controls differ.
                track.place = Place::Unknown;
                return Ok(());
            }
            (track.wanted, track.sent) = (r_wanted, r_sent);
            if distance == Distance::Absolute {
                (track.place, track.placed) = (Place::Known, true);
            }
        } else if let Some((wanted, sent)) = level {
            (track.wanted, track.sent) = if r_wanted > wanted { (r_wanted, r_sent) } else { (wanted, sent) };
        } else {
            track.place = Place::Unknown;
            return Ok(());
        }
        if track.corrected()
            && track.sent.saturating_sub(track.command(bottom, Direction::Minus)) >= track.width
        {
            track.seat = Some(Direction::Plus);
        }
        Ok(())
    }
}
