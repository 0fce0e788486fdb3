//! A proof by the linker: this program holds all that moves the axis (arming, beginning, stepping, watching,
//! stopping, reading with either indicator; not the line, which moves nothing), and its panic handler calls a function that
//! nobody has written. It links only if no path to a panic is left; it is never run.
//!
//! With the feature `panic-path` it holds one on purpose, and must not link: so the proof itself is tested.
#![no_std]
#![no_main]

#[path = "emulated/board.rs"]
mod board;

use board::{Clock, Pin, Uart, Watchdog};
use core::hint::black_box;
use core::panic::PanicInfo;
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::link::Routine;
use takeup_core::link::message::{Correction, StopCause};
use takeup_firmware_example::indicator::{Indicator, Quadrature, Scale};
use takeup_firmware_example::kept::Forgetful;
use takeup_firmware_example::probe::{Named, Pins, Probe, Settings};

unsafe extern "C" {
    fn a_path_to_a_panic_is_left() -> !;
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let pins = Pins {
        step: Pin::output(0),
        direction: Pin::output(1),
        emergency: Pin::input(2),
        indicator: Quadrature::new(Pin::input(3), Pin::input(4), 0.001),
    };
    let named = Named { name: Default::default(), settings: Settings::CAREFUL };
    let mut probe = Probe::new(pins, Forgetful, named);
    let mut scale = Scale::new(Pin::input(5), Pin::input(6), 0.01, 20_000);
    // SAFETY: the only user of the peripherals in this program.
    let peripherals = unsafe { cortex_m::Peripherals::steal() };
    let mut clock = Clock::start(peripherals.SYST);
    let mut asked = Uart::host();
    let mut watchdog = Watchdog::start();
    loop {
        // Whatever state the box is in and whatever it is asked for: the compiler must reckon with all of it.
        let probe = black_box(&mut probe);
        let now = clock.now_us();
        let length = || Length::from_counts(black_box(0));
        let (count, turns) = (black_box(0_u32), black_box(0_u16));
        let _ = match asked.receive() {
            Some(b'a') => probe.arm(black_box(Axis::Z), length(), length(), black_box(0), now),
            Some(b's') => {
                probe.stop(black_box(StopCause::Asked));
                Ok(())
            }
            Some(_) => {
                let routine = black_box(Routine::Reversal { cycles: turns, overrun: length() });
                probe.begin(routine, turns, count, black_box(Correction::Table), now)
            }
            None => Ok(()),
        };
        probe.step(now);
        let _ = black_box(black_box(&mut scale).poll(now));
        #[cfg(feature = "panic-path")]
        panic_path(probe.position());
        watchdog.feed();
    }
}

/// What the linker must find.
#[cfg(feature = "panic-path")]
fn panic_path(position: i32) {
    const STEPS: [i32; 3] = [1, 2, 3];
    let _ = core::hint::black_box(STEPS[position as usize]);
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    // SAFETY: never called; were there a call, the program would not link.
    unsafe { a_path_to_a_panic_is_left() }
}
