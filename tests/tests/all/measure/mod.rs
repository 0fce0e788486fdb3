//! The measurements against published values, independent code, and simulated truth.

mod published;
mod refusals;
mod truth;
