//! The measurements against published values, independent code, and simulated truth.

mod causes;
mod decisions;
mod invariants;
mod misreads;
mod positioning;
mod published;
mod refusals;
mod truth;
