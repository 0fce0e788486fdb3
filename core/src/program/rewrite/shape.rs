//! The shape of a line: all of it but which digits stand in it. Most lines of a program have the shape of the
//! line before them, and what was found out about that holds for them too.

use super::spelt::{eight, others};

/// Longer lines have no shape that is kept.
const MOST_BYTES: usize = 64;

/// The shape of a line, eight bytes at a time: digits are zeros.
#[derive(Clone, Copy)]
pub(super) struct Shape {
    eights: [u64; MOST_BYTES / 8],
    /// How many of them are used, and the bytes of the last one that belong to the line.
    used: usize,
    mask: u64,
    length: usize,
}

/// Every digit as a zero.
#[inline(always)]
const fn without_digits(bytes: u64) -> u64 {
    let digits = (others(bytes) ^ 0x8080_8080_8080_8080) >> 7;
    bytes & !digits.wrapping_mul(0x0f)
}

impl Shape {
    /// That of no line.
    pub const NONE: Shape = Shape { eights: [0; MOST_BYTES / 8], used: 0, mask: 0, length: 0 };

    /// The shape of a line with its line end; `None` of a long one.
    pub fn of(line: &[u8]) -> Self {
        let mut shape = Self::NONE;
        if line.len() > MOST_BYTES {
            return shape;
        }
        for (slot, part) in shape.eights.iter_mut().zip(line.chunks(8)) {
            *slot = without_digits(eight(part, 0));
            shape.used = shape.used.wrapping_add(1);
            shape.mask = u64::MAX.wrapping_shr(8_u32.wrapping_sub(part.len() as u32).wrapping_mul(8));
        }
        shape.length = line.len();
        shape
    }

    /// The length of the line at a place in a text, if it has this shape and some text stands behind it.
    #[inline(always)]
    pub fn length_at(&self, text: &[u8], at: usize) -> Option<usize> {
        let window = text.get(at..)?.first_chunk::<MOST_BYTES>()?;
        let (mut different, mut last) = (0, 0);
        for (part, shape) in window.chunks_exact(8).zip(self.eights.get(..self.used)?) {
            different |= last;
            last = without_digits(part.first_chunk().map_or(0, |bytes| u64::from_le_bytes(*bytes))) ^ shape;
        }
        (different | (last & self.mask) == 0 && self.length > 0).then_some(self.length)
    }
}

#[cfg(test)]
mod tests {
    use super::Shape;
    use proptest::prelude::*;

    #[test]
    fn lines_that_differ_in_digits_alone_have_one_shape() {
        let shape = Shape::of(b"N10 X1.250 Z-3.\n");
        let length = |line: &str| shape.length_at(std::format!("{line}\n{:64}", "").as_bytes(), 0);
        assert_eq!(length("N99 X0.009 Z-7."), Some(16));
        for other in
            ["N99 X0.009 Z+7.", "N99 X0.009 Z-7.1", "N99 X0.00 Z-7.", "N99 X0.009 Z-:.", "N9/ X0.009 Z-7."]
        {
            assert_eq!(length(other), None, "{other}");
        }
        assert_eq!(
            shape.length_at(b"N10 X1.250 Z-3.\n", 0),
            None,
            "at the end of a text nothing is looked at"
        );
    }

    proptest! {
        #[test]
        fn only_the_same_shape_fits(a in "[XZ0-9. -]{0,6}", b in "[XZ0-9. -]{0,6}") {
            let zeros = |line: &str| line.replace(|c: char| c.is_ascii_digit(), "0");
            let text = std::format!("{b}\n{:64}", "");
            let fits = Shape::of(std::format!("{a}\n").as_bytes()).length_at(text.as_bytes(), 0);
            prop_assert_eq!(fits.is_some(), zeros(&a) == zeros(&b));
        }
    }
}
