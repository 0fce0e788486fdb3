//! Where readings come from, other than a keyboard.

pub mod probe;
pub mod serial;
pub mod simulated;
pub mod stops;
pub mod watched;

use super::plan::Stop;
use crate::refusal::Refusal;
use std::time::Duration;
use takeup_core::length::Length;

/// What a feed has to tell.
#[derive(Clone, Debug, PartialEq)]
pub enum News {
    /// What the indicator shows now. `sent` where it was sent on its own, as by a data button.
    Shows {
        /// The number.
        value: Length,
        /// Whether it may be a reading by itself.
        sent: Sent,
    },
    /// Something the person should know.
    Says(String),
    /// What moved the axis has stopped: it goes on only when a person has seen to it.
    Halted(Halt),
    /// Nothing more will come.
    Ended(Refusal),
}

/// Why what moved the axis has stopped.
#[derive(Clone, Debug, PartialEq)]
pub struct Halt {
    /// The reason, and what to do.
    pub reason: String,
    /// Whether it can go on once that is done; else the sitting is paused and begun again.
    pub goes_on: bool,
}

/// How a number came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sent {
    /// As one of a stream: the dial is being watched.
    Shown,
    /// On its own: it is meant to be a reading, taken at this time if the source tells it (seconds).
    Meant(Option<f64>),
    /// As the reading of a row, by whoever knows that the axis is there.
    OfRow {
        /// The row.
        row: u32,
        /// Seconds since it was read.
        ago_s: f64,
    },
}

/// An indicator that is read by the program.
pub trait Feed {
    /// Says which reading comes next; again after one was taken back.
    ///
    /// # Errors
    /// When the source cannot go there, now or ever.
    fn aim(&mut self, stop: &Stop) -> Result<Option<News>, Refusal>;

    /// Waits for news, at most so long.
    fn news(&mut self, wait: Duration) -> Option<News>;

    /// What the person does to take a reading, in a few words; `None` where nothing is to be done.
    fn hint(&self) -> Option<&'static str>;

    /// The smallest step in which it reads, where it knows that.
    fn resolution(&self) -> Option<Length> {
        None
    }

    /// Who takes the readings, for the head of their file; nobody where a person does.
    fn taken_by(&self) -> Option<String> {
        None
    }

    /// What the person must know before the first reading, besides what holds for every sitting.
    fn cautions(&self) -> Vec<String> {
        Vec::new()
    }

    /// Stops what moves the axis, if anything does: whether it moved.
    fn halt(&mut self) -> bool {
        false
    }

    /// Whether it moves the axis itself, and so needs to be allowed to.
    fn moves_axis(&self) -> bool {
        false
    }

    /// Whether it only shows, and a person says when what it shows is a reading.
    fn is_watched(&self) -> bool {
        false
    }
}

/// How numbers from an indicator become readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Take {
    /// Each number sent is a reading: an indicator with a data button
    Each,
    /// Enter takes the number shown: an indicator that sends all the time
    Enter,
    /// Each stop of the plan is found in the numbers, hands free: an indicator that sends all the time
    Stops,
}
