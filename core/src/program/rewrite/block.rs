//! One block: its words sorted by what they concern, its modal effects applied.

use super::refusal::{CycleTrouble, Reason, Stop};
use crate::axis::{Axis, PerAxis};
use crate::program::modal::{Modal, Plane};
use crate::program::words::{Span, Token, Word, Words};
use heapless::Vec;

/// What the axis words of a block are for, when not for a move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    /// The motion in force.
    Move,
    /// A dwell: they are times.
    Dwell,
    /// Data of offsets.
    Offsets,
    /// A reference return: the named axes go there, or all.
    Return,
    /// A place in machine coordinates.
    Machine,
    /// A probe goes towards the work, and stops where it meets it.
    Probe,
    /// G92: the place where the axis is gets a new name.
    Rename,
}

/// G64.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Blend {
    Unchanged,
    Without,
    /// With its tolerance in P.
    Within,
}

/// The modes that a block chooses: what is inserted before it must choose them too.
#[derive(Clone, Debug)]
pub(super) struct Chosen {
    pub plane: bool,
    pub unit: bool,
    pub distance: bool,
    /// Of the centres of arcs.
    pub centre: bool,
    pub feed: bool,
}

/// The words of a block.
#[derive(Clone, Debug)]
pub(super) struct Block {
    pub purpose: Purpose,
    pub axes: PerAxis<Option<Word>>,
    pub centre: PerAxis<Option<Word>>,
    pub radius: Option<Word>,
    pub feed: Option<Word>,
    /// Turns of an arc, dwell of a cycle.
    pub p: Option<Word>,
    /// Repeats of a cycle.
    pub l: Option<Word>,
    /// Step of a pecking cycle.
    pub q: Option<Word>,
    /// Where a motion word stands.
    pub motion_word: Option<Span>,
    /// An M word that acts after the move: stop, end, spindle or coolant off.
    pub after: Option<Span>,
    /// Words that act before the move: spindle and coolant on, speed.
    pub ahead: Vec<Span, 4>,
    /// An M word, to which P may belong.
    pub machine_word: bool,
    pub chosen: Chosen,
    pub skip: Option<Span>,
    /// The digit of its switch, if it has one.
    pub switch: Option<u8>,
    /// Axes whose place and seat the block puts in doubt.
    pub doubt: PerAxis<bool>,
    /// A tool change: seats are in doubt.
    pub tool_change: bool,
    /// The tool length changes.
    pub tool_length: bool,
    /// A work offset is chosen: tenths of its code, and the number of an additional one.
    pub offset: Option<(u16, u16)>,
    /// The number of the work offset, of the first six, whose data are set.
    pub data_of: Option<i64>,
    /// G10 L20: on some controls the offset is set so that the axes stand where its words say.
    pub from_here: bool,
    /// M2 or M30.
    pub ends: bool,
    pub program: bool,
    /// The first rotary word, or that of an axis parallel to X, Y or Z.
    pub rotary: Option<Span>,
    pub blend: Blend,
}

/// The mark that a corrected program carries in a comment.
pub(super) const MARK: &[u8] = b"LOST MOTION TAKEN UP";

const fn plane_has(plane: Plane, axis: Axis) -> bool {
    match plane {
        Plane::Xy => !matches!(axis, Axis::Z),
        Plane::Zx => !matches!(axis, Axis::Y),
        Plane::Yz => !matches!(axis, Axis::X),
    }
}

fn once(slot: &mut Option<Word>, word: Word) -> Result<(), Stop> {
    if slot.replace(word).is_some() { Err(Stop(Some(word.span), Reason::Twice)) } else { Ok(()) }
}

/// What is found while the words are read, and means something only with all of them.
#[derive(Default)]
struct Open {
    /// A construct that is refused where its plane has a corrected axis.
    plane_wide: Option<(Span, Reason)>,
    /// A construct that is refused where it names a corrected axis.
    named_only: Option<(Span, Reason)>,
    /// G5 to G6.2: splines with axis words; without, they smooth the motion or end a spline.
    spline: Option<Span>,
    /// Whatever axes it names, the block takes the names of all.
    every_axis: bool,
    motion: Option<i64>,
    /// G70 or G71.
    system: Option<Span>,
    blend: bool,
    further_offset: bool,
    offset_data: bool,
    /// A place in polar coordinates.
    polar: Option<Span>,
    /// G60: without axis words and with a motion word it stops exactly there, else it goes there in its own way on some
    /// controls (common practice, no source).
    exact: Option<Span>,
    /// G43.1: its axis words are lengths.
    length_data: bool,
    /// G50.1: its axis words say of which axes the mirror ends.
    mirror_ends: Option<Span>,
}

