//! Cuts, and straight ones among them: divided at the stations of a table that changes along the travel.

use super::block::Block;
use super::emit::{Patches, Text, feed, put_number};
use super::refusal::{Reason, Stop};
use super::{AlongTravel, Note, Rewriter};
use crate::axis::{Axis, PerAxis};
use crate::length::Length;
use crate::program::modal::{Distance, Feed, Motion};

/// Nearer than this to an end a station is not worth a division: 0.002 mm.
const NEAR_END: Length = Length::from_counts(20_000);

/// A place some way along from one to another.
pub(super) fn between(from: Length, to: Length, share: f64) -> Length {
    let way = to.saturating_sub(from).counts() as f64;
    from.saturating_add(Length::from_counts(libm::round(way * share) as i64))
}

impl Rewriter<'_> {
    #[inline(never)]
    pub(super) fn cut(
        &mut self,
        block: &Block,
        line: &[u8],
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let targets = self.targets(block)?;
        // NISTIR 6556, section 3.5.19, recalled from memory: every such block needs its own time. That of an
        // inserted line would else hold for it.
        if self.modal.feed == Feed::InverseTime && block.feed.is_none() {
            return Err(Stop(block.motion_word, Reason::NoTime));
        }
        for axis in Axis::ALL {
            let (track, word) = (self.axes.get(axis), block.axes.get(axis));
            if track.is_uniform() || track.named() {
                continue;
            }
            // It cuts by a difference, or stands where rapids by differences have brought it.
            let differs = self.modal.distance == Distance::Incremental && word.is_some();
            if differs || (word.is_none() && track.seat.is_some()) {
                return Err(Stop(word.map(|word| word.span), Reason::TravelUnknown(axis)));
            }
        }
        let restore = self.seat_before(block, &targets, note, sink)?;
        let (first, second, third) = self.modal.plane.axes();
        let in_plane = self.axes.get(first).shifts() || self.axes.get(second).shifts();
        // Of a helix whose third axis alone is corrected, only the climb follows the table.
        let climbs = !self.axes.get(third).is_uniform() && self.heading(third, *targets.get(third)).is_some();
        if climbs && !in_plane && self.modal.motion.is_arc() && block.rotary.is_some() {
            note.along_travel = Some(AlongTravel::Rotary);
            self.straight(block, line, &targets, restore, note, sink)?;
        } else if self.modal.motion.is_arc() && (in_plane || climbs) {
            self.arc(block, line, &targets, restore, sink)?;
        } else {
            self.straight(block, line, &targets, restore, note, sink)?;
        }
        self.after_cut = true;
        Ok(())
    }

    /// A line, or an arc whose plane has no corrected axis and which need not be divided.
    #[inline(never)]
    fn straight(
        &mut self,
        block: &Block,
        line: &[u8],
        targets: &PerAxis<Length>,
        restore: bool,
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let mut restore = self.take_up(block, targets, sink)? || restore;
        let start = self.axes.map(|track| track.wanted);
        let mut done = 0.0;
        // Between places one of which is not known there is no way to divide.
        let followed =
            Axis::ALL.into_iter().all(|axis| block.axes.get(axis).is_none() || self.can_follow(axis));
        let along = self.axes.iter().any(|(_, track)| !track.is_uniform());
        if along && followed && self.modal.motion == Motion::Line {
            while let Some(share) = self.next_division(&start, targets, done) {
                if block.rotary.is_some() {
                    note.along_travel = Some(AlongTravel::Rotary);
                    break;
                }
                Self::can_stand_behind(block)?;
                let place = PerAxis::from_fn(|axis| between(*start.get(axis), *targets.get(axis), share));
                self.begin(block, self.modal.motion.word(), sink);
                for axis in Axis::ALL {
                    if block.axes.get(axis).is_some() {
                        self.send_to(block, axis, *place.get(axis), sink)?;
                    }
                }
                self.follow_up(block, line, share - done, done == 0.0, sink);
                self.end_inserted(sink);
                restore = false;
                done = share;
            }
        }
        // A motion word, three axes and a feed.
        let mut patches = Patches::<5>::new();
        if restore && block.motion_word.is_none() {
            self.restore_motion(block, &mut patches);
        }
        for axis in Axis::ALL {
            if block.axes.get(axis).is_none() {
                continue;
            }
            let target = *targets.get(axis);
            if !self.axes.get(axis).corrected() && done == 0.0 {
                self.arrive(block, axis, target);
                continue;
            }
            let (command, seat) = self.command_to(axis, target);
            self.patch_axis(block, axis, command, target, &mut patches)?;
            self.settle(axis, target, seat);
        }
        self.share_feed(block, 1.0 - done, &mut patches);
        // What acts before the move stands in the first part.
        let without = if done > 0.0 { block.ahead.as_slice() } else { &[] };
        self.write_without(line, &patches, without, sink);
        Ok(())
    }

    /// The line itself is the last part of a divided cut: another tool, and its length, would come too late there.
    pub(super) const fn can_stand_behind(block: &Block) -> Result<(), Stop> {
        if block.tool_change || block.tool_length {
            return Err(Stop(block.motion_word, Reason::Conflict));
        }
        Ok(())
    }

    /// Where on a line, behind a share of it, a correction next changes its slope.
    fn next_division(&self, start: &PerAxis<Length>, targets: &PerAxis<Length>, done: f64) -> Option<f64> {
        let mut next: Option<f64> = None;
        for axis in Axis::ALL {
            let (from, to) = (*start.get(axis), *targets.get(axis));
            if !self.can_follow(axis) || from == to {
                continue;
            }
            let (from, near) = (
                between(from, to, done),
                if to > from { NEAR_END } else { Length::ZERO.saturating_sub(NEAR_END) },
            );
            let (after, until) = (from.saturating_add(near), to.saturating_sub(near));
            if (after < until) != (from < to) {
                continue;
            }
            if let Some(station) = self.axes.get(axis).next_station(after, until) {
                let whole = to.saturating_sub(*start.get(axis)).counts() as f64;
                let share = station.saturating_sub(*start.get(axis)).counts() as f64 / whole;
                next = Some(next.map_or(share, |least| least.min(share)));
            }
        }
        next
    }

    /// Writes the word that sends an axis to a place of a divided cut, and follows it there.
    #[inline(never)]
    fn send_to(
        &mut self,
        block: &Block,
        axis: Axis,
        place: Length,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (command, seat) = self.command_to(axis, place);
        self.insert_axis(axis, command, place, block.axes.get(axis).as_ref(), sink)?;
        self.settle(axis, place, seat);
        Ok(())
    }

    /// Feed, and words that act before the move, for a part of a cut that comes before the line itself.
    pub(super) fn follow_up(
        &self,
        block: &Block,
        line: &[u8],
        share: f64,
        first: bool,
        sink: &mut impl FnMut(&[u8]),
    ) {
        let mut text = Text::new();
        if let Some(word) = &block.feed {
            if self.modal.feed == Feed::InverseTime {
                feed(&mut text, word.number.value() / share);
            } else if first {
                put_number(&mut text, b'F', &word.number);
            }
        }
        if !text.is_empty() {
            sink(b" ");
            sink(&text);
        }
        if first {
            for span in &block.ahead {
                sink(b" ");
                sink(span.of(line));
            }
        }
    }

    /// The feed of the last part of a divided cut.
    #[inline(never)]
    pub(super) fn share_feed<const N: usize>(&self, block: &Block, share: f64, patches: &mut Patches<N>) {
        if let (Some(word), Feed::InverseTime, true) = (&block.feed, self.modal.feed, share < 1.0) {
            let mut text = Text::new();
            feed(&mut text, word.number.value() / share);
            patches.replace(word.span, text);
        }
    }
}
