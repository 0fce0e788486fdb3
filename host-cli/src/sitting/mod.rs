//! A sitting: the readings of one test, taken one by one.
//!
//! - [`plan`]: what is to be read, whatever the kind of test;
//! - [`record`]: the file that grows; it is the only state;
//! - [`suspicion`]: whether a reading should be looked at again;
//! - [`feed`]: where readings come from, other than a keyboard;
//! - [`lines`]: a sitting in plain lines;
//! - [`view`]: a sitting on a whole terminal.

pub mod feed;
pub mod lines;
pub mod plan;
pub mod record;
pub mod suspicion;
pub mod view;

use crate::assessment::{self, slip};
use crate::context::Context;
use crate::key_args::KeyArgs;
use crate::refusal::Refusal;
use crate::units::Print;
use plan::{Act, Plan, Stop};
use record::{Record, Taken};
use std::path::Path;
use suspicion::Suspicion;
use takeup_core::length::Length;
use takeup_core::measure::decision::{Answer, More};

/// Where the readings so far point.
#[derive(Clone, Debug, PartialEq)]
pub struct SoFar {
    /// The estimate with its interval, in one line.
    pub line: String,
    /// What more readings would do, if there is a limit.
    pub more: Option<String>,
    /// The decision and the interval in a few words, for large letters.
    pub short: Option<String>,
}

