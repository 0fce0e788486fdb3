//! On the emulated board: a whole reversal test on simulated pins; prints what it found as the bits
//! of its floats, and set-points corrected for it, for a host to compare with its own.
#![no_std]
#![no_main]
#![forbid(unsafe_code)]

#[path = "emulated/ending.rs"]
mod ending;

use cortex_m_rt::entry;
use cortex_m_semihosting::hprintln;
use takeup_core::length::Length;
use takeup_firmware_example::rehearsal;

#[entry]
fn main() -> ! {
    for seed in 1..=3 {
        match rehearsal::run(seed) {
            Ok(result) => {
                let found = result.lost_motion;
                hprintln!(
                    "{} {:016x} {:016x} {:016x}",
                    seed,
                    found.value.to_bits(),
                    found.standard_uncertainty.to_bits(),
                    found.dof.to_bits()
                );
                let lost = Length::from_mm(found.value).unwrap_or(Length::ZERO);
                if rehearsal::set_points(lost, |command| hprintln!("{}", command.counts())).is_err() {
                    hprintln!("seed {}: no table", seed);
                    ending::end(false);
                }
            }
            Err(_) => {
                hprintln!("seed {}: no estimate", seed);
                ending::end(false);
            }
        }
    }
    ending::end(true)
}
