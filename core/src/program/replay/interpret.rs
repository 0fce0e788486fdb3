//! Replay's own modal interpreter: lines in, motions out.
//!
//! It shares the reader of words with the rewriter and nothing else. Positions are exact lengths in
//! the work coordinates in force; curves come out in millimetres. Order of execution within a block
//! and the modal groups: NISTIR 6556 (RS274/NGC), sections 3.3 to 3.8, and ISO 6983-1.
//!
//! What the program does not tell, such as where a reference return ends, is not guessed: the
//! position of the axis is then unknown and its next absolute move comes from nowhere.

use super::{
    block::Block,
    cycle::{Cycle, CycleKind, Drilling},
    geometry::{Curve, Plane, Point, Turn},
    refusal::{Reason, Refusal},
};
use crate::{
    axis::{Axis, PerAxis},
    length::{Length, Unit},
    program::{Integers, Number, Span},
};
use heapless::Deque;

/// Distances of an arc's start and end from its centre may differ by this much (mm); posts round
/// centres to three decimals, and inch posts to four.
const ARC_ALLOWANCE_MM: f64 = 0.05;

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
}

/// What is known about the position of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Known {
    /// The program has told it.
    Yes,
    /// Nothing yet; zero is taken, but which way the axis moves first is not known.
    Assumed,
    /// It was told once and is lost.
    No,
}

/// The modal word of motion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    Rapid,
    Line,
    Arc(Turn),
    Cycle(CycleKind),
    Off,
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
    mode: Mode,
    plane: Plane,
    unit: Unit,
    distance: Distance,
    centres: Distance,
    offset: i64,
    position: PerAxis<Length>,
    known: PerAxis<Known>,
    drilling: Drilling,
    cycle: Option<Cycle>,
    events: Deque<Event, 12>,
}

/// A code in tenths as it is named in tests of ranges below.
const fn g(code: i64) -> i64 {
    code.saturating_mul(10)
}

const AXIS_LETTERS: [u8; 3] = *b"XYZ";

impl Interpreter {
    /// At the start of a program: millimetres, absolute, G17, nothing known.
    #[must_use]
    pub fn new(reading: Reading) -> Self {
        Self {
            reading,
            line: 0,
            ended: false,
            mode: Mode::Line,
            plane: Plane::Xy,
            unit: reading.unit,
            distance: Distance::Absolute,
            centres: Distance::Incremental,
            offset: g(54),
            position: PerAxis::default(),
            known: PerAxis::from_fn(|_| Known::Assumed),
            drilling: Drilling::default(),
            cycle: None,
            events: Deque::new(),
        }
    }

    /// Lines read so far.
    #[must_use]
    pub const fn lines(&self) -> u64 {
        self.line
    }

    /// Whether M2 or M30 has ended the program; lines after it are ignored.
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
            let Some(stroke) = cycle.next_stroke(self.position) else {
                self.cycle = None;
                break;
            };
            let stroke = stroke.ok_or(self.refusal(Span { start: 0, end: 0 }, Reason::OutOfRange))?;
            let (target, rate) = stroke;
            if let Some(motion) = self.straight(target, rate) {
                return Ok(Some(Event::Motion(motion)));
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
        if self.ended {
            return Ok(());
        }
        let block = Block::read(self.line, bytes)?;
        self.execute(&block)
    }

