//! The test of small steps.

use super::{Findings, Part, at_row};
use crate::assessment::document::{Document, TakeUp, Value};
use crate::assessment::slip::Slip;
use crate::assessment::{Found, words};
use crate::readings::Sheet;
use crate::refusal::Refusal;
use crate::units::Print;
use takeup_core::axis::Axis;
use takeup_core::measure::decision::{Answer, Decision};
use takeup_core::measure::small_steps::{self, Assessment, NotEnough, Reading};
use takeup_core::measure::{Estimate, Setup};

pub(super) fn assess(sheet: &Sheet, setup: &Setup, print: Print) -> Result<Found, Refusal> {
    let readings = sheet
        .reversal_readings()?
        .into_iter()
        .map(|r| Reading { target: r.target, approach: r.approach, value_mm: r.value_mm, time_s: r.time_s })
        .collect::<Vec<_>>();
    let result = small_steps::assess_beside_others(&readings, setup)
        .map_err(|error| not_enough(error, sheet, print))?;
    Ok(Found {
        used: result.used,
        set_aside: result.set_aside.iter().copied().collect(),
        budget: result.budget.iter().copied().collect(),
        decision: result.decision,
        causes: small_steps::causes(&result, setup),
        part: Part::SmallSteps(Box::new(result)),
    })
}

/// Why too little can be said, in the units and lines of the person.
fn not_enough(error: NotEnough, sheet: &Sheet, print: Print) -> Refusal {
    let refusal = match error {
        NotEnough::TooFewReadings { found, fewest } => Refusal::new(
            format!("not enough: {found} readings, {fewest} or more are needed to show the curve"),
            "Read a staircase up, then down, then up, as \"takeup routine small-steps\" writes it.",
        ),
        NotEnough::TooManyReadings { found, room } => {
            Refusal::new(format!("there are {found} readings, at most {room} can be used"), "Split the file.")
        }
        NotEnough::NotSeated => at_row(
            Refusal::new(
                "the first reading was not approached in the - direction: where the axis was seated is not known",
                "Come down to the start from above, read it as the first row with approach -, then go up.",
            ),
            0,
            sheet,
        ),
        NotEnough::NoReversal => Refusal::new(
            "not enough: the axis never turned around, so nothing is seen of what a reversal loses",
            "Read the staircase up, then down, then up.",
        ),
        NotEnough::AgainstTheWay { index } => at_row(
            Refusal::new(
                "the approach is not the way from the row above: the axis must have moved in between",
                "Correct the row; between two readings the axis only makes the one step.",
            ),
            index,
            sheet,
        ),
        NotEnough::TooShort { rise_mm } => Refusal::new(
            format!(
                "not enough: the table hardly moved after it turned; the staircase of {} {} is too short for what is \
                 lost",
                print.length(rise_mm),
                print.unit
            ),
            "Take more or larger steps: the rise must be several times the lost motion.",
        ),
        NotEnough::NotFinite { index } | NotEnough::TimeRunsBack { index } => {
            at_row(Refusal::new(error.to_string(), "Correct the row."), index, sheet)
        }
        NotEnough::Setup(what) => Refusal::new(what.to_string(), "Correct the key or the flag."),
    };
    refusal.file(&sheet.file)
}

impl Findings for Assessment {
    fn answer(&self, axis: Axis, print: Print) -> String {
        words::lost_motion(&self.lost_motion, axis, print)
    }

    fn why(&self, decision: &Decision, print: Print) -> String {
        let lost = &self.lost_motion;
        let (size, u) = (print.length(lost.value.abs()), print.fine(lost.expanded_95()));
        let limit = format!("{} {}", print.length(decision.limit_mm), print.unit);
        match decision.answer {
            Answer::Over => format!("the size {size} - U {u} is above the limit {limit}"),
            Answer::Within => format!("the size {size} + U {u} does not exceed the limit {limit}"),
            Answer::Undecided => words::undecided(decision, print),
        }
    }

    fn main(&self) -> Option<Estimate> {
        Some(self.lost_motion)
    }

    fn lost_motion(&self) -> Option<Estimate> {
        Some(self.lost_motion)
    }

    fn fill(&self, document: &mut Document, print: Print) {
        let value = |estimate: &Estimate| Some(Value::of_length(estimate, print));
        document.take_up = Some(TakeUp { dead_band: value(&self.dead_band), wind_up: value(&self.wind_up) });
        document.lost_motion = Some(Value {
            largest: Some(print.value(self.lost_motion.value)),
            ..Value::of_length(&self.lost_motion, print)
        });
    }

    fn numbers(&self, slip: &mut Slip<'_>, axis: Axis) {
        let print = slip.print;
        slip.heading(&format!("Take-up of {axis} after a reversal, in {}", print.unit_name()));
        let row = |name: &str, estimate: &Estimate| {
            vec![
                name.to_owned(),
                print.length(estimate.value),
                print.length(estimate.low_95()),
                print.length(estimate.high_95()),
            ]
        };
        let rows = vec![
            row("dead band, nothing moves", &self.dead_band),
            row("wind-up, follows late", &self.wind_up),
            row("lost motion, both", &self.lost_motion),
        ];
        slip.table(&["part", "value", "95 % low", "high"], rows);
        let drift = &self.drift_mm;
        slip.item(
            "  ",
            &format!(
                "One reading scatters by {} {unit} about the curve; drift from first to last {} {unit}.",
                print.fine(self.repeatability_mm),
                words::fine_with_interval(drift, print),
                unit = print.unit
            ),
        );
        if let Some(sticking) = &self.sticking {
            slip.item(
                "  ",
                &format!(
                    "The ways hold and jump: held at {} of {} steps, then jumps of {} {}.",
                    sticking.held,
                    sticking.of,
                    print.length(sticking.jump_mm),
                    print.unit
                ),
            );
        }
        if self.step_mm > 0.5 * self.lost_motion.value.abs().max(self.lost_motion.expanded_95()) {
            slip.item(
                "  ",
                &format!(
                    "A step of {} {} is coarse beside what is lost: smaller steps would tell gap and wind-up apart \
                     better.",
                    print.length(self.step_mm),
                    print.unit
                ),
            );
        }
    }
}
