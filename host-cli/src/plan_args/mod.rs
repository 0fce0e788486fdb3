//! Tests on the command line: where they are taken, and how often. The reversal test is here, each other
//! kind in a file of its own.

pub mod face;
pub mod positioning;
pub mod pushes;
pub mod returns;
pub mod small_steps;
pub mod warming;

use crate::commands::assess::axis;
use crate::context::Context;
use crate::refusal::Refusal;
use crate::units::{LengthArg, word};
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::routine::{BadPlan, ReversalPlan, Stop};

/// A plan, and how it is carried out: written, taken or run.
#[derive(Debug, clap::Args)]
pub struct Of<P: clap::Args, H: clap::Args> {
    /// Where, with what, and how often
    #[command(flatten)]
    pub plan: P,
    /// How it is carried out
    #[command(flatten)]
    pub how: H,
}

/// A reversal test, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct PlanArgs {
    /// Axis to test: x, y or z
    #[arg(long, value_parser = axis)]
    axis: Axis,
    /// Place to read at; repeat for several places along the travel
    #[arg(long, value_name = "POSITION", required = true, allow_hyphen_values = true, value_delimiter = ',')]
    station: Vec<LengthArg>,
    /// Arrivals from each side at every station
    #[arg(long, value_name = "COUNT", default_value_t = 5)]
    cycles: u16,
    /// Motion beyond the place before each arrival [default: 1 mm or 0.04 in]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    overrun: Option<LengthArg>,
    /// Largest lost motion expected; the overrun must be larger
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    expected: Option<LengthArg>,
}

/// A reversal test that can be carried out.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The axis.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// The stations, in the order in which they are visited.
    pub stations: Vec<Length>,
    /// Arrivals from each side at every station.
    pub cycles: u16,
    /// Motion beyond the place before each arrival.
    pub overrun: Length,
}

/// What is usual in a unit, as people would round it.
#[must_use]
pub fn usual(unit: Unit, mm: f64, inch: f64) -> Length {
    let value = match unit {
        Unit::Mm => mm,
        Unit::Inch => inch,
    };
    Length::from_unit(value, unit).unwrap_or_default()
}

impl PlanArgs {
    /// The test, checked.
    ///
    /// # Errors
    /// When it could not tell lost motion.
    pub fn planned(&self, ctx: &Context) -> Result<Planned, Refusal> {
        let unit = ctx.units();
        let planned = Planned {
            axis: self.axis,
            unit,
            stations: self.station.iter().map(|arg| arg.length(unit)).collect(),
            cycles: self.cycles,
            overrun: self.overrun.map_or_else(|| usual(unit, 1.0, 0.04), |overrun| overrun.length(unit)),
        };
        planned.plan()?;
        match self.expected.map(|arg| arg.length(unit)) {
            Some(expected) if planned.overrun <= expected => Err(Refusal::new(
                format!(
                    "the overrun of {} {unit} is not larger than the lost motion expected, {} {unit}",
                    planned.word(planned.overrun),
                    planned.word(expected)
                ),
                "Give a larger --overrun, several times the lost motion.",
            )),
            _ => Ok(planned),
        }
    }
}

impl Planned {
    /// Its stops and moves.
    ///
    /// # Errors
    /// When it could not tell lost motion.
    pub fn plan(&self) -> Result<ReversalPlan<'_>, Refusal> {
        let unit = self.unit;
        ReversalPlan::new(&self.stations, self.cycles, self.overrun).map_err(|bad| refused_plan(bad, unit))
    }

    /// The lowest and the highest command.
    #[must_use]
    pub fn travel(&self) -> (Length, Length) {
        let low = self.stations.iter().min().copied().unwrap_or_default();
        let high = self.stations.iter().max().copied().unwrap_or_default();
        (low.saturating_sub(self.overrun), high.saturating_add(self.overrun))
    }

    /// A length as a word of a program or a cell of a sheet: no digit lost that a control could use,
    /// none too many.
    #[must_use]
    pub fn word(&self, length: Length) -> String {
        word(length, self.unit)
    }

    /// The keys that the plan knows, as lines of a readings file.
    #[must_use]
    pub fn keys(&self) -> String {
        format!("# axis: {}\n# routine: reversal\n# units: {}\n", self.axis, self.unit)
    }

    /// The cells `row,cycle,target,approach` of a stop.
    #[must_use]
    pub fn row(&self, stop: Stop) -> String {
        format!("{},{},{},{}", stop.row, stop.cycle, self.word(stop.target), stop.approach)
    }
}

/// The refusal of a plan, in the unit of the person, with the way out.
#[must_use]
pub fn refused_plan(bad: BadPlan, unit: Unit) -> Refusal {
    let at = |length| format!("{} {unit}", word(length, unit));
    match bad {
        BadPlan::NoStation => Refusal::new("no station is given", "Give --station once or more."),
        BadPlan::SameStation(place) => Refusal::new(
            format!("the place {} is given twice", at(place)),
            "Give each place once; they are read as often as the cycles or runs say.",
        ),
        BadPlan::TooFewCycles(cycles) => Refusal::new(
            format!("--cycles is {cycles}, 2 or more are needed to see how well readings repeat"),
            "Give --cycles 5.",
        ),
        BadPlan::NoOverrun => Refusal::new(
            "--overrun must be above 0 and larger than any lost motion expected",
            "Give several times the lost motion expected, such as 1 mm.",
        ),
        BadPlan::NoRun => Refusal::new("--runs is 0, 1 or more are needed", "Give --runs 5."),
        BadPlan::NoLift => Refusal::new(
            "--lift must not be 0, and larger than any lost motion expected",
            "Give several times the lost motion expected, such as 5 mm; below 0 it lifts towards -.",
        ),
        BadPlan::NoStroke => Refusal::new(
            "--stroke must not be 0: between readings the axis works",
            "Give a good part of the travel, such as 100 mm; below 0 it works towards -.",
        ),
        BadPlan::TooManyReadings { found, most } => Refusal::new(
            format!("{found} readings would be asked for, at most {most} can be numbered"),
            "Give less to read.",
        ),
        BadPlan::NotRising(place) => Refusal::new(
            format!("the target {} is not beyond the one before it", at(place)),
            "Give the targets by rising position.",
        ),
        BadPlan::OutOfRange(place) => {
            Refusal::new(format!("the place {} is beyond any travel", at(place)), "Check the number.")
        }
        BadPlan::NoCycle => Refusal::new("--cycles is 0, 1 or more are needed", "Give --cycles 3."),
        BadPlan::TooFewSteps { found, fewest } => Refusal::new(
            format!("--steps is {found}, {fewest} or more are needed to show a curve"),
            "Give --steps 30.",
        ),
        BadPlan::StepTooSmall(step) => Refusal::new(
            format!("a step of {} is too small to be told from none", at(step)),
            "Give a tenth of the lost motion expected, and no less than 0.001 mm.",
        ),
        BadPlan::TooFewReturns { found, fewest } => Refusal::new(
            format!("--returns is {found}, {fewest} or more are needed to tell a trend from scatter"),
            "Give --returns 20.",
        ),
        BadPlan::TooFewReadings { found, fewest } => Refusal::new(
            format!("--readings is {found}, {fewest} or more are needed"),
            "Give --readings 12 or more.",
        ),
        BadPlan::NoForce => {
            Refusal::new("--force must be above 0 newtons", "Give the largest pull, such as 200.")
        }
        BadPlan::NoPause => Refusal::new("a pause must be longer than 0", "Give --pause 5, in minutes."),
    }
}