    fn execute(&mut self, block: &Block) -> Result<(), Refusal> {
        let mut once: Option<(i64, Span)> = None;
        let mut offset_change = None;
        let mut length_offset = false;
        let mut motion_word = None;
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
        for (code, span) in &block.m {
            match code {
                20 | 300 => self.ended = true,
                60 => self.unseat(PerAxis::from_fn(|_| true)),
                970 | 980 | 990 => return Err(self.refusal(*span, Reason::Subprogram)),
                _ => {}
            }
        }
        if length_offset {
            self.lose(Axis::Z);
            self.unseat(PerAxis { x: false, y: false, z: true });
        }
        if let Some(offset) = offset_change
            && offset != self.offset
        {
            self.offset = offset;
            for axis in Axis::ALL {
                self.lose(axis);
            }
            self.unseat(PerAxis::from_fn(|_| true));
        }
        let span = once.or(block.g.first().copied()).map_or(Span { start: 0, end: 0 }, |(_, span)| span);
        let line = self.line;
        let whole = |reason| Refusal { line, word: first_word(block).unwrap_or(span), reason };
        match once {
            Some((40, _)) | None => {
                let dwell = once.is_some();
                if let Some(mode) = motion_word {
                    self.set_mode(mode);
                }
                if dwell && motion_word.is_none() { Ok(()) } else { self.moves(block) }
            }
            Some((530, _)) => {
                if let Some(mode) = motion_word {
                    self.set_mode(mode);
                }
                self.machine_move(block);
                Ok(())
            }
            Some((code, _)) => {
                if let Some(mode) = motion_word {
                    self.set_mode(mode);
                }
                self.set_up(code, block)
            }
        }
        .map_err(whole)
    }

    /// One G word: modes take effect, others are remembered for the end of the block.
    #[allow(clippy::too_many_arguments)] // the places that one pass over the words fills
    fn code(
        &mut self,
        code: i64,
        span: Span,
        block: &Block,
        once: &mut Option<(i64, Span)>,
        offset_change: &mut Option<i64>,
        length_offset: &mut bool,
        motion_word: &mut Option<Mode>,
    ) -> Result<(), Reason> {
        let mode = match code {
            0 => Some(Mode::Rapid),
            10 => Some(Mode::Line),
            20 => Some(Mode::Arc(Turn::Clockwise)),
            30 => Some(Mode::Arc(Turn::Anticlockwise)),
            800 => Some(Mode::Off),
            _ => CycleKind::of_code(code).map(Mode::Cycle),
        };
        if let Some(mode) = mode {
            // G80 beside a motion word only ends the cycle.
            let replaced = motion_word.replace(mode);
            match (replaced, mode) {
                (Some(earlier), Mode::Off) => *motion_word = Some(earlier),
                (Some(Mode::Off) | None, _) => {}
                (Some(earlier), _) if earlier != mode => return Err(Reason::Conflict),
                _ => {}
            }
            return Ok(());
        }
        let slack = self.reading.slack;
        let (first, second, _) = self.plane.axes();
        match code {
            40 | 100 | 280 | 300 | 530 | 920 | 921 | 922 | 923 | 520 => {
                if once.replace((code, span)).is_some_and(|(earlier, _)| earlier != 40 && code != 40) {
                    return Err(Reason::Conflict);
                }
            }
            170 => self.plane = Plane::Xy,
            180 => self.plane = Plane::Zx,
            190 => self.plane = Plane::Yz,
            200 | 700 => self.unit = Unit::Inch,
            210 | 710 => self.unit = Unit::Mm,
            900 => self.distance = Distance::Absolute,
            910 => self.distance = Distance::Incremental,
            901 => self.centres = Distance::Absolute,
            911 => self.centres = Distance::Incremental,
            410 | 420 | 411 | 421 => {
                if *slack.get(first) || *slack.get(second) {
                    return Err(Reason::CutterCompensation);
                }
            }
            430 | 431 | 440 | 490 => *length_offset = true,
            540 | 550 | 560 | 570 | 580 | 590 | 591 | 592 | 593 => *offset_change = Some(code),
            541 => {
                let number = block.number(b'P').and_then(|n| n.whole()).unwrap_or(0);
                *offset_change = Some(number.saturating_add(10_000));
            }
            980 => self.drilling.to_initial_level = true,
            990 => self.drilling.to_initial_level = false,
            // G5 P10000 and G5.1 Q1 only smooth the motion; with axis words they are splines.
            50 | 51 if !block.has_any(b"XYZIJ") => {}
            330 | 320 | 760 | 50 | 51 | 52 | 53 | 61 => return Err(Reason::Curved),
            160 | 680 => {
                if *slack.get(first) || *slack.get(second) {
                    return Err(Reason::Transformed);
                }
            }
            510 | 511 => {
                let mirrored = Axis::ALL
                    .iter()
                    .zip(AXIS_LETTERS)
                    .any(|(axis, letter)| *slack.get(*axis) && (code == 510 || block.word(letter).is_some()));
                if mirrored {
                    return Err(Reason::Transformed);
                }
            }
            434 | 435 => return Err(Reason::ToolPoint),
            650 | 660 | 670 => return Err(Reason::Subprogram),
            382..=385 | 310 => {
                for (axis, letter) in Axis::ALL.into_iter().zip(AXIS_LETTERS) {
                    if block.word(letter).is_some() {
                        if *slack.get(axis) {
                            return Err(Reason::Probing(axis));
                        }
                        self.lose(axis);
                    }
                }
                once.replace((310, span));
            }
            _ if is_neutral(code) => {}
            _ => return Err(Reason::UnknownG(code)),
        }
        Ok(())
    }

