//! Arcs and helices: divided where a corrected axis turns round, and finer where a table changes along
//! the travel.

use super::Rewriter;
use super::block::{Blend, Block};
use super::course::{Course, centre_between, tidy};
use super::emit::{Patches, Text, dimension, put, step};
use super::line::between;
use super::refusal::{Reason, Stop};
use crate::axis::{Axis, Direction, PerAxis};
use crate::length::Length;
use crate::program::arc::{Arc, Place, Sense, centre_of_radius};
use crate::program::modal::{Distance, Modal, Motion};
use crate::program::words::Word;

/// How far an undivided arc may stay from the path that a table asks for: 0.5 µm.
const CHORD_TOLERANCE: f64 = 5_000.0;
const FULL_TURN: f64 = 2.0 * core::f64::consts::PI;
/// Most turns of an arc, each of which becomes a block of its own.
const MOST_TURNS: i64 = 10_000;
/// Into how many pieces the part of an arc between two turns may be divided.
const MOST_PIECES: u32 = 64;
/// Half a millimetre between the radii of start and end is no rounding any more.
const RADIUS_ALLOWANCE: f64 = 5_000_000.0;

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

/// Whether a turn of an arc is its last, which ends in the line itself.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Turn {
    Inner,
    Last,
}

/// A piece of an arc, as it is commanded.
struct Piece {
    ends: PerAxis<Length>,
    /// Where the axes are sent for these ends, and the seats on which they then bear.
    commands: PerAxis<(Length, Option<Direction>)>,
    /// Centre of the commanded arc, in the plane.
    centre: Place,
    radius: Option<f64>,
    /// Its share of the whole arc.
    share: f64,
}

