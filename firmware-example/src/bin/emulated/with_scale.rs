//! The same box as `main.rs`, with a digital scale in place of an incremental indicator.
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
    life::live(&world, &mut world.scale_probe(life::memory()))
}
