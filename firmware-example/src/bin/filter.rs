//! On the emulated board: the rewriter as a streaming filter, a line at a time, as it could stand
//! between a program memory and a controller. The linker gives this program 4.5 KB of RAM: 0.8 KB for the
//! table of the axis, which could as well stand in flash, and less than 4 KB for all else, stack included. Prints
//! the corrected program, and what a block cost in instructions.
#![no_std]
#![no_main]
#![forbid(unsafe_code)]

use core::cell::RefCell;
use core::panic::PanicInfo;
use cortex_m::interrupt::{self, Mutex};
use cortex_m::peripheral::{SYST, syst::SystClkSource};
use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hio, hprintln};
use takeup_core::axis::{Direction, PerAxis};
use takeup_core::correct::AxisTable;
use takeup_core::length::Length;
use takeup_core::program::rewrite::{Rewriter, Settings};

/// A program of cuts in every direction: lines, arcs, lifts, holes.
const PROGRAM: &str = include_str!("filter.nc");
/// The emulator counts one instruction as a nanosecond, and the timer ticks at 25 MHz.
const INSTRUCTIONS_PER_TICK: u32 = 40;
/// Largest count of the timer.
const TOP: u32 = 0x00ff_ffff;

/// Corrects the program; gives its blocks, or `None` if it is refused.
#[inline(never)]
fn filter(table: &AxisTable, sink: &mut dyn FnMut(&[u8])) -> Option<u32> {
    let mut rewriter = Rewriter::with_axes(PerAxis { x: None, y: None, z: Some(table) }, &Settings::DEFAULT);
    let mut blocks = 0_u32;
    for line in PROGRAM.split_inclusive('\n') {
        rewriter.line(line.as_bytes(), &mut |part| sink(part)).ok()?;
        blocks = blocks.saturating_add(1);
    }
    Some(blocks)
}

/// The table, where it does not stand on the stack.
static TABLE: Mutex<RefCell<Option<AxisTable>>> = Mutex::new(RefCell::new(None));

#[inline(never)]
fn make_table() {
    if let Ok(table) = AxisTable::uniform(Direction::Minus, Length::from_counts(1_200_000)) {
        interrupt::free(|section| TABLE.borrow(section).replace(Some(table)));
    }
}

/// Filters once for the count and once for the eye; `None` if the program is refused.
fn run(table: &AxisTable, timer: &mut SYST) -> Option<()> {
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
    let state = size_of::<Rewriter<'_>>();
    hprintln!("; {} blocks, {} instructions each, {} bytes of state", blocks, each, state);
    Some(())
}

#[entry]
fn main() -> ! {
    make_table();
    let done = cortex_m::Peripherals::take().and_then(|mut peripherals| {
        interrupt::free(|section| {
            let table = TABLE.borrow(section).borrow();
            run(table.as_ref()?, &mut peripherals.SYST)
        })
    });
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
