//! A program through the rewriter and the replay, in memory; and the smallest program that still fails.

use takeup_core::axis::{Axis, PerAxis};
use takeup_core::correct::{AxisTable, Station, Table};
use takeup_core::length::Length;
use takeup_core::program::replay::{
    AxisSlack, Failure, Interpreter, Reading, Replay, Report, SeatStation, Settings, Slack, Source, Want,
    geometry::Point,
};
use takeup_core::program::rewrite::clear::Heights;
use takeup_core::program::rewrite::{self, CycleTrouble, Reason, Rewriter, Strategy};

use takeup_core::program::{Token, Words};

use crate::programs::Dice;
use crate::rewriting;

/// A machine and how it is corrected.
#[derive(Clone, Copy, Debug)]
pub struct Job {
    /// Lost motion of X, Y and Z in thousandths of a millimetre.
    pub widths: [u16; 3],
    /// The strategy of each axis.
    pub strategy: PerAxis<Strategy>,
    /// Whether X and Y may overrun where the program shows that it is clear, as the command does.
    pub overrun: Overrun,
    /// Whether the lost motion changes along the travel.
    pub travel: Travel,
}

/// The height of [`Overrun::Said`].
const SAID_MM: f64 = 5.0;

/// Whether X and Y overrun in the clear.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Overrun {
    /// Never.
    Never,
    /// At and above the height that a first pass over the program found.
    Found,
    /// At 5 mm and above, by a person's word: where generated programs go sideways in rapid.
    Said,
}

/// How the lost motion lies along the travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Travel {
    /// The same everywhere.
    Uniform,
    /// A quarter less at one end than at the other, over several stations.
    Stations,
}

impl Job {
    /// A random machine, corrected as usual.
    pub fn of_seed(seed: u64) -> Self {
        let mut dice = Dice::new(seed ^ 0x51ac);
        let mut widths = [0; 3];
        let axes = 1 + dice.below(7);
        for (axis, width) in widths.iter_mut().enumerate() {
            if axes & (1 << axis) != 0 {
                *width = 5 + dice.below(200) as u16;
            }
        }
        Self { widths, strategy: PerAxis::default(), overrun: Overrun::Never, travel: Travel::Uniform }
    }

    /// A random machine, corrected in a random way that leaves nothing in the cut.
    pub fn varied(seed: u64) -> Self {
        let mut dice = Dice::new(seed ^ 0x3d91);
        let strategy = PerAxis::from_fn(|_| dice.one_of(&[Strategy::Both, Strategy::Both, Strategy::TakeUp]));
        let overrun = dice.one_of(&[Overrun::Never, Overrun::Found, Overrun::Said]);
        Self { strategy, overrun, ..Self::of_seed(seed) }
    }

    /// The same machine without lost motion.
    #[must_use]
    pub const fn without_play(mut self) -> Self {
        self.widths = [0; 3];
        self
    }

    /// The machine as flags of the command line.
    pub fn flags(&self) -> String {
        let axes = ["x", "y", "z"].iter().zip(self.widths).filter(|(_, width)| *width > 0);
        let list: Vec<String> =
            axes.map(|(axis, width)| format!("{axis}={}", f64::from(width) / 1e3)).collect();
        format!("--play {} {:?} {:?} {:?}", list.join(","), self.strategy, self.overrun, self.travel)
    }

    fn table(&self) -> Table {
        let mut table = Table::EMPTY;
        for (axis, width) in Axis::ALL.into_iter().zip(self.widths) {
            let lost = Length::from_counts(i64::from(width) * 10_000);
            if width > 0 {
                let seat = axis.usual_seat();
                let station = |(step, share): (i64, i64)| {
                    // From -40 mm to 40 mm in four steps, where most programs cut.
                    let place = Length::from_counts((step - 2) * 200_000_000);
                    let less = Length::from_counts(lost.counts() / 16 * share);
                    Station::of_lost_motion(place, lost.saturating_sub(less), Length::ZERO, seat)
                };
                *table.axes.get_mut(axis) = match self.travel {
                    Travel::Uniform => AxisTable::uniform(seat, lost).ok(),
                    Travel::Stations => {
                        AxisTable::new(seat, &[(0, 0), (1, 1), (2, 3), (3, 3), (4, 4)].map(station)).ok()
                    }
                };
            }
        }
        table
    }

