//! The few peripherals of the emulated board that the box uses: two serial ports, a clock, a watchdog, pins and
//! memory. Each program of the board uses some of them.
//!
//! Addresses and registers: Arm's Application Note AN386 and the Cortex-M System Design Kit (recalled from
//! memory; the emulator holds them).

#![allow(dead_code)]

use core::convert::Infallible;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use embedded_hal::digital;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::{self, NorFlash, NorFlashErrorKind, ReadNorFlash};

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
pub struct Uart {
    base: usize,
    /// Bytes received and sent so far.
    received: u32,
    sent: u32,
}

impl Uart {
    const STATE: usize = 0x4;
    const CONTROL: usize = 0x8;
    const INTERRUPTS: usize = 0xc;
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
        Self { base, received: 0, sent: 0 }
    }

    /// How many bytes have been received.
    pub fn received(&self) -> u32 {
        self.received
    }

    /// How many bytes have gone either way.
    pub fn carried(&self) -> u32 {
        self.received.wrapping_add(self.sent)
    }

    /// Whether a byte has arrived.
    pub fn has_received(&self) -> bool {
        read(self.base + Self::STATE) & Self::RECEIVED != 0
    }

    /// The byte that has arrived, if one has.
    pub fn receive(&mut self) -> Option<u8> {
        if !self.has_received() {
            return None;
        }
        self.received = self.received.wrapping_add(1);
        u8::try_from(read(self.base) & 0xff).ok()
    }

    /// Whether a byte can be sent now.
    fn is_free(&self) -> bool {
        read(self.base + Self::STATE) & Self::SENDING == 0
    }

    /// Sends a byte; one that the port has no room for is lost.
    pub fn send(&mut self, byte: u8) {
        self.sent = self.sent.wrapping_add(1);
        write(self.base, u32::from(byte));
    }
}

/// Sleeps until a byte arrives at either port, or the processor's timer goes round; not at all if one has arrived.
pub fn sleep_until_received(host: &Uart, bench: &Uart) {
    // Their requests are seen and never served: with all of them masked the processor wakes and goes on.
    cortex_m::interrupt::disable();
    for port in [host, bench] {
        write(port.base + Uart::INTERRUPTS, Uart::RECEIVED);
        write(port.base + Uart::CONTROL, 0b1011);
    }
    // The requests of the two receivers have the numbers 0 and 2. Forgotten before the ports are looked at: what
    // arrives from here on wakes.
    write(0xe000_e280, 0b101);
    write(0xe000_e100, 0b101);
    // The timer's: no sleep lasts longer than two thirds of a second.
    write(0xe000_ed04, 1 << 25);
    write(0xe000_e010, 0b111);
    if !host.has_received() && !bench.has_received() {
        cortex_m::asm::wfi();
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
    const PERIOD: u32 = 20_000 * CYCLES_PER_US as u32;

    /// Starts it.
    pub fn start() -> Self {
        write(Self::BASE + 0xc00, 0x1acc_e551);
        write(Self::BASE, Self::PERIOD);
        write(Self::BASE + 0x8, 3);
        Self
    }

    /// Lets it wait for minutes, or go on with a whole period. Switched off instead, some emulators let it count on, and
    /// it restarts the processor when it is switched on.
    pub fn pause(&mut self, pause: bool) {
        // Fed first: a period that ended meanwhile must not speak.
        self.feed();
        write(Self::BASE, if pause { u32::MAX } else { Self::PERIOD });
    }

    /// Feeds it.
    pub fn feed(&mut self) {
        write(Self::BASE + 0xc, 1);
    }
}

/// A pin of the board's first port.
pub struct Pin(u32);

impl Pin {
    const DATA: usize = 0x4001_0000;
    const OUT: usize = 0x4001_0004;
    const ENABLE: usize = 0x4001_0010;

    /// A pin that is read.
    pub fn input(number: u32) -> Self {
        Self(1 << (number & 15))
    }

    /// A pin that is set.
    pub fn output(number: u32) -> Self {
        let pin = Self::input(number);
        write(Self::ENABLE, pin.0);
        pin
    }
}

impl digital::ErrorType for Pin {
    type Error = Infallible;
}

impl digital::InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(read(Self::DATA) & self.0 != 0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(read(Self::DATA) & self.0 == 0)
    }
}

impl digital::OutputPin for Pin {
    fn set_high(&mut self) -> Result<(), Infallible> {
        write(Self::OUT, read(Self::OUT) | self.0);
        Ok(())
    }

    fn set_low(&mut self) -> Result<(), Infallible> {
        write(Self::OUT, read(Self::OUT) & !self.0);
        Ok(())
    }
}

/// The last 16 KB of the board's code memory, which is RAM that keeps its bytes over a restart.
pub struct BoardMemory;

impl BoardMemory {
    const START: usize = 0x003f_c000;
    const SIZE: usize = 0x4000;

    fn place(offset: u32, length: usize) -> Result<core::ops::Range<usize>, NorFlashErrorKind> {
        let from = offset as usize;
        let end = from.checked_add(length).filter(|end| *end <= Self::SIZE);
        let end = end.ok_or(NorFlashErrorKind::OutOfBounds)?;
        Ok(Self::START + from..Self::START + end)
    }
}

impl nor_flash::ErrorType for BoardMemory {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for BoardMemory {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let places = Self::place(offset, bytes.len())?;
        for (byte, place) in bytes.iter_mut().zip(places) {
            // SAFETY: within the part that the program does not reach, as checked by `place`.
            *byte = unsafe { core::ptr::read_volatile(place as *const u8) };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        Self::SIZE
    }
}

impl NorFlash for BoardMemory {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        for place in Self::place(from, to.saturating_sub(from) as usize)? {
            // SAFETY: as for reading.
            unsafe { core::ptr::write_volatile(place as *mut u8, 0xff) };
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        for (byte, place) in bytes.iter().zip(Self::place(offset, bytes.len())?) {
            // SAFETY: as for reading.
            unsafe { core::ptr::write_volatile(place as *mut u8, *byte) };
        }
        Ok(())
    }
}
