//! The push-pull test.

use super::{Findings, Part, at_row};
use crate::assessment::document::{Document, UnderLoad, Value};
use crate::assessment::slip::Slip;
use crate::assessment::{Found, words};
use crate::readings::Sheet;
use crate::refusal::Refusal;
use crate::units::{Print, decimals};
use takeup_core::axis::Axis;
use takeup_core::measure::push_pull::{self, Assessment, NotEnough, Reading};
use takeup_core::measure::{Estimate, Setup, cause};

/// A push-pull test.
#[derive(Clone, Debug)]
pub struct PushPull {
    /// The numbers.
    pub result: Assessment,
}

pub(super) fn assess(sheet: &Sheet, setup: &Setup) -> Result<Found, Refusal> {
    sheet.require("force")?;
    let readings: Vec<Reading> = sheet
        .rows
        .iter()
        .map(|row| {
            Ok(Reading { force_n: sheet.filled(row, "force", row.force_n)?, value_mm: row.reading_mm })
        })
        .collect::<Result<_, Refusal>>()?;
    let result = push_pull::assess(&readings, setup).map_err(|error| not_enough(error, sheet))?;
    Ok(Found {
        used: result.used,
        set_aside: result.set_aside.iter().copied().collect(),
        budget: result.budget.iter().copied().collect(),
        decision: None,
        causes: cause::of_push_pull(&result),
        part: Part::PushPull(Box::new(PushPull { result })),
    })
}

fn not_enough(error: NotEnough, sheet: &Sheet) -> Refusal {
    let refusal = match error {
        NotEnough::TooFew { .. } => Refusal::new(
            format!("not enough: {error}"),
            "Push and pull with different forces, three times or more each way.",
        ),
        NotEnough::TooMany { .. } => Refusal::new(error.to_string(), "Split the file."),
        NotEnough::NotFinite { index } => {
            at_row(Refusal::new(error.to_string(), "Correct the row."), index, sheet)
        }
        NotEnough::TooFewForces => Refusal::new(
            format!("not enough: {error}"),
            "Push and pull with different forces, three times or more each way.",
        ),
        NotEnough::OneWay { .. } => Refusal::new(
            format!("not enough: {error}"),
            "Push the other way too: beyond the weight, where the axis carries one. Positive forces push +.",
        ),
        NotEnough::Setup(what) => Refusal::new(what.to_string(), "Correct the key or the flag."),
    };
    refusal.file(&sheet.file)
}

impl PushPull {
    fn forces(&self) -> (String, String) {
        let (least, most) = self.result.crossed_n.unwrap_or(self.result.forces_n);
        (decimals(least, 0), decimals(most, 0))
    }
}

/// Newtons per millimetre with as many digits as its interval leaves.
fn stiffness(stiffness: &Estimate) -> String {
    let round = |value: f64| {
        let step = 10_f64.powf((stiffness.expanded_95() * 0.2).max(1e-3).log10().floor());
        decimals((value / step).round() * step, 0)
    };
    format!(
        "{} N/mm (95 %: {} to {})",
        round(stiffness.value),
        round(stiffness.low_95()),
        round(stiffness.high_95())
    )
}

impl Findings for PushPull {
    fn answer(&self, axis: Axis, print: Print) -> String {
        let clearance = words::with_interval(&self.result.clearance, print);
        let (least, most) = self.forces();
        if self.result.shown {
            format!("{axis} has {clearance} of clearance, crossed between {least} and {most} N")
        } else {
            format!("{axis}: no clearance is shown between {least} and {most} N, {clearance}")
        }
    }

    fn main(&self) -> Option<Estimate> {
        Some(self.result.clearance)
    }

    fn fill(&self, document: &mut Document, print: Print) {
        let result = &self.result;
        document.under_load = Some(UnderLoad {
            clearance: Some(Value::of_length(&result.clearance, print)),
            stiffness_n_per_mm: result.stiffness.as_ref().map(Value::of),
            crossed_n: result.crossed_n.map(|(least, most)| [least, most]),
        });
    }

    fn numbers(&self, slip: &mut Slip<'_>, axis: Axis) {
        let print = slip.print;
        let result = &self.result;
        slip.heading(&format!("{axis} under load"));
        slip.item("  ", &format!("Clearance: {}.", words::with_interval(&result.clearance, print)));
        let text = match &result.stiffness {
            Some(found) => format!("Stiffness of the drive on either side: {}.", stiffness(found)),
            None => format!(
                "Stiffness of the drive: at least {} N/mm; the readings set it no upper bound.",
                decimals(result.stiffness_at_least, 0)
            ),
        };
        slip.item("  ", &text);
        slip.item(
            "  ",
            "Errors of single forces are in the scatter. An error of the scale's calibration is not: it goes into the \
             stiffness in full, and hardly into the clearance.",
        );
    }

    fn next(&self, _print: Print) -> Vec<String> {
        let mut steps = Vec::new();
        if !self.result.shown {
            let (least, most) = self.forces();
            steps.push(format!(
                "If the axis carries a weight that needs less than {least} or more than {most} N to balance it, its \
                 clearance was not crossed: push beyond the weight, the axis blocked against falling."
            ));
        }
        if self.result.stiffness.is_none() {
            steps.push("For the stiffness, push harder or read a finer dial.".to_owned());
        }
        steps
    }
}
