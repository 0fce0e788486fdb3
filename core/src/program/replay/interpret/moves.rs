//! What the axis words of a block make the machine do: moves, arcs, cycles, new names of places.

use super::{
    AXIS_LETTERS, Block, Curve, Cycle, CycleKind, Distance, EVERY_AXIS, Event, Interpreter, Known, Mode,
    Motion, ONLY_Z, Rate, Reason, Turn,
};
use crate::{
    axis::{Axis, PerAxis},
    length::Length,
    program::Number,
};

/// Distances of an arc's start and end from its centre may differ by this much (mm): coarse posts round
/// centres to a hundredth of an inch (common practice, no source). The radius then runs evenly from one to the other.
const CENTRE_ALLOWANCE_MM: f64 = 0.5;
/// Half a chord may be longer than the radius by this much (mm), or by this share of it where that is more.
const RADIUS_ALLOWANCE_MM: f64 = 0.05;
const RADIUS_ALLOWANCE_SHARE: f64 = 0.01;

impl Interpreter {
    fn length(&self, number: Number) -> Result<Length, Reason> {
        let unit = self.unit.unwrap_or(self.reading.unit);
        number.length(unit, self.reading.integers).ok_or(Reason::OutOfRange)
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
    pub(super) fn told(&self, block: &Block) -> PerAxis<bool> {
        let mut told = PerAxis::from_fn(|_| false);
        for (axis, letter) in Axis::ALL.into_iter().zip(AXIS_LETTERS) {
            *told.get_mut(axis) = block.word(letter).is_some();
        }
        told
    }

    pub(super) fn moves(&mut self, block: &Block) -> Result<(), Reason> {
        match self.mode {
            Mode::Rapid | Mode::Line => {
                let Some(target) = self.target(block)? else { return Ok(()) };
                let rate = if self.mode == Mode::Rapid { Rate::Rapid } else { Rate::Feed };
                let lost = self.come_from_unknown(&target, block, rate);
                if let Some(motion) = self.straight(target, rate, lost) {
                    let _ = self.events.push_back(Event::Motion(motion));
                }
                self.note_told(block);
                Ok(())
            }
            Mode::Arc(turn) => self.arc(block, turn),
            Mode::Cycle(kind) => self.drill(block, kind),
        }
    }

    /// Absolute words for axes whose place was not known: gives those axes. A rapid is left out of the
    /// path; a feed move is drawn from the last place that was known, so that its length counts.
    fn come_from_unknown(&mut self, target: &PerAxis<Length>, block: &Block, rate: Rate) -> PerAxis<bool> {
        let told = self.told(block);
        let lost = PerAxis::from_fn(|axis| {
            self.distance == Distance::Absolute && *told.get(axis) && *self.known.get(axis) == Known::No
        });
        if lost.iter().any(|(_, lost)| *lost) {
            if rate == Rate::Rapid {
                self.jump(target, lost);
            }
            self.unseat(lost);
        }
        lost
    }

    /// Axes are found at a place without a way that led there.
    fn jump(&mut self, target: &PerAxis<Length>, axes: PerAxis<bool>) {
        let from = self.position();
        for axis in Axis::ALL {
            if *axes.get(axis) {
                *self.position.get_mut(axis) = *target.get(axis);
            }
        }
        let _ = self.events.push_back(Event::Jump { from, to: self.position() });
    }

    pub(super) fn straight(
        &mut self,
        target: PerAxis<Length>,
        rate: Rate,
        from_unknown: PerAxis<bool>,
    ) -> Option<Motion> {
        let start = self.position();
        self.position = target;
        let moved = start != self.position() || from_unknown.iter().any(|(_, unknown)| *unknown);
        let curve = Curve::line(start, self.position());
        moved.then_some(Motion { curve, rate, line: self.line, from_unknown, depth: Axis::Z })
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
        let from_unknown = self.come_from_unknown(&target, block, Rate::Feed);
        let (first, second, _) = self.plane.axes();
        let start = self.position();
        let end = target.map(|length| length.as_mm());
        // Several turns have no radius; beside a tolerance, an offset or an M word P belongs to that.
        let claimed = radius.is_some()
            || !block.m.is_empty()
            || block.g.iter().any(|(code, _)| matches!(code, 541 | 640));
        let turns = block.number(b'P').filter(|number| number.whole() != Some(1));
        if turns.is_some() && claimed && self.plane_has_slack() {
            return Err(Reason::Conflict);
        }
        let curve = if let Some(radius) = radius {
            let radius = radius.as_mm();
            let allowance = RADIUS_ALLOWANCE_MM.max(RADIUS_ALLOWANCE_SHARE * libm::fabs(radius));
            Curve::with_radius(self.plane, turn, start, end, radius, allowance).map_err(Reason::Arc)
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
            let turns = match turns.filter(|_| !claimed) {
                Some(number) => number.whole().and_then(|n| u32::try_from(n).ok()).unwrap_or(1).max(1),
                None => 1,
            };
            let extra = turns.saturating_sub(1).min(10_000);
            let centre = (centre(first)?, centre(second)?);
            Curve::about_centre(self.plane, turn, start, end, centre, extra, CENTRE_ALLOWANCE_MM)
                .map_err(Reason::Arc)
        } else {
            Err(Reason::ArcUndefined)
        };
        let curve = match curve {
            // Whatever a control makes of it, or says to it: both programs have the same words there.
            Err(_) if !self.plane_has_slack() => Curve::line(start, end),
            curve => curve?,
        };
        self.position = target;
        self.note_told(block);
        let motion = Motion { curve, rate: Rate::Feed, line: self.line, from_unknown, depth: Axis::Z };
        let _ = self.events.push_back(Event::Motion(motion));
        Ok(())
    }

    /// G53: a machine position, which work coordinates do not tell.
    pub(super) fn machine_move(&mut self, block: &Block) {
        let told = self.told(block);
        self.away(told);
    }

    /// Axes go to a place of the machine, the same in any program, where their coordinates are not known.
    fn away(&mut self, axes: PerAxis<bool>) {
        self.jump(&PerAxis::default(), axes);
        self.lose(axes);
        self.unseat(axes);
    }

    /// The place where the axes are gets the coordinates of the block. Nothing moves: the drives bear as they did.
    fn rename(&mut self, block: &Block) -> Result<(), Reason> {
        let from = self.position();
        for (axis, letter) in Axis::ALL.into_iter().zip(AXIS_LETTERS) {
            if let Some(value) = self.word_length(block, letter)? {
                *self.position.get_mut(axis) = value;
            }
        }
        let _ = self.events.push_back(Event::Rename { from, to: self.position() });
        Ok(())
    }

    /// The non-modal words that change where things are.
    pub(super) fn set_up(&mut self, code: i64, block: &Block) -> Result<(), Reason> {
        let told = self.told(block);
        match code {
            280 | 300 => {
                if let Some(target) = self.target(block)? {
                    let lost = self.come_from_unknown(&target, block, Rate::Rapid);
                    if let Some(motion) = self.straight(target, Rate::Rapid, lost) {
                        let _ = self.events.push_back(Event::Motion(motion));
                    }
                }
                let none = !told.iter().any(|(_, told)| *told);
                self.away(told.map(|told| none || *told));
            }
            100 => {
                let kind = block.number(b'L').and_then(|n| n.whole());
                if matches!(kind, Some(2 | 20)) {
                    let system = block.number(b'P').and_then(|n| n.whole()).unwrap_or(0);
                    // G59.1 follows G59 (NISTIR 6556, section 3.5.5, recalled from memory).
                    let number = |code: i64| (code / 10).checked_add(code % 10)?.checked_sub(53);
                    // Of additional offsets some controls set the data by the same words.
                    let active = self.offset.is_none_or(|offset| {
                        number(offset) == Some(system) || offset.checked_sub(10_000) == Some(system)
                    });
                    if system == 0 || active || system > 6 {
                        if kind == Some(20) {
                            // From where the axes are: who has shifted them gives that place another name.
                            self.rename(block)?;
                        }
                        self.lose(told);
                        self.unseat(told);
                    }
                } else {
                    // Data of tools, in which the length may be that in force.
                    self.lose(ONLY_Z);
                    self.unseat(ONLY_Z);
                }
            }
            920 => {
                self.rename(block)?;
                for axis in Axis::ALL {
                    if *told.get(axis) {
                        *self.known.get_mut(axis) = Known::Yes;
                    }
                }
            }
            431 | 520 => {
                self.lose(told);
                self.unseat(told);
            }
            921..=923 => {
                self.lose(EVERY_AXIS);
                self.unseat(EVERY_AXIS);
            }
            // What the control has beyond these acts on the axes it names, or on all.
            924..=929 => {
                let axes = if block.has_any(b"XYZABCUVW") { told } else { EVERY_AXIS };
                self.lose(axes);
                self.unseat(axes);
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
        let offsets = kind.pecks() || matches!(kind, CycleKind::BackBore | CycleKind::FineBore);
        let sides = if offsets { [i?, j?, k?] } else { [None; 3] };
        sticky.remember(*by_axis.get(third), r?, q?, sides);
        // Repeats by L, or by K where that is nothing else (common practice, no source).
        let (defined, counts): (&[u8], _) = match kind {
            CycleKind::BackBore => (b"IJK", b'L'),
            CycleKind::FineBore => match third {
                Axis::X => (b"JK", b'L'),
                Axis::Y => (b"IK", b'L'),
                Axis::Z => (b"IJ", b'L'),
            },
            kind if kind.pecks() => (if sticky.pecks_by_centre() { b"IJK" } else { b"" }, b'L'),
            _ if block.word(b'L').is_some() => (b"", b'L'),
            // J is how much faster a tap comes out.
            CycleKind::Tap => (b"JK", b'K'),
            _ => (b"K", b'K'),
        };
        if let Some(letter) =
            b"IJK".iter().find(|letter| block.word(**letter).is_some() && !defined.contains(letter))
        {
            return Err(Reason::CycleWord(*letter));
        }
        let repeats = block.number(counts).map_or(Some(1), |n| n.whole()).ok_or(Reason::BadNumber(counts))?;
        let repeats = u32::try_from(repeats).map_err(|_| Reason::BadNumber(counts))?;
        if !block.has_any(b"XYZ") && block.word(b'R').is_none() {
            return Ok(()); // only sticky words
        }
        if repeats == 0 {
            // Kept for the holes to come: whether the axes go there, controls differ.
            let mut told = self.told(block);
            *told.get_mut(third) = false;
            self.lose(told);
            self.unseat(told);
            return Ok(());
        }
        let third_was = *self.known.get(third);
        if !incremental {
            let told = self.told(block);
            let mut target = self.position;
            for axis in [first, second] {
                *target.get_mut(axis) = by_axis.get(axis).unwrap_or(*self.position.get(axis));
            }
            let mut lost = PerAxis::from_fn(|axis| *told.get(axis) && *self.known.get(axis) == Known::No);
            *lost.get_mut(third) = third_was == Known::No;
            if third_was == Known::No
                && let Some(retract) = self.drilling.from_unknown_level()
            {
                *target.get_mut(third) = retract;
            }
            if lost.iter().any(|(_, lost)| *lost) {
                self.jump(&target, lost);
                self.unseat(lost);
            }
        }
        let cycle =
            Cycle::new(kind, self.plane, &self.drilling, by_axis, self.position, incremental, repeats)?;
        self.note_told(block);
        if third_was == Known::No && self.drilling.to_initial_level {
            // Back to where nobody knows.
            *self.known.get_mut(third) = Known::No;
        }
        self.cycle = Some(cycle);
        Ok(())
    }
}
