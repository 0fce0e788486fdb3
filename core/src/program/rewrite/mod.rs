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
//! - `entry`: seats before a cut and take-ups; `line`, `arcs`: cuts, `rapid`; `cycle`: drilling.
//! - `emit`, `write`: words and lines written.
//! - `stride`: a short way for most lines; `spelt`, `packed`: numbers on it; `shape`, `familiar`: lines known already.
//!
//! Not for programs with subprograms, variables or flow: their order is not the order of their lines.

mod arcs;
mod block;
pub mod clear;
mod course;
mod cycle;
mod doubt;
mod emit;
mod entry;
mod familiar;
mod limits;
mod line;
mod packed;
mod rapid;
mod refusal;
mod settings;
mod shape;
mod spelt;
mod stride;
mod track;
mod write;

pub use refusal::{CycleTrouble, Reason, Refusal};
pub use settings::{AlongTravel, Blending, Counts, Note, Past, Settings, Unseated};
pub use track::Strategy;

use super::modal::{Feed, Modal, Motion};
use super::words::{Fault, FaultKind, Span, Token, Words};
use crate::axis::{Axis, PerAxis};
use crate::correct::{AxisTable, Corrections, Table};
use crate::length::Length;
use block::{Block, MARK, Purpose};
use cycle::Drilling;
use doubt::Ended;
use emit::step;
use refusal::Stop;
use track::Track;

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
    /// The work offset in force, by tenths of its code and its number, once the program has chosen one.
    offset: Option<(u16, u16)>,
    /// A word has told the unit, or that none did before the first move.
    unit_told: bool,
    /// Whether M2 or M30 was read.
    ended: Ended,
    /// A cycle has ended, and no word has said since by what motion the axes move: inserted lines may have changed it.
    revived: bool,
    drilling: Drilling,
    counts: Counts,
}

impl<'t> Rewriter<'t> {
    /// A rewriter for a machine with a table.
    #[must_use]
    pub fn new(table: &'t Table, settings: &Settings) -> Self {
        let axes = &table.axes;
        let of = |axis| Option::as_ref(PerAxis::get(axes, axis)).map(AxisTable::corrections);
        Self::with_axes(PerAxis::from_fn(of), settings)
    }

