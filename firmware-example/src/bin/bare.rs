//! The probe box on the emulated board without any simulator: its pins are the board's, its memory a part of the
//! board's own. Nothing is wired to them under emulation, so it shows what a box takes of flash, RAM and stack.
#![no_std]
#![no_main]

#[path = "emulated/bench.rs"]
mod bench;
#[path = "emulated/board.rs"]
mod board;
#[path = "emulated/stack.rs"]
mod stack;

use bench::Bench;
use board::{BoardMemory, Clock, Pin, Uart, Watchdog};
use core::panic::PanicInfo;
use cortex_m_rt::entry;
use takeup_firmware_example::indicator::Quadrature;
use takeup_firmware_example::kept::Flash;
use takeup_firmware_example::probe::{Named, Pins, Probe, Settings};

#[entry]
fn main() -> ! {
    stack::paint();
    let pins = Pins {
        step: Pin::output(0),
        direction: Pin::output(1),
        emergency: Pin::input(2),
        indicator: Quadrature::new(Pin::input(3), Pin::input(4), 0.001),
    };
    let named = Named { name: "bare".try_into().unwrap_or_default(), settings: Settings::CAREFUL };
    let mut probe = Probe::new(pins, Flash::new(BoardMemory, 0), named);
    probe.remember();
    let Some(peripherals) = cortex_m::Peripherals::take() else { stand_still() };
    let mut bench = Bench::start(Uart::bench(), Clock::start(peripherals.SYST));
    let mut host = Uart::host();
    let mut watchdog = Watchdog::start();
    loop {
        let now = bench.now_us();
        if host.has_received() {
            bench.heard();
        }
        probe.poll(&mut host, now);
        // Nothing to make faults in: only the time and the stack are asked for.
        let _ = bench.order(|| (0, i64::from(probe.position())), stack::used, host.received());
        watchdog.feed();
        bench.rest(&host, &mut watchdog);
    }
}

fn stand_still() -> ! {
    loop {
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    stand_still()
}
