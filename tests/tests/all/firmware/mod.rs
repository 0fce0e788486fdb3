//! The firmware on an emulated Cortex-M4 against the same code on the host.

mod board;
mod bridge;
mod chain;
mod emulator;
mod estimate;
mod estimators;
mod filter;
mod program;
mod rig;
mod room;
