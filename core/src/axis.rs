//! Axes, directions, and one value per axis.

use core::fmt;

/// A linear axis of a mill.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Axis {
    /// The longitudinal axis.
    X,
    /// The cross axis.
    Y,
    /// The axis of the spindle; usually vertical.
    Z,
}

impl Axis {
    /// All axes in the order X, Y, Z.
    pub const ALL: [Axis; 3] = [Axis::X, Axis::Y, Axis::Z];

    /// The axis named by a letter, in either case.
    ///
    /// ```
    /// use takeup_core::axis::Axis;
    /// assert_eq!(Axis::from_letter('z'), Some(Axis::Z));
    /// assert_eq!(Axis::from_letter('q'), None);
    /// ```
    #[must_use]
    pub const fn from_letter(letter: char) -> Option<Self> {
        match letter.to_ascii_uppercase() {
            'X' => Some(Axis::X),
            'Y' => Some(Axis::Y),
            'Z' => Some(Axis::Z),
            _ => None,
        }
    }

    /// The letter of the axis, upper case.
    #[must_use]
    pub const fn letter(self) -> char {
        match self {
            Axis::X => 'X',
            Axis::Y => 'Y',
            Axis::Z => 'Z',
        }
    }

    /// The letter of the axis, lower case, as keys of documents use it.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Axis::X => "x",
            Axis::Y => "y",
            Axis::Z => "z",
        }
    }

    /// The side on which work is usually zeroed: a vertical axis comes down on it, the others
    /// move in their positive direction (common practice, no source).
    #[must_use]
    pub const fn usual_seat(self) -> Direction {
        match self {
            Axis::X | Axis::Y => Direction::Plus,
            Axis::Z => Direction::Minus,
        }
    }
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.letter())
    }
}

/// A direction of motion along an axis, in the machine's own sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Direction {
    /// Towards greater positions.
    Plus,
    /// Towards smaller positions.
    Minus,
}

impl Direction {
    /// The other direction.
    #[must_use]
    pub const fn reversed(self) -> Self {
        match self {
            Direction::Plus => Direction::Minus,
            Direction::Minus => Direction::Plus,
        }
    }

    /// `+1.0` or `-1.0`.
    #[must_use]
    pub const fn signum(self) -> f64 {
        match self {
            Direction::Plus => 1.0,
            Direction::Minus => -1.0,
        }
    }

    /// `+` or `-`.
    #[must_use]
    pub const fn sign(self) -> char {
        match self {
            Direction::Plus => '+',
            Direction::Minus => '-',
        }
    }

    /// The direction written as `+` or `-`.
    #[must_use]
    pub const fn from_sign(sign: char) -> Option<Self> {
        match sign {
            '+' => Some(Direction::Plus),
            '-' => Some(Direction::Minus),
            _ => None,
        }
    }
}

impl fmt::Display for Direction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.sign())
    }
}

/// One value for each axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PerAxis<T> {
    /// The value of X.
    pub x: T,
    /// The value of Y.
    pub y: T,
    /// The value of Z.
    pub z: T,
}

impl<T> PerAxis<T> {
    /// A value per axis, made by a function of the axis.
    pub fn from_fn(mut f: impl FnMut(Axis) -> T) -> Self {
        Self { x: f(Axis::X), y: f(Axis::Y), z: f(Axis::Z) }
    }

    /// The value of one axis.
    pub const fn get(&self, axis: Axis) -> &T {
        match axis {
            Axis::X => &self.x,
            Axis::Y => &self.y,
            Axis::Z => &self.z,
        }
    }

    /// The value of one axis, to change it.
    pub const fn get_mut(&mut self, axis: Axis) -> &mut T {
        match axis {
            Axis::X => &mut self.x,
            Axis::Y => &mut self.y,
            Axis::Z => &mut self.z,
        }
    }

    /// The axes with their values, in the order X, Y, Z.
    pub fn iter(&self) -> impl Iterator<Item = (Axis, &T)> {
        Axis::ALL.into_iter().map(|axis| (axis, self.get(axis)))
    }

    /// The same function applied to each value.
    pub fn map<U>(&self, mut f: impl FnMut(&T) -> U) -> PerAxis<U> {
        PerAxis { x: f(&self.x), y: f(&self.y), z: f(&self.z) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_and_signs_read_back() {
        for axis in Axis::ALL {
            assert_eq!(Axis::from_letter(axis.letter()), Some(axis));
            assert_eq!(axis.key().to_ascii_uppercase(), std::format!("{axis}"));
        }
        for direction in [Direction::Plus, Direction::Minus] {
            assert_eq!(Direction::from_sign(direction.sign()), Some(direction));
            assert_eq!(direction.reversed().signum(), -direction.signum());
        }
    }

    #[test]
    fn per_axis_keeps_each_value_in_its_place() {
        let mut values = PerAxis::from_fn(Axis::letter);
        assert!(values.iter().all(|(axis, letter)| axis.letter() == *letter));
        *values.get_mut(Axis::Y) = 'y';
        assert_eq!(values.map(|c| c.is_ascii_lowercase()), PerAxis { x: false, y: true, z: false });
    }
}
