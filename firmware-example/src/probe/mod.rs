//! The box itself: arms, moves, watches, stops, reads and reports.
//!
//! - [`motion`]: an axis by step and direction pulses, with trapezoidal speed.
//! - [`guard`]: whether motion is allowed, and what ends it.
//! - [`plateau`]: when the indicator stands still, and what it shows then.
//! - [`settings`]: what the box keeps of the machine that it is wired to.
//! - [`place`]: from places to steps and back, and the table on the way.
//! - [`outbox`]: bytes on their way to the line.
//! - [`machine`]: all together with the indicator and the link; `requests`: what the host may ask.
//!
//! Everything is polled with the time in microseconds: no interrupts, no allocation, no waiting.

pub mod guard;
pub mod machine;
pub mod motion;
pub mod outbox;
pub mod place;
pub mod plateau;
mod requests;
pub mod settings;
#[cfg(test)]
mod tests;

pub use machine::{Named, Pins, Probe};
pub use outbox::Line;
pub use settings::Settings;
