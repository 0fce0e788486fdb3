//! Moves that cut: lines, arcs and helices.

use super::block::Block;
use super::emit::{Inserted, Patches, Text, dimension, feed, half_resolution, put};
use super::refusal::{Reason, Stop};
use super::track::direction;
use super::{Note, Rewriter};
use crate::axis::{Axis, Direction, PerAxis};
use crate::length::Length;
use crate::program::arc::{Arc, Part, Place, Sense, centre_of_radius};
use crate::program::modal::{Distance, Feed, Modal, Motion, Plane};

/// First, second and perpendicular axis of a plane, right-handed.
const fn axes_of(plane: Plane) -> (Axis, Axis, Axis) {
    match plane {
        Plane::Xy => (Axis::X, Axis::Y, Axis::Z),
        Plane::Zx => (Axis::Z, Axis::X, Axis::Y),
        Plane::Yz => (Axis::Y, Axis::Z, Axis::X),
    }
}

const fn centre_letter(axis: Axis) -> u8 {
    match axis {
        Axis::X => b'I',
        Axis::Y => b'J',
        Axis::Z => b'K',
    }
}

fn to_length(counts: f64) -> Length {
    Length::from_counts(libm::round(counts) as i64)
}

impl Rewriter<'_> {
    pub(super) fn cut(
        &mut self,
        block: &Block,
        line: &[u8],
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let targets = PerAxis {
            x: self.target(block, Axis::X)?,
            y: self.target(block, Axis::Y)?,
            z: self.target(block, Axis::Z)?,
        };
        let mut restore = self.seat_before(block, &targets, note, sink);
        let (first, second, _) = axes_of(self.modal.plane);
        let in_plane = self.axes.get(first).takes_up() || self.axes.get(second).takes_up();
        if self.modal.motion.is_arc() && in_plane {
            self.arc(block, line, &targets, restore, sink)?;
        } else {
            restore |= self.take_up(block, self.modal.motion, &targets, sink);
            let mut patches = Patches::new();
            self.finish(block, &targets, &mut patches)?;
            if restore && block.motion_word.is_none() {
                self.restore_motion(block, &mut patches);
            }
            self.write_line(line, &patches, &[], sink);
        }
        self.after_cut = true;
        Ok(())
    }

    fn restore_motion(&self, block: &Block, patches: &mut Patches) {
        let mut text = Text::new();
        put(&mut text, self.modal.motion.word());
        put(&mut text, b" ");
        patches.insert(block.first_dimension(), &text);
    }

    /// The direction in which a block moves an axis, where that can be known.
    fn heading(&self, axis: Axis, target: Length) -> Option<Direction> {
        let track = self.axes.get(axis);
        let named = track.known || self.modal.distance == Distance::Incremental;
        if named { direction(track.wanted, target) } else { None }
    }

    /// Whether a block moves one axis alone, in a straight line: then the drive crosses the clearance
    /// on the way and the path is the same.
    fn moves_alone(&self, block: &Block, axis: Axis, targets: &PerAxis<Length>) -> bool {
        self.modal.motion == Motion::Line
            && !block.rotary
            && Axis::ALL.into_iter().all(|other| {
                other == axis
                    || (self.axes.get(other).known || block.axes.get(other).is_none())
                        && self.axes.get(other).wanted == *targets.get(other)
            })
    }

    /// Seats Z by an overrun upward before a cut; says so where a seat stays unknown.
    /// `true` if lines were inserted that changed the motion in force.
    fn seat_before(
        &mut self,
        block: &Block,
        targets: &PerAxis<Length>,
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> bool {
        let mut inserted = false;
        let begins = !self.after_cut;
        for axis in Axis::ALL {
            let track = *self.axes.get(axis);
            if !track.corrected() {
                continue;
            }
            let reference = track.reference(axis);
            let off_seat =
                begins && !track.takes_up() && track.seat.is_some() && track.seat != Some(reference);
            if track.seat.is_some() && !off_seat {
                continue;
            }
            if let Some(towards) = self.heading(axis, *targets.get(axis)) {
                let command = track.command(*targets.get(axis), towards);
                let seats_itself = self.moves_alone(block, axis, targets)
                    && (towards == reference || track.takes_up())
                    && track.seat_after(track.sent, command, Some(towards)) == Some(towards);
                if seats_itself {
                    continue;
                }
            }
            let upward = axis == Axis::Z && reference == Direction::Minus;
            let aside = axis != Axis::Z && self.is_clear(self.axes.z.wanted);
            let absolute = self.modal.distance == Distance::Absolute;
            if begins && (upward || aside) && (track.known || !absolute) {
                self.overrun(block, axis, sink);
                inserted = true;
            } else if !track.told && track.seat.is_none() {
                self.axes.get_mut(axis).told = true;
                note.unseated = note.unseated.or(Some(axis));
            }
        }
        inserted
    }

    /// Overruns where an axis is, in rapid, and comes back from its reference direction.
    pub(super) fn overrun(&mut self, block: &Block, axis: Axis, sink: &mut impl FnMut(&[u8])) {
        let track = *self.axes.get(axis);
        let reference = track.reference(axis);
        let end = track.command(track.wanted, reference);
        let past = match reference {
            Direction::Plus => end.saturating_sub(track.overrun()),
            Direction::Minus => end.saturating_add(track.overrun()),
        };
        for place in [past, end] {
            let mut text = self.inserted(block, b"G0 ");
            self.write_axis(&mut text, axis, place, None);
            self.insert_before(&text, sink);
        }
        let track = self.axes.get_mut(axis);
        track.seat = Some(reference);
        track.told = false;
        self.counts.one_way_moves = self.counts.one_way_moves.saturating_add(1);
    }

    /// Crosses the clearance of every axis that turns round, unless it moves alone. `true` if a line
    /// was inserted that leaves another motion in force than the block's.
    fn take_up(
        &mut self,
        block: &Block,
        motion: Motion,
        targets: &PerAxis<Length>,
        sink: &mut impl FnMut(&[u8]),
    ) -> bool {
        let mut line = None;
        for axis in Axis::ALL {
            let track = *self.axes.get(axis);
            let Some(towards) = self.heading(axis, *targets.get(axis)) else { continue };
            let command = track.command(track.wanted, towards);
            // From an unknown seat the move brings the axis to its place, if it is long enough.
            if !track.takes_up()
                || track.seat == Some(towards)
                || (track.seat.is_none() && command == track.sent)
            {
                continue;
            }
            self.counts.take_ups = self.counts.take_ups.saturating_add(1);
            if self.moves_alone(block, axis, targets) {
                continue;
            }
            let text = line.get_or_insert_with(|| self.inserted(block, b"G1"));
            put(text, b" ");
            self.write_axis(text, axis, command, None);
            self.axes.get_mut(axis).seat = track.seat_after(track.sent, command, Some(towards));
        }
        let Some(mut text) = line else { return false };
        if self.modal.feed == Feed::InverseTime {
            // A tenth of a second.
            put(&mut text, b" ");
            feed(&mut text, 600.0);
        } else if let Some(word) = &block.feed {
            put(&mut text, b" F");
            copy_number(&mut text, word.number.mantissa(), word.number.decimals());
        }
        self.insert_before(&text, sink);
        motion != Motion::Line
    }

    /// Brings every axis to its target in the line itself.
    fn finish(
        &mut self,
        block: &Block,
        targets: &PerAxis<Length>,
        patches: &mut Patches,
    ) -> Result<(), Stop> {
        for axis in Axis::ALL {
            if block.axes.get(axis).is_none() {
                continue;
            }
            let target = *targets.get(axis);
            let track = *self.axes.get(axis);
            if !track.corrected() {
                self.arrive(block, axis, target)?;
                continue;
            }
            let named = track.known || self.modal.distance == Distance::Incremental;
            let towards = self.heading(axis, target);
            let command = match towards {
                Some(towards) => track.command(target, towards),
                None if named => track.sent,
                None => track.command(target, track.reference(axis)),
            };
            let seat = if named { track.seat_after(track.sent, command, towards) } else { None };
            self.patch_axis(block, axis, command, patches)?;
            self.settle(axis, target, seat);
        }
        Ok(())
    }

    /// The arc of a block, in counts.
    fn geometry(&self, block: &Block, targets: &PerAxis<Length>) -> Result<(Arc, Option<f64>), Stop> {
        let (first, second, _) = axes_of(self.modal.plane);
        let place = |axis: Axis| self.axes.get(axis).wanted.counts() as f64;
        let start = (place(first), place(second));
        let end = (targets.get(first).counts() as f64, targets.get(second).counts() as f64);
        let sense = if self.modal.motion == Motion::ArcClockwise {
            Sense::Clockwise
        } else {
            Sense::Counterclockwise
        };
        let words = [*block.centre.get(first), *block.centre.get(second)];
        if let Some(word) = &block.radius {
            let radius = self.length(word)?.counts() as f64;
            let centre =
                centre_of_radius(start, end, radius, sense).ok_or(Stop(Some(word.span), Reason::Arc))?;
            return Ok((Arc { start, end, centre, sense }, Some(libm::fabs(radius))));
        }
        let absolute = self.modal.centre == Distance::Absolute;
        let coordinate = |word: Option<crate::program::Word>, from: f64| -> Result<f64, Stop> {
            match word {
                Some(word) => {
                    let value = self.length(&word)?.counts() as f64;
                    Ok(if absolute { value } else { from + value })
                }
                None => Ok(from),
            }
        };
        if words.iter().all(Option::is_none) {
            return Err(Stop(block.motion_word, Reason::Arc));
        }
        let [a, b] = words;
        let centre = (coordinate(a, start.0)?, coordinate(b, start.1)?);
        let radius = |p: Place| libm::hypot(p.0 - centre.0, p.1 - centre.1);
        // Half a millimetre between the radii of start and end is no rounding any more.
        if radius(start) <= 0.0 || libm::fabs(radius(start) - radius(end)) > 5_000_000.0 {
            return Err(Stop(a.or(b).map(|word| word.span), Reason::Arc));
        }
        Ok((Arc { start, end, centre, sense }, None))
    }

    /// An arc in whose plane an axis is corrected: split where that axis turns round.
    fn arc(
        &mut self,
        block: &Block,
        line: &[u8],
        targets: &PerAxis<Length>,
        restore: bool,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (first, second, third) = axes_of(self.modal.plane);
        let word = block.motion_word;
        if block.turns.is_some_and(|turns| turns.number.whole() != Some(1)) {
            return Err(Stop(block.turns.map(|turns| turns.span), Reason::Turns));
        }
        for axis in [first, second] {
            let track = self.axes.get(axis);
            if track.takes_up() && !track.is_uniform() {
                return Err(Stop(word, Reason::ArcAlongTravel));
            }
            if self.modal.distance == Distance::Absolute && !track.known {
                return Err(Stop(word, Reason::ArcFromUnknown));
            }
        }
        let (arc, radius) = self.geometry(block, targets)?;
        let resolution = half_resolution(self.modal.unit).counts() as f64;
        // In radius form the centre is well kept only by parts of a quarter at most.
        let quarters = radius.is_some();
        let parts = arc.parts(
            quarters || self.axes.get(first).takes_up(),
            quarters || self.axes.get(second).takes_up(),
            resolution,
        );
        let single = parts.len() == 1;
        let (climb_from, climb) = (
            self.axes.get(third).wanted,
            targets.get(third).saturating_sub(self.axes.get(third).wanted).counts() as f64,
        );
        let mut done = 0.0;
        let mut restore = restore;
        let last = parts.len().saturating_sub(1);
        for (index, part) in parts.iter().enumerate() {
            done += part.share;
            let mut ends = PerAxis { x: Length::ZERO, y: Length::ZERO, z: Length::ZERO };
            *ends.get_mut(first) = to_length(part.end.0);
            *ends.get_mut(second) = to_length(part.end.1);
            *ends.get_mut(third) = if index == last {
                *targets.get(third)
            } else {
                climb_from.saturating_add(to_length(climb * done))
            };
            let taken = self.take_up(block, self.modal.motion, &ends, sink);
            if index == last {
                self.last_part(block, line, &ends, &arc, part, single, radius, restore | taken, sink)?;
            } else {
                self.inner_part(block, &ends, &arc, part, radius, sink)?;
                restore = false;
            }
            if index > 0 || single {
                continue;
            }
            self.counts.arcs_split = self.counts.arcs_split.saturating_add(1);
        }
        Ok(())
    }

    /// The number of a centre word for the part in hand, which starts where the axis was sent.
    fn centre_number(&self, axis: Axis, centre: f64, towards: Option<Direction>, start: Length) -> Length {
        let track = self.axes.get(axis);
        let place = to_length(centre);
        let shifted = match towards {
            Some(towards) => track.command(place, towards),
            None => place.saturating_add(track.sent.saturating_sub(track.wanted)),
        };
        match self.modal.centre {
            Distance::Absolute => shifted,
            Distance::Incremental => shifted.saturating_sub(start),
        }
    }

    /// A part before the last: a line of its own.
    fn inner_part(
        &mut self,
        block: &Block,
        ends: &PerAxis<Length>,
        arc: &Arc,
        part: &Part,
        radius: Option<f64>,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (first, second, third) = axes_of(self.modal.plane);
        let mut text = self.inserted(block, b"");
        if block.mode_word || block.motion_word.is_some() {
            let plane: &[u8] = match self.modal.plane {
                Plane::Xy => b"G17 ",
                Plane::Zx => b"G18 ",
                Plane::Yz => b"G19 ",
            };
            put(&mut text, plane);
        }
        put(&mut text, self.modal.motion.word());
        let mut centres = Inserted::new();
        match radius {
            Some(radius) => {
                put(&mut centres, b" ");
                let style = block.radius.as_ref().map(|word| &word.number);
                dimension(&mut centres, b'R', to_length(radius), style, &self.modal);
            }
            None => {
                for (axis, centre) in [(first, arc.centre.0), (second, arc.centre.1)] {
                    let towards = self.heading(axis, *ends.get(axis));
                    let number = self.centre_number(axis, centre, towards, self.axes.get(axis).sent);
                    put(&mut centres, b" ");
                    let style = block.centre.get(axis).as_ref().map(|word| &word.number);
                    dimension(&mut centres, centre_letter(axis), number, style, &self.modal);
                }
            }
        }
        for axis in [first, second, third] {
            let end = *ends.get(axis);
            let towards = self.heading(axis, end);
            let track = *self.axes.get(axis);
            if axis == third && towards.is_none() {
                continue;
            }
            let command = towards.map_or(track.sent, |towards| track.command(end, towards));
            put(&mut text, b" ");
            self.write_axis(&mut text, axis, command, block.axes.get(axis).as_ref());
            let seat = if track.corrected() { track.seat_after(track.sent, command, towards) } else { None };
            self.settle(axis, end, seat);
        }
        put(&mut text, &centres);
        if let Some(word) = &block.feed {
            put(&mut text, b" ");
            if self.modal.feed == Feed::InverseTime {
                feed(&mut text, word.number.value() / part.share);
            } else {
                put(&mut text, b"F");
                copy_number(&mut text, word.number.mantissa(), word.number.decimals());
            }
        }
        self.insert_before(&text, sink);
        Ok(())
    }

    /// The last part, or the whole arc: the line itself, with its words changed.
    #[allow(clippy::too_many_arguments)]
    fn last_part(
        &mut self,
        block: &Block,
        line: &[u8],
        ends: &PerAxis<Length>,
        arc: &Arc,
        part: &Part,
        single: bool,
        radius: Option<f64>,
        restore: bool,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (first, second, third) = axes_of(self.modal.plane);
        let mut patches = Patches::new();
        if restore && block.motion_word.is_none() {
            self.restore_motion(block, &mut patches);
        }
        let mut centres: heapless::Vec<(Axis, Length), 2> = heapless::Vec::new();
        for (axis, centre) in [(first, arc.centre.0), (second, arc.centre.1)] {
            let towards = self.heading(axis, *ends.get(axis));
            let _ = centres.push((axis, self.centre_number(axis, centre, towards, self.axes.get(axis).sent)));
        }
        for axis in [first, second, third] {
            let end = *ends.get(axis);
            let track = *self.axes.get(axis);
            if !track.corrected() && single {
                self.arrive(block, axis, end)?;
                continue;
            }
            let towards = self.heading(axis, end);
            let command = match towards {
                Some(towards) => track.command(end, towards),
                None if track.corrected() => track.sent,
                None => end,
            };
            let seat = if track.corrected() { track.seat_after(track.sent, command, towards) } else { None };
            self.patch_axis(block, axis, command, &mut patches)?;
            self.settle(axis, end, seat);
        }
        if let (Some(word), Some(radius), false) = (&block.radius, radius, single)
            && word.number.mantissa() < 0
        {
            let mut text = Text::new();
            dimension(&mut text, b'R', to_length(radius), Some(&word.number), &self.modal);
            patches.replace(word.span, text);
        }
        if radius.is_none() {
            self.patch_centres(block, &centres, &self.modal, single, &mut patches)?;
        }
        if let (Some(word), Feed::InverseTime, false) = (&block.feed, self.modal.feed, single) {
            let mut text = Text::new();
            feed(&mut text, word.number.value() / part.share);
            patches.replace(word.span, text);
        }
        self.write_line(line, &patches, &[], sink);
        Ok(())
    }

    fn patch_centres(
        &self,
        block: &Block,
        centres: &[(Axis, Length)],
        modal: &Modal,
        single: bool,
        patches: &mut Patches,
    ) -> Result<(), Stop> {
        for (axis, number) in centres {
            let mut text = Text::new();
            match block.centre.get(*axis) {
                Some(word) => {
                    let said = self.length(word)?;
                    let off = number.saturating_sub(said).saturating_abs();
                    if off <= half_resolution(modal.unit) {
                        continue;
                    }
                    dimension(&mut text, centre_letter(*axis), *number, Some(&word.number), modal);
                    patches.replace(word.span, text);
                }
                None if single && modal.centre == Distance::Incremental => {}
                None => {
                    dimension(&mut text, centre_letter(*axis), *number, None, modal);
                    put(&mut text, b" ");
                    patches.insert(block.first_dimension(), &text);
                }
            }
        }
        Ok(())
    }
}

/// Writes a number as it was, without its style.
fn copy_number<const N: usize>(text: &mut heapless::Vec<u8, N>, mantissa: i64, decimals: u8) {
    let mut digits = heapless::String::<24>::new();
    let _ = core::fmt::Write::write_fmt(
        &mut digits,
        format_args!("{:0width$}", mantissa.unsigned_abs(), width = usize::from(decimals).saturating_add(1)),
    );
    let point = digits.len().saturating_sub(usize::from(decimals));
    put(text, digits.as_bytes().get(..point).unwrap_or(&[]));
    if decimals > 0 {
        put(text, b".");
        put(text, digits.as_bytes().get(point..).unwrap_or(&[]));
    }
}
