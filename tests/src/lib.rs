//! Helpers shared by the checks across crates.