impl Block {
    /// Before a line is read. A block is read in place: it is too large to be handed about in a
    /// microcontroller.
    pub const EMPTY: Block = Block {
        purpose: Purpose::Move,
        axes: PerAxis { x: None, y: None, z: None },
        centre: PerAxis { x: None, y: None, z: None },
        radius: None,
        feed: None,
        p: None,
        l: None,
        q: None,
        motion_word: None,
        after: None,
        ahead: Vec::new(),
        machine_word: false,
        chosen: Chosen { plane: false, unit: false, distance: false, centre: false, feed: false },
        skip: None,
        switch: None,
        doubt: PerAxis { x: false, y: false, z: false },
        tool_change: false,
        tool_length: false,
        offset: None,
        data_of: None,
        from_here: false,
        ends: false,
        program: false,
        rotary: None,
        blend: Blend::Unchanged,
    };

    /// Reads a line and applies its modal words. `corrected` says which axes are corrected.
    #[inline(never)] // what it needs meanwhile is given back before the line is rewritten
    pub fn read(&mut self, line: &[u8], modal: &mut Modal, corrected: &PerAxis<bool>) -> Result<(), Stop> {
        let block = self;
        let mut open = Open::default();
        let mut codes = false;
        for token in Words::new(line) {
            let word = match token? {
                Token::Word(word) => word,
                Token::Comment(span) => {
                    if contains_mark(span.of(line)) {
                        return Err(Stop(Some(span), Reason::AlreadyCorrected));
                    }
                    continue;
                }
                Token::BlockDelete(span) => {
                    block.skip = Some(span);
                    block.switch = span.of(line).iter().copied().find(u8::is_ascii_digit);
                    continue;
                }
                Token::Percent(_) => continue,
            };
            match word.letter {
                b'X' => once(&mut block.axes.x, word)?,
                b'Y' => once(&mut block.axes.y, word)?,
                b'Z' => once(&mut block.axes.z, word)?,
                b'I' => once(&mut block.centre.x, word)?,
                b'J' => once(&mut block.centre.y, word)?,
                b'K' => once(&mut block.centre.z, word)?,
                b'R' => once(&mut block.radius, word)?,
                b'F' => once(&mut block.feed, word)?,
                b'P' => once(&mut block.p, word)?,
                b'L' => once(&mut block.l, word)?,
                b'Q' => once(&mut block.q, word)?,
                b'N' | b'O' | b':' => continue,
                b'U' => block.parallel(Axis::X, word, corrected)?,
                b'V' => block.parallel(Axis::Y, word, corrected)?,
                b'W' => block.parallel(Axis::Z, word, corrected)?,
                b'A' | b'B' | b'C' => block.rotary = block.rotary.or(Some(word.span)),
                b'S' => block.acts_ahead(word),
                b'@' | b'^' => open.polar = open.polar.or(Some(word.span)),
                b'G' => {
                    codes = true;
                    block.general(word, modal, corrected, &mut open)?;
                }
                b'M' => block.machine(word)?,
                _ => {}
            }
            block.program = true;
        }
        if let Some(span) = open.polar {
            block.polar(span, modal.plane, corrected)?;
        }
        if codes {
            block.close(modal, corrected, &open)?;
        }
        Ok(())
    }

    /// A word of the axis parallel to another (ISO 841, recalled from memory), or of its increment on some controls: that one stands somewhere
    /// else then, or the work does.
    #[cold]
    fn parallel(&mut self, axis: Axis, word: Word, corrected: &PerAxis<bool>) -> Result<(), Stop> {
        if *corrected.get(axis) {
            return Err(Stop(Some(word.span), Reason::Parallel(axis)));
        }
        *self.doubt.get_mut(axis) = true;
        self.rotary = self.rotary.or(Some(word.span));
        Ok(())
    }

