//! `routine`: the test program for the machine and the reading sheet for the person.
//!
//! - `program`: what every test program has in common: its head with the cautions, its words;
//! - `sheet`: what every sheet has in common;
//! - one file per kind of test.

mod face;
mod positioning;
mod program;
mod pushes;
mod returns;
mod reversal;
mod sheet;
mod small_steps;
mod warming;

use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::output;
use crate::plan_args::{self, Of, usual};
use crate::readings;
use crate::refusal::Refusal;
use crate::units::{LengthArg, number};
use serde::Serialize;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::Kind as CoreKind;

/// Arguments of `routine`.
#[derive(Debug, clap::Args)]
#[command(after_help = reversal::EXAMPLE)]
pub struct Args {
    /// The kind of test
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, clap::Subcommand)]
enum Kind {
    /// At each station, arrive from + and from - in turn
    #[command(long_about = reversal::LONG_ABOUT, override_usage = reversal::USAGE, after_help = reversal::EXAMPLE)]
    Reversal(Of<plan_args::PlanArgs, Writing>),
    /// Targets over the travel, runs up and runs down
    #[command(long_about = positioning::LONG_ABOUT, override_usage = positioning::USAGE, after_help = positioning::EXAMPLE)]
    Positioning(Of<positioning::Plan, Writing>),
    /// A staircase of small steps up, then down, then up
    #[command(long_about = small_steps::LONG_ABOUT, override_usage = small_steps::USAGE, after_help = small_steps::EXAMPLE)]
    SmallSteps(Of<plan_args::small_steps::PlanArgs, Writing>),
    /// Many lifts and returns to one mark, some after a pause
    #[command(long_about = returns::LONG_ABOUT, override_usage = returns::USAGE, after_help = returns::EXAMPLE)]
    Return(Of<plan_args::returns::PlanArgs, Writing>),
    /// A known force each way, the drive holding
    #[command(long_about = pushes::LONG_ABOUT, override_usage = pushes::USAGE, after_help = pushes::EXAMPLE)]
    PushPull(Of<plan_args::pushes::PlanArgs, Writing>),
    /// One place over time, the axis working between readings
    #[command(long_about = warming::LONG_ABOUT, override_usage = warming::USAGE, after_help = warming::EXAMPLE)]
    WarmUp(Of<plan_args::warming::PlanArgs, Writing>),
    /// The indicator against a fixed face
    #[command(long_about = face::LONG_ABOUT, override_usage = face::USAGE, after_help = face::EXAMPLE)]
    Indicator(Of<plan_args::face::PlanArgs, Writing>),
}

/// Writes program and sheet.
///
/// # Errors
/// When the test cannot be planned so, or a file cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    match &args.kind {
        Kind::Reversal(args) => args.how.write(&reversal::test(args, ctx)?, ctx),
        Kind::Positioning(args) => args.how.write(&positioning::test(args, ctx)?, ctx),
        Kind::SmallSteps(args) => args.how.write(&small_steps::test(args, ctx)?, ctx),
        Kind::Return(args) => args.how.write(&returns::test(args, ctx)?, ctx),
        Kind::PushPull(args) => args.how.write(&pushes::test(args, ctx)?, ctx),
        Kind::WarmUp(args) => args.how.write(&warming::test(args, ctx)?, ctx),
        Kind::Indicator(args) => args.how.write(&face::test(args, ctx)?, ctx),
    }
}

/// What every routine is told: the pace, and where to write.
#[derive(Debug, clap::Args)]
struct Writing {
    /// Feed in --units per minute [default: 300 mm or 12 in]
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    feed: Option<LengthArg>,
    /// Seconds to settle before each reading
    #[arg(long, value_name = "SECONDS", default_value = "3", allow_hyphen_values = true, value_parser = number)]
    dwell: f64,
    /// Test program to write, or - for standard output
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Reading sheet to write (CSV)
    #[arg(long, value_name = "FILE")]
    sheet: Option<PathBuf>,
}

/// How a program moves and waits.
#[derive(Clone, Copy, Debug)]
struct Pace {
    feed: Length,
    dwell_s: f64,
}

/// A test, written out.
struct Test {
    kind: CoreKind,
    axis: Axis,
    unit: Unit,
    /// What it is in one line, such as "Reversal test of Z: 20 readings, 5 cycles at 0 mm".
    title: String,
    /// Where the axis goes or stands still, such as 0 and -40.
    stations: Vec<Length>,
    cycles: u16,
    overrun: Option<Length>,
    readings: usize,
    /// The lowest and the highest command.
    travel: (Length, Length),
    program: String,
    sheet: String,
}

