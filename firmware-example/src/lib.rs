//! A probe box around `takeup-core`: pins in, numbers out, nothing that a host would need.
//!
//! - [`indicator`]: the dial indicator as the box sees it, one trait over different wires.
//! - [`capture`]: readings of a reversal test taken through that trait, ready for the estimator.
//! - [`probe`]: the box: armed by the host, it moves the axis, runs a routine, and stops when it must.
//! - [`kept`]: what it keeps over a loss of power.
//! - [`simulated`]: an axis behind simulated pins, with faults that can be made while it runs.
//! - [`estimators`]: every estimator on readings held in flash, for a microcontroller and a host to compare.
//! - [`rehearsal`]: a whole test on simulated pins, the same on a microcontroller and on a host.
//!
//! Generic over [`embedded_hal`], [`embedded_io`] and [`embedded_storage`]: the board's own crate brings pins, line
//! and memory.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]
#![cfg_attr(
    not(test),
    deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing)
)]

#[cfg(test)]
extern crate std;

pub mod capture;
pub mod estimators;
pub mod indicator;
pub mod kept;
mod log;
pub mod probe;
pub mod rehearsal;
pub mod simulated;
