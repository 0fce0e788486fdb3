//! The probe box on the emulated board: the host on the first serial port, a simulated axis as its mechanics, and
//! a bench on the second that makes faults.
#![no_std]
#![no_main]

mod bench;
mod board;
mod stack;

use bench::{Bench, Order};
use board::{Clock, Uart, Watchdog};
use core::mem::MaybeUninit;
use core::panic::PanicInfo;
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hprintln};
use takeup_core::measure::Kind;
use takeup_firmware_example::simulated::{MEMORY, World, Wrong, faults};

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
    stack::paint();
    let restarted = RUNNING.swap(MARK, Ordering::Relaxed) == MARK;
    let world = World::new(faults(Kind::Reversal), 1);
    let kept = &raw mut KEPT;
    // SAFETY: borrowed here alone, and main runs once; RAM holds bytes whatever was or was not written to it.
    let memory = unsafe { (*kept).assume_init_mut() };
    let mut probe = world.probe(memory);
    if restarted {
        probe.was_restarted();
    }
    let Some(peripherals) = cortex_m::Peripherals::take() else { end() };
    let mut bench = Bench::start(Uart::bench(), Clock::start(peripherals.SYST));
    let mut host = Uart::host();
    let mut watchdog = Watchdog::start();
    let mut pushed_n = 0.0;
    loop {
        let now = bench.now_us();
        world.now_us.set(now);
        world.turn();
        if host.has_received() {
            bench.heard();
        }
        probe.poll(&mut host, now);
        match bench.order(|| (world.last_step_us.get(), world.steps()), stack::used, host.received()) {
            Some(Order::Emergency(pressed)) => world.emergency.set(pressed),
            Some(Order::Stuck) => world.wrong.set(Wrong::Stuck),
            Some(Order::RunAway) => world.wrong.set(Wrong::RunningAway),
            Some(Order::Fail) => world.wrong.set(Wrong::Failed),
            Some(Order::Axis(kind)) => world.exchange(kind),
            Some(Order::PushMore(newtons)) => {
                pushed_n += newtons;
                world.push(pushed_n);
            }
            Some(Order::Hold(counts)) => world.held_counts.set(counts),
            None => {}
        }
        watchdog.feed();
        bench.rest(&host, &mut watchdog);
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