    fn slack(&self) -> Slack {
        let table = self.table();
        let mut slack = PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z: AxisSlack::NONE };
        for axis in Axis::ALL {
            let Some(law) = table.axes.get(axis) else { continue };
            let stations = law.stations().iter().map(|station| SeatStation {
                position_mm: station.position.as_mm(),
                plus_mm: station.plus.as_mm(),
                minus_mm: station.minus.as_mm(),
            });
            *slack.get_mut(axis) = AxisSlack::of_stations(stations, 0.0).unwrap_or(AxisSlack::NONE);
        }
        slack
    }

    /// The program rewritten.
    ///
    /// # Errors
    /// What the rewriter refuses.
    pub fn rewritten(&self, text: &str) -> Result<Rewritten, rewrite::Refusal> {
        let table = self.table();
        let mut settings = rewrite::Settings { strategy: self.strategy, ..rewrite::Settings::DEFAULT };
        if self.overrun == Overrun::Said {
            settings.clear = Length::from_mm(SAID_MM);
        }
        if self.overrun == Overrun::Found {
            let mut heights = Heights::new(&settings);
            for line in text.split_inclusive('\n') {
                heights.line(line.as_bytes());
            }
            settings.clear = heights.clear();
        }
        let mut rewriter = Rewriter::new(&table, &settings);
        let (out, unseated) = rewriting::rewritten(&mut rewriter, text.as_bytes())?;
        Ok(Rewritten { text: String::from_utf8_lossy(&out).into_owned(), unseated })
    }

    /// Both programs on the slack machine.
    ///
    /// # Errors
    /// What replay cannot follow.
    pub fn replayed(&self, original: &str, rewritten: &str) -> Result<Report, Failure> {
        let clear_mm = (self.overrun == Overrun::Said).then_some(SAID_MM);
        let mut replay = Box::new(Replay::new(Settings { clear_mm, ..Settings::new(self.slack()) }));
        let (mut first, mut second) = (original.lines(), rewritten.lines());
        loop {
            let (source, line) = match replay.advance(&mut |_| {})? {
                Want::Done => return Ok(replay.report(0.005)),
                Want::Line(Source::Original) => (Source::Original, first.next()),
                Want::Line(Source::Rewritten) => (Source::Rewritten, second.next()),
            };
            match line {
                Some(line) => replay.read(source, line.as_bytes())?,
                None => replay.end(source),
            }
        }
    }

    /// Rewrites, replays, and looks at what must hold for every program that is not refused: the tool
    /// stays on the path within `most` (mm), the program ends where it should, cuts that could not be
    /// seated are listed, and a corrected program is refused. A program is refused where it must be, and
    /// nowhere else.
    ///
    /// # Errors
    /// What is wrong, with both programs.
    pub fn holds(&self, text: &str, most: f64) -> Result<Held, Wrong> {
        let (due, rewritten) = (self.refusal_due(text), self.rewritten(text));
        let refused = rewritten.as_ref().err().map(|refusal| (refusal.line, refusal.reason));
        let earlier = |line| due.is_none_or(|(due, _)| line <= due);
        let may = refused.is_some_and(|refused| earlier(refused.0) && may_be_refused(text, refused));
        if refused != due && !may {
            let kind = Kind::Refused(refused.map(|(_, reason)| reason));
            return Err(self.wrong(kind, format!("refused {refused:?}, due {due:?}"), text, ""));
        }
        let Ok(rewritten) = rewritten else { return Ok(Held::Refused) };
        let wrong = |kind, what| Err(self.wrong(kind, what, text, &rewritten.text));
        let report = match self.replayed(text, &rewritten.text) {
            Ok(report) => report,
            Err(failure) => return wrong(Kind::NotFollowed, format!("{failure:?}")),
        };
        if report.after.max_mm > most {
            return wrong(Kind::Deviates, format!("{report:?}"));
        }
        if report.hurried_mm > most {
            return wrong(Kind::Hurried, format!("{} mm of cuts are made in rapid", report.hurried_mm));
        }
        if let Some(untold) = report.untold {
            return wrong(Kind::Untold, format!("{untold:?}"));
        }
        if report.unseated_mm > 0.0 && rewritten.unseated.is_empty() {
            // An axis that moves alone crosses its clearance on its own path: not listed, and no longer than
            // that each time its seat was lost.
            let lost = seats_lost(text);
            let crossings = |index: usize| f64::from(self.widths[index]) / 1000.0 * lost[index] as f64;
            for (index, axis) in
                Axis::ALL.into_iter().enumerate().filter(|(index, _)| self.widths[*index] > 0)
            {
                let mut widths = [0; 3];
                widths[index] = self.widths[index];
                let (alone, may) = match (Self { widths, ..*self }).replayed(text, &rewritten.text) {
                    // On a machine without the slack of the others their corrections bend arcs, which may not be
                    // recognised then: all axes together it is.
                    Ok(alone) if alone.missing > 0 => (report.unseated_mm, (0..3).map(crossings).sum()),
                    Ok(alone) => (alone.unseated_mm, crossings(index)),
                    Err(failure) => return wrong(Kind::NotFollowed, format!("{axis} alone: {failure:?}")),
                };
                if alone > may + 1e-6 {
                    return wrong(Kind::Unlisted, format!("{axis} is cut {alone} mm unseated, {may} may be"));
                }
            }
        }
        let (end, ends) = match (end_of(text), end_of(&rewritten.text)) {
            (Ok(end), Ok(ends)) => (end, ends),
            (end, ends) => return wrong(Kind::NotFollowed, format!("{end:?} {ends:?}")),
        };
        for (axis, width) in Axis::ALL.into_iter().zip(self.widths) {
            // The command may stand off by the clearance, never by more.
            let off = (ends.get(axis) - end.get(axis)).abs();
            if off > f64::from(width) / 1000.0 + most {
                return wrong(Kind::EndsElsewhere, format!("{axis} ends {off} mm away"));
            }
        }
        if !keeps_order(text, &rewritten.text) {
            return wrong(Kind::WordsMoved, "words other than G, F and places changed".to_owned());
        }
        if self.rewritten(&rewritten.text).is_ok() {
            return wrong(Kind::NotRecognised, "a corrected program is not refused".to_owned());
        }
        Ok(Held::Judged)
    }

    /// Where and why a generated program must be refused, by its words alone: holes one after another in G91 and G99
    /// along X or Y, or along a Z whose correction changes along the travel, and back bores that step aside along such
    /// an axis.
    fn refusal_due(&self, text: &str) -> Option<(u64, Reason)> {
        let corrected = |axis: usize| self.widths.get(axis).is_some_and(|width| *width > 0);
        let (mut incremental, mut to_r_plane, mut third, mut cycle) = (false, false, 2, None);
        let mut holes = 0;
        for (number, line) in (1..).zip(text.lines()) {
            let (mut moves, mut aside) = (false, [false; 3]);
            for token in Words::new(line.as_bytes()) {
                let Ok(Token::Word(word)) = token else { continue };
                match (word.letter, word.number.tenths()) {
                    (b'G', Some(900 | 910)) => incremental = word.number.tenths() == Some(910),
                    (b'G', Some(980 | 990)) => to_r_plane = word.number.tenths() == Some(990),
                    (b'G', Some(170)) => third = 2,
                    (b'G', Some(180)) => third = 1,
                    (b'G', Some(190)) => third = 0,
                    (b'G', Some(code @ (730 | 740 | 760 | 810..=890 | 1840))) => cycle = Some(code),
                    (b'G', Some(0..=30 | 800)) => (cycle, holes) = (None, 0),
                    (b'X'..=b'Z' | b'R', _) => moves = true,
                    (b'I'..=b'K', _) => aside[usize::from(word.letter - b'I')] = word.number.mantissa() != 0,
                    _ => {}
                }
            }
            let Some(code) = cycle.filter(|_| moves) else { continue };
            let told_apart = third == 2 && self.travel == Travel::Uniform;
            if incremental && corrected(third) && !told_apart && to_r_plane && holes > 0 {
                return Some((number, Reason::Cycle(CycleTrouble::CountsFromR)));
            }
            holes += 1;
            let along = self.travel == Travel::Stations && code == 870;
            if along && (0..3).any(|axis| axis != third && aside[axis] && corrected(axis)) {
                return Some((number, Reason::Cycle(CycleTrouble::StepAside)));
            }
        }
        None
    }

    fn wrong(&self, kind: Kind, what: String, original: &str, rewritten: &str) -> Wrong {
        let flags = self.flags();
        let what = format!("{what}, {flags}\n--- original\n{original}\n--- rewritten\n{rewritten}");
        Wrong { kind, what }
    }
}

