//! Replay's own modal interpreter: lines in, motions out.
//!
//! It shares the reader of words with the rewriter and nothing else. Positions are exact lengths in
//! the work coordinates in force; curves come out in millimetres. Order of execution within a block
//! and the modal groups: NISTIR 6556 (RS274/NGC), sections 3.3 to 3.8, and ISO 6983-1.
//!
//! What the program does not tell, such as where a reference return ends or whether a block is skipped,
//! is not guessed: the position of the axis is then unknown and its next absolute move comes from nowhere.
//!
//! Here: the modes of a program and the order within a block. What the axis words of a block then make
//! the machine do is in `moves`, what each G word does in `codes`.

mod codes;
mod moves;

use super::{
    block::Block,
    cycle::{Cycle, CycleKind, Drilling},
    geometry::{Curve, Plane, Point, Turn},
    refusal::{Reason, Refusal},
};
use crate::{
    axis::{Axis, PerAxis},
    length::{Length, Unit},
    program::{Integers, Span},
};
use heapless::Deque;

/// Whether a motion cuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Rate {
    /// G0 and the rapid strokes of cycles.
    Rapid,
    /// At a feed rate: every such motion counts as cutting.
    Feed,
}

/// One motion of the command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    /// The path, in work coordinates and millimetres.
    pub curve: Curve,
    /// Rapid or feed.
    pub rate: Rate,
    /// The line that commands it, counted from 1.
    pub line: u64,
    /// Axes that come from an unknown place: which way they moved is not known.
    pub from_unknown: PerAxis<bool>,
    /// The axis that goes into the work and out of it: the drill's in a stroke of a cycle, else Z.
    pub depth: Axis,
}

/// What a program makes the machine do, as far as replay is concerned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Event {
    /// The drives move.
    Motion(Motion),
    /// The seats of some axes are no longer known (reference return, tool change, another offset).
    Unseat {
        /// Which axes.
        axes: PerAxis<bool>,
        /// The line.
        line: u64,
    },
    /// The coordinates are renamed: what was at the first point is now at the second. Nothing moves.
    Rename {
        /// The position in the old coordinates (mm).
        from: Point,
        /// The position in the new ones.
        to: Point,
    },
    /// Axes are found at a place, without a way that led there.
    Jump {
        /// The position before (mm).
        from: Point,
        /// The position from here.
        to: Point,
    },
}

/// What is known about the position of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Known {
    /// The program has told it.
    Yes,
    /// It was not told yet, or is lost. The last place (zero at first) is kept, so that feed moves have a
    /// length to count; which way the axis moves next is not known.
    No,
}

/// The modal word of motion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    Rapid,
    Line,
    Arc(Turn),
    Cycle(CycleKind),
}

/// What the words of a block say of the motion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Choice {
    Mode(Mode),
    /// G80 without another.
    CycleEnds,
}

/// G90 or G91, G90.1 or G91.1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Distance {
    Absolute,
    Incremental,
}

/// What the person knows about the program and the machine.
#[derive(Clone, Copy, Debug, Default)]
pub struct Reading {
    /// Unit of a program that names none.
    pub unit: Unit,
    /// Meaning of words without a decimal point.
    pub integers: Integers,
    /// The axes with slack: constructs that cannot be followed are refused only where they matter.
    pub slack: PerAxis<bool>,
}

/// The interpreter: give it a line when [`Interpreter::next`] has nothing more.
#[derive(Clone, Debug)]
pub struct Interpreter {
    reading: Reading,
    line: u64,
    ended: bool,
    /// Behind that stands something that is no program.
    text_behind: bool,
    mode: Mode,
    /// The motion that a cycle has put aside: by it axes move again behind G80.
    beside_cycles: Mode,
    plane: Plane,
    /// As the program has told it.
    unit: Option<Unit>,
    unit_assumed: Option<u64>,
    distance: Distance,
    centres: Distance,
    /// The work offset in force, once the program has chosen one.
    offset: Option<i64>,
    position: PerAxis<Length>,
    known: PerAxis<Known>,
    /// How often words of the program have put the place of an axis in doubt.
    losses: PerAxis<u32>,
    /// How often it had been by the time when a place that was told was lost last.
    told_until: PerAxis<Option<u32>>,
    drilling: Drilling,
    cycle: Option<Cycle>,
    /// The switch of the present blocks, and the axes that they may have moved.
    skipping: Option<u8>,
    doubted: PerAxis<bool>,
    /// Where the axes stood before them, as far as that was told.
    stood: PerAxis<Option<Length>>,
    events: Deque<Event, 12>,
}

