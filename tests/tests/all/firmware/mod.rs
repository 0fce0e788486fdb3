//! The firmware on an emulated Cortex-M4 against the same code on the host.

mod board;
mod chain;
mod estimate;
mod filter;
mod rig;
mod room;
