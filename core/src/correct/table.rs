//! The compensation table: per axis, what to add to a wanted position so that the axis reaches it.

use core::fmt;

use heapless::{String, Vec};

use crate::{
    axis::{Direction, PerAxis},
    length::Length,
};

/// Most stations that the table of one axis can hold.
pub const MAX_STATIONS: usize = 24;
/// Longest name of a machine in a table, in bytes of UTF-8.
pub const MAX_MACHINE: usize = 64;
/// Largest correction that a table may hold: 10 mm. More is not slack but a broken drive.
pub const MAX_CORRECTION: Length = Length::from_counts(100_000_000);

/// The corrections at one place of the travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Station {
    /// Where, in the coordinates in which the readings were commanded.
    pub position: Length,
    /// Added to the wanted position when the axis bears on its `+` seat, having moved up.
    pub plus: Length,
    /// Added to the wanted position when the axis bears on its `-` seat, having moved down.
    pub minus: Length,
    /// Half the width of the 95 % interval of the lost motion measured here; zero when it was given by hand.
    pub uncertainty: Length,
}

impl Station {
    /// A station that corrects lost motion alone: nothing on the reference seat, all of it on the other.
    ///
    /// To reach `y` while bearing on the other seat the command is `y + b` for a reference seat `-`
    /// and `y - b` for a reference seat `+` (the play operator, [`crate::slack::play`]).
    #[must_use]
    pub const fn of_lost_motion(
        position: Length,
        lost: Length,
        uncertainty: Length,
        reference: Direction,
    ) -> Self {
        match reference {
            Direction::Minus => Self { position, plus: lost, minus: Length::ZERO, uncertainty },
            Direction::Plus => {
                Self { position, plus: Length::ZERO, minus: Length::ZERO.saturating_sub(lost), uncertainty }
            }
        }
    }

    /// The correction on a seat.
    #[must_use]
    pub const fn on(&self, seat: Direction) -> Length {
        match seat {
            Direction::Plus => self.plus,
            Direction::Minus => self.minus,
        }
    }

    /// The lost motion that the station corrects: the difference of its two corrections.
    #[must_use]
    pub const fn lost_motion(&self) -> Length {
        self.plus.saturating_sub(self.minus)
    }
}

/// Why corrections do not make a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Invalid {
    /// No station at all.
    Empty,
    /// More stations than [`MAX_STATIONS`].
    TooMany,
    /// Two stations at one position, or stations not in rising order.
    Order {
        /// The second of the two positions.
        position: Length,
    },
    /// A correction or an uncertainty larger than [`MAX_CORRECTION`], or an uncertainty below zero.
    TooLarge {
        /// The position of the station.
        position: Length,
        /// The correction found there.
        found: Length,
    },
    /// A station whose lost motion would be negative: the axis is already over-corrected there.
    Negative {
        /// The position of the station.
        position: Length,
        /// The lost motion found there.
        found: Length,
    },
}

impl fmt::Display for Invalid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "the axis has no station"),
            Self::TooMany => write!(f, "the axis has more than {MAX_STATIONS} stations"),
            Self::Order { position } => {
                write!(f, "station {} mm does not lie above the one before it", position.as_mm())
            }
            Self::TooLarge { position, found } => write!(
                f,
                "station {} mm holds {} mm; a correction may be {} mm at most",
                position.as_mm(),
                found.as_mm(),
                MAX_CORRECTION.as_mm()
            ),
            Self::Negative { position, found } => write!(
                f,
                "station {} mm has a lost motion of {} mm; it must not be negative",
                position.as_mm(),
                found.as_mm()
            ),
        }
    }
}

impl core::error::Error for Invalid {}

/// The corrections of one axis along its travel, wherever they are kept: in an [`AxisTable`], or in the flash of
/// a controller, which needs no memory for more stations than it has.
///
/// Between stations a correction is interpolated linearly, beyond the last station at either end it
/// stays what it is there. A value of this type has at least one station, in rising order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Corrections<'t> {
    reference: Direction,
    stations: &'t [Station],
}

impl<'t> Corrections<'t> {
    /// Corrections by stations in rising order, however many.
    ///
    /// # Errors
    /// [`Invalid`] says which rule the stations break.
    pub fn new(reference: Direction, stations: &'t [Station]) -> Result<Self, Invalid> {
        if stations.is_empty() {
            return Err(Invalid::Empty);
        }
        for station in stations {
            Self::check(station)?;
        }
        for (below, above) in stations.iter().zip(stations.iter().skip(1)) {
            if above.position <= below.position {
                return Err(Invalid::Order { position: above.position });
            }
        }
        Ok(Self { reference, stations })
    }