const AXIS_LETTERS: [u8; 3] = *b"XYZ";
const EVERY_AXIS: PerAxis<bool> = PerAxis { x: true, y: true, z: true };
const ONLY_Z: PerAxis<bool> = PerAxis { x: false, y: false, z: true };
/// G54, in tenths.
const FIRST_OFFSET: i64 = 540;

impl Interpreter {
    /// At the start of a program: millimetres, absolute, G17, nothing known.
    #[must_use]
    pub fn new(reading: Reading) -> Self {
        Self {
            reading,
            line: 0,
            ended: false,
            text_behind: false,
            mode: Mode::Line,
            beside_cycles: Mode::Line,
            plane: Plane::Xy,
            unit: None,
            unit_assumed: None,
            distance: Distance::Absolute,
            centres: Distance::Incremental,
            offset: None,
            position: PerAxis::default(),
            known: PerAxis::from_fn(|_| Known::No),
            losses: PerAxis::default(),
            told_until: PerAxis::default(),
            drilling: Drilling::default(),
            cycle: None,
            skipping: None,
            doubted: PerAxis::default(),
            stood: PerAxis::default(),
            events: Deque::new(),
        }
    }

    /// Whether M2 or M30 has ended the program, and nothing has moved since.
    #[must_use]
    pub const fn ended(&self) -> bool {
        self.ended
    }

    /// The position in work coordinates (mm), as far as it was told.
    #[must_use]
    pub fn position(&self) -> Point {
        self.position.map(|length| length.as_mm())
    }

    /// Whether the program has told where an axis is.
    #[must_use]
    pub fn is_known(&self, axis: Axis) -> bool {
        *self.known.get(axis) == Known::Yes
    }

    /// The first line whose lengths were read in [`Reading::unit`], for no word of the program had told a unit.
    #[must_use]
    pub const fn unit_assumed(&self) -> Option<u64> {
        self.unit_assumed
    }

    /// How often words of the program have put the place of each axis in doubt: as often in a rewritten program, which
    /// keeps those words.
    #[must_use]
    pub const fn losses(&self) -> PerAxis<u32> {
        self.losses
    }

    /// The count of [`Interpreter::losses`] under which the place of each axis was told when it was lost last.
    #[must_use]
    pub const fn told_until(&self) -> PerAxis<Option<u32>> {
        self.told_until
    }

    /// The next thing that happens, or `None` when another line is needed.
    ///
    /// # Errors
    /// [`Refusal`] when a cycle runs out of the range of lengths.
    #[allow(clippy::should_implement_trait)] // an iterator ends once; this one goes on with the next line
    pub fn next(&mut self) -> Result<Option<Event>, Refusal> {
        if let Some(event) = self.events.pop_front() {
            return Ok(Some(event));
        }
        while let Some(cycle) = &mut self.cycle {
            let (depth, fed) = (cycle.depth_axis(), cycle.last_rate() == Rate::Feed);
            let Some(stroke) = cycle.next_stroke(self.position) else {
                let unsettled = cycle.unsettled();
                self.cycle = None;
                if unsettled.iter().any(|(_, unsettled)| *unsettled) {
                    self.unseat(unsettled);
                }
                return Ok(self.events.pop_front());
            };
            let stroke = stroke.ok_or(self.refusal(Span { start: 0, end: 0 }, Reason::OutOfRange))?;
            let (target, rate) = stroke;
            let (here, line) = (self.position(), self.line);
            // Behind a stroke that was fed out to the R plane the rapid may have no way to go: the drill has
            // left the hole there all the same, also when it goes down it again.
            let parts = (fed && rate == Rate::Rapid).then(|| {
                let curve = Curve::line(here, here);
                Motion { curve, rate, line, from_unknown: PerAxis::default(), depth }
            });
            if let Some(motion) = self.straight(target, rate, PerAxis::default()).or(parts) {
                return Ok(Some(Event::Motion(Motion { depth, ..motion })));
            }
        }
        Ok(None)
    }

    const fn refusal(&self, word: Span, reason: Reason) -> Refusal {
        Refusal { line: self.line, word, reason }
    }

