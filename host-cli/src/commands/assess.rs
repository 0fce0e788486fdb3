//! `assess`: readings into lost motion, its uncertainty, the likely cause and a decision.

use crate::assessment::document::Document;
use crate::assessment::kinds::indicator::hysteresis_mm;
use crate::assessment::{self, slip};
use crate::context::Context;
use crate::exit::Outcome;
use crate::key_args::KeyArgs;
use crate::readings::keys::{Keys, kinds};
use crate::refusal::Refusal;
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
    pull less) and puts it into the budget; the indicator's repeatability is within the scatter of the readings already and is not counted twice (JCGM 100, 4.2).";

/// Arguments of `assess`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup assess z-before.csv --limit 0.05 --resolution 0.01")]
pub struct Args {
    /// Readings file, or - for standard input
    readings: PathBuf,
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
    /// When the first reading was taken, RFC 3339
    #[arg(long, value_name = "TIME")]
    taken: Option<jiff::Timestamp>,
}

/// An axis by its letter.
pub(crate) fn axis(text: &str) -> Result<Axis, String> {
    text.parse().ok().and_then(Axis::from_letter).ok_or_else(|| "x, y or z was expected".to_owned())
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
            ..self.setup.keys(units)?
        };
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
    let assessed = assessment::of_file(&args.readings, |units| args.keys(units, ctx), ctx)?;
    let print = ctx.lengths_of(assessed.file_units);
    let outcome = if assessed.is_over() { Outcome::Adverse } else { Outcome::Good };
    ctx.answer(&Document::of(&assessed, print), || slip::of(&assessed, print, ctx.screen()), outcome)
}
