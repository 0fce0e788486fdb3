//! The test of the indicator itself, and its result as input to other tests.

use super::{Findings, Part, at_row};
use crate::assessment::document::{Document, Indicator as Shown, SCHEMA, Value};
use crate::assessment::slip::Slip;
use crate::assessment::{Found, of_bytes, words};
use crate::context::Context;
use crate::input;
use crate::readings::keys::Keys;
use crate::readings::{MOST_BYTES, Sheet};
use crate::refusal::Refusal;
use crate::units::Print;
use std::path::Path;
use takeup_core::axis::Axis;
use takeup_core::length::Unit;
use takeup_core::measure::indicator::{self, Assessment, NotEnough, Reading};
use takeup_core::measure::{Estimate, Kind, Setup, cause};

/// A test of the indicator itself.
#[derive(Clone, Debug)]
pub struct Indicator {
    /// The numbers.
    pub result: Assessment,
}

pub(super) fn assess(sheet: &Sheet, setup: &Setup) -> Result<Found, Refusal> {
    sheet.all_or_none("approach", |row| row.approach.is_some())?;
    let readings: Vec<Reading> =
        sheet.rows.iter().map(|row| Reading { approach: row.approach, value_mm: row.reading_mm }).collect();
    let result = indicator::assess(&readings, setup).map_err(|error| not_enough(error, sheet))?;
    Ok(Found {
        used: result.used,
        set_aside: result.set_aside.iter().copied().collect(),
        budget: result.budget.iter().copied().collect(),
        decision: None,
        causes: cause::of_indicator(&result, setup),
        part: Part::Indicator(Box::new(Indicator { result })),
    })
}

fn not_enough(error: NotEnough, sheet: &Sheet) -> Refusal {
    let refusal = match error {
        NotEnough::TooFew { .. } => Refusal::new(
            format!("not enough: {error}"),
            "Bring the indicator onto the face ten times or more, from both sides in turn.",
        ),
        NotEnough::OneApproach { .. } => Refusal::new(
            format!("not enough: {error}"),
            "Approach the face from both sides in turn, or leave the column approach out.",
        ),
        NotEnough::OneOfTwo { second, .. } => at_row(
            Refusal::new(
                error.to_string(),
                "Look at both for a slip of the pen, or approach the face once more from each side.",
            ),
            second,
            sheet,
        ),
        NotEnough::TooMany { .. } => Refusal::new(error.to_string(), "Split the file."),
        NotEnough::NotFinite { index } => {
            at_row(Refusal::new(error.to_string(), "Correct the row."), index, sheet)
        }
        NotEnough::Setup(what) => Refusal::new(what.to_string(), "Correct the key or the flag."),
    };
    refusal.file(&sheet.file)
}

/// The hysteresis found by an indicator test, in millimetres: from its readings, or from its assessment written
/// by `--json`. One that is less than none counts as none.
///
/// # Errors
/// When the file is neither, or gives no hysteresis.
pub fn hysteresis_mm(path: &Path, ctx: &Context) -> Result<f64, Refusal> {
    let file = input::name(path);
    let bytes = input::read(path, MOST_BYTES, ctx)?;
    let is_json = bytes.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&b'{');
    let found = if is_json { of_json(&bytes) } else { of_readings(&bytes, &file, ctx) };
    let found = found.map_err(|refusal| refusal.file(&file))?;
    found.map(|mm| mm.max(0.0)).ok_or_else(|| {
        Refusal::new(
            "this indicator test gives no hysteresis: its readings have no approach",
            "Approach the face from both sides in turn and fill in the column approach.",
        )
        .file(&file)
    })
}

fn of_readings(bytes: &[u8], file: &str, ctx: &Context) -> Result<Option<f64>, Refusal> {
    let assessed = of_bytes(bytes, file, |_| Ok(Keys::default()), ctx)?;
    match &assessed.found.part {
        Part::Indicator(part) => Ok(part.result.hysteresis.map(|h| h.value)),
        _ => Err(another_kind(assessed.kind.name())),
    }
}

fn of_json(bytes: &[u8]) -> Result<Option<f64>, Refusal> {
    let not_one = |what: String| {
        Refusal::new(
            format!("this is not an assessment of an indicator test: {what}"),
            "Give the readings of one, or what \"takeup assess --json\" writes of them.",
        )
    };
    let document: Document = serde_json::from_slice(bytes).map_err(|error| not_one(error.to_string()))?;
    if document.schema != SCHEMA {
        return Err(not_one(format!("its schema is {:?}", document.schema)));
    }
    if document.routine != Kind::Indicator.name() {
        return Err(another_kind(&document.routine));
    }
    let unit = Unit::from_symbol(&document.units)
        .ok_or_else(|| not_one(format!("its units are {:?}", document.units)))?;
    let in_units = document.indicator.and_then(|found| found.hysteresis).map(|value| value.value);
    Ok(in_units.map(|value| match unit {
        Unit::Mm => value,
        Unit::Inch => value * 25.4,
    }))
}

fn another_kind(kind: &str) -> Refusal {
    Refusal::new(
        format!("this is a test of the kind {kind}, one of the kind indicator was expected"),
        "Take one by \"takeup routine indicator\".",
    )
}

impl Findings for Indicator {
    fn answer(&self, _axis: Axis, print: Print) -> String {
        let s = format!("The indicator repeats to {} {}", print.fine(self.result.s.value), print.unit);
        match &self.result.hysteresis {
            None => format!("{s} (standard deviation); its hysteresis was not asked for"),
            Some(h) if h.value.abs() <= h.expanded_95() => {
                format!(
                    "{s} (standard deviation); no hysteresis is shown, {}",
                    words::with_interval(h, print)
                )
            }
            Some(h) => format!("{s} (standard deviation) and lags by {}", words::with_interval(h, print)),
        }
    }

    fn main(&self) -> Option<Estimate> {
        Some(self.result.hysteresis.unwrap_or(self.result.s))
    }

    fn fill(&self, document: &mut Document, print: Print) {
        let length = |estimate: &Estimate| Value::of_length(estimate, print);
        document.indicator = Some(Shown {
            s: Some(length(&self.result.s)),
            hysteresis: self.result.hysteresis.as_ref().map(length),
        });
    }

    fn numbers(&self, slip: &mut Slip<'_>, _axis: Axis) {
        let print = slip.print;
        slip.heading("The indicator itself");
        let s = &self.result.s;
        slip.item(
            "  ",
            &format!(
                "Standard deviation of one reading: {} {} (95 %: up to {}).",
                print.fine(s.value),
                print.unit,
                print.fine(s.high_95())
            ),
        );
        if let Some(hysteresis) = &self.result.hysteresis {
            slip.item(
                "  ",
                &format!(
                    "Hysteresis, positive when the dial lags: {}.",
                    words::with_interval(hysteresis, print)
                ),
            );
        }
        slip.item(
            "  ",
            "What is allowed stands in ISO 463 for dial gauges and ISO 9493 for lever-type indicators, as limits that \
             the maker states (recalled from memory).",
        );
    }

    fn next(&self, _print: Print) -> Vec<String> {
        let mut steps = Vec::new();
        if self.result.hysteresis.is_some() {
            steps.push(
                "Give this file to later tests: takeup assess READINGS --indicator FILE allows for half of the hysteresis \
                 and puts it into their budget. The repeatability is within the scatter of their readings already."
                    .to_owned(),
            );
        }
        steps
    }
}
