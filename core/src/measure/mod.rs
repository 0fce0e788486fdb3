//! Dial readings in; lost motion, its uncertainty, a decision and a likely cause out.
//!
//! - [`routine`]: the kinds of test, and the plan of moves and readings of each.
//! - [`setup`]: what is known of the indicator, how it stands, and the limit to be met.
//! - [`reversal`]: the reversal test: lost motion at stations, apart from drift and misreads.
//! - [`positioning`]: the figures of ISO 230-2, lead error, and the error that repeats with the screw.
//! - [`push_pull`]: clearance and stiffness from a known force each way, the drive holding.
//! - [`warm_up`]: growth, its time constant and what of it is left.
//! - [`indicator`]: the indicator itself: its repeatability and hysteresis.
//! - [`plateau`]: a stream of samples cut into readings and laid against a plan.
//! - [`small_steps`]: the test of small steps: dead band and wind-up apart, and ways that stick.
//! - [`returns`]: the return test: slip per lift apart from drift per hour.
//! - [`estimate`], [`uncertainty`], [`student`], [`chi_square`], [`regression`]: values with their
//!   uncertainty, how uncertainties combine, the t and χ² distributions, and least squares.
//! - [`decision`]: within, over, or not decided yet, and how many more cycles would decide.
//! - [`cause`]: the likely cause, with its evidence in numbers and the test that would tell more.
//!
//! Every length here is `f64` millimetres, except targets, which are exact [`Length`](crate::length::Length)s.

pub mod cause;
pub mod chi_square;
pub mod decision;
pub mod estimate;
pub mod indicator;
mod misreads;
mod outlying;
pub mod plateau;
pub mod positioning;
pub mod push_pull;
pub mod regression;
pub mod returns;
pub mod reversal;
pub(crate) mod root;
pub mod routine;
pub mod setup;
pub mod small_steps;
pub mod student;
pub mod uncertainty;
pub mod warm_up;

pub use estimate::Estimate;
pub use routine::Kind;
pub use setup::Setup;
