//! `routine`: the test program for the machine and the reading sheet for the person.

use crate::context::Context;
use crate::exit::Outcome;
use crate::output;
use crate::plan_args::{PlanArgs, Planned, usual};
use crate::refusal::Refusal;
use crate::units::{LengthArg, Print, decimals, number};
use serde::Serialize;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use takeup_core::axis::Direction;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::routine::{Purpose, ReversalPlan, Step, Stop};

/// Arguments of `routine`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The kind of test
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, clap::Subcommand)]
enum Kind {
    /// At each station, arrive from + and from - in turn
    #[command(long_about = LONG_ABOUT)]
    Reversal(Reversal),
}

const LONG_ABOUT: &str = "The reversal test: at each station the axis arrives from + and from - in turn.\n\n\
    The program moves at a feed only, with the spindle stopped, and at each place to be read makes a dwell and \
    an optional stop (M1). Before each arrival the axis overruns the place; the overrun must be larger than any \
    lost motion expected. Lengths without a unit are in --units, the feed in --units per minute.";

/// Arguments of `routine reversal`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "takeup routine reversal [OPTIONS] --axis <AXIS> --station <AT> -o <FILE>",
    after_help = "Example:\n  takeup routine reversal --axis z --station 0,-40 -o z.nc --sheet z.csv"
)]
struct Reversal {
    /// Where and how often
    #[command(flatten)]
    plan: PlanArgs,
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

/// Writes them.
///
/// # Errors
/// When the test cannot be planned so, or a file cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let Kind::Reversal(args) = &args.kind;
    reversal(args, ctx)
}

/// A test that can be carried out.
struct Test<'a> {
    planned: &'a Planned,
    plan: ReversalPlan<'a>,
    feed: Length,
    dwell: f64,
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
    overrun: f64,
    readings: usize,
    travel: Travel,
}

#[derive(Serialize)]
struct Travel {
    low: f64,
    high: f64,
}

fn reversal(args: &Reversal, ctx: &Context) -> Result<Outcome, Refusal> {
    let planned = args.plan.planned(ctx)?;
    let unit = planned.unit;
    let feed = args.feed.map_or_else(|| usual(unit, 300.0, 12.0), |feed| feed.length(unit));
    if feed <= Length::ZERO {
        return Err(Refusal::new("--feed must be above 0", "Give a slow feed, such as 300 mm a minute."));
    }
    if !(0.0..=3600.0).contains(&args.dwell) {
        return Err(Refusal::new(
            format!("--dwell is {} seconds, 0 to 3600 was expected", args.dwell),
            "Give the seconds that the axis needs to settle, such as 3.",
        ));
    }
    let test = Test { planned: &planned, plan: planned.plan()?, feed, dwell: args.dwell };
    let mut outputs = vec![args.output.as_path()];
    outputs.extend(args.sheet.as_deref());
    output::keep_apart(&outputs, &[])?;
    // Both or none: nothing appears before both are whole.
    let mut files = Vec::new();
    for (path, text) in outputs.iter().zip([test.program(), test.sheet()]) {
        let mut file = output::create(path, ctx)?;
        file.write_all(text.as_bytes()).map_err(|error| file.refusal(&error))?;
        files.push(file);
    }
    for file in files {
        file.finish()?;
    }
    if outputs.iter().any(|path| crate::input::is_dash(path)) {
        return Ok(Outcome::Good);
    }
    ctx.answer(&test.document(), || test.summary(ctx, &args.output, args.sheet.as_deref()), Outcome::Good)
}

