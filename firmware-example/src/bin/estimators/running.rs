//! On the emulated board: the estimator of a reversal test that keeps no readings.
#![no_std]
#![no_main]

mod common;

#[cortex_m_rt::entry]
fn main() -> ! {
    common::run(takeup_firmware_example::estimators::of_running)
}
