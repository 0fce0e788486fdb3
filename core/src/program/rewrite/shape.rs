//! The shape of a line: all of it but which digits stand in it. Most lines of a program have the shape of the
//! line before them, or of one that came in its place before, and what was found out about that holds for them too.

/// Longer lines have no shape that is kept.
const MOST_BYTES: usize = 64;

/// Bytes that are looked at together.
const PART: usize = 32;

/// The shape of a line: digits are zeros.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct Shape {
    bytes: [u8; MOST_BYTES],
    /// All bits of the bytes that belong to the line, none of the others.
    mask: [u8; MOST_BYTES],
    length: usize,
}

/// Any digit as a zero.
#[inline(always)]
const fn without_digit(byte: u8) -> u8 {
    if byte.wrapping_sub(b'0') < 10 { b'0' } else { byte }
}

/// Whether what is masked in two parts differs in more than digits; without a branch, so that all of it is done at once.
#[inline(always)]
fn differs(text: &[u8], shape: &[u8], mask: &[u8]) -> bool {
    let mut different = 0;
    for ((byte, shape), mask) in text.iter().zip(shape).zip(mask) {
        different |= (without_digit(*byte) ^ shape) & mask;
    }
    different != 0
}

impl Shape {
    /// That of no line.
    pub const NONE: Shape = Shape { bytes: [0; MOST_BYTES], mask: [0; MOST_BYTES], length: 0 };

    /// The shape of a line with its line end; that of no line if it is long.
    pub fn of(line: &[u8]) -> Self {
        let mut shape = Self::NONE;
        if line.len() > MOST_BYTES {
            return shape;
        }
        for ((byte, mask), of_line) in shape.bytes.iter_mut().zip(&mut shape.mask).zip(line) {
            (*byte, *mask) = (without_digit(*of_line), 0xff);
        }
        shape.length = line.len();
        shape
    }

    /// The length of the line at a place in a text, if it has this shape and some text stands behind it.
    #[inline(always)]
    pub fn length_at(&self, text: &[u8], at: usize) -> Option<usize> {
        let window = text.get(at..)?.first_chunk::<MOST_BYTES>()?;
        let (head, tail) = window.split_first_chunk::<PART>()?;
        let (shape, shape_tail) = self.bytes.split_first_chunk::<PART>()?;
        let (mask, mask_tail) = self.mask.split_first_chunk::<PART>()?;
        let differs =
            differs(head, shape, mask) || (self.length > PART && differs(tail, shape_tail, mask_tail));
        (!differs && self.length > 0).then_some(self.length)
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
