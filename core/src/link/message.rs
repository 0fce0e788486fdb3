//! What host and box tell each other (section 6). The order of fields and variants is the order of the bytes.

use crate::axis::{Axis, Direction};
use crate::length::Length;
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

/// The most stations of a routine run by a box.
pub const MAX_STATIONS: usize = 8;
/// The most bytes of a table in one message.
pub const MAX_PART: usize = 64;

/// What a box is and can do; sent when a session opens.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Capabilities {
    /// The name of the program in it.
    pub name: String<24>,
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
}

/// From the host to the box.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToBox {
    /// Allow motion within a range at most at a speed, as shown to the person who allows it.
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
    /// Stop, and allow no more motion.
    Stop,
    /// Run a reversal test.
    Reversal {
        /// The stations.
        stations: Vec<Length, MAX_STATIONS>,
        /// The cycles at each.
        cycles: u16,
        /// How far beyond each station the axis turns.
        overrun: Length,
        /// How long it settles before each reading, in milliseconds.
        settle_ms: u16,
    },
    /// Send a [`ToHost::Sample`] about every so many milliseconds; 0 ends it.
    Monitor {
        /// The period.
        period_ms: u16,
    },
    /// A part of the bytes of a compensation table. Parts come in order, the first at 0.
    TablePart {
        /// Where the part belongs.
        offset: u16,
        /// The part.
        bytes: Vec<u8, MAX_PART>,
    },
    /// All parts of the table have been sent; put it into use.
    TableEnd {
        /// The length of the whole.
        length: u16,
    },
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
    /// One reading of a routine.
    Reading {
        /// The row of the plan, from 1.
        row: u32,
        /// The commanded position.
        target: Length,
        /// The cycle, from 1.
        cycle: u16,
        /// The direction in which the axis moved last.
        approach: Direction,
        /// The indicator, in its own counts.
        counts: i32,
        /// Milliseconds since the routine began.
        time_ms: u32,
    },
    /// The routine is done.
    Finished {
        /// How many readings it sent.
        readings: u32,
    },
    /// Where everything is.
    Sample {
        /// The commanded position.
        command: Length,
        /// The indicator, in its own counts.
        counts: i32,
    },
    /// The table is in use.
    TableSet,
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
    /// Something else is being done.
    Busy,
    /// The plan cannot be carried out.
    BadPlan,
    /// The bytes are not a table, or parts are missing.
    BadTable,
    /// The indicator failed.
    Indicator,
}