/// The document of `--json`.
#[derive(Serialize)]
struct Document {
    schema: &'static str,
    axis: String,
    routine: &'static str,
    units: &'static str,
    stations: Vec<f64>,
    cycles: u16,
    #[serde(skip_serializing_if = "Option::is_none")]
    overrun: Option<f64>,
    readings: usize,
    travel: Travel,
}

#[derive(Serialize)]
struct Travel {
    low: f64,
    high: f64,
}

impl Writing {
    fn pace(&self, unit: Unit) -> Result<Pace, Refusal> {
        let feed = self.feed.map_or_else(|| usual(unit, 300.0, 12.0), |feed| feed.length(unit));
        if feed <= Length::ZERO {
            return Err(Refusal::new("--feed must be above 0", "Give a slow feed, such as 300 mm a minute."));
        }
        if !(0.0..=3600.0).contains(&self.dwell) {
            return Err(Refusal::new(
                format!("--dwell is {} seconds, 0 to 3600 was expected", self.dwell),
                "Give the seconds that the axis needs to settle, such as 3.",
            ));
        }
        Ok(Pace { feed, dwell_s: self.dwell })
    }

    fn write(&self, test: &Test, ctx: &Context) -> Result<Outcome, Refusal> {
        let mut outputs = vec![self.output.as_path()];
        outputs.extend(self.sheet.as_deref());
        output::keep_apart(&outputs, &[])?;
        outputs.iter().try_for_each(|path| spare_readings(path))?;
        // Both or none: nothing appears before both are whole.
        let mut files = Vec::new();
        for (path, text) in outputs.iter().zip([&test.program, &test.sheet]) {
            let mut file = output::create(path, ctx)?;
            file.write_all(text.as_bytes()).map_err(|error| file.refusal(&error))?;
            files.push(file);
        }
        for file in files {
            file.finish()?;
        }
        if outputs.iter().any(|path| input::is_dash(path)) {
            return Ok(Outcome::Good);
        }
        ctx.answer(&test.document(), || self.summary(test, ctx), Outcome::Good)
    }

    fn summary(&self, test: &Test, ctx: &Context) -> String {
        let (axis, (low, high)) = (test.axis, test.travel);
        let mut text = format!("{}.\n", ctx.screen().wrap(&test.title, "  "));
        if low != high {
            let _ = writeln!(
                text,
                "The command runs from {axis}{} to {axis}{}: check that this travel is free.",
                word(low, test.unit),
                word(high, test.unit)
            );
        }
        let _ = writeln!(text, "Program: {}", self.output.display());
        if let Some(sheet) = &self.sheet {
            let _ = writeln!(text, "Sheet:   {}", sheet.display());
            let _ = writeln!(
                text,
                "When it is filled in: takeup assess {}",
                input::quoted(&sheet.display().to_string())
            );
        }
        let caution = "Caution: spindle off and locked out, indicator clear before every long move, hand on the \
                       emergency stop; first run with the indicator off, in single block.";
        let _ = writeln!(text, "{}", ctx.screen().wrap(caution, ""));
        text
    }
}

impl Test {
    fn document(&self) -> Document {
        let value = |length: Length| length.as_unit(self.unit);
        Document {
            schema: "takeup.routine/1",
            axis: self.axis.to_string(),
            routine: self.kind.name(),
            units: self.unit.symbol(),
            stations: self.stations.iter().copied().map(value).collect(),
            cycles: self.cycles,
            overrun: self.overrun.map(value),
            readings: self.readings,
            travel: Travel { low: value(self.travel.0), high: value(self.travel.1) },
        }
    }
}

/// Refuses to write over a sheet in which readings are filled in: nobody could take them again.
fn spare_readings(path: &Path) -> Result<(), Refusal> {
    if input::is_dash(path) || !path.is_file() {
        return Ok(());
    }
    let refuse = |error| Refusal::io(path.display().to_string(), "read", &error);
    let mut there = Vec::new();
    File::open(path)
        .and_then(|file| file.take(readings::MOST_BYTES).read_to_end(&mut there))
        .map_err(refuse)?;
    if readings::are_filled_in(&there) {
        return Err(Refusal::new(
            "this sheet holds readings, which would be lost",
            "Name another file, or take this one away.",
        )
        .path(path));
    }
    Ok(())
}

/// A length as a word of a program or a cell of a sheet.
fn word(length: Length, unit: Unit) -> String {
    crate::units::word(length, unit)
}