    /// Reads the next line; call [`Interpreter::next`] until it gives nothing more before the next one.
    ///
    /// # Errors
    /// [`Refusal`] for what is not understood or cannot be followed.
    pub fn read(&mut self, bytes: &[u8]) -> Result<(), Refusal> {
        self.line = self.line.saturating_add(1);
        let block = match Block::read(self.line, bytes) {
            Err(_) if self.ended => {
                // Whatever somebody has to say there.
                self.text_behind = true;
                return Ok(());
            }
            read => read?,
        };
        if self.ended {
            self.begin_another(&block)?;
        }
        if !block.is_empty() && block.block_delete != self.skipping {
            // Blocks under one switch are done or skipped together; behind them it is in doubt where
            // their axes are.
            let axes = core::mem::take(&mut self.doubted);
            if axes.iter().any(|(_, doubted)| *doubted) {
                // Back where it stood, an axis is there either way.
                let here = |axis| *self.stood.get(axis) == Some(*self.position.get(axis));
                self.doubt(PerAxis::from_fn(|axis| *axes.get(axis) && !here(axis)));
                self.unseat(axes);
            }
            self.stood = PerAxis::from_fn(|axis| self.is_known(axis).then_some(*self.position.get(axis)));
            self.skipping = block.block_delete;
        }
        self.execute(&block)?;
        if self.unit.is_none() && block.has_any(b"XYZ") {
            self.unit_assumed = self.unit_assumed.or(Some(self.line));
        }
        self.lose(self.moved_otherwise(&block)?);
        if block.block_delete.is_some() {
            let told = self.told(&block);
            self.doubted = PerAxis::from_fn(|axis| *told.get(axis) || *self.doubted.get(axis));
        }
        Ok(())
    }

    /// Behind M2 or M30 a control reads nothing, or goes on when it is started again: what moves there is another
    /// program, before which a person may have moved every axis.
    fn begin_another(&mut self, block: &Block) -> Result<(), Refusal> {
        let returns = block.g.iter().find(|(code, _)| matches!(code, 280 | 300)).map(|(_, span)| *span);
        let Some(word) = first_word(block).or(returns) else { return Ok(()) };
        if self.text_behind {
            return Err(self.refusal(word, Reason::AfterEnd));
        }
        self.ended = false;
        self.lose(EVERY_AXIS);
        self.unseat(EVERY_AXIS);
        Ok(())
    }

    /// The modes as NISTIR 6556, section 3.6.1, has them behind M2 and M30.
    fn end(&mut self) {
        self.ended = true;
        // The first work offset is in force then, or the one that was.
        let first = self.offset.filter(|offset| *offset == FIRST_OFFSET);
        (self.mode, self.beside_cycles) = (Mode::Line, Mode::Line);
        (self.plane, self.offset) = (Plane::Xy, first);
        (self.distance, self.centres) = (Distance::Absolute, Distance::Incremental);
        self.drilling = Drilling::default();
    }

    fn execute(&mut self, block: &Block) -> Result<(), Refusal> {
        let mut once: Option<(i64, Span)> = None;
        let mut offset_change = None;
        let mut length_offset = false;
        let mut motion_word = None;
        let mut ends = false;
        for (code, span) in &block.g {
            self.code(
                *code,
                *span,
                block,
                &mut once,
                &mut offset_change,
                &mut length_offset,
                &mut motion_word,
            )
            .map_err(|reason| self.refusal(*span, reason))?;
        }
        if let Some((code, span)) = block.g.iter().find(|(code, _)| !self.is_cycle_here(*code, block)) {
            return Err(self.refusal(*span, Reason::UnknownG(*code)));
        }
        for (code, span) in &block.m {
            match code {
                20 | 300 => ends |= block.block_delete.is_none(),
                60 => {
                    // A tool changer takes the axes where it needs them.
                    self.lose(EVERY_AXIS);
                    self.unseat(EVERY_AXIS);
                }
                960 | 970 | 980 | 990 | 1980 => {
                    return Err(self.refusal(*span, Reason::Subprogram));
                }
                _ => {}
            }
        }
        if length_offset {
            self.lose(ONLY_Z);
            self.unseat(ONLY_Z);
        }
        if let Some(offset) = offset_change
            && Some(offset) != self.offset
        {
            // Which one it is, if the block may be skipped, is not known.
            self.offset = Some(offset).filter(|_| block.block_delete.is_none());
            self.lose(EVERY_AXIS);
            self.unseat(EVERY_AXIS);
        }
        let span = once.or(block.g.first().copied()).map_or(Span { start: 0, end: 0 }, |(_, span)| span);
        let line = self.line;
        let whole = |reason| Refusal { line, word: first_word(block).unwrap_or(span), reason };
        match once {
            Some((40, _)) | None => {
                let dwell = once.is_some();
                // X may be the time; where P is, the move comes behind it.
                let clear = match motion_word {
                    None | Some(Choice::CycleEnds) => true,
                    Some(Choice::Mode(Mode::Rapid | Mode::Line)) => block.word(b'P').is_some(),
                    Some(Choice::Mode(Mode::Arc(_) | Mode::Cycle(_))) => false,
                };
                if dwell && block.has_any(b"XYZ") && !clear {
                    return Err(whole(Reason::Conflict));
                }
                if let Some(choice) = motion_word {
                    self.choose_mode(choice);
                }
                if dwell && motion_word.is_none() { Ok(()) } else { self.moves(block) }
            }
            Some((530, _)) => {
                if let Some(choice) = motion_word {
                    self.choose_mode(choice);
                }
                self.machine_move(block);
                Ok(())
            }
            Some((code, _)) => {
                if let Some(choice) = motion_word {
                    self.choose_mode(choice);
                }
                self.set_up(code, block)
            }
        }
        .map_err(whole)?;
        if ends {
            self.end();
        }
        Ok(())
    }

