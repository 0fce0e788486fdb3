//! Condition over time: run lengths by simulation, and simulated lives of machines.

mod comparison;
mod lives;
mod run_lengths;
