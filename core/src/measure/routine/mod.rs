//! The kinds of test, and the plan of moves and readings of each.

mod lifts;
mod staircase;
mod standing;

pub use lifts::{LiftPlan, Pauses};
pub use staircase::StaircasePlan;
pub use standing::{FacePlan, PushPlan, WarmUpPlan};

use crate::axis::Direction;
use crate::length::Length;
use core::fmt;

/// A kind of test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Kind {
    /// At stations, arrive from `+` and from `-` in turn.
    Reversal,
    /// Targets over the travel, runs up and runs down (ISO 230-2).
    Positioning,
    /// A staircase of small steps up, down and up.
    SmallSteps,
    /// Many lifts and returns to one mark.
    Return,
    /// A known force each way, the drive holding.
    PushPull,
    /// One place over time, the machine working between readings.
    WarmUp,
    /// The indicator against a fixed face.
    Indicator,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Kind; 7] = [
        Kind::Reversal,
        Kind::Positioning,
        Kind::SmallSteps,
        Kind::Return,
        Kind::PushPull,
        Kind::WarmUp,
        Kind::Indicator,
    ];

    /// The name in files and on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Kind::Reversal => "reversal",
            Kind::Positioning => "positioning",
            Kind::SmallSteps => "small-steps",
            Kind::Return => "return",
            Kind::PushPull => "push-pull",
            Kind::WarmUp => "warm-up",
            Kind::Indicator => "indicator",
        }
    }

    /// The kind with a name, in any case.
    ///
    /// ```
    /// use takeup_core::measure::Kind;
    /// assert_eq!(Kind::from_name("Small-Steps"), Some(Kind::SmallSteps));
    /// assert_eq!(Kind::from_name("long-steps"), None);
    /// ```
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name().eq_ignore_ascii_case(name))
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One step of a plan: the machine moves, or a person or a box reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Step {
    /// Move the axis to a place.
    Move {
        /// The commanded position.
        to: Length,
        /// What the move is for.
        purpose: Purpose,
    },
    /// Let it settle, and read the indicator.
    Read(Stop),
}

/// What a move of a plan is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Purpose {
    /// Beyond the place to read at, so that it is then approached from the wanted side; the first
    /// such move at a station may be long, and the indicator must be clear of it.
    Overrun,
    /// On to the place to read at, in the direction of the approach.
    Arrival,
}

/// A stop at which the indicator is read: one row of the reading sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stop {
    /// The row of the sheet, from 1.
    pub row: u32,
    /// The commanded position.
    pub target: Length,
    /// The cycle, from 1.
    pub cycle: u16,
    /// The direction in which the axis moved last.
    pub approach: Direction,
}

/// A plan that cannot be carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BadPlan {
    /// There is no station.
    NoStation,
    /// Two stations are the same to 0.001 mm.
    SameStation(Length),
    /// Fewer than two cycles: repeatability could not be told.
    TooFewCycles(u16),
    /// A positioning test needs a run.
    NoRun,
    /// The overrun must be longer than nothing.
    NoOverrun,
    /// The lift must be longer than nothing.
    NoLift,
    /// The axis must work between readings: by a stroke longer than nothing, once or more.
    NoStroke,
    /// More readings than can be numbered.
    TooManyReadings {
        /// What was asked for.
        found: u64,
        /// The most.
        most: u32,
    },
    /// A station with its overrun is beyond every travel.
    OutOfRange(Length),
    /// A target is not beyond the one before it.
    NotRising(Length),
    /// A staircase needs a cycle.
    NoCycle,
    /// Too few steps to show a curve.
    TooFewSteps {
        /// What was asked for.
        found: u16,
        /// The fewest.
        fewest: u16,
    },
    /// A step that could not be told from none.
    StepTooSmall(Length),
    /// Too few returns to tell a trend from scatter.
    TooFewReturns {
        /// What was asked for.
        found: u16,
        /// The fewest.
        fewest: u16,
    },
    /// A pause of nothing.
    NoPause,
    /// Too few readings.
    TooFewReadings {
        /// What was asked for.
        found: u16,
        /// The fewest.
        fewest: u16,
    },
    /// A force of nothing.
    NoForce,
}