    /// A place in the plane by its distance and angle, from the origin or from where the axes stand.
    #[cold]
    fn polar(&mut self, span: Span, plane: Plane, corrected: &PerAxis<bool>) -> Result<(), Stop> {
        let (first, second, _) = plane.axes();
        for axis in [first, second] {
            if *corrected.get(axis) {
                return Err(Stop(Some(span), Reason::Transformed));
            }
            *self.doubt.get_mut(axis) = true;
        }
        self.rotary = self.rotary.or(Some(span));
        Ok(())
    }

    fn general(
        &mut self,
        word: Word,
        modal: &mut Modal,
        corrected: &PerAxis<bool>,
        open: &mut Open,
    ) -> Result<(), Stop> {
        let stop = |reason| Err(Stop(Some(word.span), reason));
        let Some(tenths) = word.number.tenths() else { return stop(Reason::UnknownCode) };
        match tenths {
            // Beside another motion word G80 only ends the cycle.
            800 => {
                if open.motion.is_none() {
                    modal.apply(tenths);
                }
                return Ok(());
            }
            0..=30 | 730 | 740 | 760 | 810..=890 | 1840 => {
                if open.motion.is_some_and(|earlier| earlier != tenths) {
                    return stop(Reason::Conflict);
                }
                if modal.apply(tenths) {
                    open.motion = Some(tenths);
                    self.motion_word = Some(word.span);
                    return Ok(());
                }
            }
            _ => {
                if modal.apply(tenths) {
                    let chosen = &mut self.chosen;
                    match tenths {
                        170..=190 => chosen.plane = true,
                        200 | 210 | 7000 | 7100 => chosen.unit = true,
                        700 | 710 => {
                            chosen.unit = true;
                            open.system = Some(word.span);
                        }
                        900 | 910 => chosen.distance = true,
                        901 | 911 => chosen.centre = true,
                        930..=950 => chosen.feed = true,
                        _ => {}
                    }
                    return Ok(());
                }
            }
        }
        let purpose = match tenths {
            40 => Purpose::Dwell,
            100 => {
                open.offset_data = true;
                Purpose::Offsets
            }
            520 => Purpose::Offsets,
            280 | 300 => Purpose::Return,
            // Where the return goes to is stored: nothing moves.
            281 | 301 => Purpose::Dwell,
            530 => Purpose::Machine,
            920 => Purpose::Rename,
            _ => Purpose::Move,
        };
        if purpose != Purpose::Move {
            return self.claim(purpose, word);
        }
        match tenths {
            431 => {
                self.tool_length = true;
                open.length_data = true;
            }
            430 | 432 | 440 | 490 => self.tool_length = true,
            540 | 550 | 560 | 570 | 580 | 590..=593 => self.offset = Some((tenths as u16, 0)),
            541 | 1540 => open.further_offset = true,
            // G112 and G113 switch polar interpolation.
            1100..=1290 if tenths % 10 == 0 && !matches!(tenths, 1120 | 1130) => {
                self.offset = Some((tenths as u16, 0))
            }
            // No work offset, and further ones: common practice, no source.
            5000 | 5050..=5990 if tenths % 10 == 0 => self.offset = Some((tenths as u16, 0)),
            // Axis words beside these are moves on some controls and name the axes meant on others (common practice, no
            // source): where any axis is behind them is in doubt.
            921..=923 => {
                self.doubt = PerAxis { x: true, y: true, z: true };
                open.every_axis = true;
                return self.claim(Purpose::Offsets, word);
            }
            // Further words of this family differ from control to control: they act on the axes they name, or on all.
            924..=929 => {
                self.doubt = PerAxis { x: true, y: true, z: true };
                return self.claim(Purpose::Offsets, word);
            }
            // G641 to G645 round corners in their own ways, G601 to G603 do not: common practice, no source.
            640 | 6410 | 6420 | 6430 | 6440 | 6450 => open.blend = true,
            80 | 81 | 90 | 150 | 230 | 250 | 400 | 500 | 610 | 611 | 670 | 690 | 960 | 970 | 1030 | 1870 => {}
            // Ends of modes that are refused where they begin, ways round corners: common practice, no source.
            131 | 401 | 620 | 691 | 1130 | 2350 | 2550 | 4500 | 4510 | 6010 | 6020 | 6030 => {}
            600 => open.exact = Some(word.span),
            501 => open.mirror_ends = Some(word.span),
            410 | 411 | 420 | 421 => open.plane_wide = Some((word.span, Reason::CutterCompensation)),
            // Polar coordinates or interpolation, a cylinder unrolled, turned coordinates: common practice, no source.
            71 | 121 | 160 | 680 | 1070 | 1120 => {
                open.plane_wide = Some((word.span, Reason::Transformed));
                return self.claim(Purpose::Offsets, word);
            }
            510 if corrected.iter().any(|(_, on)| *on) => return stop(Reason::Transformed),
            510 => return self.claim(Purpose::Offsets, word),
            511 => {
                open.named_only = Some((word.span, Reason::Transformed));
                return self.claim(Purpose::Offsets, word);
            }
            531 | 682..=684 => return stop(Reason::Transformed),
            434 | 435 | 1430 | 2340 | 2540 => return stop(Reason::ToolPoint),
            1410 => return stop(Reason::CutterCompensation),
            320 | 330..=333 | 340 => return stop(Reason::Threading),
            // Where the probe meets the work is not told.
            310..=314 | 360 | 370 | 380..=385 => {
                open.named_only = Some((word.span, Reason::Probing));
                return self.claim(Purpose::Probe, word);
            }
            // What they are beside no axis words: common practice, no source.
            50..=53 | 60..=62 => open.spline = Some(word.span),
            650 | 660 | 661 => return stop(Reason::Subprogram),
            _ => return stop(Reason::UnknownCode),
        }
        Ok(())
    }

