//! The table as bytes, for files and for the memory of a microcontroller.
//!
//! The layout, what is rejected and what stays stable is specified in `FORMAT.md` beside this file;
//! section numbers below refer to it.

use core::fmt;

use crc::{CRC_32_ISO_HDLC, Crc};
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use super::table::{AxisTable, Invalid, MAX_MACHINE, MAX_STATIONS, Station, Table};
use crate::axis::{Axis, Direction, PerAxis};

/// The first bytes of every table (section 2).
pub const MAGIC: [u8; 4] = *b"TKUT";
/// The version of the layout that this code reads and writes (section 5).
pub const VERSION: u16 = 1;
/// A buffer of this size takes any table: header, machine name, three axes of [`MAX_STATIONS`], checksum.
pub const MAX_BYTES: usize = 14 + (MAX_MACHINE + 1) + 3 * (3 + MAX_STATIONS * 4 * 10);

const HEADER: usize = 10;
const CHECKSUM: usize = 4;
const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Why bytes are not a table, or a table does not become bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Error {
    /// The first bytes are not [`MAGIC`].
    NotATable,
    /// The layout has another version.
    OtherVersion {
        /// The version found.
        found: u16,
    },
    /// The bytes end early, or more follow than the header says.
    WrongSize {
        /// The number of bytes that the header asks for.
        expected: usize,
        /// The number of bytes there are.
        found: usize,
    },
    /// The checksum does not fit: the bytes were damaged.
    Damaged {
        /// The checksum computed from the bytes.
        expected: u32,
        /// The checksum found.
        found: u32,
    },
    /// The body cannot be read, although its checksum fits.
    Body,
    /// The body was read but breaks a rule of tables.
    Invalid {
        /// The axis concerned.
        axis: Axis,
        /// The rule.
        rule: Invalid,
    },
    /// The buffer given is too small; [`MAX_BYTES`] always suffices.
    BufferTooSmall,
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotATable => {
                write!(f, "this is not a compensation table: its first bytes are not the mark of one")
            }
            Self::OtherVersion { found } => {
                write!(f, "the table has version {found} of the layout; this program reads version {VERSION}")
            }
            Self::WrongSize { expected, found } => {
                write!(f, "the table should be {expected} bytes long and is {found}: cut off or run together")
            }
            Self::Damaged { expected, found } => write!(
                f,
                "the table is damaged: its checksum is {found:08x} where its bytes give {expected:08x}"
            ),
            Self::Body => write!(f, "the body of the table cannot be read although its checksum fits"),
            Self::Invalid { axis, rule } => write!(f, "axis {axis} of the table: {rule}"),
            Self::BufferTooSmall => {
                write!(f, "the buffer is too small; {MAX_BYTES} bytes suffice for any table")
            }
        }
    }
}

impl core::error::Error for Error {}

/// The body as serialised (section 3). Kept apart from [`Table`] so that the layout changes only on
/// purpose, and so that nothing unchecked becomes a table.
#[derive(Serialize, Deserialize)]
struct Body {
    machine: String<MAX_MACHINE>,
    axes: PerAxis<Option<AxisBody>>,
}

#[derive(Serialize, Deserialize)]
struct AxisBody {
    reference: Direction,
    stations: Vec<Station, MAX_STATIONS>,
}

/// Writes a table into a buffer and returns how many bytes it took.
///
/// # Errors
/// [`Error::BufferTooSmall`]; a buffer of [`MAX_BYTES`] always suffices.
///
/// ```
/// use takeup_core::correct::{bytes, Table};
/// let mut buffer = [0; bytes::MAX_BYTES];
/// let n = bytes::encode(&Table::EMPTY, &mut buffer).unwrap();
/// assert_eq!(bytes::decode(&buffer[..n]), Ok(Table::EMPTY));
/// ```
pub fn encode(table: &Table, buffer: &mut [u8]) -> Result<usize, Error> {
    let body = Body {
        machine: table.machine.clone(),
        axes: table.axes.map(|axis| {
            axis.as_ref().map(|t| AxisBody {
                reference: t.reference(),
                stations: t.stations().iter().copied().collect(),
            })
        }),
    };
    let small = Error::BufferTooSmall;
    let body_len = {
        let room = buffer.get_mut(HEADER..).ok_or(small)?;
        postcard::to_slice(&body, room).map_err(|_| small)?.len()
    };
    let length = u32::try_from(body_len).map_err(|_| small)?;
    let end = body_len.saturating_add(HEADER);
    let (header, _) = buffer.split_first_chunk_mut::<HEADER>().ok_or(small)?;
    header[..4].copy_from_slice(&MAGIC);
    header[4..6].copy_from_slice(&VERSION.to_le_bytes());
    header[6..].copy_from_slice(&length.to_le_bytes());
    let checksum = CRC.checksum(buffer.get(..end).ok_or(small)?);
    let total = end.saturating_add(CHECKSUM);
    buffer.get_mut(end..total).ok_or(small)?.copy_from_slice(&checksum.to_le_bytes());
    Ok(total)
}

