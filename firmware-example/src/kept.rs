//! What the box keeps over a loss of power: its settings and its table.
//!
//! [`Store`] is what the box asks for; [`Flash`] gives it over any flash memory with the traits of
//! `embedded-storage`. Each part lives in two areas in turn, so that power lost while one is written
//! leaves the other whole.

use crc::{CRC_32_ISO_HDLC, Crc};
use embedded_storage::nor_flash::NorFlash;

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
/// The most bytes of a part: a table with one axis and its machine's name takes fewer.
pub const MAX_KEPT: usize = 1100;
/// Mark, number of the writing, length, checksum.
const HEADER: usize = 16;
const MARK: [u8; 4] = *b"TKUK";

/// A part of what is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The settings.
    Settings,
    /// The compensation table.
    Table,
}

/// The bytes could not be stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotStored;

/// Keeps bytes over a loss of power.
pub trait Store {
    /// The bytes of a part, and how many they are; `None` if there are none, or they are damaged.
    fn load(&mut self, part: Part, buffer: &mut [u8; MAX_KEPT]) -> Option<usize>;

    /// Keeps bytes, [`MAX_KEPT`] at most. May take long: called only while the box is not armed.
    ///
    /// # Errors
    /// When they are not stored; what was kept before then still is.
    fn save(&mut self, part: Part, bytes: &[u8]) -> Result<(), NotStored>;
}

/// Two areas of flash memory for each part, from a place on; each area is erased as a whole.
#[derive(Debug)]
pub struct Flash<F> {
    memory: F,
    start: u32,
    area: u32,
}

/// One writing of a part.
struct Writing {
    number: u32,
    length: usize,
}

impl<F: NorFlash> Flash<F> {
    /// Uses four areas of the memory from a place on, which must be a multiple of what is erased at once.
    pub const fn new(memory: F, start: u32) -> Self {
        /// The next multiple of what can be erased.
        const fn area(erase: u32) -> u32 {
            let need = (HEADER + MAX_KEPT) as u32;
            need.div_ceil(if erase == 0 { 1 } else { erase }).saturating_mul(erase)
        }
        Self { memory, start, area: area(F::ERASE_SIZE as u32) }
    }

    fn place(&self, part: Part, second: bool) -> u32 {
        let part = match part {
            Part::Settings => 0,
            Part::Table => 2,
        };
        let index: u32 = part + u32::from(second);
        self.start.saturating_add(self.area.saturating_mul(index))
    }

    /// The numbers of the writings that are whole.
    fn numbers(&mut self, part: Part) -> (Option<u32>, Option<u32>) {
        let mut buffer = [0; MAX_KEPT];
        let mut number = |second| {
            let at = self.place(part, second);
            self.read(at, &mut buffer).map(|writing| writing.number)
        };
        (number(false), number(true))
    }

    /// Reads an area; what is whole in it stands in the buffer.
    fn read(&mut self, at: u32, buffer: &mut [u8; MAX_KEPT]) -> Option<Writing> {
        let mut header = [0; HEADER];
        self.memory.read(at, &mut header).ok()?;
        let [m0, m1, m2, m3, n0, n1, n2, n3, l0, l1, l2, l3, c0, c1, c2, c3] = header;
        let length = usize::try_from(u32::from_le_bytes([l0, l1, l2, l3])).ok()?;
        let bytes = buffer.get_mut(..length)?;
        if [m0, m1, m2, m3] != MARK {
            return None;
        }
        self.memory.read(at.saturating_add(HEADER as u32), bytes).ok()?;
        let number = u32::from_le_bytes([n0, n1, n2, n3]);
        (checksum(number, bytes) == u32::from_le_bytes([c0, c1, c2, c3]))
            .then_some(Writing { number, length })
    }
}

fn checksum(number: u32, bytes: &[u8]) -> u32 {
    let mut digest = CRC.digest();
    digest.update(&number.to_le_bytes());
    digest.update(bytes);
    digest.finalize()
}

impl<F: NorFlash> Store for Flash<F> {
    fn load(&mut self, part: Part, buffer: &mut [u8; MAX_KEPT]) -> Option<usize> {
        let first = self.read(self.place(part, false), buffer).map(|writing| writing.number);
        let second = self.read(self.place(part, true), buffer);
        match (first, second) {
            (Some(first), Some(second)) if first > second.number => {}
            (_, Some(second)) => return Some(second.length),
            (Some(_), None) => {}
            (None, None) => return None,
        }
        self.read(self.place(part, false), buffer).map(|writing| writing.length)
    }

