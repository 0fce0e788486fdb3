//! Programs rewritten for the lost motion that remains.
//!
//! A line goes in, corrected lines come out; nothing else is kept than the state of the axes, so that
//! the length of the program does not matter. Each corrected axis is followed through the program:
//! where the original wants it and on which seat its drive bears. On the reference seat command and
//! position agree; on the other seat the command is shifted by the lost motion
//! ([`Play`](crate::slack::Play)). Where an axis turns round in the cut a *take-up move* first crosses
//! the clearance while the tool stands still; in rapid the shift alone is enough.
//!
//! Where X and Y may overrun is the person's word, or what a [`clear::Heights`] found in a first pass.
//!
//! Lines that need no change come out byte for byte. What is not understood is refused.
//!
//! Not for programs with subprograms, variables or flow: their order is not the order of their lines.

mod block;
pub mod clear;
mod cut;
mod emit;
mod refusal;
mod track;

pub use refusal::{Reason, Refusal};

use super::modal::{Distance, Modal, Motion};
use super::number::Integers;
use super::words::{Fault, FaultKind, Span, Word, Words};
use crate::axis::{Axis, Direction, PerAxis};
use crate::correct::{AxisTable, Table};
use crate::length::{Length, Unit};
use block::{Block, MARK, Purpose};
use emit::{Inserted, Patches, Text, dimension, put};
use refusal::Stop;
use track::{Track, direction};

/// How the lost motion of an axis is kept out of the work.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Strategy {
    /// Arrive from the reference direction at every entry; leave reversals in the cut alone.
    OneWay,
    /// Shift the command on the other seat and take up the clearance where the cut reverses.
    TakeUp,
    /// One-way entries where they can be made in the clear, take-up everywhere else.
    #[default]
    Both,
}

/// What a person decides about a rewriting.
#[derive(Clone, Copy, Debug)]
pub struct Settings {
    /// The strategy of each axis.
    pub strategy: PerAxis<Strategy>,
    /// The unit in force until the program chooses one.
    pub unit: Unit,
    /// What numbers without a point mean.
    pub integers: Integers,
    /// The height at and above which X and Y may overrun; without it they never do.
    pub clear: Option<Length>,
    /// Machine coordinate of the program's zero on each axis, where corrections change along the travel.
    pub offset: PerAxis<Length>,
    /// Whether a cut that begins unseated is refused.
    pub unseated: Unseated,
}

impl Settings {
    /// The settings that need no decision.
    pub const DEFAULT: Settings = Settings {
        strategy: PerAxis { x: Strategy::Both, y: Strategy::Both, z: Strategy::Both },
        unit: Unit::Mm,
        integers: Integers::Units,
        clear: None,
        offset: PerAxis { x: Length::ZERO, y: Length::ZERO, z: Length::ZERO },
        unseated: Unseated::Told,
    };
}

/// What happens when a cut begins while a seat is unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Unseated {
    /// It is told in the [`Note`] of the line.
    Told,
    /// The program is refused.
    Refused,
}

/// Counts of what was done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counts {
    /// Lines read.
    pub lines_in: u64,
    /// Lines written.
    pub lines_out: u64,
    /// Lines of the original that came out different.
    pub lines_changed: u64,
    /// Clearances crossed at a reversal in the cut.
    pub take_ups: u64,
    /// Overruns made to arrive from the reference direction.
    pub one_way_moves: u64,
    /// Arcs that became several.
    pub arcs_split: u64,
}

/// What a person should know about a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Note {
    /// An axis whose seat is unknown while a cut begins.
    pub unseated: Option<Axis>,
    /// A blending tolerance (G64 P) that may swallow a take-up move.
    pub blending: Option<Length>,
}

/// Rewrites a program line by line.
///
/// ```
/// use takeup_core::axis::Direction;
/// use takeup_core::correct::{AxisTable, Table};
/// use takeup_core::length::Length;
/// use takeup_core::program::rewrite::{Rewriter, Settings};
/// let mut table = Table::EMPTY;
/// table.axes.z = AxisTable::uniform(Direction::Minus, Length::from_mm(0.12).unwrap()).ok();
/// let mut rewriter = Rewriter::new(&table, &Settings::DEFAULT);
/// let mut out = Vec::new();
/// for line in ["G0 Z5\n", "G1 Z-1 F200\n", "X10 Z-2\n", "X20 Z-1\n"] {
///     rewriter.line(line.as_bytes(), &mut |bytes| out.extend_from_slice(bytes)).unwrap();
/// }
/// // Before the reversal the command climbs over the clearance while the tool stands still.
/// assert!(out.ends_with(b"X10 Z-2\nG1 Z-1.88\nX20 Z-0.88\n"));
/// ```
#[derive(Clone, Debug)]
pub struct Rewriter<'t> {
    settings: Settings,
    modal: Modal,
    axes: PerAxis<Track<'t>>,
    corrected: PerAxis<bool>,
    any: bool,
    marked: bool,
    after_cut: bool,
    crlf: bool,
    counts: Counts,
}

