//! The measurements against published values, independent code, and simulated truth.

mod analysis_of_variance;
mod causes;
mod decisions;
mod dial;
mod growth;
mod invariants;
mod load;
mod misreads;
mod positioning;
mod published;
mod refusals;
mod returns;
mod robust;
mod running;
mod sheets;
mod small_steps;
mod truth;
mod written;
