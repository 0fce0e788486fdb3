//! A routine for a box, and what comes of it.

use crate::pace_args::Pace;
use crate::sitting::plan::Plan;
use takeup_core::axis::{Axis, Direction};
use takeup_core::length::Length;
use takeup_core::link::message::{Correction, PLACES_PART, StopCause, ToHost};
use takeup_core::link::{Capabilities, Routine, ToBox};
use takeup_core::measure::routine::{BadPlan, Step, Stop};

/// A routine with its places.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The axis.
    pub axis: Axis,
    /// The routine.
    pub routine: Routine,
    /// Its places.
    pub places: Vec<Length>,
    /// How long the indicator must stand still before each reading, in milliseconds.
    pub settle_ms: u16,
    /// Whether the table in the box is used.
    pub correction: Correction,
    /// The highest speed; as slow as the box is made for where it is not given.
    pub speed: Option<Length>,
}

/// What a person allows: nothing moves before it was shown and confirmed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arming {
    /// The axis.
    pub axis: Axis,
    /// The lowest position.
    pub low: Length,
    /// The highest position.
    pub high: Length,
    /// The highest speed, per second.
    pub speed: Length,
}

/// Room left beyond the commanded travel for what a table adds: at most this.
const TABLE_ROOM: Length = Length::from_counts(10_000_000);

impl Job {
    /// The job that takes the readings of a plan, without correction; none where boxes cannot run such a test.
    #[must_use]
    pub fn of(plan: &Plan, pace: Pace) -> Option<Self> {
        let (routine, places) = plan.routine.clone()?;
        let Pace { settle_ms, speed, .. } = pace;
        Some(Self { axis: plan.axis, routine, places, settle_ms, correction: Correction::Off, speed })
    }

    /// Who takes the readings and how, for the head of their file.
    #[must_use]
    pub fn taken_by(&self, capabilities: &Capabilities) -> String {
        let corrected = match self.correction {
            Correction::Off => "",
            Correction::Table => ", its places corrected by its table",
        };
        format!("Taken by the probe box \"{}\"{corrected}.", crate::refusal::clip(&capabilities.name))
    }

    /// The stops at which it reads, in order.
    ///
    /// # Errors
    /// When it cannot be carried out.
    pub fn stops(&self) -> Result<Vec<Stop>, BadPlan> {
        self.routine.with_steps(&self.places, |steps| {
            steps
                .filter_map(|step| match step {
                    Step::Read(stop) => Some(stop),
                    Step::Move { .. } => None,
                })
                .collect()
        })
    }

    /// The lowest and the highest command.
    ///
    /// # Errors
    /// When it cannot be carried out.
    pub fn travel(&self) -> Result<(Length, Length), BadPlan> {
        self.routine.with_steps(&self.places, |steps| {
            let mut ends: Option<(Length, Length)> = None;
            for step in steps {
                if let Step::Move { to, .. } = step {
                    ends = Some(ends.map_or((to, to), |(low, high)| (low.min(to), high.max(to))));
                }
            }
            ends.unwrap_or_default()
        })
    }

    /// What is said to the box so that it runs from a row on.
    pub(crate) fn messages(&self, from_row: u32) -> Vec<ToBox> {
        let parts = self.places.chunks(PLACES_PART).zip((0_u8..).step_by(PLACES_PART));
        let mut messages: Vec<ToBox> =
            parts.map(|(part, first)| ToBox::Places { first, at: part.iter().copied().collect() }).collect();
        let Job { routine, settle_ms, correction, .. } = *self;
        messages.push(ToBox::Run { routine, settle_ms, from_row, correction });
        messages
    }
}

impl Arming {
    /// What a job needs: its travel, and where the axis stands now; not a speed above that of the box.
    ///
    /// # Errors
    /// When the job cannot be carried out.
    pub fn of(job: &Job, capabilities: &Capabilities, stands: Length) -> Result<Self, BadPlan> {
        let (mut low, mut high) = job.travel()?;
        if job.correction == Correction::Table {
            (low, high) = (low.saturating_sub(TABLE_ROOM), high.saturating_add(TABLE_ROOM));
        }
        let speed = job.speed.map_or(capabilities.most_speed, Length::counts);
        Ok(Self {
            axis: job.axis,
            low: low.min(stands),
            high: high.max(stands),
            speed: Length::from_counts(speed),
        })
    }

    pub(crate) fn message(self) -> ToBox {
        ToBox::Arm { axis: self.axis, low: self.low, high: self.high, speed: self.speed.counts() }
    }
}

/// One reading of a box.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The row of the plan, from 1.
    pub row: u32,
    /// The commanded position.
    pub target: Length,
    /// The cycle, from 1.
    pub cycle: u16,
    /// The direction in which the axis moved last.
    pub approach: Direction,
    /// The indicator.
    pub value: Length,
    /// How far it spread while it stood.
    pub spread: Length,
    /// Seconds since the routine began, or went on.
    pub time_s: f64,
}

/// Where axis and indicator are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    /// The commanded position; while that is not known, the travel since the box started.
    pub command: Length,
    /// The indicator.
    pub value: Length,
}

/// What comes from a box by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heard {
    /// A reading.
    Reading(Reading),
    /// Where things are.
    Sample(Sample),
    /// The box has stopped, and moves no more until it is armed again.
    Stopped(StopCause),
    /// The routine is done.
    Finished,
}

impl Heard {
    /// What a message says of itself; `None` if it is an answer.
    pub(crate) fn of(message: &ToHost, count: Length) -> Option<Self> {
        let length = |counts: i64| Length::from_counts(count.counts().saturating_mul(counts));
        Some(match *message {
            ToHost::Reading { row, target, cycle, approach, counts, spread, time_ms } => {
                Heard::Reading(Reading {
                    row,
                    target,
                    cycle,
                    approach,
                    value: length(counts.into()),
                    spread: length(spread.into()),
                    time_s: f64::from(time_ms) / 1000.0,
                })
            }
            ToHost::Sample { command, counts } => {
                Heard::Sample(Sample { command, value: length(counts.into()) })
            }
            ToHost::Stopped(cause) => Heard::Stopped(cause),
            ToHost::Finished { .. } => Heard::Finished,
            ToHost::Armed
            | ToHost::Refused(_)
            | ToHost::Done
            | ToHost::Started { .. }
            | ToHost::State(_)
            | ToHost::Setting(_) => return None,
        })
    }
}