/// A line without its line end, and the line end.
fn split_end(line: &[u8]) -> (&[u8], &[u8]) {
    let mut body = line;
    while let [head @ .., b'\n' | b'\r'] = body {
        body = head;
    }
    line.split_at_checked(body.len()).unwrap_or((line, &[]))
}

impl<'t> Rewriter<'t> {
    /// A rewriter for a machine with a table.
    #[must_use]
    pub fn new(table: &'t Table, settings: &Settings) -> Self {
        let axes = PerAxis::from_fn(|axis| {
            let law: Option<&'t AxisTable> = table.axes.get(axis).as_ref();
            Track::new(law, *settings.strategy.get(axis), *settings.offset.get(axis))
        });
        let corrected = axes.map(Track::corrected);
        Self {
            settings: *settings,
            modal: Modal::new(settings.unit, settings.integers),
            axes,
            corrected,
            any: corrected.x || corrected.y || corrected.z,
            marked: false,
            after_cut: false,
            crlf: false,
            counts: Counts::default(),
        }
    }

    /// What was done so far.
    #[must_use]
    pub const fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Takes a line with its line end and hands what stands in its place to `sink`, in pieces.
    ///
    /// # Errors
    /// [`Refusal`]. What was handed out before it is no program: throw it away. The rewriter must
    /// not be used after one.
    pub fn line(&mut self, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<Note, Refusal> {
        self.counts.lines_in = self.counts.lines_in.saturating_add(1);
        let number = self.counts.lines_in;
        let done = if self.any { self.corrected_line(line, sink) } else { Self::copied(line, sink) };
        match done {
            Ok(note) => {
                self.counts.lines_out = self.counts.lines_out.saturating_add(1);
                Ok(note)
            }
            Err(Stop(word, reason)) => Err(Refusal { line: number, word, reason }),
        }
    }

    /// A line of a program that needs no correction at all. Whatever a control may understand passes;
    /// bytes that are no text do not.
    fn copied(line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<Note, Stop> {
        for token in Words::new(line) {
            match token {
                Err(fault @ Fault { kind: FaultKind::LineTooLong, .. }) => return Err(fault.into()),
                Err(fault @ Fault { kind: FaultKind::Unexpected(0..0x20 | 0x7f..), .. }) => {
                    return Err(fault.into());
                }
                _ => {}
            }
        }
        sink(line);
        Ok(Note::default())
    }

    fn corrected_line(&mut self, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<Note, Stop> {
        let block = Block::read(line, &mut self.modal, &self.corrected)?;
        if !block.program {
            sink(line);
            return Ok(Note::default());
        }
        if !self.marked {
            self.crlf = line.ends_with(b"\r\n");
            self.mark(sink);
        }
        let mut note = Note::default();
        if let Some(word) = block.blending {
            let tolerance = word.number.length(self.modal.unit, Integers::Units).unwrap_or_default();
            let swallowed = self.axes.iter().any(|(_, track)| track.corrected() && tolerance >= track.width);
            note.blending = swallowed.then_some(tolerance);
        }
        if block.forgets {
            self.forget_all();
        }
        match block.purpose {
            Purpose::Dwell | Purpose::Offsets => sink(line),
            Purpose::Machine => {
                for axis in Axis::ALL {
                    if block.axes.get(axis).is_some() || !block.names_axis() {
                        self.axes.get_mut(axis).forget();
                    }
                }
                self.after_cut = false;
                sink(line);
            }
            Purpose::Rename => self.rename(&block, line, sink)?,
            Purpose::Move => self.moved(&block, line, &mut note, sink)?,
        }
        if let Some(span) = block.skip {
            self.doubt_after_skip(&block, span)?;
        }
        if let (Some(axis), Unseated::Refused) = (note.unseated, self.settings.unseated) {
            return Err(Stop(None, Reason::Unseated(axis)));
        }
        Ok(note)
    }

    /// Two comments at the head: the mark by which a corrected program is known, and a caution.
    fn mark(&mut self, sink: &mut impl FnMut(&[u8])) {
        self.marked = true;
        for text in [MARK, b"RUN FIRST IN THE AIR IN SINGLE BLOCK WITH SOFT LIMITS ON"] {
            sink(b"(");
            sink(text);
            sink(b")");
            sink(self.line_end());
            self.counts.lines_out = self.counts.lines_out.saturating_add(1);
        }
    }

    const fn line_end(&self) -> &'static [u8] {
        if self.crlf { b"\r\n" } else { b"\n" }
    }

    fn forget_all(&mut self) {
        for axis in Axis::ALL {
            self.axes.get_mut(axis).forget();
        }
        self.after_cut = false;
    }

    /// A block that may be skipped leaves its axes in doubt.
    fn doubt_after_skip(&mut self, block: &Block, span: Span) -> Result<(), Stop> {
        for axis in Axis::ALL {
            let track = self.axes.get_mut(axis);
            if block.axes.get(axis).is_some() && track.corrected() {
                if self.modal.distance == Distance::Incremental {
                    return Err(Stop(Some(span), Reason::Skipped));
                }
                track.forget();
            }
        }
        Ok(())
    }

    fn length(&self, word: &Word) -> Result<Length, Stop> {
        let length = word.number.length(self.modal.unit, self.modal.integers);
        // A thousand kilometres: sums of a few such lengths stay within the range.
        length
            .filter(|length| length.saturating_abs().counts() < 1_000_000_000_000_000)
            .ok_or(Stop(Some(word.span), Reason::OutOfRange))
    }

    /// Where a block wants an axis.
    fn target(&self, block: &Block, axis: Axis) -> Result<Length, Stop> {
        let track = self.axes.get(axis);
        let Some(word) = block.axes.get(axis) else { return Ok(track.wanted) };
        let value = self.length(word)?;
        match self.modal.distance {
            Distance::Absolute => Ok(value),
            Distance::Incremental => {
                let sum = track.wanted.saturating_add(value);
                if sum.saturating_abs().counts() < 1_000_000_000_000_000 {
                    Ok(sum)
                } else {
                    Err(Stop(Some(word.span), Reason::OutOfRange))
                }
            }
        }
    }

    /// The number that an axis word needs for a command: the place, or the way to it.
    fn number_for(&self, axis: Axis, command: Length) -> Length {
        match self.modal.distance {
            Distance::Absolute => command,
            Distance::Incremental => command.saturating_sub(self.axes.get(axis).sent),
        }
    }

    /// Sends an axis to a command by writing its word; the command becomes what the word says.
    fn write_axis<const N: usize>(
        &mut self,
        text: &mut heapless::Vec<u8, N>,
        axis: Axis,
        command: Length,
        style: Option<&Word>,
    ) {
        let wanted = self.number_for(axis, command);
        let style = style.map(|word| &word.number);
        let written = dimension(text, axis.letter() as u8, wanted, style, &self.modal);
        let track = self.axes.get_mut(axis);
        track.sent = match self.modal.distance {
            Distance::Absolute => written,
            Distance::Incremental => track.sent.saturating_add(written),
        };
    }

    /// Makes the word of an axis in a line say a command, changing it only if it says something else.
    fn patch_axis(
        &mut self,
        block: &Block,
        axis: Axis,
        command: Length,
        patches: &mut Patches,
    ) -> Result<(), Stop> {
        if let Some(word) = block.axes.get(axis) {
            let said = self.length(word)?;
            if said == self.number_for(axis, command) {
                self.axes.get_mut(axis).sent = command;
                return Ok(());
            }
            let mut text = Text::new();
            self.write_axis(&mut text, axis, command, Some(word));
            patches.replace(word.span, text);
        } else if command != self.axes.get(axis).sent {
            let mut text = Text::new();
            self.write_axis(&mut text, axis, command, None);
            put(&mut text, b" ");
            patches.insert(block.first_dimension(), &text);
        }
        Ok(())
    }

    /// The head of an inserted line: the modes that the block changes, and a motion word.
    fn inserted(&self, block: &Block, motion: &[u8]) -> Inserted {
        let mut text = Inserted::new();
        if block.skip.is_some() {
            put(&mut text, b"/");
        }
        if block.mode_word {
            put(&mut text, if self.modal.unit == Unit::Mm { b"G21 " } else { b"G20 " });
            let distance: &[u8] = if self.modal.distance == Distance::Absolute { b"G90 " } else { b"G91 " };
            put(&mut text, distance);
        }
        put(&mut text, motion);
        text
    }

    /// Writes an inserted line before the one in hand.
    fn insert_before(&mut self, text: &Inserted, sink: &mut impl FnMut(&[u8])) {
        sink(text);
        sink(self.line_end());
        self.counts.lines_out = self.counts.lines_out.saturating_add(1);
    }

    /// Writes the line in hand with its changes, and inserted lines after it.
    fn write_line(
        &mut self,
        line: &[u8],
        patches: &Patches,
        after: &[Inserted],
        sink: &mut impl FnMut(&[u8]),
    ) {
        if !patches.is_empty() {
            self.counts.lines_changed = self.counts.lines_changed.saturating_add(1);
        }
        if after.is_empty() {
            return patches.write(line, sink);
        }
        let (body, end) = split_end(line);
        patches.write(body, sink);
        for text in after {
            sink(self.line_end());
            sink(text);
            self.counts.lines_out = self.counts.lines_out.saturating_add(1);
        }
        sink(end);
    }

    /// G92: the place where the axis is gets a new name. A shifted command keeps its shift.
    fn rename(&mut self, block: &Block, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<(), Stop> {
        let mut patches = Patches::new();
        for axis in Axis::ALL {
            let Some(word) = block.axes.get(axis) else { continue };
            let value = self.length(word)?;
            let modal = self.modal;
            let track = self.axes.get_mut(axis);
            let shift = track.sent.saturating_sub(track.wanted);
            track.forget();
            track.known = true;
            track.wanted = value;
            track.sent = value.saturating_add(shift);
            if track.corrected() && shift != Length::ZERO {
                let mut text = Text::new();
                let (letter, style) = (axis.letter() as u8, Some(&word.number));
                track.sent = dimension(&mut text, letter, track.sent, style, &modal);
                patches.replace(word.span, text);
            }
        }
        self.write_line(line, &patches, &[], sink);
        Ok(())
    }

    fn moved(
        &mut self,
        block: &Block,
        line: &[u8],
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let centred = self.modal.motion.is_arc()
            && (block.centre.x.is_some() || block.centre.y.is_some() || block.centre.z.is_some());
        let moves = block.names_axis() || centred || (block.rotary && self.modal.motion.cuts());
        if !moves {
            sink(line);
            return Ok(());
        }
        match self.modal.motion {
            Motion::Rapid => self.rapid(block, line, sink),
            Motion::Line | Motion::ArcClockwise | Motion::ArcCounterclockwise => {
                self.cut(block, line, note, sink)
            }
            Motion::Cycle(_) => self.cycle(block, line, sink),
            Motion::None => {
                let named = Axis::ALL.into_iter().find_map(|axis| *block.axes.get(axis));
                Err(Stop(named.map(|word| word.span), Reason::NoMotion))
            }
        }
    }

    /// Whether X and Y may overrun: at or above the clear height before and after the move.
    fn is_clear(&self, height: Length) -> bool {
        let z = self.axes.get(Axis::Z);
        self.settings.clear.is_some_and(|clear| z.known && z.wanted >= clear && height >= clear)
    }

    fn rapid(&mut self, block: &Block, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<(), Stop> {
        self.after_cut = false;
        let height = self.target(block, Axis::Z)?;
        let clear = self.is_clear(height);
        if !clear && self.is_clear(self.axes.z.wanted) {
            // The last place in the clear before the work: what is unseated is seated here.
            for axis in [Axis::X, Axis::Y] {
                let track = self.axes.get(axis);
                let here = track.known || self.modal.distance == Distance::Incremental;
                if track.corrected() && track.seat.is_none() && here && block.axes.get(axis).is_none() {
                    self.overrun(block, axis, sink);
                }
            }
        }
        let mut patches = Patches::new();
        let mut back = PerAxis::from_fn(|_| None);
        for axis in Axis::ALL {
            if block.axes.get(axis).is_none() {
                continue;
            }
            let target = self.target(block, axis)?;
            if !self.axes.get(axis).corrected() {
                self.arrive(block, axis, target)?;
                continue;
            }
            let track = self.axes.get(axis);
            let reference = track.reference(axis);
            let named_place = track.known || self.modal.distance == Distance::Incremental;
            let towards = if named_place { direction(track.wanted, target) } else { None };
            let overruns = axis != Axis::Z && clear && block.after.is_none() && track.enters_one_way();
            let arrives = towards == Some(reference)
                && track.seat_after(track.sent, track.command(target, reference), towards) == Some(reference);
            if overruns && !arrives && (!named_place || towards.is_some()) {
                let end = track.command(target, reference);
                let past = match reference {
                    Direction::Plus => end.saturating_sub(track.overrun()),
                    Direction::Minus => end.saturating_add(track.overrun()),
                };
                self.patch_axis(block, axis, past, &mut patches)?;
                *back.get_mut(axis) = Some(end);
                self.settle(axis, target, Some(reference));
                continue;
            }
            let start = track.sent;
            let command = match towards {
                Some(towards) => track.command(target, towards),
                None if named_place => start,
                None => track.command(target, reference),
            };
            let seat = if named_place { track.seat_after(start, command, towards) } else { None };
            self.patch_axis(block, axis, command, &mut patches)?;
            self.settle(axis, target, seat);
        }
        let mut after: heapless::Vec<Inserted, 1> = heapless::Vec::new();
        if back.iter().any(|(_, place)| place.is_some()) {
            let mut text = self.inserted(block, b"G0");
            for axis in Axis::ALL {
                if let Some(place) = *back.get(axis) {
                    put(&mut text, b" ");
                    self.write_axis(&mut text, axis, place, None);
                }
            }
            let _ = after.push(text);
            self.counts.one_way_moves = self.counts.one_way_moves.saturating_add(1);
        }
        self.write_line(line, &patches, &after, sink);
        Ok(())
    }

    /// An axis has arrived at a place.
    fn settle(&mut self, axis: Axis, wanted: Length, seat: Option<Direction>) {
        let absolute = self.modal.distance == Distance::Absolute;
        let track = self.axes.get_mut(axis);
        track.wanted = wanted;
        track.known |= absolute;
        track.seat = seat;
        if seat.is_some() {
            track.told = false;
        }
    }

    /// An axis without correction has arrived where its word said.
    fn arrive(&mut self, block: &Block, axis: Axis, target: Length) -> Result<(), Stop> {
        if block.axes.get(axis).is_some() {
            self.axes.get_mut(axis).sent = target;
            self.settle(axis, target, None);
        }
        Ok(())
    }

    /// A drilling cycle. Its places in the plane are reached in rapid; its depth is reached downward.
    fn cycle(&mut self, block: &Block, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<(), Stop> {
        self.after_cut = false;
        let span = block.axes.z.or(block.axes.x).or(block.axes.y).map(|word| word.span);
        let absolute = self.modal.distance == Distance::Absolute;
        let repeated = block.repeats.is_some_and(|word| word.number.whole() != Some(1));
        let z = self.axes.get(Axis::Z);
        if self.modal.plane != super::modal::Plane::Xy || (z.corrected() && !absolute) {
            return Err(Stop(span, Reason::Cycle));
        }
        let mut patches = Patches::new();
        for axis in [Axis::X, Axis::Y] {
            if block.axes.get(axis).is_none() {
                continue;
            }
            let target = self.target(block, axis)?;
            let track = self.axes.get(axis);
            if !track.corrected() {
                self.arrive(block, axis, target)?;
                continue;
            }
            if repeated && !absolute {
                return Err(Stop(block.repeats.map(|word| word.span), Reason::Cycle));
            }
            let named_place = track.known || !absolute;
            let towards = if named_place { direction(track.wanted, target) } else { None };
            let start = track.sent;
            let command = match towards {
                Some(towards) => track.command(target, towards),
                None if named_place => start,
                None => track.command(target, track.reference(axis)),
            };
            let seat = if named_place { track.seat_after(start, command, towards) } else { None };
            self.patch_axis(block, axis, command, &mut patches)?;
            self.settle(axis, target, seat);
        }
        let z = *self.axes.get(Axis::Z);
        if z.corrected() {
            for word in [block.axes.z, block.radius].into_iter().flatten() {
                let place = self.length(&word)?;
                let command = z.command(place, Direction::Minus);
                if command != place {
                    let mut text = Text::new();
                    dimension(&mut text, word.letter, command, Some(&word.number), &self.modal);
                    patches.replace(word.span, text);
                }
            }
        }
        if let Some(word) = &block.radius {
            let r_plane = self.length(word)?;
            let track = self.axes.get_mut(Axis::Z);
            if absolute && (self.modal.to_r_plane || r_plane > track.wanted || !track.known) {
                track.known |= self.modal.to_r_plane || track.known;
                track.wanted = r_plane;
                track.sent = track.command(r_plane, Direction::Minus);
            }
        }
        // The retract leaves the drive on the other seat, with the table behind its command.
        self.axes.get_mut(Axis::Z).seat = None;
        self.write_line(line, &patches, &[], sink);
        Ok(())
    }
}

#[cfg(test)]
mod tests;