/// What became of a program that holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    /// It was rewritten, and what came of it is right.
    Judged,
    /// It was refused, as it must be.
    Refused,
}

/// What can be wrong with a rewritten program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// It was refused for this, which it must not be, or was not refused.
    Refused(Option<Reason>),
    /// Replay refuses one of the two.
    NotFollowed,
    /// The tool leaves the path.
    Deviates,
    /// A cut is made in rapid.
    Hurried,
    /// An axis is sent to a place before the program has told where it is.
    Untold,
    /// A cut is made unseated and no line is listed for it.
    Unlisted,
    /// The program ends at another place.
    EndsElsewhere,
    /// Words that are no motion are not in their order.
    WordsMoved,
    /// A corrected program is corrected again.
    NotRecognised,
}

/// What is wrong with a rewritten program.
#[derive(Clone, Debug)]
pub struct Wrong {
    /// Of which kind.
    pub kind: Kind,
    what: String,
}

impl std::fmt::Display for Wrong {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?}: {}", self.kind, self.what)
    }
}

/// Whether a program may be refused for this where it is: repeats in G91 that turn round after a hole of the
/// same cycle whose R plane lay above the level that G98 returns to, holes in G91 behind one in G90, whose R plane
/// may lie so, or in G98 behind one in G99, where the level may be lost, or back bores behind one below whose R plane
/// the cycle began. Whether they turn on a corrected axis that bears on the wrong side is not asked. And what needs a
/// place that the program counts on without having told it.
fn may_be_refused(text: &str, (refused, reason): (u64, Reason)) -> bool {
    if matches!(reason, Reason::ArcFromUnknown | Reason::TravelUnknown(_)) {
        return told_before(text, refused).contains(&false);
    }
    let (mut risen, mut cycle, mut to_r_plane, mut incremental) = (false, false, false, false);
    let (mut absolute, mut left, mut counts_by_k, mut bores_up) = (false, false, false, false);
    for (number, line) in (1..).zip(text.lines()) {
        let (mut repeats, mut above) = (false, false);
        for token in Words::new(line.as_bytes()) {
            let Ok(Token::Word(word)) = token else { continue };
            match (word.letter, word.number.tenths()) {
                (b'G', Some(900 | 910)) => incremental = word.number.tenths() == Some(910),
                (b'G', Some(980 | 990)) => to_r_plane = word.number.tenths() == Some(990),
                (b'G', Some(code @ (730 | 740 | 760 | 810..=890 | 1840))) => {
                    (cycle, counts_by_k) = (true, !matches!(code, 730 | 760 | 830 | 870));
                    bores_up = code == 870;
                }
                (b'G', Some(0..=30 | 800)) => (cycle, risen, absolute, left) = (false, false, false, false),
                (b'L', Some(count)) => repeats = count > 10,
                (b'K', Some(count)) if counts_by_k => repeats = count > 10,
                (b'R', _) => above = word.number.mantissa() > 0,
                _ => {}
            }
        }
        if number == refused {
            let turns = cycle && incremental && !to_r_plane && repeats && (risen || absolute);
            let returns = cycle && !to_r_plane && (left || (bores_up && absolute && !incremental));
            let counts = cycle && incremental && absolute;
            return (turns && reason == Reason::Cycle(CycleTrouble::TurnsAbove))
                || (counts && reason == Reason::Cycle(CycleTrouble::CountsFromR))
                || (returns && reason == Reason::Cycle(CycleTrouble::Level));
        }
        risen |= above;
        absolute |= cycle && !incremental;
        left |= cycle && to_r_plane;
    }
    false
}