/// What stands above the first row of a new file; the resolution of its source unless the person gave one.
///
/// # Errors
/// When a key is out of range.
pub fn head(
    plan: &Plan,
    keys: &KeyArgs,
    resolution: Option<Length>,
    taken_by: Option<&str>,
) -> Result<String, Refusal> {
    let mut head = format!("# axis: {}\n# routine: {}\n# units: {}\n", plan.axis, plan.kind, plan.unit);
    head.push_str(&keys.lines(plan.unit));
    let given = keys.keys(plan.unit)?.resolution_mm.is_some();
    if let Some(resolution) = resolution.filter(|_| !given) {
        head.push_str(&format!("# resolution: {}\n", plan.word(resolution)));
    }
    if let Some(by) = taken_by {
        head.push_str(&format!("# {by}\n"));
    }
    head.push_str(&format!("# taken: {}\n", jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ")));
    head.push_str(&plan.header());
    head.push('\n');
    Ok(head)
}

/// A doubted reading that comes again within this is meant: no hand reads a dial twice to the micrometre.
const MEANT_AGAIN: Length = Length::from_counts(200_000);

/// The sitting: its plan, its file, and what was taken back.
#[derive(Debug)]
pub struct Sitting<'a> {
    /// The test.
    pub plan: &'a Plan,
    keys: &'a KeyArgs,
    record: Record,
    undone: Vec<Taken>,
    /// A reading that was doubted, and for which row.
    doubted: Option<(usize, Length)>,
    ctx: &'a Context,
}

impl<'a> Sitting<'a> {
    /// Begins a sitting, or goes on with the one in the file.
    ///
    /// # Errors
    /// When the file cannot be used.
    pub fn open(
        path: &Path,
        head: &str,
        plan: &'a Plan,
        keys: &'a KeyArgs,
        ctx: &'a Context,
    ) -> Result<Self, Refusal> {
        let record = Record::open(path, head, plan, ctx)?;
        Ok(Self { plan, keys, record, undone: Vec::new(), doubted: None, ctx })
    }

    /// The reading to take next; `None` when all are taken.
    #[must_use]
    pub fn stop(&self) -> Option<&Stop> {
        self.plan.stops.get(self.record.next())
    }

    /// The row of the reading to take next, from 1; one beyond the last when all are taken.
    #[must_use]
    pub fn next_row(&self) -> usize {
        self.record.next() + 1
    }

    /// How many stops before the next one have no reading.
    #[must_use]
    pub fn missed(&self) -> usize {
        self.record.next().saturating_sub(self.taken())
    }

    /// How many readings are taken.
    #[must_use]
    pub fn taken(&self) -> usize {
        self.record.rows().len()
    }

    /// The readings taken, with their stops.
    pub fn rows(&self) -> impl DoubleEndedIterator<Item = (&Stop, Taken)> + Clone {
        self.record.rows().iter().filter_map(|row| Some((self.plan.stops.get(row.stop)?, *row)))
    }

    /// The name of the file.
    #[must_use]
    pub fn name(&self) -> &str {
        self.record.name()
    }

    /// How lengths are shown.
    #[must_use]
    pub fn print(&self) -> Print {
        Print { unit: self.plan.unit }
    }

    /// A reading as people see it: with the digits of its unit, and more where it has them.
    #[must_use]
    pub fn shown(&self, value: Length) -> String {
        let (all, usual) = (self.print().short(value.as_mm()), self.print().length(value.as_mm()));
        if all.len() > usual.len() { all } else { usual }
    }

    /// What is to be done for some time before the next reading, and the seconds left of it.
    #[must_use]
    pub fn waiting(&self) -> Option<(Act, u64)> {
        let (act, seconds) = self.stop()?.acts.iter().find_map(|act| match act {
            Act::Pause(seconds) | Act::Work(seconds) => Some((*act, f64::from(*seconds))),
            Act::Go(_) | Act::Arrive(_) | Act::Push(_) | Act::Face(_) => None,
        })?;
        let left = seconds - self.record.since_last_s();
        (left > 0.0).then_some((act, left.ceil() as u64))
    }

    /// Why a reading should be taken again before it is kept; not twice for the same: read the same
    /// again, it is meant.
    pub fn doubt(&mut self, value: Length) -> Option<String> {
        let row = self.record.next();
        let suspicion = self.suspicion(self.stop()?, value);
        let again = self.doubted.take().is_some_and(|(doubted, earlier)| {
            doubted == row && value.saturating_sub(earlier).saturating_abs() <= MEANT_AGAIN
        });
        let suspicion = suspicion.filter(|_| !again)?;
        self.doubted = Some((row, value));
        Some(self.in_words(value, suspicion))
    }

    /// What speaks against the reading of a row, where nobody can be asked to look again.
    #[must_use]
    pub fn doubt_of_row(&self, row: u32, value: Length) -> Option<String> {
        let stop = self.plan.stops.get(usize::try_from(row).ok()?.checked_sub(1)?)?;
        self.suspicion(stop, value).map(|suspicion| self.in_words(value, suspicion))
    }

    fn suspicion(&self, stop: &Stop, value: Length) -> Option<Suspicion> {
        let resolution_mm = self.keys.keys(self.plan.unit).ok()?.resolution_mm.unwrap_or(0.0);
        suspicion::look(
            self.plan.kind,
            stop,
            value.as_mm(),
            self.rows().map(|(stop, row)| (stop, row.value.as_mm())),
            self.plan.beyond_loss.as_mm(),
            resolution_mm,
        )
    }

    fn in_words(&self, value: Length, suspicion: Suspicion) -> String {
        let at = |mm| self.shown(Length::from_mm(mm).unwrap_or_default());
        let shown = self.shown(value);
        match suspicion {
            Suspicion::FarFromOthers { low_mm, high_mm } if low_mm == high_mm => {
                format!("{shown} is far from the {} expected here", at(low_mm))
            }
            Suspicion::FarFromOthers { low_mm, high_mm } => {
                format!("{shown} is far from the others here, {} to {}", at(low_mm), at(high_mm))
            }
            Suspicion::BeyondLoss { other_mm } => {
                format!("{shown} is far from the {} read before", at(other_mm))
            }
            Suspicion::BeyondDial => format!("{shown} {} is more than a dial shows", self.plan.unit),
        }
    }

    /// Keeps a reading; it is on the disk when this returns.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn take(&mut self, value: Length, time_s: Option<f64>) -> Result<(), Refusal> {
        self.write(self.record.next(), value, time_s)?;
        self.undone.clear();
        Ok(())
    }

    /// Keeps the reading of a row, counted from 1, that was read some seconds ago; rows before it that are not taken are
    /// missed, and one that is taken is not taken again. Says what it has done; nothing if it was not kept.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn take_row(&mut self, row: u32, value: Length, ago_s: f64) -> Result<Option<String>, Refusal> {
        let index = usize::try_from(row).unwrap_or(usize::MAX).saturating_sub(1);
        let missed = self.record.next()..index;
        if index < self.record.next() || index >= self.plan.stops.len() {
            return Ok(None);
        }
        self.write(index, value, Some(self.record.now_s() - ago_s))?;
        self.undone.clear();
        let missed = match missed.len() {
            0 => String::new(),
            1 => format!("; row {} was missed", missed.end),
            _ => format!("; rows {} to {} were missed", missed.start + 1, missed.end),
        };
        Ok(Some(format!("row {row}: {} is kept{missed}", self.shown(value))))
    }

    fn write(&mut self, index: usize, value: Length, time_s: Option<f64>) -> Result<(), Refusal> {
        match self.plan.stops.get(index) {
            Some(stop) => self.record.append((index, stop), value, time_s, self.plan),
            None => Ok(()),
        }
    }

    /// Takes the last reading back, and gives it.
    ///
    /// # Errors
    /// When the file cannot be cut.
    pub fn undo(&mut self) -> Result<Option<Taken>, Refusal> {
        let undone = self.record.undo()?;
        self.undone.extend(undone);
        Ok(undone)
    }

    /// Puts back the reading that was taken back last, and gives it.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn redo(&mut self) -> Result<Option<Taken>, Refusal> {
        let Some(&again) = self.undone.last() else { return Ok(None) };
        self.write(again.stop, again.value, Some(again.time_s))?;
        self.undone.pop();
        Ok(Some(again))
    }

    /// How many readings could be put back.
    #[must_use]
    pub fn to_redo(&self) -> usize {
        self.undone.len()
    }

    /// Where the readings point, as soon as they do. The same assessment as of the finished file.
    #[must_use]
    pub fn so_far(&self) -> Option<SoFar> {
        // Too little to say anything yet is no news.
        let assessed = assessment::of_bytes(
            self.record.bytes(),
            self.record.name(),
            |units| self.keys.keys(units),
            self.ctx,
        )
        .ok()?;
        let line = slip::one_line(&assessed, self.print());
        let more = assessed.found.decision.as_ref().map(|decision| match (decision.answer, decision.more) {
            (Answer::Within | Answer::Over, _) => "decided; more readings only make it surer".to_owned(),
            (_, Some(More::Cycles(1))) => "one more cycle is expected to decide".to_owned(),
            (_, Some(More::Cycles(n))) => format!("{n} more cycles are expected to decide"),
            (_, Some(More::IndicatorTooCoarse { .. })) => {
                "more cycles cannot decide: the indicator is too coarse".to_owned()
            }
            (_, Some(More::TooCloseToLimit { .. })) => {
                "too close to the limit for any number of cycles".to_owned()
            }
            (_, None) => "not decided yet".to_owned(),
        });
        let short = slip::in_short(&assessed, self.print());
        Some(SoFar { line, more, short })
    }

    /// How far it has got when it ends before its time.
    #[must_use]
    pub fn progress(&self) -> String {
        let kept = if self.taken() > 0 { ", and kept" } else { "" };
        format!("paused: {} of {} readings are taken{kept}", self.taken(), self.plan.stops.len())
    }

    /// The refusal of a sitting that is not finished, and how to go on.
    #[must_use]
    pub fn paused(&self) -> Refusal {
        Refusal::new(self.progress(), "Give the same command again to go on.").file(self.name())
    }

    /// What to watch for before the axis moves.
    #[must_use]
    pub fn cautions(&self) -> Vec<String> {
        let (low, high) = self.plan.travel;
        let (axis, unit) = (self.plan.axis, self.plan.unit);
        let mut cautions = vec![
            "Spindle off and locked out. Hand on the emergency stop.".to_owned(),
            "Indicator clear before every long move and every rapid.".to_owned(),
            "Nobody reaches in while drives are live. Read only while it stands still.".to_owned(),
            "The maker's manual, local rules and qualified people come first.".to_owned(),
        ];
        if low != high {
            let (low, high) = (self.plan.word(low), self.plan.word(high));
            let moved = format!(
                "The axis will be moved from {axis}{low} to {axis}{high} {unit}: that way must be free."
            );
            cautions.insert(1, moved);
        }
        cautions.extend(self.plan.hints.iter().cloned());
        if self.taken() > 0 {
            cautions.push(
                "Going on: if the indicator was touched meanwhile, take its readings back, or begin another file."
                    .to_owned(),
            );
        }
        cautions
    }
}
