//! `assess`: readings into lost motion, its uncertainty, the likely cause and a decision.

use crate::assessment::document::Document;
use crate::assessment::kinds::indicator::hysteresis_mm;
use crate::assessment::together::document::Sitting;
use crate::assessment::together::{self, Together};
use crate::assessment::{self, slip};
use crate::context::Context;
use crate::exit::Outcome;
use crate::key_args::KeyArgs;
use crate::readings::keys::{Keys, is_expansion, kinds};
use crate::refusal::Refusal;
use crate::units::{LengthArg, number};
use std::path::PathBuf;
use takeup_core::axis::Axis;
use takeup_core::length::Unit;
use takeup_core::measure::Kind;

/// The long help.
pub(super) const LONG_ABOUT: &str = "Readings into lost motion, its uncertainty, the likely cause and a \
    decision.\n\n\
    READINGS is a CSV file with the columns target, approach and reading; keys such as \"# axis: Z\" and \
    \"# units: in\" stand above its header. Options override keys; lengths without a unit are in --units, else \
    in the units of the file. The decision follows the rule of ISO 14253-1: within only if value + U does not \
    exceed the limit, over only if value - U does. Exit code 1 only for over.\n\n\
    --indicator FILE allows for half of the hysteresis found there (a reversal shows more by it, a push and \
    pull less) and puts it into the budget; the indicator's repeatability is within the scatter of the readings already and is not counted twice (JCGM 100, 4.2).\n\n\
    --revolution is for a dial whose revolutions nobody counted: readings from 0 to 1 mm, and again from 0. What is lost and \
    what drifts from one reading to the next must be less than half a revolution.\n\n\
    Several files are tests of one sitting: one axis of one machine, on one day. Each is assessed for itself, and the cause \
    is argued from all of them, since a staircase and returns tell apart what a reversal test sees alike. Assumed is that the \
    same faults are there in all of them.";

/// Arguments of `assess`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup assess z-before.csv --limit 0.05 --resolution 0.01")]
pub struct Args {
    /// Readings file, or - for standard input; several tests of one sitting argue the cause together
    #[arg(required = true)]
    readings: Vec<PathBuf>,
    /// Readings were taken on this axis: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Option<Axis>,
    /// Kind of test, such as reversal
    #[arg(long, value_name = "KIND", value_parser = kind)]
    routine: Option<Kind>,
    /// What is known of the indicator and the machine
    #[command(flatten)]
    setup: KeyArgs,
    /// Test of the indicator whose hysteresis counts: its readings, or its assessment as JSON
    #[arg(long, value_name = "FILE", conflicts_with = "indicator_hysteresis")]
    indicator: Option<PathBuf>,
    /// One revolution of a dial that is noted within one, 0 to 1 mm say: the plan tells how often it went round
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    revolution: Option<LengthArg>,
    /// Correct a positioning test to 20 degrees C: its scale grows by so many millionths per degree, steel by 11.5
    #[arg(long, value_name = "MILLIONTHS", allow_hyphen_values = true, value_parser = expansion)]
    expansion: Option<f64>,
    /// When the first reading was taken, RFC 3339
    #[arg(long, value_name = "TIME")]
    taken: Option<jiff::Timestamp>,
}

/// An axis by its letter.
pub(crate) fn axis(text: &str) -> Result<Axis, String> {
    text.parse().ok().and_then(Axis::from_letter).ok_or_else(|| "x, y or z was expected".to_owned())
}

fn expansion(text: &str) -> Result<f64, String> {
    let value = number(text)?;
    is_expansion(value)
        .then_some(value)
        .ok_or_else(|| "0 to 100 was expected, such as 11.5 for steel".to_owned())
}

fn kind(text: &str) -> Result<Kind, String> {
    Kind::from_name(text).ok_or_else(|| format!("{} was expected", kinds()))
}

impl Args {
    /// The flags as keys, in millimetres.
    fn keys(&self, units: Unit, ctx: &Context) -> Result<Keys, Refusal> {
        let mut keys = Keys {
            axis: self.axis,
            routine: self.routine,
            taken: self.taken.map(|time| time.to_string()),
            expansion: self.expansion,
            ..self.setup.keys(units)?
        };
        if let Some(revolution) = self.revolution {
            let mm = revolution.mm(units);
            if mm <= 0.0 {
                return Err(Refusal::new(
                    "--revolution is out of range: a length above 0 was expected",
                    "Correct the option.",
                ));
            }
            keys.revolution_mm = Some(mm);
        }
        if let Some(path) = &self.indicator {
            keys.hysteresis_mm = Some(hysteresis_mm(path, ctx)?);
        }
        Ok(keys)
    }
}

/// Assesses a readings file.
///
/// # Errors
/// When it is not meant as it stands, or has too little in it.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let of = |path: &PathBuf| assessment::of_file(path, |units| args.keys(units, ctx), ctx);
    let outcome = |over| if over { Outcome::Adverse } else { Outcome::Good };
    if let [only] = args.readings.as_slice() {
        let assessed = of(only)?;
        let print = ctx.lengths_of(assessed.file_units);
        let over = outcome(assessed.is_over());
        return ctx.answer(
            &Document::of(&assessed, print),
            || slip::of(&assessed, print, ctx.screen()),
            over,
        );
    }
    if args.routine.is_some() {
        return Err(Refusal::new(
            "--routine is one kind of test for all files, but several are argued together for what only one of them sees",
            "Write \"# routine: reversal\" and the like above the header of each file.",
        ));
    }
    let tests = args.readings.iter().map(of).collect::<Result<Vec<_>, _>>()?;
    let print = ctx.lengths_of(tests.first().map_or(ctx.units(), |test| test.file_units));
    let together = Together::of(tests)?;
    let over = outcome(together.is_over());
    ctx.answer(&Sitting::of(&together, print), || together::slip::of(&together, print, ctx.screen()), over)
}