    /// A rewriter with the corrections of each axis that has any: for a controller that keeps no more than those.
    #[must_use]
    #[inline(never)]
    pub fn with_axes(corrections: PerAxis<Option<Corrections<'t>>>, settings: &Settings) -> Self {
        let step = step(settings.unit, settings.integers);
        let axes = PerAxis::from_fn(|axis| {
            let (strategy, offset) = (*settings.strategy.get(axis), *settings.offset.get(axis));
            Track::new(*corrections.get(axis), strategy, offset, step)
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
            offset: None,
            unit_told: false,
            ended: Ended::Not,
            revived: false,
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
        // A byte-order mark stays at the head: what is put before the first line comes behind it.
        let order = match line {
            [0xef, 0xbb, 0xbf, ..] if number == 1 && self.any => 3,
            _ => 0,
        };
        let (head, line) = line.split_at_checked(order).unwrap_or((&[], line));
        if !head.is_empty() {
            sink(head);
        }
        let done = if self.any { self.corrected_line(line, sink) } else { Self::copied(line, sink) };
        match done {
            Ok(note) => {
                self.counts.lines_out = self.counts.lines_out.saturating_add(1);
                Ok(note)
            }
            Err(Stop(word, reason)) => {
                let behind = |at: usize| at.saturating_add(order);
                let word = word.map(|word| Span { start: behind(word.start), end: behind(word.end) });
                Err(Refusal { line: number, word, reason })
            }
        }
    }

    /// A line of a program that needs no correction at all. Whatever a control may understand passes, a carriage return
    /// alone at the end of a line among it; bytes that are no text do not.
    fn copied(line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<Note, Stop> {
        for token in Words::new(line) {
            match token {
                Err(fault @ Fault { kind: FaultKind::LineTooLong, .. }) => return Err(fault.into()),
                Err(Fault { kind: FaultKind::Unexpected(b'\r'), .. }) => {}
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
        let mut block = Block::EMPTY;
        if !self.read(&mut block, line, sink)? {
            sink(line);
            return Ok(Note::default());
        }
        let mut note = Note::default();
        if self.ended == Ended::Yes && block.acts() {
            self.begin_another(&mut note)?;
        }
        self.unit_told |= block.chosen.unit;
        if block.names_axis() && !self.unit_told {
            (note.unit_assumed, self.unit_told) = (true, true);
        }
        let standing = block.skip.map(|span| (span, self.standing()));
        self.doubt(&block, &mut note)?;
        match block.purpose {
            Purpose::Dwell | Purpose::Offsets => sink(line),
            Purpose::Return => {
                self.after_cut = false;
                sink(line);
            }
            Purpose::Machine => {
                self.after_cut = self.modal.cuts();
                self.revive(&block, sink);
                sink(line);
            }
            Purpose::Probe => {
                self.after_cut = true;
                sink(line);
            }
            Purpose::Rename => self.rename(&block, line, &mut note, sink)?,
            Purpose::Move => {
                note.past = self.passes_on_the_way(&block);
                self.moved(&block, line, &mut note, sink)?;
                if note.past.is_none() {
                    note.past = self.ends_past(&block);
                }
            }
        }
        if block.feed.is_some() && self.modal.feed != Feed::InverseTime {
            self.fed = true;
        }
        match standing {
            Some((span, standing)) => self.doubt_after_skip(&block, span, &standing)?,
            None if block.ends => self.end(),
            None => {}
        }
        if let (Some(axis), Unseated::Refused) = (note.unseated, self.unseated) {
            return Err(Stop(None, Reason::Unseated(axis)));
        }
        Ok(note)
    }

    /// Reads a block and applies its modes; `false` if nothing stands in the line that matters.
    #[inline(never)] // what it needs meanwhile is given back before the line is rewritten
    fn read(&mut self, block: &mut Block, line: &[u8], sink: &mut impl FnMut(&[u8])) -> Result<bool, Stop> {
        let before = self.modal;
        match block.read(line, &mut self.modal, &self.corrected) {
            Err(Stop(_, Reason::Unreadable(_))) if self.ended.is_behind() => {
                // Behind the end may stand whatever somebody has to say.
                (self.modal, self.ended) = (before, Ended::WithText);
                return Ok(false);
            }
            read => read?,
        }
        if !block.program {
            return Ok(false);
        }
        if !self.marked {
            self.crlf = line.ends_with(b"\r\n");
            self.mark(sink);
        }
        if self.ended == Ended::WithText && block.acts() {
            return Err(Stop(None, Reason::AfterEnd));
        }
        let drills = self.modal.drills();
        if !drills && before.drills() {
            self.revived = true;
        }
        if block.motion_word.is_some() && block.skip.is_none() {
            self.revived = false;
        }
        if !drills || before.plane != self.modal.plane || before.unit != self.modal.unit {
            self.drilling.forget();
        }
        if self.skipped.is_some() || (block.skip.is_some() && before != self.modal) {
            self.follow_skipped(block, line, before)?;
        }
        self.change_modes(&before);
        Ok(true)
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
        let (arc, cycle) = (modal.is_arc(), modal.drills());
        let differs = skipped.cycle != modal.cycle
            || (!cycle && skipped.motion != modal.motion)
            || skipped.unit != modal.unit
            || skipped.distance != modal.distance
            || (modal.cuts() && skipped.feed != modal.feed)
            || (arc && (skipped.plane, skipped.centre) != (modal.plane, modal.centre))
            || (cycle && skipped.to_r_plane != modal.to_r_plane);
        let circles = arc && block.centre.iter().any(|(_, word)| word.is_some());
        let moves = block.purpose == Purpose::Move && (block.names_axis() || circles);
        if differs && moves && block.skip.is_none() {
            let behind = self.ended != Ended::Not;
            return Err(Stop(None, if behind { Reason::AfterEnd } else { Reason::SkippedMode }));
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

    /// Whether path blending may swallow a take-up move: it rounds off what is shorter than its tolerance.
    fn swallowed(&self, tolerance: Option<Length>) -> Option<Blending> {
        let narrowest = self.axes.iter().filter(|(_, track)| track.takes_up()).min_by_key(|(_, t)| t.width);
        let (axis, track) = narrowest?;
        let wide = tolerance.is_none_or(|tolerance| tolerance >= track.width);
        wide.then_some(Blending { tolerance, axis, width: track.width })
    }

    /// Says the motion that is in force again behind a cycle, before a block that moves by it without a word.
    fn revive(&mut self, block: &Block, sink: &mut impl FnMut(&[u8])) {
        let motion = self.modal.motion;
        if !self.revived || self.modal.drills() || motion == Motion::None {
            return;
        }
        self.begin(block, motion.word(), sink);
        self.end_inserted(sink);
        self.revived = block.skip.is_some();
    }

    fn moved(
        &mut self,
        block: &Block,
        line: &[u8],
        note: &mut Note,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let motion = self.modal.motion;
        if let Some(code) = self.modal.cycle {
            return self.cycle(code.get(), block, line, note, sink);
        }
        let centred = motion.is_arc() && block.centre.iter().any(|(_, word)| word.is_some());
        let moves = block.names_axis() || centred || (block.rotary.is_some() && motion.cuts());
        if moves || block.rotary.is_some() {
            self.revive(block, sink);
        }
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