impl fmt::Display for BadPlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BadPlan::NoStation => f.write_str("a plan needs at least one station"),
            BadPlan::SameStation(at) => write!(f, "the station at {} mm is given twice", at.as_mm()),
            BadPlan::TooFewCycles(n) => {
                write!(f, "{n} cycles: two or more are needed to see how well they repeat")
            }
            BadPlan::NoOverrun => {
                f.write_str("the overrun must be above 0 and larger than any lost motion expected")
            }
            BadPlan::NoRun => f.write_str("a positioning test needs at least one run"),
            BadPlan::NoLift => {
                f.write_str("the lift must be above 0 and larger than any lost motion expected")
            }
            BadPlan::NoStroke => f.write_str("the stroke must be longer than 0, and made at least once"),
            BadPlan::TooManyReadings { found, most } => {
                write!(f, "{found} readings: at most {most} can be numbered")
            }
            BadPlan::NotRising(at) => {
                write!(f, "the target at {} mm is not beyond the one before it", at.as_mm())
            }
            BadPlan::OutOfRange(at) => write!(f, "the station at {} mm is out of range", at.as_mm()),
            BadPlan::NoCycle => f.write_str("a staircase needs at least one cycle"),
            BadPlan::TooFewSteps { found, fewest } => {
                write!(f, "{found} steps each way: {fewest} or more are needed to show a curve")
            }
            BadPlan::StepTooSmall(step) => {
                write!(f, "a step of {} mm is too small: 0.001 mm is the least", step.as_mm())
            }
            BadPlan::TooFewReturns { found, fewest } => {
                write!(f, "{found} returns: {fewest} or more are needed to tell a trend from scatter")
            }
            BadPlan::TooFewReadings { found, fewest } => {
                write!(f, "{found} readings: {fewest} or more are needed")
            }
            BadPlan::NoForce => f.write_str("the largest force must be above 0"),
            BadPlan::NoPause => f.write_str("a pause needs a length, and returns between it and the next"),
        }
    }
}

impl core::error::Error for BadPlan {}

/// Stations closer than this are one station.
pub const SAME_STATION: Length = Length::from_counts(10_000);

/// The most rows of a plan.
const MOST_ROWS: u32 = u32::MAX - 1;

/// Whether so many rows can be numbered.
fn numbered(rows: u64) -> Result<(), BadPlan> {
    if rows > u64::from(MOST_ROWS) {
        return Err(BadPlan::TooManyReadings { found: rows, most: MOST_ROWS });
    }
    Ok(())
}

/// Whether every station can be arrived at from both sides, so many times.
fn arrivals(stations: &[Length], times: u16, overrun: Length) -> Result<(), BadPlan> {
    numbered((stations.len() as u64).saturating_mul(2).saturating_mul(u64::from(times)))?;
    if overrun <= Length::ZERO {
        return Err(BadPlan::NoOverrun);
    }
    for (i, &station) in stations.iter().enumerate() {
        if station.checked_add(overrun).is_none() || station.checked_sub(overrun).is_none() {
            return Err(BadPlan::OutOfRange(station));
        }
        let same = |other: &&Length| station.saturating_sub(**other).saturating_abs() < SAME_STATION;
        if stations.iter().take(i).find(same).is_some() {
            return Err(BadPlan::SameStation(station));
        }
    }
    Ok(())
}

/// The plan of a reversal test: station by station, `cycles` times from `+` and from `-` in turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReversalPlan<'a> {
    stations: &'a [Length],
    cycles: u16,
    overrun: Length,
}

impl<'a> ReversalPlan<'a> {
    /// A plan; the overrun must be larger than any lost motion expected.
    pub fn new(stations: &'a [Length], cycles: u16, overrun: Length) -> Result<Self, BadPlan> {
        if stations.is_empty() {
            return Err(BadPlan::NoStation);
        }
        if cycles < 2 {
            return Err(BadPlan::TooFewCycles(cycles));
        }
        arrivals(stations, cycles, overrun)?;
        Ok(Self { stations, cycles, overrun })
    }

    /// The stops, in order.
    pub fn stops(&self) -> impl Iterator<Item = Stop> + 'a {
        let (stations, cycles) = (self.stations, self.cycles);
        let places = stations.iter().flat_map(move |&target| {
            (1..=cycles).flat_map(move |cycle| {
                [Direction::Plus, Direction::Minus].into_iter().map(move |approach| (target, cycle, approach))
            })
        });
        places.zip(1..).map(|((target, cycle, approach), row)| Stop { row, target, cycle, approach })
    }

    /// The steps, in order: for each stop an overrun, an arrival and a reading.
    ///
    /// ```
    /// use takeup_core::{length::Length, measure::routine::{Purpose, ReversalPlan, Step}};
    /// let mm = |mm| Length::from_mm(mm).unwrap();
    /// let stations = [mm(0.0)];
    /// let plan = ReversalPlan::new(&stations, 2, mm(1.0)).unwrap();
    /// let mut steps = plan.steps();
    /// assert_eq!(steps.next(), Some(Step::Move { to: mm(-1.0), purpose: Purpose::Overrun }));
    /// assert_eq!(steps.next(), Some(Step::Move { to: mm(0.0), purpose: Purpose::Arrival }));
    /// assert!(matches!(steps.next(), Some(Step::Read(_))));
    /// assert_eq!(steps.next(), Some(Step::Move { to: mm(1.0), purpose: Purpose::Overrun }));
    /// ```
    pub fn steps(&self) -> impl Iterator<Item = Step> + 'a {
        let overrun = self.overrun;
        self.stops().flat_map(move |stop| {
            // `new` has checked that neither sum leaves the range.
            let beyond = match stop.approach {
                Direction::Plus => stop.target.saturating_sub(overrun),
                Direction::Minus => stop.target.saturating_add(overrun),
            };
            [
                Step::Move { to: beyond, purpose: Purpose::Overrun },
                Step::Move { to: stop.target, purpose: Purpose::Arrival },
                Step::Read(stop),
            ]
        })
    }
}

