//! The probe box on the emulated board: the host on the first serial port, a simulated axis as its mechanics, and
//! a bench on the second that makes faults.
#![no_std]
#![no_main]

mod bench;
mod board;
mod life;
mod stack;

use cortex_m_rt::entry;
use takeup_core::measure::Kind;
use takeup_firmware_example::simulated::{World, faults};

#[entry]
fn main() -> ! {
    stack::paint();
    let world = World::new(faults(Kind::Reversal), 1);
    life::live(&world, &mut world.probe(life::memory()))
}