    /// A word that the axis words of the block belong to: two of them would share those between them.
    fn claim(&mut self, purpose: Purpose, word: Word) -> Result<(), Stop> {
        if self.purpose != Purpose::Move {
            return Err(Stop(Some(word.span), Reason::Conflict));
        }
        self.purpose = purpose;
        Ok(())
    }

    /// What the words mean together.
    fn close(&mut self, modal: &Modal, corrected: &PerAxis<bool>, open: &Open) -> Result<(), Stop> {
        if let Some(span) = open.spline
            && (self.names_axis() || self.centre.x.is_some() || self.centre.y.is_some())
        {
            return Err(Stop(Some(span), Reason::Spline));
        }
        if let Some(span) = open.exact
            && self.names_axis()
            && open.motion.is_none()
        {
            return Err(Stop(Some(span), Reason::UnknownCode));
        }
        // Tapping and fine boring have a depth and an R plane; threads have further words, or no R (common practice, no
        // source).
        if let Some(code @ (740 | 760)) = open.motion {
            let (_, _, third) = modal.plane.axes();
            let defined = |axis: Axis| if code == 760 { axis != third } else { axis == Axis::Z };
            let threads = self.centre.iter().any(|(axis, word)| word.is_some() && !defined(axis));
            if threads || self.radius.is_none() || self.axes.get(third).is_none() {
                return Err(Stop(self.motion_word, Reason::Cycle(CycleTrouble::Ambiguous)));
            }
        }
        // Holes on a circle and contour cycles have the same codes on some controls.
        if let Some(span) = open.system
            && (self.centre.iter().any(|(_, word)| word.is_some())
                || [self.l, self.q].iter().any(Option::is_some))
        {
            return Err(Stop(Some(span), Reason::UnknownCode));
        }
        // Nothing moves; a mirror of corrected axes has been refused where it began.
        if let Some(span) = open.mirror_ends
            && self.names_axis()
        {
            if self.purpose != Purpose::Move {
                return Err(Stop(Some(span), Reason::Conflict));
            }
            self.purpose = Purpose::Dwell;
        }
        // A time or a way, X is one of them; where P is the time, the dwell comes before the move (NISTIR 6556, 3.8).
        if self.purpose == Purpose::Dwell && open.motion.is_some() && self.names_axis() {
            if self.p.is_none() || !matches!(open.motion, Some(0 | 10)) {
                return Err(Stop(self.motion_word, Reason::Conflict));
            }
            self.purpose = Purpose::Move;
        }
        if let Some((span, reason)) = open.plane_wide
            && corrected.iter().any(|(axis, on)| *on && plane_has(modal.plane, axis))
        {
            return Err(Stop(Some(span), reason));
        }
        if let Some((span, reason)) = open.named_only
            && corrected.iter().any(|(axis, on)| *on && self.axes.get(axis).is_some())
        {
            return Err(Stop(Some(span), reason));
        }
        let whole = |word: Option<Word>| word.and_then(|word| word.number.whole()).unwrap_or(0);
        if open.further_offset {
            self.offset = Some((541, u16::try_from(whole(self.p)).unwrap_or(u16::MAX)));
        }
        if open.offset_data && matches!(whole(self.l), 2 | 20) {
            self.data_of = Some(whole(self.p)).filter(|number| (1..=6).contains(number));
            self.from_here = whole(self.l) == 20;
        }
        if open.length_data && self.names_axis() && self.purpose == Purpose::Move {
            self.purpose = Purpose::Offsets;
        }
        if open.blend {
            self.blend = if self.p.is_some() { Blend::Within } else { Blend::Without };
        }
        let named = self.axes.map(Option::is_some);
        match self.purpose {
            Purpose::Return if !self.names_axis() => self.doubt = PerAxis { x: true, y: true, z: true },
            Purpose::Offsets if open.offset_data && !matches!(whole(self.l), 2 | 20) => self.doubt.z = true,
            Purpose::Offsets if open.every_axis || (!self.names_axis() && self.rotary.is_none()) => {}
            Purpose::Return | Purpose::Machine | Purpose::Probe | Purpose::Offsets => self.doubt = named,
            Purpose::Move | Purpose::Dwell | Purpose::Rename => {}
        }
        self.doubt.z |= self.tool_length;
        Ok(())
    }

