//! The few peripherals of the emulated board that the box uses: two serial ports, a clock, a watchdog.
//!
//! Addresses and registers: Arm's Application Note AN386 and the Cortex-M System Design Kit (recalled from
//! memory; the emulator holds them).

use core::convert::Infallible;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};

/// The processor's clock in cycles per microsecond.
const CYCLES_PER_US: u64 = 25;
const RELOAD: u32 = 0x00ff_ffff;

/// Reads a register of a peripheral.
fn read(address: usize) -> u32 {
    // SAFETY: every address used in this file is an aligned register of the board.
    unsafe { core::ptr::read_volatile(address as *const u32) }
}

/// Writes a register of a peripheral.
fn write(address: usize, value: u32) {
    // SAFETY: as for `read`; none of these registers gives the peripheral access to memory.
    unsafe { core::ptr::write_volatile(address as *mut u32, value) }
}

/// A serial port.
pub struct Uart(usize);

impl Uart {
    const STATE: usize = 0x4;
    const CONTROL: usize = 0x8;
    const DIVIDER: usize = 0x10;
    const SENDING: u32 = 1;
    const RECEIVED: u32 = 2;

    /// The port to the host.
    pub fn host() -> Self {
        Self::start(0x4000_4000)
    }

    /// The port to whoever makes the faults.
    pub fn bench() -> Self {
        Self::start(0x4000_5000)
    }

    fn start(base: usize) -> Self {
        // 115 200 baud from 25 MHz.
        write(base + Self::DIVIDER, 217);
        write(base + Self::CONTROL, 3);
        Self(base)
    }

    /// Whether a byte has arrived.
    pub fn has_received(&self) -> bool {
        read(self.0 + Self::STATE) & Self::RECEIVED != 0
    }

    /// The byte that has arrived, if one has.
    pub fn receive(&mut self) -> Option<u8> {
        if !self.has_received() {
            return None;
        }
        u8::try_from(read(self.0) & 0xff).ok()
    }

    /// Whether a byte can be sent now.
    fn is_free(&self) -> bool {
        read(self.0 + Self::STATE) & Self::SENDING == 0
    }

    /// Sends a byte; one that the port has no room for is lost.
    pub fn send(&mut self, byte: u8) {
        write(self.0, u32::from(byte));
    }
}

impl ErrorType for Uart {
    type Error = Infallible;
}

impl ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.has_received())
    }
}

impl WriteReady for Uart {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.is_free())
    }
}

impl Read for Uart {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let Some(first) = buffer.first_mut() else { return Ok(0) };
        loop {
            if let Some(byte) = self.receive() {
                *first = byte;
                return Ok(1);
            }
        }
    }
}

impl Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let Some(&byte) = bytes.first() else { return Ok(0) };
        while !self.is_free() {}
        self.send(byte);
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        while !self.is_free() {}
        Ok(())
    }
}

/// The time since the start, from the processor's own timer. Look at it at least twice a second.
pub struct Clock {
    cycles: u64,
    last: u32,
}

impl Clock {
    /// Starts it.
    pub fn start(mut timer: SYST) -> Self {
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(RELOAD);
        timer.clear_current();
        timer.enable_counter();
        Self { cycles: 0, last: SYST::get_current() }
    }

    /// Microseconds since the start.
    pub fn now_us(&mut self) -> u64 {
        let now = SYST::get_current();
        // It counts down.
        self.cycles += u64::from(self.last.wrapping_sub(now) & RELOAD);
        self.last = now;
        self.cycles / CYCLES_PER_US
    }
}

/// Restarts the processor when it is not fed: after the second period without.
pub struct Watchdog;

impl Watchdog {
    const BASE: usize = 0x4000_8000;
    /// Two periods stay below the 50 ms within which motion must have ended.
    const PERIOD_US: u32 = 20_000;

    /// Starts it.
    pub fn start() -> Self {
        write(Self::BASE + 0xc00, 0x1acc_e551);
        write(Self::BASE, Self::PERIOD_US * 25);
        write(Self::BASE + 0x8, 3);
        Self
    }

    /// Feeds it.
    pub fn feed(&mut self) {
        write(Self::BASE + 0xc, 1);
    }
}
