//! The measurements against published values, independent code, and simulated truth.

mod causes;
mod published;
mod refusals;
mod truth;