    fn set_mode(&mut self, mode: Mode) {
        let was_cycle = matches!(self.mode, Mode::Cycle(_));
        match mode {
            Mode::Cycle(_) if !was_cycle => {
                let (_, _, third) = self.plane.axes();
                self.drilling.begin(*self.position.get(third));
            }
            Mode::Cycle(_) => {}
            _ => self.drilling.forget(),
        }
        self.mode = mode;
    }

    fn lose(&mut self, axis: Axis) {
        *self.known.get_mut(axis) = Known::No;
    }

    fn unseat(&mut self, axes: PerAxis<bool>) {
        // A block has at most a handful of these; the queue holds twelve.
        let _ = self.events.push_back(Event::Unseat { axes, line: self.line });
    }

    fn length(&self, number: Number) -> Result<Length, Reason> {
        number.length(self.unit, self.reading.integers).ok_or(Reason::OutOfRange)
    }

    fn word_length(&self, block: &Block, letter: u8) -> Result<Option<Length>, Reason> {
        block.number(letter).map(|number| self.length(number)).transpose()
    }

    /// Where the axis words of the block lead; `None` when there are none.
    fn target(&self, block: &Block) -> Result<Option<PerAxis<Length>>, Reason> {
        let mut target = self.position;
        let mut any = false;
        for (axis, letter) in Axis::ALL.into_iter().zip(AXIS_LETTERS) {
            let Some(value) = self.word_length(block, letter)? else { continue };
            any = true;
            let place = target.get_mut(axis);
            *place = match self.distance {
                Distance::Absolute => value,
                Distance::Incremental => place.checked_add(value).ok_or(Reason::OutOfRange)?,
            };
        }
        Ok(any.then_some(target))
    }

    /// The axes that the block tells anew, for what is known about the position.
    fn told(&self, block: &Block) -> PerAxis<bool> {
        let mut told = PerAxis::from_fn(|_| false);
        for (axis, letter) in Axis::ALL.into_iter().zip(AXIS_LETTERS) {
            *told.get_mut(axis) = block.word(letter).is_some();
        }
        told
    }

    fn moves(&mut self, block: &Block) -> Result<(), Reason> {
        match self.mode {
            Mode::Off => Ok(()),
            Mode::Rapid | Mode::Line => {
                let Some(target) = self.target(block)? else { return Ok(()) };
                let rate = if self.mode == Mode::Rapid { Rate::Rapid } else { Rate::Feed };
                self.come_from_unknown(&target, block, rate);
                if let Some(motion) = self.straight(target, rate) {
                    let _ = self.events.push_back(Event::Motion(motion));
                }
                self.note_told(block);
                Ok(())
            }
            Mode::Arc(turn) => self.arc(block, turn),
            Mode::Cycle(kind) => self.drill(block, kind),
        }
    }

    /// An absolute word for an axis whose place was lost tells where the axis is; the way there is
    /// unknown and left out of the path.
    fn come_from_unknown(&mut self, target: &PerAxis<Length>, block: &Block, rate: Rate) {
        if self.distance == Distance::Incremental {
            return;
        }
        let told = self.told(block);
        let from = self.position();
        let mut lost = PerAxis::from_fn(|_| false);
        for axis in Axis::ALL {
            let known = *self.known.get(axis);
            if *told.get(axis) && known != Known::Yes {
                // At the start of a program a feed move is drawn from zero, so that its length counts.
                if known == Known::No || rate == Rate::Rapid {
                    *self.position.get_mut(axis) = *target.get(axis);
                }
                *lost.get_mut(axis) = true;
            }
        }
        if lost.iter().any(|(_, lost)| *lost) {
            let _ = self.events.push_back(Event::Rename { from, to: self.position() });
            self.unseat(lost);
        }
    }

