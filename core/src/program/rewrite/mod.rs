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
//! A command differs from the number it replaces by a whole number of last digits (0.001 mm,
//! 0.00001 in). The ends of a line or an arc are therefore shifted alike, centres stay as consistent as
//! they were, and the increments of an incremental program add up to what they did before.
//!
//! Lines that need no change come out byte for byte. What is not understood is refused.
//!
//! - `block`: the words of a line and their modal effects; `track`: what is known of an axis.
//! - `entry`: seats before a cut and take-ups; `line`, `arcs`: cuts; `rapid`; `cycle`: drilling.
//! - `emit`, `write`: words and lines written.
//!
//! Not for programs with subprograms, variables or flow: their order is not the order of their lines.

mod arcs;
mod block;
pub mod clear;
mod cycle;
mod emit;
mod entry;
mod line;
mod rapid;
mod refusal;
mod settings;
mod track;
mod write;

pub use refusal::{CycleTrouble, Reason, Refusal};
pub use settings::{AlongTravel, Blending, Counts, Note, Settings, Unseated};
pub use track::Strategy;

use super::modal::{Distance, Feed, Modal, Motion};
use super::number::Integers;
use super::words::{Fault, FaultKind, Span, Token, Words};
use crate::axis::{Axis, PerAxis};
use crate::correct::{AxisTable, Table};
use crate::length::Length;
use block::{Blend, Block, MARK, Purpose};
use clear::Near;
use cycle::Drilling;
use emit::{Patches, Text, dimension, step};
use refusal::Stop;
use track::{Place, Track};

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
    clear: Option<Length>,
    limits: PerAxis<Option<(Length, Length)>>,
    unseated: Unseated,
    modal: Modal,
    /// The modes if no block that may be skipped is executed, while those differ.
    skipped: Option<Modal>,
    axes: PerAxis<Track<'t>>,
    corrected: PerAxis<bool>,
    any: bool,
    marked: bool,
    after_cut: bool,
    crlf: bool,
    /// A feed rate is in force for inserted moves.
    fed: bool,
    /// Z is at its reference place, the top of its travel.
    at_reference: bool,
    /// The work offset in force, by tenths of its code and its number, once the program has chosen one.
    offset: Option<(u16, u16)>,
    limits_hold: bool,
    near: Near,
    drilling: Drilling,
    counts: Counts,
}

impl<'t> Rewriter<'t> {
    /// A rewriter for a machine with a table.
    #[must_use]
    pub fn new(table: &'t Table, settings: &Settings) -> Self {
        let axes = &table.axes;
        let tables = PerAxis { x: axes.x.as_ref(), y: axes.y.as_ref(), z: axes.z.as_ref() };
        Self::with_axes(tables, settings)
    }

    /// A rewriter with a table for each axis that has one: for a controller that keeps no more than those.
    #[must_use]
    #[inline(never)]
    pub fn with_axes(tables: PerAxis<Option<&'t AxisTable>>, settings: &Settings) -> Self {
        let step = step(settings.unit, settings.integers);
        let axes = PerAxis::from_fn(|axis| {
            let (strategy, offset) = (*settings.strategy.get(axis), *settings.offset.get(axis));
            Track::new(*tables.get(axis), strategy, offset, step)
        });
        let corrected = axes.map(Track::corrected);
        Self {
            clear: settings.clear,
            limits: settings.limits,
            unseated: settings.unseated,
            modal: Modal::new(settings.unit, settings.integers),
            skipped: None,
            axes,
            corrected,
            any: corrected.x || corrected.y || corrected.z,
            marked: false,
            after_cut: false,
            crlf: false,
            fed: false,
            at_reference: false,
            offset: None,
            limits_hold: true,
            near: Near::default(),
            drilling: Drilling::default(),
            counts: Counts::default(),
        }
    }