/// The axes of which a program has told in absolute coordinates where they are, before a line and since their places were
/// lost.
fn told_before(text: &str, before: u64) -> [bool; 3] {
    let (mut told, mut incremental) = ([false; 3], false);
    for (_, line) in (1..before).zip(text.lines()) {
        let lost = seats_lost(line);
        for token in Words::new(line.as_bytes()) {
            let Ok(Token::Word(word)) = token else { continue };
            match (word.letter, word.number.tenths()) {
                (b'G', Some(900 | 910)) => incremental = word.number.tenths() == Some(910),
                (letter @ b'X'..=b'Z', _) if !incremental => told[usize::from(letter - b'X')] = true,
                _ => {}
            }
        }
        (0..3).filter(|axis| lost[*axis] > 1).for_each(|axis| told[axis] = false);
    }
    told
}

/// How often the seat of each axis becomes unknown, the start counted too: reference returns and machine
/// places, tool changes, offsets, new names of places, by their words, for which names of axes are not looked at: the
/// allowance is generous there. And blocks that may be skipped, on the axes they name; and a first place in G90 behind
/// moves in G91, for which way the axis goes there is not told.
fn seats_lost(text: &str) -> [usize; 3] {
    let mut lost = [1; 3];
    let (mut incremental, mut told) = (false, [Told::No; 3]);
    for line in text.lines() {
        let (mut all, mut z, mut skips) = (false, false, false);
        for token in Words::new(line.as_bytes()) {
            skips |= matches!(token, Ok(Token::BlockDelete(_)));
            let Ok(Token::Word(word)) = token else { continue };
            match (word.letter, word.number.tenths()) {
                (b'G', Some(900 | 910)) => incremental = word.number.tenths() == Some(910),
                (b'G', Some(100 | 280 | 300 | 520..=593 | 920..=923)) | (b'M', Some(60)) => all = true,
                (b'G', Some(430..=449 | 490)) => z = true,
                (letter @ b'X'..=b'Z', _) => {
                    let axis = usize::from(letter - b'X');
                    let found = told[axis] == Told::MovesOnly && !incremental;
                    lost[axis] += usize::from(skips) + usize::from(found);
                    told[axis] = match (told[axis], incremental) {
                        _ if skips => Told::No,
                        (Told::Place, _) | (_, false) => Told::Place,
                        (_, true) => Told::MovesOnly,
                    };
                }
                _ => {}
            }
        }
        for (axis, lost) in lost.iter_mut().enumerate().filter(|(axis, _)| all || (z && *axis == 2)) {
            *lost += 1;
            told[axis] = Told::No;
        }
    }
    lost
}

