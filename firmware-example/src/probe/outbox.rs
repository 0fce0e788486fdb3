//! Bytes and messages that wait for their turn on the line.

use embedded_io::{Read, ReadReady, Write, WriteReady};
use heapless::Deque;

/// Room for the bytes of frames: several of the longest.
const ROOM: usize = 384;
/// Bytes moved at once: a turn of the loop stays short.
const AT_ONCE: usize = 32;

/// A line to the host: bytes in and out, and whether either would wait.
pub trait Line: Read + ReadReady + Write + WriteReady {}
impl<L: Read + ReadReady + Write + WriteReady> Line for L {}

/// Bytes on their way to the line.
#[derive(Debug)]
pub struct Outbox {
    bytes: Deque<u8, ROOM>,
}

impl Outbox {
    /// Nothing waits.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: Deque::new() }
    }

    /// Takes a frame; one that finds no room is dropped whole, and sent again by the link.
    pub fn push(&mut self, frame: &[u8]) {
        let free = ROOM.saturating_sub(self.bytes.len());
        if frame.len() <= free {
            for &byte in frame {
                let _ = self.bytes.push_back(byte);
            }
        }
    }

    /// Hands the line what it takes without waiting. A line that fails says nothing more: the silence is noticed.
    pub fn flush(&mut self, line: &mut impl Line) {
        for _ in 0..AT_ONCE {
            if !matches!(line.write_ready(), Ok(true)) {
                return;
            }
            let Some(byte) = self.bytes.pop_front() else { return };
            if !matches!(line.write(&[byte]), Ok(1)) {
                return;
            }
        }
    }
}

impl Default for Outbox {
    fn default() -> Self {
        Self::new()
    }
}

/// The next byte that has arrived, if there is one.
pub fn next_byte(line: &mut impl Line) -> Option<u8> {
    if !matches!(line.read_ready(), Ok(true)) {
        return None;
    }
    let mut byte = [0];
    matches!(line.read(&mut byte), Ok(1)).then(|| {
        let [byte] = byte;
        byte
    })
}