/// Reads a table from bytes, all of them.
///
/// # Errors
/// [`Error`] says what is wrong (section 4). Never panics, whatever the bytes are: every access is
/// behind the comparison of the size in the header with the size there is.
pub fn decode(bytes: &[u8]) -> Result<Table, Error> {
    let (machine, mut left) = open(bytes)?;
    let mut table = Table { machine, ..Table::EMPTY };
    for axis in Axis::ALL {
        left = take_axis(axis, left, table.axes.get_mut(axis))?;
    }
    if left.is_empty() { Ok(table) } else { Err(Error::Body) }
}

/// Reads the corrections of one axis from the bytes of a table, which are checked as a whole all the same.
///
/// For a microcontroller with little stack: it never holds more than two axes, the one wanted and one that is checked.
///
/// # Errors
/// As for [`decode`].
///
/// ```
/// use takeup_core::{axis::{Axis, Direction}, correct::{AxisTable, Table, bytes}, length::Length};
/// let mut table = Table::EMPTY;
/// table.axes.z = AxisTable::uniform(Direction::Minus, Length::from_counts(1_200_000)).ok();
/// let mut buffer = [0; bytes::MAX_BYTES];
/// let n = bytes::encode(&table, &mut buffer).unwrap();
/// assert_eq!(bytes::decode_axis(&buffer[..n], Axis::Z), Ok(table.axes.z));
/// assert_eq!(bytes::decode_axis(&buffer[..n], Axis::X), Ok(None));
/// ```
pub fn decode_axis(bytes: &[u8], wanted: Axis) -> Result<Option<AxisTable>, Error> {
    let (_, mut left) = open(bytes)?;
    let (mut found, mut other) = (None, None);
    for axis in Axis::ALL {
        left = take_axis(axis, left, if axis == wanted { &mut found } else { &mut other })?;
    }
    if left.is_empty() { Ok(found) } else { Err(Error::Body) }
}

/// Checks the bytes as far as that can be done without reading stations; gives the machine, and what follows it.
#[inline(never)]
fn open(bytes: &[u8]) -> Result<(String<MAX_MACHINE>, &[u8]), Error> {
    let found = bytes.len();
    let Some((magic, rest)) = bytes.split_first_chunk::<4>() else {
        // Too short even for its mark: an empty or cut file, unless it already differs.
        let cut = MAGIC.starts_with(bytes);
        return Err(if cut {
            Error::WrongSize { expected: HEADER + CHECKSUM, found }
        } else {
            Error::NotATable
        });
    };
    if *magic != MAGIC {
        return Err(Error::NotATable);
    }
    let too_short = Error::WrongSize { expected: HEADER + CHECKSUM, found };
    let (version, rest) = rest.split_first_chunk::<2>().ok_or(too_short)?;
    let version = u16::from_le_bytes(*version);
    if version != VERSION {
        return Err(Error::OtherVersion { found: version });
    }
    let (length, _) = rest.split_first_chunk::<4>().ok_or(too_short)?;
    let length = u32::from_le_bytes(*length) as usize;
    let expected = length.saturating_add(HEADER + CHECKSUM);
    if expected != found {
        return Err(Error::WrongSize { expected, found });
    }
    let (covered, checksum) = bytes.split_last_chunk::<CHECKSUM>().ok_or(too_short)?;
    let checksum = u32::from_le_bytes(*checksum);
    let computed = CRC.checksum(covered);
    if computed != checksum {
        return Err(Error::Damaged { expected: computed, found: checksum });
    }
    let body = covered.get(HEADER..).ok_or(too_short)?;
    postcard::take_from_bytes(body).map_err(|_| Error::Body)
}