/// What a program has told of where an axis is.
#[derive(Clone, Copy, PartialEq)]
enum Told {
    /// Nothing.
    No,
    /// How far it has moved.
    MovesOnly,
    /// Its place.
    Place,
}

/// Whether a rewritten program has the words that have nothing to do with motion in their order: block by block, where those
/// that act before the move, in the first part of a divided cut, may come before the others.
fn keeps_order(original: &str, rewritten: &str) -> bool {
    let rewritten = other_words(rewritten);
    let mut rest = rewritten.as_slice();
    for line in original.lines() {
        let words = other_words(line);
        let acts_ahead = |word: &(u8, i64)| matches!(word, (b'S', _) | (b'M', 3 | 4 | 7 | 8 | 13 | 14));
        let (mut divided, behind): (Vec<_>, Vec<_>) = words.iter().partition(|word| acts_ahead(word));
        divided.extend(behind);
        match rest.strip_prefix(words.as_slice()).or_else(|| rest.strip_prefix(divided.as_slice())) {
            Some(next) => rest = next,
            None => return false,
        }
    }
    rest.is_empty()
}

/// The words that have nothing to do with motion, in order.
fn other_words(text: &str) -> Vec<(u8, i64)> {
    let words = text.lines().flat_map(|line| Words::new(line.as_bytes()));
    let other = words.filter_map(|token| match token {
        Ok(Token::Word(word)) if b"MSTDHNOABC".contains(&word.letter) => {
            Some((word.letter, word.number.mantissa()))
        }
        _ => None,
    });
    other.collect()
}

/// What the rewriter made of a program.
#[derive(Clone, Debug)]
pub struct Rewritten {
    /// The corrected program.
    pub text: String,
    /// Lines of the original whose cut begins unseated.
    pub unseated: Vec<usize>,
}

/// Where the commands of a program end.
///
/// # Errors
/// What replay's interpreter refuses.
pub fn end_of(text: &str) -> Result<Point, String> {
    let mut interpreter = Interpreter::new(Reading::default());
    for line in text.lines() {
        interpreter.read(line.as_bytes()).map_err(|refusal| format!("{refusal:?}"))?;
        while interpreter.next().map_err(|refusal| format!("{refusal:?}"))?.is_some() {}
    }
    Ok(interpreter.position())
}

/// The program with every line left out that it fails without, so that a person sees why.
pub fn smallest(text: &str, fails: impl Fn(&str) -> bool) -> String {
    let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
    let mut size = lines.len().div_ceil(2).max(1);
    loop {
        let mut at = 0;
        while at < lines.len() {
            let mut fewer = lines.clone();
            fewer.drain(at..(at + size).min(lines.len()));
            if fails(&fewer.concat()) { lines = fewer } else { at += size }
        }
        if size == 1 {
            return lines.concat();
        }
        size = size.div_ceil(2);
    }
}