    fn straight(&mut self, target: PerAxis<Length>, rate: Rate) -> Option<Motion> {
        let start = self.position();
        let from_unknown = self.arrive(target);
        (start != self.position() || from_unknown.iter().any(|(_, unknown)| *unknown)).then(|| Motion {
            curve: Curve::line(start, self.position()),
            rate,
            line: self.line,
            from_unknown,
        })
    }

    /// Sets the position; gives the axes that came there from an unknown place.
    fn arrive(&mut self, target: PerAxis<Length>) -> PerAxis<bool> {
        let mut unknown = PerAxis::from_fn(|_| false);
        for axis in Axis::ALL {
            let moved = self.position.get(axis) != target.get(axis);
            if self.distance == Distance::Absolute && *self.known.get(axis) != Known::Yes && moved {
                *unknown.get_mut(axis) = true;
            }
        }
        self.position = target;
        unknown
    }

    fn note_told(&mut self, block: &Block) {
        if self.distance == Distance::Absolute {
            let told = self.told(block);
            for axis in Axis::ALL {
                if *told.get(axis) {
                    *self.known.get_mut(axis) = Known::Yes;
                }
            }
        }
    }

    fn arc(&mut self, block: &Block, turn: Turn) -> Result<(), Reason> {
        let offsets =
            [self.word_length(block, b'I')?, self.word_length(block, b'J')?, self.word_length(block, b'K')?];
        let radius = self.word_length(block, b'R')?;
        let centred = offsets.iter().any(Option::is_some);
        let target = match self.target(block)? {
            Some(target) => target,
            None if centred => self.position,
            None => return Ok(()),
        };
        self.come_from_unknown(&target, block, Rate::Feed);
        let (first, second, _) = self.plane.axes();
        let start = self.position();
        let end = target.map(|length| length.as_mm());
        let curve = if let Some(radius) = radius {
            Curve::with_radius(self.plane, turn, start, end, radius.as_mm(), ARC_ALLOWANCE_MM)
        } else if centred {
            let centre = |axis: Axis| -> Result<f64, Reason> {
                let [i, j, k] = offsets;
                let word = match axis {
                    Axis::X => i,
                    Axis::Y => j,
                    Axis::Z => k,
                };
                let here = *self.position.get(axis);
                let place = match (self.centres, word) {
                    (Distance::Absolute, Some(place)) => Some(place),
                    (_, word) => here.checked_add(word.unwrap_or_default()),
                };
                place.map(Length::as_mm).ok_or(Reason::OutOfRange)
            };
            let turns = match block.number(b'P') {
                Some(number) => number.whole().and_then(|n| u32::try_from(n).ok()).unwrap_or(1).max(1),
                None => 1,
            };
            let extra = turns.saturating_sub(1).min(10_000);
            let centre = (centre(first)?, centre(second)?);
            Curve::about_centre(self.plane, turn, start, end, centre, extra, ARC_ALLOWANCE_MM)
        } else {
            return Err(Reason::ArcUndefined);
        }
        .map_err(Reason::Arc)?;
        let from_unknown = self.arrive(target);
        self.note_told(block);
        let motion = Motion { curve, rate: Rate::Feed, line: self.line, from_unknown };
        let _ = self.events.push_back(Event::Motion(motion));
        Ok(())
    }

    /// G53: a machine position, which work coordinates do not tell.
    fn machine_move(&mut self, block: &Block) {
        let told = self.told(block);
        for axis in Axis::ALL {
            if *told.get(axis) {
                self.lose(axis);
            }
        }
        self.unseat(told);
    }

