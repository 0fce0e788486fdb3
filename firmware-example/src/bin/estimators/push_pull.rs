//! On the emulated board: the estimator of a push-pull test.
#![no_std]
#![no_main]

mod common;

#[cortex_m_rt::entry]
fn main() -> ! {
    common::run(takeup_firmware_example::estimators::of_push_pull)
}
