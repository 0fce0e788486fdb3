//! The probe box on a board with an RP2040; `WIRING.md` says what goes to which pin.
//!
//! The host is on USB, as a serial line. Logs come over the debug port.
#![no_std]
#![no_main]

mod dial;
mod line;
mod memory;

use core::panic::PanicInfo;
use defmt_rtt as _;
use dial::Dial;
use embedded_hal::digital::{InputPin, OutputPin, PinState};
use line::UsbLine;
use memory::BoardFlash;
use rp2040_hal::clocks::init_clocks_and_plls;
use rp2040_hal::fugit::ExtU32;
use rp2040_hal::gpio::Pins as Bank;
use rp2040_hal::usb::UsbBus;
use rp2040_hal::{Sio, Timer, Watchdog, pac};
use takeup_firmware_example::indicator::{Quadrature, Scale};
use takeup_firmware_example::kept::Flash;
use takeup_firmware_example::probe::{Named, Pins, Probe, Settings};
use usb_device::bus::UsbBusAllocator;

/// The boot stage for the flash of most boards.
// SAFETY: the section and its contents are what the chip reads first.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_GENERIC_03H;

/// The crystal of the board.
const CRYSTAL_HZ: u32 = 12_000_000;
/// A program that hangs is restarted, and the pins let go, before 50 ms are over.
const WATCHDOG_US: u32 = 40_000;
/// Where the part of the flash begins that the memory map leaves to what is kept.
const KEPT_AT: u32 = 2048 * 1024 - 16 * 1024;
/// One count of an incremental indicator: 1 µm.
const COUNT_MM: f64 = 0.001;
/// One count of a digital scale.
const SCALE_COUNT_MM: f64 = 0.01;
/// The quick mode of common scales; a slower one is read but never armed with.
const SCALE_PERIOD_US: u64 = 20_000;

#[rp2040_hal::entry]
fn main() -> ! {
    let Some(mut chip) = pac::Peripherals::take() else { stand_still() };
    let restarted = chip.WATCHDOG.reason().read().timer().bit_is_set();
    let mut watchdog = Watchdog::new(chip.WATCHDOG);
    let clocks = init_clocks_and_plls(
        CRYSTAL_HZ,
        chip.XOSC,
        chip.CLOCKS,
        chip.PLL_SYS,
        chip.PLL_USB,
        &mut chip.RESETS,
        &mut watchdog,
    );
    let Ok(clocks) = clocks else { stand_still() };
    let timer = Timer::new(chip.TIMER, &mut chip.RESETS, &clocks);
    let bank = Bank::new(chip.IO_BANK0, chip.PADS_BANK0, Sio::new(chip.SIO).gpio_bank0, &mut chip.RESETS);
    // Wired to ground: a digital scale; open: an incremental indicator.
    let mut strap = bank.gpio7.into_pull_up_input();
    let (first, second) = (bank.gpio5.into_pull_up_input(), bank.gpio6.into_pull_up_input());
    cortex_m::asm::delay(1_000);
    let indicator = if strap.is_low().unwrap_or(false) {
        Dial::Scale(Scale::new(first, second, SCALE_COUNT_MM, SCALE_PERIOD_US))
    } else {
        Dial::Quadrature(Quadrature::new(first, second, COUNT_MM))
    };
    let pins = Pins {
        step: bank.gpio2.into_push_pull_output_in_state(PinState::Low),
        direction: bank.gpio3.into_push_pull_output_in_state(PinState::Low),
        emergency: bank.gpio4.into_pull_down_input(),
        indicator,
    };
    let mut light = bank.gpio25.into_push_pull_output();
    let named = Named { name: "rp2040".try_into().unwrap_or_default(), settings: Settings::CAREFUL };
    let mut probe = Probe::new(pins, Flash::new(BoardFlash, KEPT_AT), named);
    probe.remember();
    if restarted {
        probe.was_restarted();
    }
    let bus = UsbBusAllocator::new(UsbBus::new(
        chip.USBCTRL_REGS,
        chip.USBCTRL_DPRAM,
        clocks.usb_clock,
        true,
        &mut chip.RESETS,
    ));
    let mut line = UsbLine::new(&bus);
    watchdog.start(WATCHDOG_US.micros());
    loop {
        line.turn();
        probe.poll(&mut line, timer.get_counter().ticks());
        // Lit while the axis may move.
        let _ = light.set_state(PinState::from(probe.is_armed()));
        watchdog.feed();
    }
}

/// The watchdog is not fed, or does not run yet: pins stay as they are, and nothing moves.
fn stand_still() -> ! {
    loop {
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    defmt::error!("panic in line {}", info.location().map_or(0, core::panic::Location::line));
    stand_still()
}
