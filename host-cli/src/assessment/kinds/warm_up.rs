//! The warm-up test.

use super::{Findings, Part, at_row};
use crate::assessment::document::{Document, Growth, Value};
use crate::assessment::slip::Slip;
use crate::assessment::{Found, words};
use crate::readings::Sheet;
use crate::refusal::Refusal;
use crate::units::Print;
use takeup_core::axis::Axis;
use takeup_core::measure::warm_up::{self, Assessment, Course, LONGEST_TIMES_SPAN, NotEnough, Reading};
use takeup_core::measure::{Estimate, Setup, cause};

/// A warm-up test.
#[derive(Clone, Debug)]
pub struct WarmUp {
    /// The numbers.
    pub result: Assessment,
    /// What a test may grow by.
    matters_mm: f64,
}

/// How long a test takes: a dial and twenty minutes.
const TEST_S: f64 = 1200.0;
/// A growth below this never matters.
const LEAST_MATTERS_MM: f64 = 0.001;

pub(super) fn assess(sheet: &Sheet, setup: &Setup) -> Result<Found, Refusal> {
    sheet.require("time")?;
    let readings: Vec<Reading> = sheet
        .rows
        .iter()
        .map(|row| Ok(Reading { time_s: sheet.filled(row, "time", row.time_s)?, value_mm: row.reading_mm }))
        .collect::<Result<_, Refusal>>()?;
    let result = warm_up::assess(&readings, setup).map_err(|error| not_enough(error, sheet))?;
    // A tenth of the limit, where there is one: the rule of thumb for what a measurement may be off by (common
    // practice, no source).
    let matters_mm = setup.limit_mm.map_or(setup.resolution_mm, |limit| 0.1 * limit).max(LEAST_MATTERS_MM);
    Ok(Found {
        used: result.used,
        set_aside: result.set_aside.iter().copied().collect(),
        budget: result.budget.iter().copied().collect(),
        decision: None,
        causes: cause::of_warm_up(&result),
        part: Part::WarmUp(Box::new(WarmUp { result, matters_mm })),
    })
}

fn not_enough(error: NotEnough, sheet: &Sheet) -> Refusal {
    let refusal = match error {
        NotEnough::TooFew { .. } | NotEnough::NoTime => Refusal::new(
            format!("not enough: {error}"),
            "Read one place every few minutes while the machine works, a dozen times or more.",
        ),
        NotEnough::TooMany { .. } => Refusal::new(error.to_string(), "Leave out rows, evenly."),
        NotEnough::NotFinite { index } | NotEnough::TimeRunsBack { index } => {
            at_row(Refusal::new(error.to_string(), "Correct the row."), index, sheet)
        }
        NotEnough::Setup(what) => Refusal::new(what.to_string(), "Correct the key or the flag."),
    };
    refusal.file(&sheet.file)
}

/// A rate of growth: slow ones have too few digits as lengths do.
fn rate(per_hour: &Estimate, print: Print) -> String {
    format!(
        "{} {} (95 %: {} to {})",
        print.fine(per_hour.value),
        print.unit,
        print.fine(per_hour.low_95()),
        print.fine(per_hour.high_95())
    )
}

impl WarmUp {
    fn per_hour(&self) -> Estimate {
        self.result.rate_now.scaled(3600.0)
    }

    fn wait(&self) -> Option<f64> {
        self.result.worth_measuring_after_s(TEST_S, self.matters_mm)
    }

    /// When it is worth measuring, such as "wait 25 min".
    fn when(&self) -> &'static str {
        match self.wait() {
            Some(0.0) => "worth measuring now",
            Some(_) => "not yet worth measuring",
            None => "read on before measuring",
        }
    }
}

impl Findings for WarmUp {
    fn answer(&self, axis: Axis, print: Print) -> String {
        let when = self.when();
        match (self.result.course, &self.result.left) {
            (Course::Bends, Some(left)) => {
                format!("{axis} has {} of growth still to come: {when}", words::with_interval(left, print))
            }
            (Course::NotShown, _) => {
                format!("{axis} shows no growth in {}: {when}", words::duration(self.result.span_s))
            }
            (Course::Faster, _) => format!(
                "{axis} grows faster and faster, now by {} an hour: {when}",
                rate(&self.per_hour(), print)
            ),
            _ => format!(
                "{axis} grows by {} an hour and the curve does not bend yet: {when}",
                rate(&self.per_hour(), print)
            ),
        }
    }