    /// Whether the correction of some axis changes along the travel by what the last digit shows, so that
    /// the place of the work on the machine matters.
    #[must_use]
    pub fn changes_along_travel(&self) -> bool {
        self.axes.iter().any(|(_, track)| !track.is_uniform())
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

    #[inline(never)]
    fn corrected_line(&mut self, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<Note, Stop> {
        let before = self.modal;
        let mut block = Block::EMPTY;
        block.read(line, &mut self.modal, &self.corrected)?;
        if !block.program {
            sink(line);
            return Ok(Note::default());
        }
        if !self.marked {
            self.crlf = line.ends_with(b"\r\n");
            self.mark(sink);
        }
        if self.skipped.is_some() || (block.skip.is_some() && before != self.modal) {
            self.follow_skipped(&block, line, before)?;
        }
        self.change_modes(&before);
        let mut note = Note::default();
        self.doubt(&block, &mut note)?;
        match block.purpose {
            Purpose::Dwell | Purpose::Offsets => sink(line),
            Purpose::Return | Purpose::Machine => {
                let zero = |word: crate::program::Word| word.number.mantissa() == 0;
                self.at_reference = match block.purpose {
                    Purpose::Return => block.axes.z.is_some() || !block.names_axis(),
                    _ => block.axes.z.map_or(self.at_reference, zero),
                };
                self.after_cut = false;
                sink(line);
            }
            Purpose::Rename => self.rename(&block, line, sink)?,
            Purpose::Move => self.moved(&block, line, &mut note, sink)?,
        }
        if block.feed.is_some() && self.modal.feed != Feed::InverseTime {
            self.fed = true;
        }
        if let Some(span) = block.skip {
            self.doubt_after_skip(&block, span)?;
        }
        if let (Some(axis), Unseated::Refused) = (note.unseated, self.unseated) {
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

    /// Follows the modes as they are when blocks with `/` are skipped. A block that moves must mean the
    /// same either way.
    #[inline(never)]
    fn follow_skipped(&mut self, block: &Block, line: &[u8], before: Modal) -> Result<(), Stop> {
        let mut skipped = self.skipped.unwrap_or(before);
        if block.skip.is_none() {
            for token in Words::new(line).flatten() {
                if let Token::Word(word) = token
                    && word.letter == b'G'
                    && let Some(tenths) = word.number.tenths()
                {
                    skipped.apply(tenths);
                }
            }
        }
        self.skipped = (skipped != self.modal).then_some(skipped);
        let modal = &self.modal;
        let (arc, cycle) = (modal.motion.is_arc(), matches!(modal.motion, Motion::Cycle(_)));
        let differs = skipped.motion != modal.motion
            || skipped.unit != modal.unit
            || skipped.distance != modal.distance
            || (modal.motion.cuts() && skipped.feed != modal.feed)
            || (arc && (skipped.plane, skipped.centre) != (modal.plane, modal.centre))
            || (cycle && skipped.to_r_plane != modal.to_r_plane);
        let moves = block.purpose == Purpose::Move && block.names_axis();
        if differs && moves && block.skip.is_none() {
            return Err(Stop(None, Reason::SkippedMode));
        }
        Ok(())
    }

    /// Units, distance or feed mode may have changed.
    fn change_modes(&mut self, before: &Modal) {
        if before.unit != self.modal.unit {
            let step = step(self.modal.unit, self.modal.integers);
            for axis in Axis::ALL {
                self.axes.get_mut(axis).write_in(step);
            }
        }
        if before.feed != self.modal.feed {
            self.fed = false;
        }
    }

    /// What a block puts in doubt, and what a person should know of its words.
    #[inline(never)]
    fn doubt(&mut self, block: &Block, note: &mut Note) -> Result<(), Stop> {
        match block.blend {
            Blend::Unchanged => {}
            Blend::Without => note.blending = self.swallowed(None),
            Blend::Within => {
                let number = block.p.map(|word| word.number);
                let tolerance = number.and_then(|number| number.length(self.modal.unit, Integers::Units));
                let tolerance = tolerance.unwrap_or_default();
                note.blending = self.swallowed(Some(tolerance));
            }
        }
        if block.offset.is_some() && block.offset != self.offset {
            self.offset = block.offset;
            // What was named before lay in other coordinates, also in the table.
            if let Some((axis, _)) = self.axes.iter().find(|(_, track)| !track.is_uniform() && track.named())
            {
                return Err(Stop(None, Reason::OtherOffset(axis)));
            }
            let limited = self.limits.iter().any(|(_, limits)| limits.is_some());
            note.limits_lost = limited && self.axes.iter().any(|(_, track)| track.named());
            self.limits_hold &= !note.limits_lost;
            for axis in Axis::ALL {
                self.axes.get_mut(axis).forget();
            }
            self.after_cut = false;
        }
        if block.tool_length && !self.axes.z.is_uniform() {
            note.along_travel = Some(AlongTravel::ToolLength);
        }
        if block.tool_change {
            for axis in Axis::ALL {
                self.axes.get_mut(axis).leave();
            }
            self.after_cut = false;
        }
        // The data of an offset that is not in force move nothing.
        let chosen = match self.offset {
            Some((code @ 540..=590, 0)) => Some(i64::from(code / 10).saturating_sub(53)),
            _ => None,
        };
        let elsewhere = block.data_of.is_some() && chosen.is_some() && block.data_of != chosen;
        for axis in Axis::ALL {
            if *block.doubt.get(axis) && !elsewhere {
                if block.purpose == Purpose::Offsets && !self.axes.get(axis).is_uniform() {
                    return Err(Stop(None, Reason::OtherOffset(axis)));
                }
                self.axes.get_mut(axis).forget();
                self.after_cut = false;
            }
        }
        Ok(())
    }

    /// Whether path blending may swallow a take-up move: it rounds off what is shorter than its tolerance.
    fn swallowed(&self, tolerance: Option<Length>) -> Option<Blending> {
        let narrowest = self.axes.iter().filter(|(_, track)| track.takes_up()).min_by_key(|(_, t)| t.width);
        let (axis, track) = narrowest?;
        let wide = tolerance.is_none_or(|tolerance| tolerance >= track.width);
        wide.then_some(Blending { tolerance, axis, width: track.width })
    }

    /// A block that may be skipped leaves its axes in doubt.
    fn doubt_after_skip(&mut self, block: &Block, span: Span) -> Result<(), Stop> {
        if !matches!(block.purpose, Purpose::Move | Purpose::Rename) {
            return Ok(());
        }
        for axis in Axis::ALL {
            let track = self.axes.get_mut(axis);
            if block.axes.get(axis).is_none() {
                continue;
            }
            if track.corrected()
                && self.modal.distance == Distance::Incremental
                && block.purpose == Purpose::Move
            {
                return Err(Stop(Some(span), Reason::Skipped));
            }
            track.forget();
        }
        Ok(())
    }

    /// G92: the place where the axis is gets a new name. A shifted command keeps its shift.
    #[inline(never)] // as all that follows: the frames of what one line needs must not add up
    fn rename(&mut self, block: &Block, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<(), Stop> {
        let mut patches = Patches::new();
        for axis in Axis::ALL {
            let Some(word) = block.axes.get(axis) else { continue };
            let value = self.length(word)?;
            let modal = self.modal;
            let track = self.axes.get_mut(axis);
            if !track.is_uniform() {
                return Err(Stop(Some(word.span), Reason::OtherOffset(axis)));
            }
            let shift = track.sent.saturating_sub(track.wanted);
            track.forget();
            track.place = Place::Known;
            track.wanted = value;
            track.sent = value.saturating_add(shift);
            if track.corrected() && shift != Length::ZERO {
                let mut text = Text::new();
                let (letter, style) = (axis.letter() as u8, Some(&word.number));
                track.sent = dimension(&mut text, letter, track.sent, style, &modal);
                patches.replace(word.span, text);
            }
        }
        self.after_cut = false;
        self.write_line(line, &patches, None, sink);
        Ok(())
    }

    fn moved(
        &mut self,
        block: &Block,
        line: &[u8],
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let motion = self.modal.motion;
        if let Motion::Cycle(code) = motion {
            return self.cycle(code, block, line, note, sink);
        }
        if block.motion_word.is_some() {
            self.drilling.forget();
        }
        let centred = motion.is_arc()
            && (block.centre.x.is_some() || block.centre.y.is_some() || block.centre.z.is_some());
        let moves = block.names_axis() || centred || (block.rotary.is_some() && motion.cuts());
        if !moves {
            sink(line);
            return Ok(());
        }
        match motion {
            Motion::Rapid => self.rapid(block, line, sink),
            Motion::None => {
                let named = Axis::ALL.into_iter().find_map(|axis| *block.axes.get(axis));
                Err(Stop(named.map(|word| word.span), Reason::NoMotion))
            }
            _ => self.cut(block, line, note, sink),
        }
    }
}

#[cfg(test)]
mod tests;
