//! The link between a host and a probe box: messages in frames over any line that carries bytes.
//!
//! `SPEC.md` beside this file specifies the bytes; section numbers in this folder refer to it.
//!
//! - [`frame`]: one frame to bytes and back, with its checksum; a collector of frames from a noisy line.
//! - [`message`]: what host and box tell each other; [`settings`]: what a box keeps of its machine.
//! - [`endpoint`]: one end of the link: sessions, acknowledgement, repetition, silence.
//!
//! Nothing here reads or writes a line, and nothing knows the time: bytes and microseconds go in,
//! events and bytes to send come out. Memory is fixed; one message per direction is under way at a
//! time, which costs throughput on a slow line and keeps a box of a few kilobytes simple.
//!
//! Not for untrusted lines: the checksum finds damage, not malice.

pub mod endpoint;
pub mod frame;
pub mod message;
mod routine;
pub mod settings;
#[cfg(test)]
mod tests;

pub use endpoint::{Ended, Endpoint, Event, Side};
pub use message::{Capabilities, Kinds, Routine, ToBox, ToHost};

/// The version of the protocol that this code speaks (section 5).
pub const PROTOCOL: u16 = 3;
/// The most bytes of one message.
pub const MAX_PAYLOAD: usize = 96;
