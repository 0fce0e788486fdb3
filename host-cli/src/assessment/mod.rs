//! The assessment of readings: made from a readings file, written as `takeup.assessment/1`, and as a
//! slip of paper for people.
//!
//! - [`document`]: the JSON document, written and read;
//! - [`slip`]: the same for people;
//! - [`advice`]: what the trade does about a cause, with the cautions;
//! - [`words`]: evidence, misreads and decisions in words.

pub mod advice;
pub mod document;
pub mod slip;
pub mod words;

use crate::context::Context;
use crate::input;
use crate::readings::keys::{Keys, kinds};
use crate::readings::{MOST_BYTES, Sheet};
use crate::refusal::Refusal;
use crate::units::Print;
use std::path::Path;
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::cause::{self, Causes};
use takeup_core::measure::positioning::{self, Positioning};
use takeup_core::measure::reversal::{self, Assessment, NotEnough, Reading};
use takeup_core::measure::{Kind, Setup};

/// The most stations of one test.
pub const MOST_STATIONS: usize = 64;

/// A reversal or positioning test, assessed.
#[derive(Clone, Debug)]
pub struct Reversal {
    /// The kind of test.
    pub kind: Kind,
    /// The axis.
    pub axis: Axis,
    /// Where the readings come from.
    pub file: String,
    /// The unit of the file.
    pub file_units: Unit,
    /// The keys that held, flags before those of the file.
    pub keys: Keys,
    /// The set-up of the indicator.
    pub setup: Setup,
    /// All readings, those set aside too.
    pub readings: Vec<Reading>,
    /// The numbers.
    pub result: Assessment<MOST_STATIONS>,
    /// What a positioning test shows beyond its reversal values.
    pub positioning: Option<Positioning>,
    /// The likely causes.
    pub causes: Causes,
}

/// Reads and assesses a readings file; `flags` hold before its keys, and are given the unit that
/// lengths without one are in.
///
/// # Errors
/// When the file cannot be read, is not meant as it stands, or has too little in it.
pub fn of_file(
    path: &Path,
    flags: impl FnOnce(Unit) -> Result<Keys, Refusal>,
    ctx: &Context,
) -> Result<Reversal, Refusal> {
    let bytes = input::read(path, MOST_BYTES, ctx)?;
    of_bytes(&bytes, &input::name(path), flags, ctx)
}

/// As [`of_file`], of a file already in memory.
///
/// # Errors
/// As for [`of_file`].
pub fn of_bytes(
    bytes: &[u8],
    file: &str,
    flags: impl FnOnce(Unit) -> Result<Keys, Refusal>,
    ctx: &Context,
) -> Result<Reversal, Refusal> {
    let sheet = Sheet::parse(bytes, file, ctx.units())?;
    let keys = flags(ctx.units_given().unwrap_or(sheet.units))?.or(&sheet.keys);
    let missing = |what: &str, key: &str, flag: &str| {
        Refusal::new(
            format!("{what} is given neither in the file nor on the command line"),
            format!("Write \"# {key}\" above the header, or give {flag}."),
        )
        .file(file)
    };
    let axis = keys.axis.ok_or_else(|| missing("the axis", "axis: Z", "--axis z"))?;
    let kind =
        keys.routine.ok_or_else(|| missing("the kind of test", "routine: reversal", "--routine reversal"))?;
    if !matches!(kind, Kind::Reversal | Kind::Positioning) {
        return Err(Refusal::new(
            format!("readings of the {kind} test cannot be assessed by this version"),
            format!("Assess a reversal or positioning test; the kinds are {}.", kinds()),
        )
        .file(file));
    }
    let readings = sheet.reversal_readings()?;
    let setup = keys.setup();
    let print = Print { unit: ctx.units_given().unwrap_or(sheet.units) };
    let why = |error| not_enough(error, &sheet, print);
    let (result, positioning, causes) = if kind == Kind::Positioning {
        let (result, shown) = positioning::assess::<MOST_STATIONS>(&readings[..], &setup).map_err(why)?;
        let causes = cause::of_positioning(&result, &shown, &setup);
        (result, Some(shown), causes)
    } else {
        let result = reversal::assess::<MOST_STATIONS>(&readings[..], &setup).map_err(why)?;
        let causes = cause::of_reversal(&result, &setup);
        (result, None, causes)
    };
    Ok(Reversal {
        kind,
        positioning,
        axis,
        file: file.to_owned(),
        file_units: sheet.units,
        keys,
        setup,
        readings,
        result,
        causes,
    })
}

/// Why too little can be said, in the units and lines of the person.
fn not_enough(error: NotEnough, sheet: &Sheet, print: Print) -> Refusal {
    let at = |target: Length| format!("{} {}", print.short(target.as_mm()), print.unit);
    let refusal = match error {
        NotEnough::NoReadings => Refusal::new("there are no readings", "Fill in one row per reading."),
        NotEnough::OneApproach { target, missing } => Refusal::new(
            format!(
                "not enough: at station {} no reading was approached in the {missing} direction",
                at(target)
            ),
            "Read each station approached from both sides, in two cycles or more.",
        ),
        NotEnough::OneCycle { target, approach } => Refusal::new(
            format!(
                "not enough: at station {} only one reading was approached in the {approach} direction, \
                 so how well it repeats is not known",
                at(target)
            ),
            "Take two cycles or more; five are usual.",
        ),
        NotEnough::TooManyStations { room } => {
            Refusal::new(format!("there are more than {room} stations"), "Split the file.")
        }
        NotEnough::TooManyReadings { found, room } => {
            Refusal::new(format!("there are {found} readings, at most {room} can be used"), "Split the file.")
        }
        NotEnough::NotFinite { index } | NotEnough::TimeRunsBack { index } => {
            let refusal = Refusal::new(error.to_string(), "Correct the row.");
            match sheet.rows.get(index) {
                Some(row) => refusal.line(row.line),
                None => refusal,
            }
        }
        NotEnough::Setup(what) => Refusal::new(what.to_string(), "Correct the key or the flag."),
    };
    refusal.file(&sheet.file)
}
