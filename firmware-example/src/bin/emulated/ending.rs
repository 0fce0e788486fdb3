//! How a program that runs once under emulation ends: by telling the emulator, and whether it was good.

use core::panic::PanicInfo;
use cortex_m_semihosting::{debug, hprintln};

/// Ends the emulator.
pub fn end(good: bool) -> ! {
    debug::exit(if good { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    // The place alone: formatting floats and text of any kind would cost a tenth of the flash.
    hprintln!("panic in line {}", info.location().map_or(0, core::panic::Location::line));
    end(false)
}
