//! Frames (sections 2 and 3): kind, session, number, payload, CRC-32; stuffed so that a zero byte ends each.

use super::MAX_PAYLOAD;
use core::fmt;
use crc::{CRC_32_ISO_HDLC, Crc};
use heapless::Vec;

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
const HEADER: usize = 5;
const CHECKSUM: usize = 4;
/// The most bytes of a frame before it is stuffed.
pub const MAX_FRAME: usize = HEADER + MAX_PAYLOAD + CHECKSUM;
/// The most bytes of a frame on the line: one of stuffing for each 254 begun, one zero at the end.
pub const MAX_WIRE: usize = MAX_FRAME + 2;

/// What a frame is for (section 3).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Kind {
    /// The host opens a session.
    Hello,
    /// The box answers, with what it is.
    Welcome,
    /// A message, to be acknowledged.
    Data,
    /// The message with this number is awaited next: all before it have arrived. A sign of life too.
    Ack,
    /// The sender ends the session.
    Bye,
}

impl Kind {
    const fn code(self) -> u8 {
        match self {
            Kind::Hello => 1,
            Kind::Welcome => 2,
            Kind::Data => 3,
            Kind::Ack => 4,
            Kind::Bye => 5,
        }
    }

    const fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            1 => Kind::Hello,
            2 => Kind::Welcome,
            3 => Kind::Data,
            4 => Kind::Ack,
            5 => Kind::Bye,
            _ => return None,
        })
    }
}

/// One frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// What it is for.
    pub kind: Kind,
    /// The session it belongs to.
    pub session: u16,
    /// The number of the message that it carries or awaits; 0 where there is none.
    pub number: u16,
    /// What it carries.
    pub payload: Vec<u8, MAX_PAYLOAD>,
}

/// Why bytes between two zeros are not a frame. Such bytes are dropped; the sender repeats what matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Damage {
    /// More bytes than any frame has.
    TooLong,
    /// Fewer bytes than any frame has.
    TooShort {
        /// How many there were.
        found: usize,
    },
    /// The stuffing does not come out.
    Stuffing,
    /// The checksum does not fit.
    Checksum {
        /// Computed from the bytes.
        expected: u32,
        /// As received.
        found: u32,
    },
    /// A kind that this version does not know.
    Kind {
        /// Its code.
        found: u8,
    },
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Damage::TooLong => write!(f, "more than the {MAX_WIRE} bytes of the longest frame"),
            Damage::TooShort { found } => write!(f, "{found} bytes are too few for a frame"),
            Damage::Stuffing => f.write_str("the stuffing of a frame does not come out"),
            Damage::Checksum { expected, found } => {
                write!(f, "the checksum of a frame is {found:08x} where its bytes give {expected:08x}")
            }
            Damage::Kind { found } => write!(f, "a frame has the unknown kind {found}"),
        }
    }
}

impl core::error::Error for Damage {}

impl Frame {
    /// The bytes on the line, the closing zero among them.
    ///
    /// ```
    /// use takeup_core::link::frame::{Collector, Frame, Kind};
    /// let ack = Frame { kind: Kind::Ack, session: 7, number: 3, payload: Default::default() };
    /// let mut collector = Collector::new();
    /// let found = ack.encode().iter().find_map(|&byte| collector.push(byte));
    /// assert_eq!(found, Some(Ok(ack)));
    /// ```
    #[must_use]
    pub fn encode(&self) -> Vec<u8, MAX_WIRE> {
        let mut plain: Vec<u8, MAX_FRAME> = Vec::new();
        let mut wire = Vec::new();
        // Every length below is bounded by the constants above, so no push can fail; were one to, the
        // frame would lack bytes, and its checksum would have it dropped.
        let _ = plain.push(self.kind.code());
        let _ = plain.extend_from_slice(&self.session.to_le_bytes());
        let _ = plain.extend_from_slice(&self.number.to_le_bytes());
        let _ = plain.extend_from_slice(&self.payload);
        let _ = plain.extend_from_slice(&CRC.checksum(&plain).to_le_bytes());
        let _ = wire.resize_default(MAX_WIRE);
        let stuffed = cobs::try_encode(&plain, &mut wire).unwrap_or(0);
        wire.truncate(stuffed);
        let _ = wire.push(0);
        wire
    }

    /// The frame in stuffed bytes, the closing zero left out.
    fn decode(stuffed: &mut [u8]) -> Result<Self, Damage> {
        let length = cobs::decode_in_place(stuffed).map_err(|_| Damage::Stuffing)?;
        let plain = stuffed.get(..length).ok_or(Damage::Stuffing)?;
        let short = Damage::TooShort { found: plain.len() };
        let (body, checksum) = plain.split_last_chunk::<CHECKSUM>().ok_or(short)?;
        let ([kind, s0, s1, n0, n1], payload) = body.split_first_chunk::<HEADER>().ok_or(short)?;
        let (expected, found) = (CRC.checksum(body), u32::from_le_bytes(*checksum));
        if expected != found {
            return Err(Damage::Checksum { expected, found });
        }
        Ok(Self {
            kind: Kind::from_code(*kind).ok_or(Damage::Kind { found: *kind })?,
            session: u16::from_le_bytes([*s0, *s1]),
            number: u16::from_le_bytes([*n0, *n1]),
            payload: Vec::from_slice(payload).map_err(|_| Damage::TooLong)?,
        })
    }
}

/// Collects the bytes of a line into frames. After damage it goes on with the next zero.
#[derive(Clone, Debug, Default)]
pub struct Collector {
    bytes: Vec<u8, MAX_WIRE>,
    too_long: bool,
}

impl Collector {
    /// A collector at the start of a line.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: Vec::new(), too_long: false }
    }

    /// Takes one byte; gives a frame, or what was wrong with one, when the byte ends it.
    pub fn push(&mut self, byte: u8) -> Option<Result<Frame, Damage>> {
        if byte != 0 {
            self.too_long |= self.bytes.push(byte).is_err();
            return None;
        }
        let result = match (self.too_long, self.bytes.is_empty()) {
            (true, _) => Some(Err(Damage::TooLong)),
            // Zeros in a row: a sender may clear the line with one before a frame.
            (false, true) => None,
            (false, false) => Some(Frame::decode(&mut self.bytes)),
        };
        self.bytes.clear();
        self.too_long = false;
        result
    }
}
