//! The flash that the program runs from, as a memory for what the box keeps.
//!
//! While it is erased or written nothing can be read from it: the functions that do it are in RAM and in the
//! chip's ROM, with interrupts off, and the second core is never started. Erasing takes up to 0.4 s (data sheets
//! of such chips, recalled from memory), so the watchdog rests meanwhile; the box is not armed then.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_write,
};
use rp2040_flash::flash;
use rp2040_hal::pac;

/// Where the flash is seen by the processor.
const SEEN_AT: usize = 0x1000_0000;
const SIZE: usize = 2048 * 1024;

/// The flash of the board.
pub struct BoardFlash;

/// A place that is not in it, or between its pages.
#[derive(Debug)]
pub struct Wrong(NorFlashErrorKind);

impl NorFlashError for Wrong {
    fn kind(&self) -> NorFlashErrorKind {
        self.0
    }
}

impl ErrorType for BoardFlash {
    type Error = Wrong;
}

/// Does something while the watchdog rests and no interrupt comes.
fn undisturbed(work: impl FnOnce()) {
    // SAFETY: one bit of one register, which the program touches nowhere else while this runs.
    let watchdog = unsafe { pac::WATCHDOG::steal() };
    watchdog.ctrl().modify(|_, w| w.enable().clear_bit());
    cortex_m::interrupt::free(|_| work());
    watchdog.ctrl().modify(|_, w| w.enable().set_bit());
}

impl ReadNorFlash for BoardFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Wrong> {
        let (from, end) = (offset as usize, (offset as usize).saturating_add(bytes.len()));
        if end > SIZE {
            return Err(Wrong(NorFlashErrorKind::OutOfBounds));
        }
        for (byte, place) in bytes.iter_mut().zip(SEEN_AT + from..) {
            // SAFETY: within the flash, as checked above; it is mapped there for as long as the program runs.
            *byte = unsafe { core::ptr::read_volatile(place as *const u8) };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        SIZE
    }
}

impl NorFlash for BoardFlash {
    const WRITE_SIZE: usize = 256;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Wrong> {
        check_erase(self, from, to).map_err(Wrong)?;
        // SAFETY: whole sectors within the flash; interrupts are off and one core runs.
        undisturbed(|| unsafe { flash::flash_range_erase(from, to - from, true) });
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Wrong> {
        check_write(self, offset, bytes.len()).map_err(Wrong)?;
        // SAFETY: whole pages within the flash; interrupts are off and one core runs.
        undisturbed(|| unsafe { flash::flash_range_program(offset, bytes, true) });
        Ok(())
    }
}