    fn check(station: &Station) -> Result<(), Invalid> {
        for found in [station.plus, station.minus, station.uncertainty] {
            if found.saturating_abs() > MAX_CORRECTION {
                return Err(Invalid::TooLarge { position: station.position, found });
            }
        }
        if station.uncertainty < Length::ZERO {
            return Err(Invalid::TooLarge { position: station.position, found: station.uncertainty });
        }
        let found = station.lost_motion();
        if found < Length::ZERO {
            return Err(Invalid::Negative { position: station.position, found });
        }
        Ok(())
    }

    /// The seat on which the work is zeroed.
    #[must_use]
    pub const fn reference(self) -> Direction {
        self.reference
    }

    /// The stations, in rising order of position.
    #[must_use]
    pub const fn stations(self) -> &'t [Station] {
        self.stations
    }

    /// Whether nothing is corrected anywhere.
    #[must_use]
    pub fn is_zero(self) -> bool {
        self.stations.iter().all(|s| s.plus == Length::ZERO && s.minus == Length::ZERO)
    }

    /// What to add to a wanted position while the axis bears on a seat.
    #[must_use]
    pub fn correction(self, position: Length, seat: Direction) -> Length {
        let above = self.stations.partition_point(|s| s.position <= position);
        let below = above.checked_sub(1).and_then(|i| self.stations.get(i));
        match (below, self.stations.get(above)) {
            (Some(low), Some(high)) => interpolate(low, high, position, seat),
            (Some(end), None) | (None, Some(end)) => end.on(seat),
            (None, None) => Length::ZERO,
        }
    }

    /// The largest lost motion corrected anywhere.
    #[must_use]
    pub fn largest_lost_motion(self) -> Length {
        self.stations.iter().map(Station::lost_motion).max().unwrap_or(Length::ZERO)
    }
}

/// The corrections of one axis along its travel, kept with their stations: [`Corrections`] says how they are meant.
#[derive(Clone, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AxisTable {
    reference: Direction,
    stations: Vec<Station, MAX_STATIONS>,
}

impl AxisTable {
    /// A table from stations in rising order.
    ///
    /// # Errors
    /// [`Invalid`] says which rule the stations break.
    pub fn new(reference: Direction, stations: &[Station]) -> Result<Self, Invalid> {
        Corrections::new(reference, stations)?;
        let stations = Vec::from_slice(stations).map_err(|_| Invalid::TooMany)?;
        Ok(Self { reference, stations })
    }

    /// The same lost motion everywhere along the travel.
    ///
    /// # Errors
    /// [`Invalid`] for a lost motion that is negative or larger than [`MAX_CORRECTION`].
    pub fn uniform(reference: Direction, lost: Length) -> Result<Self, Invalid> {
        Self::new(reference, &[Station::of_lost_motion(Length::ZERO, lost, Length::ZERO, reference)])
    }

    /// The corrections, to look at.
    #[must_use]
    pub fn corrections(&self) -> Corrections<'_> {
        Corrections { reference: self.reference, stations: &self.stations }
    }

    /// The seat on which the work is zeroed.
    #[must_use]
    pub const fn reference(&self) -> Direction {
        self.reference
    }

    /// The stations, in rising order of position.
    #[must_use]
    pub fn stations(&self) -> &[Station] {
        &self.stations
    }

    /// Whether every station holds the same corrections, so that the position does not matter.
    #[must_use]
    pub fn is_uniform(&self) -> bool {
        let mut corrections = self.stations.iter().map(|s| (s.plus, s.minus));
        let first = corrections.next();
        corrections.all(|pair| Some(pair) == first)
    }

    /// Whether the table corrects nothing anywhere.
    #[must_use]
    pub fn is_zero(&self) -> bool {
        self.corrections().is_zero()
    }

    /// What to add to a wanted position while the axis bears on a seat.
    ///
    /// ```
    /// use takeup_core::{axis::Direction, correct::{AxisTable, Station}, length::Length};
    /// let mm = |v| Length::from_mm(v).unwrap();
    /// let at = |p, b| Station::of_lost_motion(mm(p), mm(b), Length::ZERO, Direction::Minus);
    /// let z = AxisTable::new(Direction::Minus, &[at(-100.0, 0.20), at(0.0, 0.10)]).unwrap();
    /// assert_eq!(z.correction(mm(-50.0), Direction::Plus), mm(0.15));
    /// assert_eq!(z.correction(mm(-50.0), Direction::Minus), Length::ZERO);
    /// assert_eq!(z.correction(mm(30.0), Direction::Plus), mm(0.10)); // held beyond the ends
    /// ```
    #[must_use]
    pub fn correction(&self, position: Length, seat: Direction) -> Length {
        self.corrections().correction(position, seat)
    }

    /// The lost motion corrected at a position.
    #[must_use]
    pub fn lost_motion(&self, position: Length) -> Length {
        self.correction(position, Direction::Plus).saturating_sub(self.correction(position, Direction::Minus))
    }

    /// The largest lost motion corrected anywhere.
    #[must_use]
    pub fn largest_lost_motion(&self) -> Length {
        self.corrections().largest_lost_motion()
    }
}

