//! What host and box tell each other (section 6). The order of fields and variants is the order of the bytes.
//!
//! The host asks, the box answers each question once; besides, a box sends of itself
//! [`ToHost::Reading`], [`ToHost::Finished`], [`ToHost::Sample`] and [`ToHost::Stopped`].

use super::settings::{Setting, SettingName};
use crate::axis::{Axis, Direction};
use crate::length::Length;
use crate::measure::routine::Kind;
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

/// The most places of a routine run by a box.
pub const MAX_PLACES: usize = 64;
/// The most places in one message: short frames survive a bad line.
pub const PLACES_PART: usize = 4;
/// The most bytes of a table in one message.
pub const MAX_PART: usize = 32;

/// What a box is and can do; sent when a session opens.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Capabilities {
    /// The name of the program in it.
    pub name: String<16>,
    /// The axis it drives.
    pub axis: Axis,
    /// The lowest position that its settings allow.
    pub low: Length,
    /// The highest position that its settings allow.
    pub high: Length,
    /// The highest speed, in counts of 0.1 nm per second.
    pub most_speed: i64,
    /// The length of one count of its indicator.
    pub count: Length,
    /// The most readings it takes in one routine.
    pub most_readings: u16,
    /// The routines it can run.
    pub kinds: Kinds,
}

/// A set of kinds of test: bit n stands for the kind that is number n of [`Kind::ALL`], counted from 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Kinds(u16);

impl Kinds {
    /// The set of some kinds.
    #[must_use]
    pub fn of(kinds: &[Kind]) -> Self {
        Self(kinds.iter().fold(0, |bits, kind| bits | Self::bit(*kind)))
    }

    /// Whether a kind is in it.
    #[must_use]
    pub fn has(self, kind: Kind) -> bool {
        self.0 & Self::bit(kind) != 0
    }

    /// The kinds in it.
    pub fn iter(self) -> impl Iterator<Item = Kind> {
        Kind::ALL.into_iter().filter(move |kind| self.has(*kind))
    }

    fn bit(kind: Kind) -> u16 {
        let number = Kind::ALL.iter().position(|other| *other == kind).unwrap_or(Kind::ALL.len());
        u32::try_from(number).ok().and_then(|number| 1_u16.checked_shl(number)).unwrap_or(0)
    }
}

/// A routine; its places, where it has several, are sent before by [`ToBox::Places`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Routine {
    /// A reversal test at the places.
    Reversal {
        /// Arrivals from each side at every place.
        cycles: u16,
        /// How far beyond each place the axis turns.
        overrun: Length,
    },
    /// A positioning test over the places.
    Positioning {
        /// Runs up and down.
        runs: u16,
        /// How far beyond the last places the axis turns.
        overrun: Length,
    },
    /// A staircase that begins at the one place.
    SmallSteps {
        /// The height of one step.
        step: Length,
        /// Steps each way.
        steps: u16,
        /// How often up and down.
        cycles: u16,
        /// Motion from above down to the start.
        overrun: Length,
    },
    /// Lifts and returns to the one place.
    Return {
        /// The distance of the lift, with its sign.
        lift: Length,
        /// Lifts and returns.
        returns: u16,
        /// Returns from one pause to the next; 0 makes none.
        pause_every: u16,
        /// Seconds of a pause.
        pause_s: u16,
    },
    /// Strokes away from the one place and back, without a rest, and from time to time a reading there.
    WarmUp {
        /// The distance of a stroke, with its sign.
        stroke: Length,
        /// Readings; there is one stroke before the first.
        readings: u16,
        /// Seconds of work from one reading to the next: the stroke under way is made to its end.
        work_s: u16,
    },
}

/// Whether a box corrects the places to which it moves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Correction {
    /// As commanded: the axis shows its lost motion.
    #[default]
    Off,
    /// By the table in the box: the axis shows what the table leaves.
    Table,
}

