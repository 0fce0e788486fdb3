//! The return test.

use super::{Findings, Part, at_row};
use crate::assessment::document::{Document, Drift, Value};
use crate::assessment::slip::Slip;
use crate::assessment::{Found, words};
use crate::readings::Sheet;
use crate::refusal::Refusal;
use crate::units::Print;
use takeup_core::axis::Axis;
use takeup_core::measure::returns::{self, Assessment, NotEnough, Reading, Trend, Why};
use takeup_core::measure::reversal::Reading as Row;
use takeup_core::measure::routine::SAME_STATION;
use takeup_core::measure::{Estimate, Setup};

pub(super) fn assess(sheet: &Sheet, setup: &Setup, print: Print) -> Result<Found, Refusal> {
    let rows = sheet.reversal_readings()?;
    one_mark(&rows, sheet)?;
    sheet.all_or_none("time", |row| row.time_s.is_some())?;
    // The column cycle counts the lifts if it does so; else each row is one more.
    let counted = rows.windows(2).all(|pair| pair[0].cycle < pair[1].cycle);
    let readings: Vec<_> = (1..=u16::MAX)
        .zip(&rows)
        .map(|(n, row)| Reading {
            lift: if counted { row.cycle } else { n },
            value_mm: row.value_mm,
            time_s: row.time_s,
        })
        .collect();
    if readings.len() < rows.len() {
        let room = usize::from(u16::MAX);
        return Err(not_enough(NotEnough::TooManyReadings { found: rows.len(), room }, sheet));
    }
    let result = returns::assess(&readings, setup).map_err(|error| not_enough(error, sheet))?;
    let _ = print;
    Ok(Found {
        used: result.used,
        set_aside: result.set_aside.iter().copied().collect(),
        budget: result.budget.iter().copied().collect(),
        decision: None,
        causes: returns::causes(&result, setup),
        part: Part::Return(Box::new(result)),
    })
}

/// All rows are of one mark, reached from one side.
fn one_mark(rows: &[Row], sheet: &Sheet) -> Result<(), Refusal> {
    let Some(first) = rows.first() else { return Ok(()) };
    let other = rows.iter().position(|row| {
        row.approach != first.approach
            || row.target.saturating_sub(first.target).saturating_abs() >= SAME_STATION
    });
    match other {
        None => Ok(()),
        Some(index) => Err(at_row(
            Refusal::new(
                "this row is of another mark, or reached from another side, than the first",
                "Give the returns to each mark a file of their own, all from one side.",
            ),
            index,
            sheet,
        )
        .file(&sheet.file)),
    }
}

/// Why too little can be said, in the lines of the person.
fn not_enough(error: NotEnough, sheet: &Sheet) -> Refusal {
    let refusal = match error {
        NotEnough::TooFewReturns { found, fewest } => Refusal::new(
            format!("not enough: {found} returns, {fewest} or more are needed to tell a trend from scatter"),
            "Take twenty returns, with a pause of some minutes after every five.",
        ),
        NotEnough::TooManyReadings { found, room } => {
            Refusal::new(format!("there are {found} readings, at most {room} can be used"), "Split the file.")
        }
        NotEnough::LiftsNotRising { index }
        | NotEnough::NotFinite { index }
        | NotEnough::TimeRunsBack { index } => {
            at_row(Refusal::new(error.to_string(), "Correct the row."), index, sheet)
        }
        NotEnough::Setup(what) => Refusal::new(what.to_string(), "Correct the key or the flag."),
    };
    refusal.file(&sheet.file)
}

fn shown(estimate: &Estimate) -> bool {
    estimate.value.abs() > estimate.expanded_95()
}

/// Why slip and drift are not told apart, and what to do.
fn together(why: Why) -> &'static str {
    match why {
        Why::NoTimes => {
            "the readings have no times: write down the seconds of each, and pause for some minutes now and then"
        }
        Why::Even => "the lifts came evenly in time: pause for some minutes after every few returns",
        Why::TooFew => "there are too few returns for both: take twenty, with pauses",
    }
}

impl Findings for Assessment {
    fn answer(&self, axis: Axis, print: Print) -> String {
        let unit = print.unit;
        match &self.trend {
            Trend::Apart { per_cycle, per_hour } => {
                let slip = if shown(per_cycle) {
                    format!("slips {} {unit} per lift", words::fine_with_interval(per_cycle, print))
                } else {
                    format!("shows no slip, {} {unit} per lift", words::fine_with_interval(per_cycle, print))
                };
                let drift = if shown(per_hour) {
                    format!("drifts {} {unit} per hour", words::fine_with_interval(per_hour, print))
                } else {
                    "shows no drift".to_owned()
                };
                format!("{axis} {slip}, and {drift}")
            }
            Trend::Together(_) if shown(&self.per_return) => format!(
                "{axis} comes back off by {} {unit} more at each return; whether by slip or by drift is not told",
                words::fine_with_interval(&self.per_return, print)
            ),
            Trend::Together(_) => format!(
                "{axis} shows neither slip nor drift, together {} {unit} per return",
                words::fine_with_interval(&self.per_return, print)
            ),
        }
    }

    fn main(&self) -> Option<Estimate> {
        Some(match self.trend {
            Trend::Apart { per_cycle, .. } => per_cycle,
            Trend::Together(_) => self.per_return,
        })
    }

    fn fill(&self, document: &mut Document, print: Print) {
        let value = |estimate: &Estimate| Value::of_length(estimate, print);
        let (per_cycle, per_hour, per_return) = match &self.trend {
            Trend::Apart { per_cycle, per_hour } => (Some(value(per_cycle)), Some(value(per_hour)), None),
            Trend::Together(_) => (None, None, Some(value(&self.per_return))),
        };
        document.drift = Some(Drift { per_cycle, per_hour, per_return, scatter: Some(value(&self.scatter)) });
    }

    fn numbers(&self, slip: &mut Slip<'_>, axis: Axis) {
        let print = slip.print;
        slip.heading(&format!("Returns of {axis}, in {}", print.unit_name()));
        let row = |name: &str, estimate: &Estimate| {
            vec![
                name.to_owned(),
                print.fine(estimate.value),
                print.fine(estimate.low_95()),
                print.fine(estimate.high_95()),
            ]
        };
        let mut rows = match &self.trend {
            Trend::Apart { per_cycle, per_hour } => {
                vec![row("slip per lift", per_cycle), row("drift per hour", per_hour)]
            }
            Trend::Together(_) => vec![row("slip and drift per return", &self.per_return)],
        };
        // Scatter is not below 0, whatever half width an even interval has.
        let mut scatter = row("scatter of one return", &self.scatter);
        if let Some(low) = scatter.get_mut(2) {
            *low = print.fine(self.scatter.low_95().max(0.0));
        }
        rows.push(scatter);
        slip.table(&["part", "value", "95 % low", "high"], rows);
        if let Trend::Together(why) = self.trend {
            slip.item("  ", &format!("Slip and drift are not told apart: {}.", together(why)));
        }
        if self.wander_log_odds > 0.0 {
            slip.item(
                "  ",
                &format!(
                    "The slip is not the same at each lift: it scatters by {} {}.",
                    print.fine(self.wander_mm),
                    print.unit
                ),
            );
        }
        slip.item("  ", "The sign is the machine's own: negative is towards its - direction.");
    }
}
