//! See `fuzzing::session` in the tests crate.
#![no_main]

#[allow(dead_code)] // the checks of the other targets
#[path = "../../src/fuzzing.rs"]
mod fuzzing;
#[allow(dead_code)]
#[path = "../../src/rewriting.rs"]
mod rewriting;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| fuzzing::session(bytes));
