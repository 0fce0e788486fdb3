//! The measurements against published values, independent code, and simulated truth.

mod causes;
mod decisions;
mod invariants;
mod misreads;
mod positioning;
mod published;
mod refusals;
mod returns;
mod small_steps;
mod truth;
mod written;
