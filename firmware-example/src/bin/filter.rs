//! On the emulated board: the rewriter as a streaming filter, as it could stand between a program memory or a
//! serial line and a controller. Bytes come singly and are gathered to a line. The linker gives this program 4 KB of
//! RAM for all that it has: what is known of the program, a line of the longest length, and the stack at its
//! deepest. The table of the axis stands in flash. Prints the corrected program, what a block cost in
//! instructions, and how deep the stack was.
#![no_std]
#![no_main]

#[path = "emulated/stack.rs"]
mod stack;

use core::panic::PanicInfo;
use cortex_m::peripheral::{SYST, syst::SystClkSource};
use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hio, hprintln};
use heapless::Vec;
use takeup_core::axis::{Direction, PerAxis};
use takeup_core::correct::{Corrections, Station};
use takeup_core::length::Length;
use takeup_core::program::rewrite::{Rewriter, Settings};

/// A program of cuts in every direction: lines, arcs, lifts, holes.
const PROGRAM: &str = include_str!("filter.nc");
/// The longest line, with its line end: NISTIR 6556 (section 3.3) allows 256 characters.
const LONGEST_LINE: usize = 256;
/// What a person would decide, in flash.
static SETTINGS: Settings = Settings::DEFAULT;
/// The emulator counts one instruction as a nanosecond, and the timer ticks at 25 MHz.
const INSTRUCTIONS_PER_TICK: u32 = 40;
/// Largest count of the timer.
const TOP: u32 = 0x00ff_ffff;

/// Corrects the program; gives its blocks, or `None` if it is refused.
#[inline(never)]
fn filter(table: Corrections<'_>, sink: &mut dyn FnMut(&[u8])) -> Option<u32> {
    let mut rewriter = Rewriter::with_axes(PerAxis { x: None, y: None, z: Some(table) }, &SETTINGS);
    let mut blocks = 0_u32;
    let mut line: Vec<u8, LONGEST_LINE> = Vec::new();
    for byte in PROGRAM.bytes() {
        line.push(byte).ok()?;
        if byte == b'\n' {
            rewriter.line(&line, &mut |part| sink(part)).ok()?;
            line.clear();
            blocks = blocks.saturating_add(1);
        }
    }
    Some(blocks)
}

/// The table of the axis, in flash: one station, or as many as were measured.
static STATIONS: [Station; 1] =
    [Station::of_lost_motion(Length::ZERO, Length::from_counts(1_200_000), Length::ZERO, Direction::Minus)];

/// Filters once for the count and once for the eye; `None` if the program is refused.
fn run(table: Corrections<'_>, timer: &mut SYST) -> Option<()> {
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(TOP);
    timer.clear_current();
    timer.enable_counter();
    let mut bytes = 0_usize;
    let before = SYST::get_current();
    let blocks = filter(table, &mut |part| bytes = bytes.saturating_add(part.len()))?;
    let ticks = before.wrapping_sub(SYST::get_current()) & TOP;
    let mut out = hio::hstdout().ok()?;
    let mut failed = false;
    filter(table, &mut |part| failed |= out.write_all(part).is_err())?;
    if failed {
        return None;
    }
    let each = ticks.saturating_mul(INSTRUCTIONS_PER_TICK).checked_div(blocks)?;
    let (state, stack) = (size_of::<Rewriter<'_>>(), stack::used());
    hprintln!(
        "; {} blocks, {} instructions each, {} bytes of state, {} of stack",
        blocks,
        each,
        state,
        stack
    );
    Some(())
}

#[entry]
fn main() -> ! {
    stack::paint();
    let table = Corrections::new(Direction::Minus, &STATIONS).ok();
    let done = cortex_m::Peripherals::take().and_then(|mut peripherals| run(table?, &mut peripherals.SYST));
    debug::exit(if done.is_some() { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    debug::exit(debug::EXIT_FAILURE);
    loop {
        cortex_m::asm::wfi();
    }
}
