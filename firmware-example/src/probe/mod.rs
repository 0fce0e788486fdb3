//! The box itself: arms, moves, watches, stops, reads and reports.
//!
//! - [`motion`]: an axis by step and direction pulses, with trapezoidal speed.
//! - [`guard`]: whether motion is allowed, and what ends it.
//! - [`machine`]: both together with the indicator and the link.
//!
//! Everything is polled with the time in microseconds: no interrupts, no allocation, no waiting.

pub mod guard;
pub mod machine;
pub mod motion;
#[cfg(test)]
mod tests;

pub use machine::{Pins, Probe, Settings};