    fn machine(&mut self, word: Word) -> Result<(), Stop> {
        self.machine_word = true;
        match word.number.whole() {
            Some(6) => self.tool_change = true,
            Some(number @ (0 | 1 | 2 | 5 | 9 | 30 | 60)) => {
                self.after = self.after.or(Some(word.span));
                self.ends |= matches!(number, 2 | 30);
            }
            Some(3 | 4 | 7 | 8 | 13 | 14) => self.acts_ahead(word),
            Some(96..=99 | 198) => return Err(Stop(Some(word.span), Reason::Subprogram)),
            Some(_) => {}
            None if word.number.tenths().is_some() => {}
            None => return Err(Stop(Some(word.span), Reason::UnknownCode)),
        }
        Ok(())
    }

    /// A word that a divided cut must have before its first part.
    fn acts_ahead(&mut self, word: Word) {
        let _ = self.ahead.push(word.span);
    }

    /// Whether the block gives an axis other coordinates, by an amount that it does not tell, and not
    /// those of another tool.
    pub const fn shifts_coordinates(&self, axis: Axis) -> bool {
        *self.doubt.get(axis)
            && match self.purpose {
                Purpose::Return | Purpose::Machine | Purpose::Probe => false,
                Purpose::Move | Purpose::Dwell => !self.tool_length,
                Purpose::Offsets | Purpose::Rename => true,
            }
    }

    /// Whether the block can move anything or change where it is.
    pub fn acts(&self) -> bool {
        let centred = self.centre.iter().any(|(_, word)| word.is_some());
        self.names_axis() || centred || self.rotary.is_some() || self.purpose != Purpose::Move
    }

    /// Whether any of X, Y, Z stands in the block.
    pub const fn names_axis(&self) -> bool {
        self.axes.x.is_some() || self.axes.y.is_some() || self.axes.z.is_some()
    }

    /// The first word that belongs to the move, before which a motion word can be put; a move has one.
    pub fn first_dimension(&self) -> usize {
        let all =
            [self.axes.x, self.axes.y, self.axes.z, self.centre.x, self.centre.y, self.centre.z, self.radius];
        let spans = all.iter().flatten().map(|word| word.span).chain(self.rotary);
        spans.map(|span| span.start).min().unwrap_or(0)
    }
}

fn contains_mark(comment: &[u8]) -> bool {
    comment.windows(MARK.len()).any(|window| window.eq_ignore_ascii_case(MARK))
}