    fn save(&mut self, part: Part, bytes: &[u8]) -> Result<(), NotStored> {
        if bytes.len() > MAX_KEPT {
            return Err(NotStored);
        }
        let (first, second) = self.numbers(part);
        // Over the older one, or the one that is damaged.
        let at = self.place(part, first.is_some() && second.is_none_or(|second| Some(second) < first));
        let number = first.max(second).unwrap_or(0).saturating_add(1);
        let length = u32::try_from(bytes.len()).map_err(|_| NotStored)?;
        let mut header = [0; HEADER];
        let mut fields = header.chunks_exact_mut(4);
        for word in [MARK, number.to_le_bytes(), length.to_le_bytes(), checksum(number, bytes).to_le_bytes()]
        {
            fields.next().ok_or(NotStored)?.copy_from_slice(&word);
        }
        let mut whole = [0; ROOM];
        for (to, from) in whole.iter_mut().zip(header.iter().chain(bytes)) {
            *to = *from;
        }
        // Whole words of the memory; what follows the bytes does not matter.
        let words = HEADER.saturating_add(bytes.len()).next_multiple_of(F::WRITE_SIZE.max(1));
        let whole = whole.get(..words).ok_or(NotStored)?;
        self.memory.erase(at, at.saturating_add(self.area)).map_err(|_| NotStored)?;
        self.memory.write(at, whole).map_err(|_| NotStored)
    }
}

/// A header and the longest part, and room up to the next word of 256 bytes, the largest known.
const ROOM: usize = (HEADER + MAX_KEPT).next_multiple_of(256);

/// Keeps nothing: a box with no memory begins with the settings of its program each time.
#[derive(Clone, Copy, Debug)]
pub struct Forgetful;

impl Store for Forgetful {
    fn load(&mut self, _: Part, _: &mut [u8; MAX_KEPT]) -> Option<usize> {
        None
    }

    fn save(&mut self, _: Part, _: &[u8]) -> Result<(), NotStored> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulated::{MEMORY, Memory};
    use proptest::prelude::*;
    use std::{vec, vec::Vec};

    fn load(bytes: &mut [u8], part: Part) -> Option<Vec<u8>> {
        let mut buffer = [0; MAX_KEPT];
        let length = Flash::new(Memory::new(bytes), 0).load(part, &mut buffer)?;
        Some(buffer[..length].to_vec())
    }

    proptest! {
        #[test]
        fn the_last_writing_of_each_part_is_given(
            writings in prop::collection::vec((any::<bool>(), prop::collection::vec(any::<u8>(), 0..=MAX_KEPT)), 1..8),
            rubbish in any::<u8>(),
        ) {
            let mut bytes = vec![rubbish; MEMORY];
            let mut last = [None, None];
            for (table, writing) in &writings {
                let part = if *table { Part::Table } else { Part::Settings };
                Flash::new(Memory::new(&mut bytes), 0).save(part, writing).unwrap();
                last[usize::from(*table)] = Some(writing.clone());
            }
            prop_assert_eq!(load(&mut bytes, Part::Settings), last[0].clone());
            prop_assert_eq!(load(&mut bytes, Part::Table), last[1].clone());
        }
    }

    /// Power lost at any moment of the second writing: the first is given, or the second.
    #[test]
    fn half_a_writing_leaves_the_one_before() {
        let mut before = vec![0xff; MEMORY];
        Flash::new(Memory::new(&mut before), 0).save(Part::Settings, &[1; 100]).unwrap();
        let mut after = before.clone();
        Flash::new(Memory::new(&mut after), 0).save(Part::Settings, &[2; 300]).unwrap();
        let changed: Vec<usize> = (0..MEMORY).filter(|&i| before[i] != after[i]).collect();
        for cut in 0..changed.len() {
            let mut bytes = before.clone();
            for &i in &changed[..cut] {
                bytes[i] = after[i];
            }
            assert_eq!(load(&mut bytes, Part::Settings), Some(vec![1; 100]), "cut after {cut} bytes");
        }
        assert_eq!(load(&mut after, Part::Settings), Some(vec![2; 300]));
        // The next goes over the older one.
        Flash::new(Memory::new(&mut after), 0).save(Part::Settings, &[3; 1]).unwrap();
        assert_eq!(load(&mut after, Part::Settings), Some(vec![3; 1]));
    }

    #[test]
    fn too_much_and_too_small_a_memory_are_told() {
        let mut bytes = vec![0; MEMORY];
        assert_eq!(
            Flash::new(Memory::new(&mut bytes), 0).save(Part::Table, &[0; MAX_KEPT + 1]),
            Err(NotStored)
        );
        assert_eq!(Flash::new(Memory::new(&mut bytes[..2048]), 0).save(Part::Table, &[0; 4]), Err(NotStored));
    }
}