    /// The non-modal words that change where things are.
    fn set_up(&mut self, code: i64, block: &Block) -> Result<(), Reason> {
        let told = self.told(block);
        match code {
            280 | 300 => {
                if let Some(target) = self.target(block)? {
                    self.come_from_unknown(&target, block, Rate::Rapid);
                    if let Some(motion) = self.straight(target, Rate::Rapid) {
                        let _ = self.events.push_back(Event::Motion(motion));
                    }
                }
                let none = !told.iter().any(|(_, told)| *told);
                let axes = told.map(|told| none || *told);
                for axis in Axis::ALL {
                    if *axes.get(axis) {
                        self.lose(axis);
                    }
                }
                self.unseat(axes);
            }
            100 => {
                let kind = block.number(b'L').and_then(|n| n.whole());
                if matches!(kind, Some(2 | 20)) {
                    let system = block.number(b'P').and_then(|n| n.whole()).unwrap_or(0);
                    let active = self.offset.checked_div(10).and_then(|c| c.checked_sub(53)) == Some(system);
                    if system == 0 || active || system > 6 {
                        for axis in Axis::ALL {
                            if *told.get(axis) {
                                self.lose(axis);
                            }
                        }
                        self.unseat(told);
                    }
                }
            }
            920 => {
                let from = self.position();
                let mut to = self.position;
                for (axis, letter) in Axis::ALL.into_iter().zip(AXIS_LETTERS) {
                    if let Some(value) = self.word_length(block, letter)? {
                        *to.get_mut(axis) = value;
                        *self.known.get_mut(axis) = Known::Yes;
                    }
                }
                self.position = to;
                let _ = self.events.push_back(Event::Rename { from, to: self.position() });
                self.unseat(told);
            }
            520 => {
                for axis in Axis::ALL {
                    if *told.get(axis) {
                        self.lose(axis);
                    }
                }
                self.unseat(told);
            }
            921..=923 => {
                for axis in Axis::ALL {
                    self.lose(axis);
                }
                self.unseat(PerAxis::from_fn(|_| true));
            }
            _ => {}
        }
        Ok(())
    }

    fn drill(&mut self, block: &Block, kind: CycleKind) -> Result<(), Reason> {
        if !block.has_any(b"XYZRIJK") && !block.has_any(b"QL") {
            return Ok(());
        }
        let lengths = [b'Z', b'Y', b'X', b'R', b'Q', b'I', b'J', b'K'].map(|l| self.word_length(block, l));
        let [z, y, x, r, q, i, j, k] = lengths;
        let (first, second, third) = self.plane.axes();
        let by_axis = PerAxis { x: x?, y: y?, z: z? };
        let incremental = self.distance == Distance::Incremental;
        let sticky = &mut self.drilling;
        sticky.remember(*by_axis.get(third), r?, q?, [i?, j?, k?]);
        let repeats = block.number(b'L').map_or(Some(1), |n| n.whole()).ok_or(Reason::BadNumber(b'L'))?;
        let repeats = u32::try_from(repeats).map_err(|_| Reason::BadNumber(b'L'))?;
        if !block.has_any(b"XYZ") && block.word(b'R').is_none() {
            return Ok(()); // only sticky words
        }
        if !incremental {
            let told = self.told(block);
            for axis in [first, second] {
                if *told.get(axis) && *self.known.get(axis) == Known::No {
                    let from = self.position();
                    *self.position.get_mut(axis) = by_axis.get(axis).unwrap_or_default();
                    let _ = self.events.push_back(Event::Rename { from, to: self.position() });
                }
            }
        }
        let cycle =
            Cycle::new(kind, self.plane, &self.drilling, by_axis, self.position, incremental, repeats)?;
        self.note_told(block);
        self.cycle = Some(cycle);
        Ok(())
    }
}

/// Codes that change nothing about the path as replay follows it.
const fn is_neutral(code: i64) -> bool {
    matches!(
        code,
        90 | 150 | 400 | 500 | 501 | 610 | 611 | 640 | 690 | 930..=979 | 49 | 80 | 81 | 230 | 250 | 1870
    )
}

fn first_word(block: &Block) -> Option<Span> {
    [b'X', b'Y', b'Z', b'I', b'J', b'K', b'R'].iter().find_map(|l| block.word(*l)).map(|word| word.span)
}