    /// The axes that the block moves without a word of their own: those with a parallel one that it names, or moves by an
    /// increment on some controls, and those of a place in polar coordinates.
    fn moved_otherwise(&self, block: &Block) -> Result<PerAxis<bool>, Refusal> {
        let mut moved = PerAxis::default();
        if let Some(word) = block.polar {
            let (first, second, _) = self.plane.axes();
            for axis in [first, second] {
                if *self.reading.slack.get(axis) {
                    return Err(self.refusal(word, Reason::Transformed));
                }
                *moved.get_mut(axis) = true;
            }
        }
        for (axis, letter) in Axis::ALL.into_iter().zip(*b"UVW") {
            let Some(word) = block.word(letter) else { continue };
            if *self.reading.slack.get(axis) {
                return Err(self.refusal(word.span, Reason::Parallel(axis)));
            }
            *moved.get_mut(axis) = true;
        }
        Ok(moved)
    }

    /// Whether an axis of the plane in force has slack.
    fn plane_has_slack(&self) -> bool {
        let (first, second, _) = self.plane.axes();
        *self.reading.slack.get(first) || *self.reading.slack.get(second)
    }

    /// A cycle in another plane drills along another axis: its words and its level are not those of the one before.
    fn choose_plane(&mut self, plane: Plane) {
        if plane != self.plane {
            let (_, _, third) = plane.axes();
            self.plane = plane;
            self.drilling.begin(*self.position.get(third));
        }
    }

    fn choose_mode(&mut self, choice: Choice) {
        let was_cycle = matches!(self.mode, Mode::Cycle(_));
        let mode = match choice {
            Choice::Mode(mode) => mode,
            Choice::CycleEnds => self.beside_cycles,
        };
        match mode {
            Mode::Cycle(_) if !was_cycle => {
                let (_, _, third) = self.plane.axes();
                self.drilling.begin(*self.position.get(third));
            }
            Mode::Cycle(_) => {}
            _ => {
                self.drilling.forget();
                self.beside_cycles = mode;
            }
        }
        self.mode = mode;
    }

    /// The words of a block take axes to places that they do not tell.
    fn lose(&mut self, axes: PerAxis<bool>) {
        for axis in Axis::ALL.into_iter().filter(|axis| *axes.get(*axis)) {
            let losses = *self.losses.get(axis);
            if self.is_known(axis) {
                *self.told_until.get_mut(axis) = Some(losses);
            }
            *self.losses.get_mut(axis) = losses.saturating_add(1);
        }
        self.doubt(axes);
    }

    /// The places of axes are not known from here.
    fn doubt(&mut self, axes: PerAxis<bool>) {
        for axis in Axis::ALL {
            if *axes.get(axis) {
                *self.known.get_mut(axis) = Known::No;
            }
        }
    }

    fn unseat(&mut self, axes: PerAxis<bool>) {
        // A block has at most a handful of these; the queue holds twelve.
        let _ = self.events.push_back(Event::Unseat { axes, line: self.line });
    }
}

fn first_word(block: &Block) -> Option<Span> {
    [b'X', b'Y', b'Z', b'I', b'J', b'K', b'R'].iter().find_map(|l| block.word(*l)).map(|word| word.span)
}