/// Takes the corrections of the next axis, and gives what follows: fields stand one after another (section 3).
/// Little is moved, since each move of a table costs a small stack 800 bytes.
#[inline(never)]
fn take_axis<'b>(axis: Axis, left: &'b [u8], into: &mut Option<AxisTable>) -> Result<&'b [u8], Error> {
    match postcard::take_from_bytes::<Option<AxisBody>>(left) {
        Ok((Some(AxisBody { reference, ref stations }), left)) => {
            *into = match AxisTable::new(reference, stations) {
                Ok(corrections) => Some(corrections),
                Err(rule) => return Err(Error::Invalid { axis, rule }),
            };
            Ok(left)
        }
        Ok((None, left)) => {
            *into = None;
            Ok(left)
        }
        Err(_) => Err(Error::Body),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::length::Length;

    fn example() -> Table {
        let mm = |v: f64| Length::from_mm(v).unwrap();
        let at = |p, b| Station::of_lost_motion(mm(p), mm(b), mm(0.004), Direction::Minus);
        let z = AxisTable::new(Direction::Minus, &[at(-40.0, 0.12), at(0.0, 0.118)]).unwrap();
        let mut table = Table { machine: String::try_from("bed mill").unwrap(), ..Table::EMPTY };
        table.axes.z = Some(z);
        table
    }

    fn encoded(table: &Table) -> std::vec::Vec<u8> {
        let mut buffer = [0; MAX_BYTES];
        let n = encode(table, &mut buffer).unwrap();
        buffer[..n].to_vec()
    }

    /// The example of FORMAT.md section 6, byte for byte; made from the specification by an independent
    /// encoder (varints by hand, zlib's CRC-32).
    const GOLDEN: &str = "544b555401002400000008626564206d696c6c0000010102ff8fbcfd0280 \
                          be92010080f10400c08590010080f104c9018cab";

    fn hex(bytes: &[u8]) -> std::string::String {
        bytes.iter().map(|b| std::format!("{b:02x}")).collect()
    }

    #[test]
    fn golden_bytes_stay_as_they_are() {
        let bytes = encoded(&example());
        assert_eq!(hex(&bytes), GOLDEN.replace(' ', ""));
        assert_eq!(decode(&bytes), Ok(example()));
    }

    #[test]
    fn the_largest_table_fits_its_buffer() {
        let far = Station {
            position: Length::ZERO,
            plus: super::super::table::MAX_CORRECTION,
            minus: Length::from_counts(-100_000_000),
            uncertainty: Length::from_counts(100_000_000),
        };
        let stations: std::vec::Vec<_> = (0..MAX_STATIONS)
            .map(|i| Station { position: Length::from_counts(i64::MIN + i as i64), ..far })
            .collect();
        let axis = AxisTable::new(Direction::Plus, &stations).unwrap();
        let table = Table {
            machine: String::try_from("m".repeat(MAX_MACHINE).as_str()).unwrap(),
            axes: PerAxis { x: Some(axis.clone()), y: Some(axis.clone()), z: Some(axis) },
        };
        assert_eq!(decode(&encoded(&table)), Ok(table));
    }

    #[test]
    fn every_way_to_be_wrong_is_told_apart() {
        let good = encoded(&example());
        assert_eq!(decode(b"G1 X0 Y0"), Err(Error::NotATable));
        assert_eq!(decode(b""), Err(Error::WrongSize { expected: 14, found: 0 }));
        let mut other = good.clone();
        other[4] = 9;
        assert_eq!(decode(&other), Err(Error::OtherVersion { found: 9 }));
        let (cut, whole) = (good.len() - 3, good.len());
        assert_eq!(decode(&good[..cut]), Err(Error::WrongSize { expected: whole, found: cut }));
        let mut longer = good.clone();
        longer.push(0);
        assert_eq!(decode(&longer), Err(Error::WrongSize { expected: whole, found: whole + 1 }));
        let mut damaged = good;
        damaged[20] ^= 1;
        assert!(matches!(decode(&damaged), Err(Error::Damaged { .. })));
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = decode(&bytes);
            let mut framed = std::vec![0; 14 + bytes.len()];
            framed[..4].copy_from_slice(&MAGIC);
            framed[4..6].copy_from_slice(&VERSION.to_le_bytes());
            framed[6..10].copy_from_slice(&(bytes.len() as u32).to_le_bytes());
            framed[10..10 + bytes.len()].copy_from_slice(&bytes);
            let end = 10 + bytes.len();
            let checksum = CRC.checksum(&framed[..end]);
            framed[end..].copy_from_slice(&checksum.to_le_bytes());
            // What reads as a table at all reads back from its own bytes.
            if let Ok(table) = decode(&framed) {
                prop_assert_eq!(decode(&encoded(&table)), Ok(table));
            }
        }

        #[test]
        fn one_flipped_bit_never_passes(at in 0..64usize * 8) {
            let mut bytes = encoded(&example());
            let bit = at % (bytes.len() * 8);
            bytes[bit / 8] ^= 1 << (bit % 8);
            prop_assert!(decode(&bytes).is_err());
        }
    }
}
