//! The assessment of readings: made from a readings file, written as `takeup.assessment/1`, and as a
//! slip of paper for people.
//!
//! - here: what every kind of test has in common;
//! - [`kinds`]: one file per kind of test: its readings, its part of the document and of the slip;
//! - [`document`]: the JSON document, written and read;
//! - [`slip`]: the same for people;
//! - [`temperature`]: a positioning test corrected to 20 °C;
//! - [`together`]: several tests of one sitting;
//! - [`advice`]: what the trade does about a cause, with the cautions;
//! - [`words`]: evidence, misreads and decisions in words.

pub mod advice;
pub mod document;
pub mod kinds;
pub mod slip;
pub mod temperature;
pub mod together;
pub mod words;

use crate::context::Context;
use crate::input;
use crate::readings::keys::Keys;
use crate::readings::revolution::{self, Unwrapped};
use crate::readings::{MOST_BYTES, Sheet};
use crate::refusal::Refusal;
use kinds::Part;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;
use takeup_core::axis::Axis;
use takeup_core::length::Unit;
use takeup_core::measure::cause::Causes;
use takeup_core::measure::decision::{Answer, Decision};
use takeup_core::measure::reversal::SetAside;
use takeup_core::measure::uncertainty::Contribution;
use takeup_core::measure::{Kind, Setup};
use temperature::At20;

/// A test of any kind, assessed.
#[derive(Clone, Debug)]
pub struct Assessed {
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
    /// What each row of the file reads, in millimetres as read; those set aside too.
    pub readings_mm: Vec<f64>,
    /// What was done to a dial that is read within one revolution.
    pub unwrapped: Option<Unwrapped>,
    /// What was done to correct the readings to 20 °C.
    pub at_20: Option<At20>,
    /// The temperatures written down beside them, °C, in order.
    pub temperatures_c: Vec<f64>,
    /// A number made from the bytes of the file, to tell whether two are the same.
    pub fingerprint: u64,
    /// What was found.
    pub found: Found,
}

/// What the readings of one kind of test say.
#[derive(Clone, Debug)]
pub struct Found {
    /// How many readings were used.
    pub used: u32,
    /// The readings set aside, by rising index.
    pub set_aside: Vec<SetAside>,
    /// What the uncertainty of the main result is made of, in millimetres.
    pub budget: Vec<Contribution>,
    /// The decision, if there is a limit and the kind of test can be held against it.
    pub decision: Option<Decision>,
    /// The likely causes, the likeliest first.
    pub causes: Causes,
    /// The numbers of this kind of test.
    pub part: Part,
}

impl Assessed {
    /// Whether the lost motion is over its limit.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.answer() == Some(Answer::Over)
    }

    /// The answer against the limit, if there is one.
    #[must_use]
    pub fn answer(&self) -> Option<Answer> {
        self.found.decision.as_ref().map(|decision| decision.answer)
    }
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
) -> Result<Assessed, Refusal> {
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
) -> Result<Assessed, Refusal> {
    let mut sheet = Sheet::parse(bytes, file, ctx.units())?;
    for doubt in &sheet.doubts {
        ctx.note(&format!("{file}: {doubt}"));
    }
    let keys = flags(ctx.units_given().unwrap_or(sheet.units))?.or(&sheet.keys);
    let missing = |what: &str, key: &str, flag: &str| {
        Refusal::new(
            format!("{what} is given neither in the file nor on the command line"),
            format!("Write \"# {key}\" above the header; `takeup assess` takes {flag} too."),
        )
        .file(file)
    };
    let axis = keys.axis.ok_or_else(|| missing("the axis", "axis: Z", "--axis z"))?;
    let kind =
        keys.routine.ok_or_else(|| missing("the kind of test", "routine: reversal", "--routine reversal"))?;
    let setup = keys.setup();
    let print = ctx.lengths_of(sheet.units);
    let readings_mm = sheet.rows.iter().map(|row| row.reading_mm).collect();
    let unwrapped = match keys.revolution_mm {
        Some(revolution_mm) => Some(revolution::count(&mut sheet, kind, &setup, revolution_mm)?),
        None => None,
    };
    let at_20 = temperature::to_20(&mut sheet, kind, keys.expansion)?;
    let found = kinds::assess(kind, &sheet, &setup, at_20.as_ref(), print)?;
    if setup.limit_mm.is_some() && found.decision.is_none() {
        ctx.note(&format!("{file}: the limit is not judged: this {} test gives no lost motion", kind.name()));
    }
    Ok(Assessed {
        kind,
        axis,
        file: file.to_owned(),
        file_units: sheet.units,
        keys,
        setup,
        readings_mm,
        unwrapped,
        at_20,
        temperatures_c: sheet.rows.iter().filter_map(|row| row.temperature_c).collect(),
        fingerprint: fingerprint(bytes),
        found,
    })
}

fn fingerprint(bytes: &[u8]) -> u64 {
    let mut hasher = DefaultHasher::new();
    bytes.hash(&mut hasher);
    hasher.finish()
}
