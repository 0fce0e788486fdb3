//! How the axes of a mill lose motion: measure it, judge it, correct programs for it.
//!
//! The crate needs no heap, no clock and no operating system. Readings, lines of a program and
//! times go in as arguments; numbers and corrected lines come out. The same code serves the
//! command line on a shop computer and the microcontroller of a probe box or motion controller.
//!
//! A tour of the folders:
//!
//! - [`length`] and [`axis`]: exact lengths, axes and directions, the vocabulary of everything else.
//! - [`slack`]: how a slack axis moves, and a simulated axis to try everything on.
//! - [`measure`]: dial readings in; lost motion, its uncertainty, a decision and a likely cause out.
//! - [`correct`]: the compensation table, and set-points corrected inside a motion controller.
//! - [`program`]: milling programs read, rewritten for the lost motion that remains, and replayed.
//! - [`trend`]: condition over time: before and after a repair, control charts, a forecast.
//! - `link` (feature `serde`): messages and frames between a host and a probe box.
//!
//! Signs, as everywhere in this project: `+` and `-` are the machine's own directions. The
//! *reversal value* is the mean deviation approached `+` minus the mean deviation approached `-`
//! (ISO 230-2); *lost motion* is its negative, positive when the axis lags its command.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]
#![cfg_attr(
    not(test),
    deny(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::indexing_slicing,
        clippy::arithmetic_side_effects
    )
)]

#[cfg(test)]
extern crate std;

pub mod axis;
pub mod correct;
pub mod length;
#[cfg(feature = "serde")]
pub mod link;
pub mod measure;
pub mod program;
pub mod slack;
pub mod trend;