    fn main(&self) -> Option<Estimate> {
        Some(self.result.left.unwrap_or(self.result.seen))
    }

    fn fill(&self, document: &mut Document, print: Print) {
        let result = &self.result;
        let length = |estimate: &Estimate| Value::of_length(estimate, print);
        document.growth = Some(Growth {
            amplitude: result.amplitude.as_ref().map(length),
            time_constant_s: result.time_constant_s.as_ref().map(Value::of),
            left: result.left.as_ref().map(length),
            per_hour: Some(length(&self.per_hour())),
        });
    }

    fn numbers(&self, slip: &mut Slip<'_>, axis: Axis) {
        let (print, result) = (slip.print, &self.result);
        let length = |estimate: &Estimate| words::with_interval(estimate, print);
        slip.heading(&format!("Growth of {axis} over {}", words::duration(result.span_s)));
        slip.item("  ", &format!("Seen, from the first reading to the last: {}.", length(&result.seen)));
        slip.item("  ", &format!("Rate now: {} an hour.", rate(&self.per_hour(), print)));
        match result.course {
            Course::Bends => {
                if let (Some(amplitude), Some(left)) = (&result.amplitude, &result.left) {
                    slip.item("  ", &format!("In all, once it is warm: {}, of which", length(amplitude)));
                    slip.item("  ", &format!("still to come: {}.", length(left)));
                }
                match &result.time_constant_s {
                    Some(tau) => slip.item(
                        "  ",
                        &format!(
                            "Time constant: {} (95 %: {} to {}).",
                            words::duration(tau.value),
                            words::duration(tau.low_95()),
                            words::duration(tau.high_95())
                        ),
                    ),
                    None => slip.item(
                        "  ",
                        "The time constant is not determined: too few readings lie where the curve bends.",
                    ),
                }
            }
            Course::Straight { time_constant_at_least_s, left_at_least_mm } => slip.item(
                "  ",
                &format!(
                    "The curve does not bend yet, so its end is not known: the time constant is at least {}, still \
                     to come is at least {} (95 %).",
                    words::duration(time_constant_at_least_s),
                    print.with_unit(left_at_least_mm)
                ),
            ),
            Course::Faster => slip.item(
                "  ",
                "It grows faster and faster, so its end is not known: the load rose meanwhile, or something gives way, \
                 such as the stand of the indicator.",
            ),
            Course::NotShown if result.left.is_none() => slip.item(
                "  ",
                "What is seen is not how a machine warms up, so what is still to come is not known.",
            ),
            Course::NotShown => slip.item(
                "  ",
                &format!(
                    "What a growth may yet be is bounded for time constants up to {}; a slower one would not be seen.",
                    words::duration(LONGEST_TIMES_SPAN * result.span_s)
                ),
            ),
        }
    }

    fn next(&self, print: Print) -> Vec<String> {
        let matters = print.with_unit(self.matters_mm);
        let minutes = TEST_S / 60.0;
        let text = match (self.wait(), self.result.course) {
            (Some(wait), _) if wait > 0.0 => format!(
                "Keep the machine working for another {}: from then on a test of {minutes} min grows by no more than \
                 {matters}.",
                words::duration(wait)
            ),
            (Some(_), _) => {
                format!("Measure now: a test of {minutes} min grows by no more than {matters}.")
            }
            (None, Course::Faster) => {
                "Look for what gives way or changed its load before measuring; read again with the \
                                       machine under one steady load."
                    .to_owned()
            }
            (None, Course::Straight { .. }) => format!(
                "Keep the machine working and reading, about as long again as the {} so far, append the rows and assess \
                 again.",
                words::duration(self.result.span_s)
            ),
            (None, _) => format!("Keep reading until what is left is below {matters}."),
        };
        vec![text]
    }
}