/// From the host to the box.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToBox {
    /// Allow motion within a range at most at a speed, as shown to the person who allows it.
    /// Answer: [`ToHost::Armed`].
    Arm {
        /// The axis; it must be the one that the box drives.
        axis: Axis,
        /// The lowest position.
        low: Length,
        /// The highest position.
        high: Length,
        /// The highest speed, in counts of 0.1 nm per second.
        speed: i64,
    },
    /// Stop, and allow no more motion. Answer: [`ToHost::Stopped`].
    Stop,
    /// Places of the routine to come, in order; the part that begins at 0 forgets those before.
    /// Answer: [`ToHost::Done`].
    Places {
        /// The index of the first of them.
        first: u8,
        /// The places.
        at: Vec<Length, PLACES_PART>,
    },
    /// Run a routine. Answer: [`ToHost::Started`].
    Run {
        /// Which.
        routine: Routine,
        /// How long the indicator must have stood still before each reading, in milliseconds.
        settle_ms: u16,
        /// The first row to read: 1, or more to go on with a routine that was stopped.
        from_row: u32,
        /// Whether the places are corrected.
        correction: Correction,
    },
    /// Send a [`ToHost::Sample`] about every so many milliseconds; 0 ends it. Answer: [`ToHost::Done`].
    Monitor {
        /// The period.
        period_ms: u16,
    },
    /// A part of the bytes of a compensation table. Parts come in order, the first at 0.
    /// Answer: [`ToHost::Done`].
    TablePart {
        /// Where the part belongs.
        offset: u16,
        /// The part.
        bytes: Vec<u8, MAX_PART>,
    },
    /// All parts of the table have been sent; keep it. A length of 0 forgets the table.
    /// Answer: [`ToHost::State`].
    TableEnd {
        /// The length of the whole.
        length: u16,
    },
    /// The axis stands at this position, as a person says who has looked. Answer: [`ToHost::State`].
    Stands {
        /// The position.
        at: Length,
    },
    /// How do things stand? Answer: [`ToHost::State`].
    Ask,
    /// Which value has a setting? Answer: [`ToHost::Setting`].
    AskSetting(SettingName),
    /// Keep a setting. Answer: [`ToHost::Setting`].
    Set(Setting),
}

/// From the box to the host.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToHost {
    /// The box is armed.
    Armed,
    /// The box has stopped, and moves no more until it is armed again.
    Stopped(StopCause),
    /// What was asked for is not done.
    Refused(Refusal),
    /// What was asked for is done.
    Done,
    /// The routine runs.
    Started {
        /// The readings of the whole plan.
        readings: u32,
    },
    /// One reading of a routine: the indicator stood still.
    Reading {
        /// The row of the plan, from 1.
        row: u32,
        /// The commanded position, before any correction.
        target: Length,
        /// The cycle, from 1.
        cycle: u16,
        /// The direction in which the axis moved last.
        approach: Direction,
        /// The indicator, in its own counts.
        counts: i32,
        /// How far the counts spread while it stood.
        spread: u16,
        /// Milliseconds since the routine began, or went on.
        time_ms: u32,
    },
    /// The routine is done.
    Finished {
        /// How many readings it sent since it began, or went on.
        readings: u32,
    },
    /// Where everything is.
    Sample {
        /// The commanded position; the travel since the start while the position is not known.
        command: Length,
        /// The indicator, in its own counts.
        counts: i32,
    },
    /// How things stand.
    State(State),
    /// The value of a setting.
    Setting(Setting),
}

/// How things stand with a box.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct State {
    /// Where the axis stands; unknown after a start, and after a stop that can cost steps.
    pub position: Option<Length>,
    /// Whether it may move.
    pub armed: Armed,
    /// The emergency stop.
    pub emergency: Button,
    /// The CRC-32 at the end of the table it holds.
    pub table: Option<u32>,
    /// How many sessions were opened since its program started, this one among them. Fewer than
    /// before tell of a restart, and then the zero of the indicator is another one.
    pub sessions: u16,
}

/// Whether a box may move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Armed {
    /// No.
    No,
    /// Yes.
    Yes,
}

/// A button.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Button {
    /// Not pressed.
    Free,
    /// Pressed, or its wire broken.
    Pressed,
}

/// Why motion stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StopCause {
    /// The host asked for it.
    Asked,
    /// Nothing was heard from the host.
    LinkLost,
    /// The emergency stop is pressed.
    EmergencyStop,
    /// The indicator left its range.
    IndicatorRange,
    /// The indicator does not follow the axis.
    NotFollowing,
    /// The indicator failed.
    IndicatorFault,
    /// The program of the box hung and was restarted.
    Watchdog,
    /// A pin of the drive could not be set.
    DriveFault,
}

/// Why something asked for is not done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// The box is not armed.
    NotArmed,
    /// The emergency stop is pressed.
    EmergencyStop,
    /// The axis is not the one that the box drives.
    OtherAxis,
    /// The range or the speed goes beyond the settings of the box, or a place beyond the armed range.
    BeyondLimits,
    /// Something else is being done, or the box is armed.
    Busy,
    /// The plan cannot be carried out.
    BadPlan,
    /// The bytes are not a table with the axis, parts are missing, or there is no table.
    BadTable,
    /// The indicator failed.
    Indicator,
    /// Where the axis stands is not known.
    NoPosition,
    /// The indicator comes too seldom to be followed at this speed.
    TooFast,
    /// The value of a setting makes no sense.
    BadSetting,
    /// What should be kept could not be stored.
    Storage,
}