impl Test<'_> {
    fn word(&self, length: Length) -> String {
        self.planned.word(length)
    }

    /// The program, in words of ISO 6983 that every mill control of the common core knows.
    fn program(&self) -> String {
        let mut text = String::new();
        let (axis, unit) = (self.planned.axis, self.planned.unit);
        let (low, high) = self.planned.travel();
        let head = [
            format!("REVERSAL TEST OF AXIS {axis}: {} CYCLES AT EACH STATION", self.planned.cycles),
            format!("UNITS: {}, ABSOLUTE POSITIONS", unit.symbol().to_uppercase()),
            format!("THE COMMAND RUNS FROM {axis}{} TO {axis}{}", self.word(low), self.word(high)),
            format!("EACH PLACE IS OVERRUN BY {}, WHICH MUST EXCEED THE", self.word(self.planned.overrun)),
            "LOST MOTION EXPECTED".to_owned(),
            "CAUTIONS".to_owned(),
            "SPINDLE OFF AND LOCKED OUT. NO TOOL NEAR THE TABLE".to_owned(),
            "CHECK THAT THE TRAVEL ABOVE IS FREE, SOFT LIMITS ON".to_owned(),
            "FIRST RUN: INDICATOR OFF, SINGLE BLOCK, LOW OVERRIDE".to_owned(),
            "HAND ON THE EMERGENCY STOP. NOBODY REACHES IN WHILE".to_owned(),
            "DRIVES ARE LIVE. INDICATOR CLEAR BEFORE EVERY LONG MOVE".to_owned(),
            "ITS PLUNGER NEEDS MORE FREE TRAVEL THAN TWO OVERRUNS".to_owned(),
            "DWELL G4 P IS IN SECONDS HERE: CHECK YOUR CONTROL".to_owned(),
            "OPTIONAL STOP M1: SWITCH IT ON TO READ WITHOUT HASTE".to_owned(),
            "MAKER'S MANUAL AND LOCAL RULES COME FIRST".to_owned(),
        ];
        let mut put = |line: &str| {
            let _ = writeln!(text, "{line}");
        };
        put("%");
        for line in head {
            put(&format!("({line})"));
        }
        put("M5 (SPINDLE STOPPED)");
        put(match unit {
            Unit::Mm => "G21 (MILLIMETRES)",
            Unit::Inch => "G20 (INCHES)",
        });
        put("G90 (ABSOLUTE)");
        put("G94 (FEED PER MINUTE)");
        let mut station = None;
        let mut steps = self.plan.steps().peekable();
        while let Some(step) = steps.next() {
            match step {
                Step::Move { to, purpose: Purpose::Overrun } => {
                    let next = steps.peek().map(|step| match step {
                        Step::Move { to, .. } => *to,
                        Step::Read(stop) => stop.target,
                    });
                    let new_station = next != station;
                    if let (true, Some(at)) = (new_station, next) {
                        station = next;
                        put(&format!("(STATION {axis}{})", self.word(at)));
                        put("M0 (INDICATOR CLEAR? THE NEXT MOVE MAY BE LONG)");
                    }
                    let side = if next.is_some_and(|next| to < next) { "BELOW" } else { "ABOVE" };
                    put(&format!(
                        "G1 {axis}{} F{} (OVERRUN, TO ARRIVE FROM {side})",
                        self.word(to),
                        self.word(self.feed)
                    ));
                    if new_station {
                        put("M0 (SET THE INDICATOR ON, IN THE MIDDLE OF ITS TRAVEL)");
                    }
                }
                Step::Move { to, purpose: Purpose::Arrival } => {
                    put(&format!("G1 {axis}{} F{} (ARRIVE)", self.word(to), self.word(self.feed)));
                }
                Step::Read(stop) => {
                    put(&format!("G4 P{} (SETTLE)", decimals_short(self.dwell)));
                    put(&format!("M1 (READ ROW {}: CYCLE {}, {})", stop.row, stop.cycle, side(stop)));
                }
            }
        }
        put("M30 (END: THE AXIS STAYS WHERE IT IS)");
        put("%");
        text
    }

    /// The sheet to fill in.
    fn sheet(&self) -> String {
        let mut text =
            "# Reading sheet: fill in the column reading; a note may stand beside it.\n".to_owned();
        text.push_str("# Caution: spindle off and locked out; read only while the axis stands still.\n");
        text.push_str("# Fill in the keys that you know. One left empty counts as not given.\n");
        text.push_str(&self.planned.keys());
        text.push_str("# machine:\n# taken:\n# limit:\n# resolution:\n# indicator-error:\n");
        text.push_str("# indicator-hysteresis:\n# sense: +\nrow,cycle,target,approach,reading,note\n");
        for stop in self.plan.stops() {
            let _ = writeln!(text, "{},,", self.planned.row(stop));
        }
        text
    }

    fn document(&self) -> Document {
        let (low, high) = self.planned.travel();
        Document {
            schema: "takeup.routine/1",
            axis: self.planned.axis.to_string(),
            routine: "reversal",
            units: self.planned.unit.symbol(),
            stations: self
                .planned
                .stations
                .iter()
                .map(|station| station.as_unit(self.planned.unit))
                .collect(),
            cycles: self.planned.cycles,
            overrun: self.planned.overrun.as_unit(self.planned.unit),
            readings: self.plan.stops().count(),
            travel: Travel { low: low.as_unit(self.planned.unit), high: high.as_unit(self.planned.unit) },
        }
    }

    fn summary(&self, ctx: &Context, program: &Path, sheet: Option<&Path>) -> String {
        let print = Print { unit: self.planned.unit };
        let (low, high) = self.planned.travel();
        let stations: Vec<_> = self.planned.stations.iter().map(|at| print.short(at.as_mm())).collect();
        let (axis, unit) = (self.planned.axis, self.planned.unit);
        let mut text = format!(
            "Reversal test of {axis}: {} readings, {} cycles at {} {unit}.\n\
             The command runs from {axis}{} to {axis}{}: check that this travel is free.\n\
             Program: {}\n",
            self.plan.stops().count(),
            self.planned.cycles,
            stations.join(" and "),
            self.word(low),
            self.word(high),
            program.display()
        );
        if let Some(sheet) = sheet {
            let _ = writeln!(text, "Sheet:   {}", sheet.display());
            let _ = writeln!(text, "When it is filled in: takeup assess {}", sheet.display());
        }
        let caution = "Caution: spindle off and locked out, indicator clear before every long move, hand on the \
                       emergency stop; first run with the indicator off, in single block.";
        let _ = writeln!(text, "{}", ctx.screen().wrap(caution, ""));
        text
    }
}

fn side(stop: Stop) -> &'static str {
    match stop.approach {
        Direction::Plus => "MOVED IN + LAST",
        Direction::Minus => "MOVED IN - LAST",
    }
}

fn decimals_short(value: f64) -> String {
    decimals(value, 3).trim_end_matches('0').trim_end_matches('.').to_owned()
}
