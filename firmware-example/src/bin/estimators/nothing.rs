//! On the emulated board: no estimator: what printing and starting cost.
#![no_std]
#![no_main]

mod common;

#[cortex_m_rt::entry]
fn main() -> ! {
    common::run(takeup_firmware_example::estimators::of_nothing)
}
