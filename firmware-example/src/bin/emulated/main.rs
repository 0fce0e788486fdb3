//! The probe box on the emulated board: the host on the first serial port, a simulated axis as its mechanics.
//!
//! The second serial port makes faults, a letter each: `e` the emergency stop is pressed and `E` let go, `s` the
//! indicator stands still, `r` it runs away, `h` the program hangs; `?` is answered by a line of numbers: the
//! time, the time of the last fault, of the last step, and of the last byte from the host, in microseconds, and
//! the steps made. `g` grants a millisecond: from the first on, the box's time stands when what was granted is used
//! up, which is told by a dot, so that box and host keep step on however busy a machine. `!` tells of a start.
#![no_std]
#![no_main]

mod board;

use board::{Clock, Uart, Watchdog};
use core::fmt::Write;
use core::mem::MaybeUninit;
use core::panic::PanicInfo;
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hprintln};
use heapless::String;
use takeup_core::slack::simulated::Faults;
use takeup_firmware_example::rehearsal::{CLEARANCE_MM, WIND_UP_MM};
use takeup_firmware_example::simulated::{MEMORY, World, Wrong};

/// Keeps its value over a restart: whether this program was running before.
// SAFETY: a plain word in the section that start-up code leaves alone.
#[unsafe(link_section = ".uninit.running")]
static RUNNING: AtomicU32 = AtomicU32::new(0);
const MARK: u32 = 0x7a6b_7570;

/// The memory of the box: keeps its bytes over a restart as flash does.
// SAFETY: plain bytes in the section that start-up code leaves alone.
#[unsafe(link_section = ".uninit.memory")]
static mut KEPT: MaybeUninit<[u8; MEMORY]> = MaybeUninit::uninit();

#[entry]
fn main() -> ! {
    let restarted = RUNNING.swap(MARK, Ordering::Relaxed) == MARK;
    let faults = Faults { clearance_mm: CLEARANCE_MM, wind_up_mm: WIND_UP_MM, ..Faults::default() };
    let world = World::new(faults, 1);
    // SAFETY: borrowed here alone, and main runs once; RAM holds bytes whatever was or was not written to it.
    let memory = unsafe { (*(&raw mut KEPT)).assume_init_mut() };
    let mut probe = world.probe(memory);
    if restarted {
        probe.was_restarted();
    }
    let Some(peripherals) = cortex_m::Peripherals::take() else { end() };
    let mut clock = Clock::start(peripherals.SYST);
    let (mut host, mut bench) = (Uart::host(), Uart::bench());
    let mut watchdog = Watchdog::start();
    let mut answer: String<128> = String::new();
    let (mut fault_us, mut heard_us) = (0, 0);
    let (mut now, mut before) = (0, 0);
    let mut granted: Option<u64> = None;
    bench.send(b'!');
    loop {
        let elapsed = clock.now_us();
        let passed = elapsed - before;
        before = elapsed;
        match &mut granted {
            None => now += passed,
            Some(0) => {}
            Some(left) => {
                let used = passed.min(*left);
                now += used;
                *left -= used;
                if *left == 0 {
                    bench.send(b'.');
                }
            }
        }
        world.now_us.set(now);
        world.turn();
        if host.has_received() {
            heard_us = now;
        }
        probe.poll(&mut host, now);
        let order = bench.receive();
        if matches!(order, Some(b'e' | b's' | b'r' | b'h')) {
            fault_us = now;
        }
        match order {
            Some(b'e') => world.emergency.set(true),
            Some(b'E') => world.emergency.set(false),
            Some(b'g') => granted = Some(granted.unwrap_or(0) + 1000),
            Some(b's') => world.wrong.set(Wrong::Stuck),
            Some(b'r') => world.wrong.set(Wrong::RunningAway),
            Some(b'h') => loop {
                cortex_m::asm::nop();
            },
            Some(b'?') => {
                answer.clear();
                let (last, steps) = (world.last_step_us.get(), world.steps());
                let _ = writeln!(answer, "{now} {fault_us} {last} {heard_us} {steps}");
                answer.bytes().for_each(|b| bench.send(b));
            }
            Some(_) | None => {}
        }
        watchdog.feed();
    }
}

fn end() -> ! {
    debug::exit(debug::EXIT_FAILURE);
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    hprintln!("panic in line {}", info.location().map_or(0, core::panic::Location::line));
    end()
}