impl Rewriter<'_> {
    /// The arc of a block, in counts. Gives the size of its radius, where it is in radius form.
    #[inline(never)]
    pub(super) fn read_arc(
        &self,
        block: &Block,
        targets: &PerAxis<Length>,
        arc: &mut Arc,
    ) -> Result<Option<f64>, Stop> {
        let (first, second, _) = self.modal.plane.axes();
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
            *arc = Arc { start, end, centre, sense };
            // One that rounding has made too short is that of the arc which its ends allow.
            let half = libm::hypot(end.0 - start.0, end.1 - start.1) / 2.0;
            return Ok(Some(libm::fabs(radius).max(half)));
        }
        let absolute = self.modal.centre == Distance::Absolute;
        let coordinate = |word: Option<Word>, from: f64| -> Result<f64, Stop> {
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
        if radius(start) <= 0.0 || libm::fabs(radius(start) - radius(end)) > RADIUS_ALLOWANCE {
            return Err(Stop(a.or(b).map(|word| word.span), Reason::Arc));
        }
        *arc = Arc { start, end, centre, sense };
        Ok(None)
    }

    /// How many times an arc comes round, its end passed for the last time counted.
    fn turns(block: &Block) -> Result<i64, Stop> {
        let Some(word) = block.p else { return Ok(1) };
        // Beside these it is a tolerance, the number of an offset, or what an M word counts.
        let elsewhere = block.blend != Blend::Unchanged
            || block.offset.is_some_and(|(code, _)| code == 541)
            || block.machine_word;
        match word.number.whole() {
            Some(1) => Ok(1),
            Some(turns) if (1..=MOST_TURNS).contains(&turns) && block.radius.is_none() && !elsewhere => {
                Ok(turns)
            }
            _ => Err(Stop(Some(word.span), Reason::Turns)),
        }
    }

    /// Whether an arc begins at a place that the program has not told. The third axis of a helix must be followed from
    /// there, for it is on its way where the helix is divided.
    #[inline(never)]
    fn begins_unknown(&self, block: &Block) -> bool {
        let (first, second, third) = self.modal.plane.axes();
        let unknown = !self.axes.get(first).named() || !self.axes.get(second).named();
        let climbs = block.axes.get(third).is_some() && !self.axes.get(third).is_told();
        self.modal.distance == Distance::Absolute && (unknown || climbs)
    }

    /// An arc in whose plane an axis is corrected, or whose third axis is along its travel. Turn after turn
    /// where it has several.
    #[inline(never)]
    pub(super) fn arc(
        &mut self,
        block: &Block,
        line: &[u8],
        targets: &PerAxis<Length>,
        restore: bool,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let axes = self.modal.plane.axes();
        let (first, second, third) = axes;
        let turns = Self::turns(block)?;
        if self.begins_unknown(block) {
            return Err(Stop(block.motion_word, Reason::ArcFromUnknown));
        }
        let (from, to) = (self.axes.get(third).wanted, *targets.get(third));
        let uniform = [first, second, third].into_iter().all(|axis| self.axes.get(axis).is_uniform());
        let (arc, climb) = (Arc::NONE, (from, from));
        let mut course = Course { arc, radius: None, axes, climb, uniform, share: 1.0 };
        course.radius = self.read_arc(block, targets, &mut course.arc)?;
        let (end, sweep) = (course.arc.end, course.arc.sweep());
        let whole = sweep + FULL_TURN * turns.saturating_sub(1) as f64;
        let (mut pieces, mut restore) = (0, restore);
        for turn in 1..=turns {
            let kind = if turn == turns { Turn::Last } else { Turn::Inner };
            (course.arc.end, course.climb.1, course.share) = match kind {
                Turn::Last => (end, to, sweep / whole),
                Turn::Inner => {
                    let climbed = between(from, to, FULL_TURN * turn as f64 / whole);
                    (course.arc.start, climbed, FULL_TURN / whole)
                }
            };
            self.turn(block, line, &course, kind, &mut pieces, &mut restore, sink)?;
            course.climb.0 = course.climb.1;
        }
        if pieces > 1 {
            self.counts.arcs_split = self.counts.arcs_split.saturating_add(1);
        }
        Ok(())
    }

    /// One turn of an arc at most, in the pieces that it needs.
    #[allow(clippy::too_many_arguments)] // the line, its turn, and what came before
    #[inline(never)]
    fn turn(
        &mut self,
        block: &Block,
        line: &[u8],
        course: &Course,
        turn: Turn,
        pieces: &mut u32,
        restore: &mut bool,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (first, second, third) = course.axes;
        let step = step(self.modal.unit, self.modal.integers).counts() as f64;
        let uniform = |axis: Axis| self.axes.get(axis).is_uniform();
        let climbs = course.climb.0 != course.climb.1 && !uniform(third);
        // In radius form, and between ends that are shifted differently, the centre is well kept only by
        // parts of a quarter at most. So is a helix divided again only where its table bends.
        let quarters = course.radius.is_some() || !uniform(first) || !uniform(second) || climbs;
        let turns = |axis: Axis| quarters || self.axes.get(axis).takes_up();
        let mut parts = course.arc.parts(turns(first), turns(second), step / 2.0);
        tidy(&mut parts, course.arc.start, 2.0 * step);
        let mut done = 0.0;
        let last = parts.len().saturating_sub(1);
        for (index, part) in parts.iter().enumerate() {
            let ends = self.ends(course, part.end, if index == last { 1.0 } else { done + part.share });
            *restore |= self.take_up(block, &ends, sink)?;
            let count = self.divisions(course, done, part.share, &ends);
            for k in 1..=count {
                let upto = done + part.share * f64::from(k) / f64::from(count);
                let ends = if k == count { ends } else { self.ends(course, course.at(upto), upto) };
                let piece = self.piece(course, ends, course.share * part.share / f64::from(count));
                if turn == Turn::Last && index == last && k == count {
                    self.last_piece(block, line, course, &piece, *pieces, *restore, sink)?;
                } else {
                    self.can_be_divided(block)?;
                    self.inner_piece(block, line, course, &piece, *pieces == 0, sink)?;
                    *restore = false;
                }
                *pieces = pieces.saturating_add(1);
            }
            done += part.share;
        }
        Ok(())
    }

    /// The pieces of an arc have words for both axes of its plane: one of which nobody has said where it is they would
    /// send elsewhere.
    #[inline(never)]
    fn can_be_divided(&self, block: &Block) -> Result<(), Stop> {
        Self::can_stand_behind(block)?;
        let (first, second, _) = self.modal.plane.axes();
        let in_doubt = self.stays_in_doubt(block, first) || self.stays_in_doubt(block, second);
        if in_doubt { Err(Stop(block.motion_word, Reason::ArcFromUnknown)) } else { Ok(()) }
    }

    /// Where all axes are at a place of the arc.
    #[inline(never)]
    fn ends(&self, course: &Course, place: Place, share: f64) -> PerAxis<Length> {
        let (first, second, third) = course.axes;
        let mut ends = self.axes.map(|track| track.wanted);
        *ends.get_mut(first) = to_length(place.0);
        *ends.get_mut(second) = to_length(place.1);
        *ends.get_mut(third) =
            if share >= 1.0 { course.climb.1 } else { between(course.climb.0, course.climb.1, share) };
        ends
    }

    /// Where the command must be at a share of the arc, heading on towards the ends of a part.
    fn exact(&self, course: &Course, share: f64, ends: &PerAxis<Length>) -> [f64; 3] {
        let (first, second, third) = course.axes;
        let place = course.at(share);
        let climb = between(course.climb.0, course.climb.1, share).counts() as f64;
        let corrected = |axis: Axis, place: f64| match self.heading(axis, *ends.get(axis)) {
            Some(towards) => {
                place + self.axes.get(axis).correction(to_length(place), towards).counts() as f64
            }
            None => place,
        };
        [corrected(first, place.0), corrected(second, place.1), corrected(third, climb)]
    }

    /// Into how many equal pieces a part is divided so that arcs follow the table.
    #[inline(never)]
    fn divisions(&self, course: &Course, from: f64, share: f64, ends: &PerAxis<Length>) -> u32 {
        let (start, centre) = (course.arc.start, course.arc.centre);
        let length = libm::hypot(start.0 - centre.0, start.1 - centre.1) * course.arc.sweep() * share;
        let least = 4.0 * step(self.modal.unit, self.modal.integers).counts() as f64;
        let mut count: u32 = 1;
        while !course.uniform && count < MOST_PIECES && length >= 2.0 * least * f64::from(count) {
            let worst = |k: u32| {
                let at =
                    |t: f64| self.exact(course, from + share * (f64::from(k) + t) / f64::from(count), ends);
                let (a, b) = (at(0.0), at(1.0));
                let shift = |q: [f64; 3], t: f64| -> Place {
                    let place = course.at(from + share * (f64::from(k) + t) / f64::from(count));
                    let [x, y, _] = q;
                    (x - place.0, y - place.1)
                };
                let (s0, s1) = (shift(a, 0.0), shift(b, 1.0));
                let ([ax, ay, az], [bx, by, bz]) = (a, b);
                let near =
                    (course.arc.centre.0 + (s0.0 + s1.0) / 2.0, course.arc.centre.1 + (s0.1 + s1.1) / 2.0);
                let centre = centre_between((ax, ay), (bx, by), near);
                let radius = libm::hypot(ax - centre.0, ay - centre.1);
                let off = |t: f64| {
                    let [x, y, z] = at(t);
                    let climb = libm::fabs(z - az - t * (bz - az));
                    libm::fabs(libm::hypot(x - centre.0, y - centre.1) - radius).max(climb)
                };
                off(0.25).max(off(0.5)).max(off(0.75))
            };
            if (0..count).all(|k| worst(k) <= CHORD_TOLERANCE) {
                break;
            }
            count = count.saturating_mul(2);
        }
        count
    }

    /// The commanded arc from where the axes were sent to the ends of a piece.
    #[inline(never)]
    fn piece(&self, course: &Course, ends: PerAxis<Length>, share: f64) -> Piece {
        let (first, second, _) = course.axes;
        let (a, b) = (self.axes.get(first), self.axes.get(second));
        let mut commands = PerAxis::from_fn(|axis| self.command_to(axis, *ends.get(axis)));
        for axis in [first, second] {
            if self.heading(axis, *ends.get(axis)).is_none() {
                self.hold(axis, &ends, &mut commands);
            }
        }
        let folds = self.folds(course, &ends, &commands);
        if folds {
            self.hold(first, &ends, &mut commands);
            self.hold(second, &ends, &mut commands);
        }
        // The centre is shifted by the mean of both ends.
        let shift = |axis: Axis| {
            let track = self.axes.get(axis);
            let to = commands.get(axis).0.saturating_sub(*ends.get(axis)).counts() as f64;
            let from = track.sent.saturating_sub(track.wanted).counts() as f64;
            // Where the correction is the same everywhere only rounding sets the ends apart.
            if track.is_uniform() { to } else { (from + to) / 2.0 }
        };
        let near = (course.arc.centre.0 + shift(first), course.arc.centre.1 + shift(second));
        if folds || (a.is_uniform() && b.is_uniform()) {
            return Piece { ends, commands, centre: near, radius: course.radius, share };
        }
        let place = |x: Length, y: Length| (x.counts() as f64, y.counts() as f64);
        let start = place(a.sent, b.sent);
        let centre = centre_between(start, place(commands.get(first).0, commands.get(second).0), near);
        let radius = course.radius.map(|_| libm::hypot(start.0 - centre.0, start.1 - centre.1));
        Piece { ends, commands, centre, radius, share }
    }

    /// Sends an axis to the end of a piece with the shift that it has at the start.
    fn hold(&self, axis: Axis, ends: &PerAxis<Length>, commands: &mut PerAxis<(Length, Option<Direction>)>) {
        let (track, end) = (self.axes.get(axis), *ends.get(axis));
        if track.corrected() {
            let command = track.sent.saturating_add(end.saturating_sub(track.wanted));
            let seat = track.seat_after(track.sent, command, self.heading(axis, end));
            *commands.get_mut(axis) = (command, seat);
        }
    }

    /// Whether the commands of a piece would bring its ends together or turn it round. A control would
    /// make a full circle of it.
    fn folds(
        &self,
        course: &Course,
        ends: &PerAxis<Length>,
        commands: &PerAxis<(Length, Option<Direction>)>,
    ) -> bool {
        let (first, second, _) = course.axes;
        let chords = |axis: Axis| {
            let (track, end, (command, _)) = (self.axes.get(axis), ends.get(axis), commands.get(axis));
            let chord = |from: Length, to: &Length| to.saturating_sub(from).counts() as f64;
            (chord(track.wanted, end), chord(track.sent, command))
        };
        let ((x, sent_x), (y, sent_y)) = (chords(first), chords(second));
        let (whole, sent) = (libm::hypot(x, y), libm::hypot(sent_x, sent_y));
        let least = 2.0 * step(self.modal.unit, self.modal.integers).counts() as f64;
        // A sixth of a turn is more than rounding does to a chord that is long enough.
        whole > 0.0 && (sent < least || 2.0 * (x * sent_x + y * sent_y) < whole * sent)
    }

    /// The number of a centre word, for an arc that starts where the axis was sent.
    fn centre_number(&self, axis: Axis, centre: f64) -> Length {
        match self.modal.centre {
            Distance::Absolute => to_length(centre),
            Distance::Incremental => to_length(centre).saturating_sub(self.axes.get(axis).sent),
        }
    }

    fn centre_numbers(&self, course: &Course, piece: &Piece) -> [(Axis, Length); 2] {
        let (first, second, _) = course.axes;
        [
            (first, self.centre_number(first, piece.centre.0)),
            (second, self.centre_number(second, piece.centre.1)),
        ]
    }

    /// A piece before the last: a line of its own.
    #[inline(never)]
    fn inner_piece(
        &mut self,
        block: &Block,
        line: &[u8],
        course: &Course,
        piece: &Piece,
        is_first: bool,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        if let Some(rotary) = block.rotary {
            return Err(Stop(Some(rotary), Reason::RotaryArc));
        }
        let (first, second, third) = course.axes;
        // The centre counts from where the axes are before they move.
        let centres = self.centre_numbers(course, piece);
        self.begin(block, b"", sink);
        sink(self.modal.motion.word());
        for axis in [first, second, third] {
            let end = *piece.ends.get(axis);
            if axis == third && self.axes.get(axis).wanted == end {
                continue;
            }
            let (command, seat) = *piece.commands.get(axis);
            self.insert_axis(axis, command, end, block.axes.get(axis).as_ref(), sink)?;
            self.settle(axis, end, seat);
        }
        let mut text = Text::new();
        let mut put_word = |letter, length, style: Option<&Word>| {
            text.clear();
            put(&mut text, b" ");
            dimension(&mut text, letter, length, style.map(|word| &word.number), &self.modal);
            sink(&text);
        };
        match piece.radius {
            Some(radius) => put_word(b'R', to_length(radius), block.radius.as_ref()),
            None => {
                for (axis, number) in centres {
                    put_word(centre_letter(axis), number, block.centre.get(axis).as_ref());
                }
            }
        }
        self.follow_up(block, line, piece.share, is_first, sink);
        self.end_inserted(sink);
        Ok(())
    }

    /// The last piece, or the whole arc: the line itself, with its words changed.
    #[allow(clippy::too_many_arguments)] // the line, what it cuts, and what came before it
    #[inline(never)]
    fn last_piece(
        &mut self,
        block: &Block,
        line: &[u8],
        course: &Course,
        piece: &Piece,
        earlier: u32,
        restore: bool,
        sink: &mut impl FnMut(&[u8]),
    ) -> Result<(), Stop> {
        let (first, second, third) = course.axes;
        let single = earlier == 0;
        // A motion word, three axes, two centres, turns and a feed.
        let mut patches = Patches::<8>::new();
        if restore && block.motion_word.is_none() {
            self.restore_motion(block, &mut patches);
        }
        let centres = self.centre_numbers(course, piece);
        for axis in [first, second, third] {
            let end = *piece.ends.get(axis);
            if self.stays_in_doubt(block, axis) {
                // Nobody has said where it is, and a word for it would send it elsewhere.
                continue;
            }
            if !self.axes.get(axis).corrected() && single {
                self.arrive(block, axis, end);
                continue;
            }
            let (command, seat) = *piece.commands.get(axis);
            self.patch_axis(block, axis, command, end, &mut patches)?;
            self.settle(axis, end, seat);
        }
        if let (Some(word), Some(radius)) = (&block.radius, piece.radius) {
            self.patch_radius(word, radius, single, &mut patches)?;
        } else {
            self.patch_centres(block, &centres, single, &mut patches)?;
        }
        if let Some(turns) = block.p.filter(|turns| turns.number.whole() != Some(1)) {
            patches.put(turns.span, b"P1");
        }
        self.share_feed(block, piece.share, &mut patches);
        let without = if single { &[] } else { block.ahead.as_slice() };
        self.write_without(line, &patches, without, sink);
        Ok(())
    }

    /// Whether a block leaves it open where an axis is, so that a word for it might send it elsewhere.
    #[inline(never)]
    fn stays_in_doubt(&self, block: &Block, axis: Axis) -> bool {
        let told = self.axes.get(axis).is_told();
        block.axes.get(axis).is_none() && !told && !self.can_follow(axis)
    }

    /// Half of the last digit: what rounding may do.
    fn half_step(&self) -> Length {
        Length::from_counts(step(self.modal.unit, self.modal.integers).counts() / 2)
    }

    #[inline(never)]
    fn patch_radius(
        &self,
        word: &Word,
        radius: f64,
        single: bool,
        patches: &mut Patches<8>,
    ) -> Result<(), Stop> {
        let said = self.length(word)?;
        let (exact, off) = (to_length(radius), to_length(radius).saturating_sub(said.saturating_abs()));
        if off.saturating_abs() > self.half_step() || (!single && said < Length::ZERO) {
            let mut text = Text::new();
            // An undivided arc of more than half a turn keeps its sign.
            let signed =
                if single && said < Length::ZERO { Length::ZERO.saturating_sub(exact) } else { exact };
            dimension(&mut text, b'R', signed, Some(&word.number), &self.modal);
            patches.replace(word.span, text);
        }
        Ok(())
    }

    #[inline(never)]
    fn patch_centres(
        &self,
        block: &Block,
        centres: &[(Axis, Length)],
        single: bool,
        patches: &mut Patches<8>,
    ) -> Result<(), Stop> {
        let (modal, half): (&Modal, _) = (&self.modal, self.half_step());
        for (axis, number) in centres {
            let mut text = Text::new();
            match block.centre.get(*axis) {
                Some(word) => {
                    let off = number.saturating_sub(self.length(word)?).saturating_abs();
                    if off <= half {
                        continue;
                    }
                    dimension(&mut text, centre_letter(*axis), *number, Some(&word.number), modal);
                    patches.replace(word.span, text);
                }
                None if single
                    && modal.centre == Distance::Incremental
                    && number.saturating_abs() <= half => {}
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