/// The plan of a positioning test: `runs` times up through the targets and down again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PositioningPlan<'a> {
    targets: &'a [Length],
    runs: u16,
    overrun: Length,
}

impl<'a> PositioningPlan<'a> {
    /// A plan; targets by rising position, the overrun larger than any lost motion expected.
    pub fn new(targets: &'a [Length], runs: u16, overrun: Length) -> Result<Self, BadPlan> {
        if targets.is_empty() {
            return Err(BadPlan::NoStation);
        }
        if runs < 1 {
            return Err(BadPlan::NoRun);
        }
        arrivals(targets, runs, overrun)?;
        match targets.iter().zip(targets.iter().skip(1)).find(|(a, b)| a >= b) {
            Some((_, &after)) => Err(BadPlan::NotRising(after)),
            None => Ok(Self { targets, runs, overrun }),
        }
    }

    /// The stops, in order.
    pub fn stops(&self) -> impl Iterator<Item = Stop> + 'a {
        let targets = self.targets;
        let up = move |cycle| targets.iter().map(move |&target| (target, cycle, Direction::Plus));
        let down = move |cycle| targets.iter().rev().map(move |&target| (target, cycle, Direction::Minus));
        let places = (1..=self.runs).flat_map(move |cycle| up(cycle).chain(down(cycle)));
        places.zip(1..).map(|((target, cycle, approach), row)| Stop { row, target, cycle, approach })
    }

    /// The steps, in order: an overrun before each run, then arrivals and readings without reversing.
    pub fn steps(&self) -> impl Iterator<Item = Step> + 'a {
        let overrun = self.overrun;
        let ends = (self.targets.first().copied(), self.targets.last().copied());
        self.stops().flat_map(move |stop| {
            // `new` has checked that neither sum leaves the range.
            let beyond = match stop.approach {
                Direction::Plus => (Some(stop.target) == ends.0).then(|| stop.target.saturating_sub(overrun)),
                Direction::Minus => {
                    (Some(stop.target) == ends.1).then(|| stop.target.saturating_add(overrun))
                }
            };
            let turn = beyond.map(|to| Step::Move { to, purpose: Purpose::Overrun });
            let arrival = Step::Move { to: stop.target, purpose: Purpose::Arrival };
            [turn, Some(arrival), Some(Step::Read(stop))].into_iter().flatten()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(mm: f64) -> Length {
        Length::from_mm(mm).unwrap()
    }

    #[test]
    fn a_run_is_enough_and_a_cycle_is_not() {
        let places = [mm(0.0), mm(10.0)];
        assert_eq!(PositioningPlan::new(&places, 1, mm(1.0)).unwrap().stops().count(), 4);
        assert_eq!(PositioningPlan::new(&places, 0, mm(1.0)), Err(BadPlan::NoRun));
        assert_eq!(ReversalPlan::new(&places, 1, mm(1.0)), Err(BadPlan::TooFewCycles(1)));
    }

    #[test]
    fn what_is_missing_has_its_own_name() {
        assert_eq!(LiftPlan::new(mm(0.0), Length::ZERO, 8, Pauses::None), Err(BadPlan::NoLift));
        assert_eq!(WarmUpPlan::new(mm(0.0), Length::ZERO, 8, 1), Err(BadPlan::NoStroke));
        assert_eq!(WarmUpPlan::new(mm(0.0), mm(1.0), 8, 0), Err(BadPlan::NoStroke));
    }

    // Rows are numbered by 32 bits: a longer plan is refused, and the longest staircase that is not has its last row.
    #[test]
    fn more_rows_than_numbers_are_refused() {
        let most = u32::MAX - 1;
        let long = StaircasePlan::new(mm(0.0), mm(0.001), u16::MAX, u16::MAX, mm(1.0));
        let found = (2 * 65_535 + 1) * 65_535 + 1;
        assert_eq!(long, Err(BadPlan::TooManyReadings { found, most }));
        let places: std::vec::Vec<Length> = (0..32_770).map(|n| mm(f64::from(n))).collect();
        let long = ReversalPlan::new(&places, u16::MAX, mm(0.1));
        assert_eq!(long, Err(BadPlan::TooManyReadings { found: 2 * 32_770 * 65_535, most }));
    }
}