/// Linear interpolation, rounded to the nearest count. Exact in 128 bits: corrections are below 2^27
/// counts and distances below 2^65, so no product or sum can overflow.
fn interpolate(low: &Station, high: &Station, position: Length, seat: Direction) -> Length {
    let difference = |a: Length, b: Length| i128::from(a.counts()).saturating_sub(i128::from(b.counts()));
    let span = difference(high.position, low.position);
    let along = difference(position, low.position);
    let rise = difference(high.on(seat), low.on(seat));
    let twice = rise.saturating_mul(along).saturating_mul(2).saturating_add(span);
    let step = twice.checked_div_euclid(span.saturating_mul(2)).unwrap_or(0);
    low.on(seat).saturating_add(Length::from_counts(i64::try_from(step).unwrap_or(0)))
}

/// The compensation table of a machine.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Table {
    /// The machine's name, as its owner wrote it; may be empty.
    pub machine: String<MAX_MACHINE>,
    /// The corrections of each axis that has any.
    pub axes: PerAxis<Option<AxisTable>>,
}

impl Table {
    /// A table without corrections.
    pub const EMPTY: Table = Table { machine: String::new(), axes: PerAxis { x: None, y: None, z: None } };
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn mm(value: f64) -> Length {
        Length::from_mm(value).unwrap()
    }

    fn station(position: f64, lost: f64) -> Station {
        Station::of_lost_motion(mm(position), mm(lost), mm(0.002), Direction::Minus)
    }

    #[test]
    fn broken_rules_are_named() {
        let new = |stations: &[Station]| AxisTable::new(Direction::Minus, stations);
        assert_eq!(new(&[]), Err(Invalid::Empty));
        assert_eq!(new(&[station(1.0, 0.1), station(1.0, 0.2)]), Err(Invalid::Order { position: mm(1.0) }));
        assert_eq!(new(&[station(1.0, 11.0)]), Err(Invalid::TooLarge { position: mm(1.0), found: mm(11.0) }));
        assert_eq!(new(&[station(1.0, -0.1)]), Err(Invalid::Negative { position: mm(1.0), found: mm(-0.1) }));
        let many: std::vec::Vec<_> = (0..25).map(|i| station(f64::from(i), 0.1)).collect();
        assert_eq!(new(&many), Err(Invalid::TooMany));
        assert!(new(&many[1..]).is_ok());
    }

    #[test]
    fn a_reference_seat_plus_shifts_the_command_down() {
        let x = AxisTable::uniform(Direction::Plus, mm(0.08)).unwrap();
        assert_eq!(x.correction(mm(3.0), Direction::Plus), Length::ZERO);
        assert_eq!(x.correction(mm(3.0), Direction::Minus), mm(-0.08));
        assert_eq!(x.lost_motion(mm(3.0)), mm(0.08));
        assert!(x.is_uniform() && !x.is_zero());
    }

    proptest! {
        #[test]
        fn corrections_stay_between_their_neighbours(
            lost in prop::collection::vec(0.0..0.5f64, 1..=MAX_STATIONS), at in -20.0..300.0f64,
        ) {
            let stations: std::vec::Vec<_> =
                lost.iter().enumerate().map(|(i, b)| station(i as f64 * 10.0, *b)).collect();
            let table = AxisTable::new(Direction::Minus, &stations).unwrap();
            let found = table.correction(mm(at), Direction::Plus).as_mm();
            let i = ((at / 10.0).floor().max(0.0) as usize).min(lost.len() - 1);
            let j = (i + usize::from(at > 0.0)).min(lost.len() - 1);
            let t = if i == j { 0.0 } else { at / 10.0 - i as f64 };
            prop_assert!((found - (lost[i] + t * (lost[j] - lost[i]))).abs() < 2e-7, "{found}");
        }

        #[test]
        fn any_position_has_a_correction(counts in any::<i64>(), up in any::<bool>()) {
            let table = AxisTable::new(Direction::Minus, &[
                Station { position: Length::from_counts(i64::MIN), ..station(0.0, 0.3) },
                Station { position: Length::from_counts(i64::MAX), ..station(0.0, 0.1) },
            ]).unwrap();
            let seat = if up { Direction::Plus } else { Direction::Minus };
            let found = table.correction(Length::from_counts(counts), seat);
            prop_assert!(found >= Length::ZERO && found <= mm(0.3));
        }
    }
}
