//! `assess`: readings into lost motion, its uncertainty, the likely cause and a decision.

use crate::assessment::document::Document;
use crate::assessment::{self, slip};
use crate::context::Context;
use crate::exit::Outcome;
use crate::readings::keys::{Keys, kinds};
use crate::refusal::Refusal;
use crate::units::{LengthArg, Print, number};
use std::path::PathBuf;
use takeup_core::axis::{Axis, Direction};
use takeup_core::length::Unit;
use takeup_core::measure::Kind;

/// The long help.
pub(super) const LONG_ABOUT: &str = "Readings into lost motion, its uncertainty, the likely cause and a \
    decision.\n\n\
    READINGS is a CSV file with the columns target, approach and reading; keys such as \"# axis: Z\" and \
    \"# units: in\" stand above its header. Options override keys; lengths without a unit are in --units, else \
    in the units of the file. The decision follows the rule of ISO 14253-1: within only if value + U does not \
    exceed the limit, over only if value - U does. Exit code 1 only for over.";

/// Arguments of `assess`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup assess z-reversal.csv --limit 0.05 --resolution 0.01")]
pub struct Args {
    /// Readings file, or - for standard input
    readings: PathBuf,
    /// Readings were taken on this axis: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Option<Axis>,
    /// Kind of test, such as reversal
    #[arg(long, value_name = "KIND", value_parser = kind)]
    routine: Option<Kind>,
    /// Lost motion allowed
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    limit: Option<LengthArg>,
    /// Smallest step in which the indicator is read
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    resolution: Option<LengthArg>,
    /// Largest error of the indicator over the span used, plus or minus
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    indicator_error: Option<LengthArg>,
    /// What the indicator itself may add to a reversal, full width
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    indicator_hysteresis: Option<LengthArg>,
    /// Degrees between the stylus motion and the axis, below 90
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true, value_parser = number)]
    angle: Option<f64>,
    /// Pitch of the screw
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pitch: Option<LengthArg>,
    /// + if the reading grows as the axis moves +, else -
    #[arg(long, value_name = "+|-", allow_hyphen_values = true, value_parser = sense)]
    sense: Option<Direction>,
    /// Name of the machine
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
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

fn sense(text: &str) -> Result<Direction, String> {
    text.parse().ok().and_then(Direction::from_sign).ok_or_else(|| "+ or - was expected".to_owned())
}

impl Args {
    /// The flags as keys, in millimetres.
    fn keys(&self, units: Unit) -> Result<Keys, Refusal> {
        let mm = |arg: Option<LengthArg>| arg.map(|arg| arg.mm(units));
        let keys = Keys {
            axis: self.axis,
            routine: self.routine,
            limit_mm: mm(self.limit),
            resolution_mm: mm(self.resolution),
            indicator_error_mm: mm(self.indicator_error),
            hysteresis_mm: mm(self.indicator_hysteresis),
            angle_deg: self.angle,
            pitch_mm: mm(self.pitch),
            sense: self.sense,
            machine: self.machine.clone(),
            taken: self.taken.map(|time| time.to_string()),
        };
        match keys.setup().checked() {
            Ok(_) => Ok(keys),
            Err(what) => Err(Refusal::new(
                format!("--{} is out of range: {} was expected", what.key, what.allowed),
                "Correct the option.",
            )),
        }
    }
}

/// Assesses a readings file.
///
/// # Errors
/// When it is not meant as it stands, or has too little in it.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let assessed = assessment::of_file(&args.readings, |units| args.keys(units), ctx)?;
    let print = Print { unit: ctx.units_given().unwrap_or(assessed.file_units) };
    let outcome = if assessed.is_over() { Outcome::Adverse } else { Outcome::Good };
    ctx.answer(&Document::of(&assessed, print), || slip::of(&assessed, print, ctx.screen()), outcome)
}
