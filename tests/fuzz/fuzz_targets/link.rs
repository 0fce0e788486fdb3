//! See `takeup_tests::fuzzing::link`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| takeup_tests::fuzzing::link(bytes));
