//! A sitting: the readings of one test, taken one by one.
//!
//! - [`record`]: the file that grows; it is the only state;
//! - [`suspicion`]: whether a reading should be looked at again;
//! - [`feed`]: where readings come from, other than a keyboard;
//! - [`lines`]: a sitting in plain lines;
//! - [`view`]: a sitting on a whole terminal.

pub mod feed;
pub mod lines;
pub mod record;
pub mod suspicion;
pub mod view;

use crate::assessment::{self, slip};
use crate::context::Context;
use crate::key_args::KeyArgs;
use crate::plan_args::Planned;
use crate::refusal::Refusal;
use crate::units::Print;
use record::{Record, Taken};
use std::path::Path;
use suspicion::Suspicion;
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::measure::decision::{Answer, More};
use takeup_core::measure::routine::{Purpose, Step};

/// One reading to take, and what to do before it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stop {
    /// The row of the sheet, from 1.
    pub row: u32,
    /// The cycle, from 1.
    pub cycle: Option<u16>,
    /// The commanded position.
    pub target: Option<Length>,
    /// The direction in which the axis moved last.
    pub approach: Option<Direction>,
    /// What to do before it is read, in order.
    pub acts: Vec<Act>,
    /// Its cells in the file, those before the reading.
    pub cells: String,
}

/// Something to do before a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// Move the axis to a place.
    Go(Length),
    /// Move on to the place to read at, in the direction of the approach.
    Arrive(Length),
}

/// The readings of a test, each with the moves before it.
fn stops(planned: &Planned) -> Result<Vec<Stop>, Refusal> {
    let (mut stops, mut acts) = (Vec::new(), Vec::new());
    for step in planned.plan()?.steps() {
        match step {
            Step::Move { to, purpose: Purpose::Overrun } => acts.push(Act::Go(to)),
            Step::Move { to, purpose: Purpose::Arrival } => acts.push(Act::Arrive(to)),
            Step::Read(stop) => stops.push(Stop {
                row: stop.row,
                cycle: Some(stop.cycle),
                target: Some(stop.target),
                approach: Some(stop.approach),
                acts: std::mem::take(&mut acts),
                cells: planned.row(stop),
            }),
        }
    }
    Ok(stops)
}

/// Where the readings so far point.
#[derive(Clone, Debug, PartialEq)]
pub struct SoFar {
    /// The estimate with its interval, in one line.
    pub line: String,
    /// What more readings would do, if there is a limit.
    pub more: Option<String>,
}

/// A doubted reading that comes again within this is meant: no hand reads a dial twice to the micrometre.
const MEANT_AGAIN: Length = Length::from_counts(200_000);

/// The sitting: its plan, its file, and what was taken back.
#[derive(Debug)]
pub struct Sitting<'a> {
    /// The test.
    pub planned: &'a Planned,
    /// Its readings, in order.
    pub stops: Vec<Stop>,
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
        planned: &'a Planned,
        keys: &'a KeyArgs,
        ctx: &'a Context,
    ) -> Result<Self, Refusal> {
        let stops = stops(planned)?;
        let record = Record::open(path, head, &stops, planned, ctx)?;
        Ok(Self { planned, stops, keys, record, undone: Vec::new(), doubted: None, ctx })
    }

    /// The reading to take next; `None` when all are taken.
    #[must_use]
    pub fn stop(&self) -> Option<&Stop> {
        self.stops.get(self.taken())
    }

    /// How many readings are taken.
    #[must_use]
    pub fn taken(&self) -> usize {
        self.record.rows().len()
    }

    /// The readings taken, with their stops.
    pub fn rows(&self) -> impl DoubleEndedIterator<Item = (&Stop, Taken)> + Clone + ExactSizeIterator {
        self.stops.iter().zip(self.record.rows().iter().copied())
    }

    /// The name of the file.
    #[must_use]
    pub fn name(&self) -> &str {
        self.record.name()
    }

    /// How lengths are shown.
    #[must_use]
    pub fn print(&self) -> Print {
        Print { unit: self.planned.unit }
    }

    /// Why a reading should be taken again before it is kept; not twice for the same: read the same
    /// again, it is meant.
    pub fn doubt(&mut self, value: Length) -> Option<String> {
        let row = self.taken();
        let suspicion = self.suspicion(value);
        let again = self.doubted.take().is_some_and(|(doubted, earlier)| {
            doubted == row && value.saturating_sub(earlier).saturating_abs() <= MEANT_AGAIN
        });
        let suspicion = suspicion.filter(|_| !again)?;
        self.doubted = Some((row, value));
        Some(self.in_words(value, suspicion))
    }

    fn suspicion(&self, value: Length) -> Option<Suspicion> {
        let resolution_mm = self.keys.keys(self.planned.unit).ok()?.resolution_mm.unwrap_or(0.0);
        suspicion::look(
            Kind::Reversal,
            self.stop()?,
            value.as_mm(),
            self.rows().map(|(stop, row)| (stop, row.value.as_mm())),
            self.planned.overrun.as_mm(),
            resolution_mm,
        )
    }

    fn in_words(&self, value: Length, suspicion: Suspicion) -> String {
        let print = self.print();
        let shown = print.short(value.as_mm());
        match suspicion {
            Suspicion::FarFromOthers { low_mm, high_mm } if low_mm == high_mm => {
                format!("{shown} is far from the {} expected here", print.short(low_mm))
            }
            Suspicion::FarFromOthers { low_mm, high_mm } => {
                format!(
                    "{shown} is far from the others here, {} to {}",
                    print.short(low_mm),
                    print.short(high_mm)
                )
            }
            Suspicion::MoreThanOverrun { other_mm } => format!(
                "{shown} is further from the {} of the other side than the overrun",
                print.short(other_mm)
            ),
            Suspicion::BeyondDial => format!("{shown} {} is more than a dial shows", print.unit),
        }
    }

    /// Keeps a reading; it is on the disk when this returns.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn take(&mut self, value: Length, time_s: Option<f64>) -> Result<(), Refusal> {
        self.write(value, time_s)?;
        self.undone.clear();
        Ok(())
    }

    fn write(&mut self, value: Length, time_s: Option<f64>) -> Result<(), Refusal> {
        match self.stops.get(self.record.rows().len()) {
            Some(stop) => self.record.append(stop, value, time_s, self.planned),
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
        self.write(again.value, Some(again.time_s))?;
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
        Some(SoFar { line, more })
    }

    /// The refusal of a sitting that is not finished, and how to go on.
    #[must_use]
    pub fn paused(&self) -> Refusal {
        Refusal::new(
            format!("paused: {} of {} readings are taken, and kept", self.taken(), self.stops.len()),
            "Give the same command again to go on.",
        )
        .file(self.name())
    }

    /// What to watch for before the axis moves.
    #[must_use]
    pub fn cautions(&self) -> Vec<String> {
        let (low, high) = self.planned.travel();
        let (axis, unit) = (self.planned.axis, self.planned.unit);
        let mut cautions = vec![
            "Spindle off and locked out. Hand on the emergency stop.".to_owned(),
            format!(
                "The axis will be moved from {axis}{} to {axis}{} {unit}: that way must be free.",
                self.planned.word(low),
                self.planned.word(high)
            ),
            "Indicator clear before every long move and every rapid.".to_owned(),
            "Nobody reaches in while drives are live. Read only while it stands still.".to_owned(),
            "The maker's manual, local rules and qualified people come first.".to_owned(),
        ];
        if self.taken() > 0 {
            cautions.push(
                "Going on: if indicator or stand were touched meanwhile, undo back to the last change of station."
                    .to_owned(),
            );
        }
        cautions
    }
}
