//! See `takeup_tests::fuzzing::reader`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| takeup_tests::fuzzing::reader(bytes));
