//! The reversal test assessed while it is read, for a controller or a box that has no room for the readings.
//!
//! Of each station and approach it keeps how many readings there were, their mean, and when they were taken in the
//! mean; of each station the sums of squares and products about those means, each brought on by B. P. Welford's
//! recurrence (Technometrics 4, 1962; recalled from memory). From these follows the least-squares fit of two means and
//! a steady drift at each station: the slope within the approaches gives the drift, and the difference of the means is
//! freed from what drift there was between them (the regression of an analysis of covariance with two groups).
//!
//! A misread dial is not found here, a drift that bends is taken for scatter, and a coarse dial makes the
//! interval wide: for an indicator that is read by wire. Everything else is for [`assess`](super::assess).

use super::{NotEnough, Reading, Systematic, same_station};
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::setup::OutOfRange;
use crate::measure::uncertainty::combine;
use crate::measure::{Estimate, Setup};
use heapless::Vec;

/// The readings of one approach.
#[derive(Clone, Copy, Debug, Default)]
struct Group {
    n: u16,
    /// The mean of the readings, less the first reading of the station.
    mean: f64,
    /// The mean of their numbers in the test.
    when: f64,
}

/// What is kept of a station.
#[derive(Clone, Copy, Debug)]
struct Sums {
    target: Length,
    first: f64,
    plus: Group,
    minus: Group,
    /// Squares of the times, products of times and readings, squares of the readings, about the means.
    times: f64,
    products: f64,
    squares: f64,
}

/// A reversal test so far, with at most `S` stations; 88 bytes a station.
///
/// ```
/// use takeup_core::axis::Direction::{Minus, Plus};
/// use takeup_core::length::Length;
/// use takeup_core::measure::{Setup, reversal::{Reading, Running}};
///
/// let setup = Setup::default();
/// let mut test = Running::<10>::new(&setup).unwrap();
/// // 0.05 mm lost, while the place drifts by 0.001 mm from one reading to the next.
/// for (index, value_mm) in [0.250, 0.201, 0.252, 0.203, 0.254, 0.205].into_iter().enumerate() {
///     let approach = if index % 2 == 0 { Minus } else { Plus };
///     let cycle = index as u16 / 2 + 1;
///     test.take(&Reading { target: Length::ZERO, cycle, approach, value_mm, time_s: None }).unwrap();
/// }
/// assert!((test.lost_motion().unwrap().value - 0.05).abs() < 1e-12);
/// ```
#[derive(Clone, Debug)]
pub struct Running<'s, const S: usize> {
    setup: &'s Setup,
    stations: Vec<Sums, S>,
    taken: u32,
}

impl Sums {
    fn new(target: Length, first: f64) -> Self {
        let (plus, minus) = (Group::default(), Group::default());
        Self { target, first, plus, minus, times: 0.0, products: 0.0, squares: 0.0 }
    }

    fn take(&mut self, approach: Direction, when: f64, value: f64) {
        let group = if approach == Direction::Plus { &mut self.plus } else { &mut self.minus };
        group.n = group.n.saturating_add(1);
        let share = 1.0 / f64::from(group.n);
        let (later, more) = (when - group.when, value - self.first - group.mean);
        group.when += later * share;
        group.mean += more * share;
        let rest = 1.0 - share;
        self.times += later * later * rest;
        self.products += later * more * rest;
        self.squares += more * more * rest;
    }

    fn enough(&self) -> Result<(), NotEnough> {
        for (group, approach) in [(&self.plus, Direction::Plus), (&self.minus, Direction::Minus)] {
            match group.n {
                0 => return Err(NotEnough::OneApproach { target: self.target, missing: approach }),
                1 => return Err(NotEnough::OneCycle { target: self.target, approach }),
                _ => {}
            }
        }
        Ok(())
    }

    /// The drift from one reading of the test to the next.
    fn rate(&self) -> f64 {
        self.products / self.times
    }

    /// What the readings, approached `-` less approached `+`, differ by, freed from drift.
    fn difference(&self) -> f64 {
        self.minus.mean - self.plus.mean - self.rate() * (self.minus.when - self.plus.when)
    }

    /// The variance of that, over the variance of a reading.
    fn cofactor(&self) -> f64 {
        let apart = self.minus.when - self.plus.when;
        1.0 / f64::from(self.plus.n) + 1.0 / f64::from(self.minus.n) + apart * apart / self.times
    }
}

impl<'s, const S: usize> Running<'s, S> {
    /// No readings yet.
    ///
    /// # Errors
    /// The value of the setup that cannot be.
    pub fn new(setup: &'s Setup) -> Result<Self, OutOfRange> {
        setup.checked()?;
        Ok(Self { setup, stations: Vec::new(), taken: 0 })
    }

    /// Takes the next reading. Readings are taken to follow each other evenly: times are not looked at.
    ///
    /// # Errors
    /// [`NotEnough::NotFinite`], [`NotEnough::TooManyStations`], [`NotEnough::TooManyReadings`]; the reading then counts
    /// for nothing.
    pub fn take(&mut self, reading: &Reading) -> Result<(), NotEnough> {
        let (target, when) = (reading.target, self.taken);
        if !reading.value_mm.is_finite() {
            return Err(NotEnough::NotFinite { index: when as usize });
        }
        let room = u32::from(u16::MAX);
        if when >= room {
            return Err(NotEnough::TooManyReadings { found: when as usize, room: room as usize });
        }
        if !self.stations.iter().any(|station| same_station(station.target, target)) {
            let station = Sums::new(target, reading.value_mm);
            self.stations.push(station).map_err(|_| NotEnough::TooManyStations { room: S })?;
        }
        if let Some(station) = self.stations.iter_mut().find(|station| same_station(station.target, target)) {
            station.take(reading.approach, f64::from(when), reading.value_mm);
        }
        self.taken = when.saturating_add(1);
        Ok(())
    }

    /// How many readings were taken.
    #[must_use]
    pub const fn taken(&self) -> u32 {
        self.taken
    }

    /// The stations, in the order in which they were first visited.
    pub fn stations(&self) -> impl Iterator<Item = Length> + '_ {
        self.stations.iter().map(|station| station.target)
    }

    /// The variance of a reading about its station, approach and drift, of all stations together, and its degrees of
    /// freedom.
    fn noise(&self) -> Result<(f64, f64), NotEnough> {
        let (mut sum, mut dof) = (0.0, 0.0);
        for station in &self.stations {
            station.enough()?;
            // Rounding may leave less than nothing.
            sum += (station.squares - station.products * station.rate()).max(0.0);
            dof += f64::from(station.plus.n) + f64::from(station.minus.n) - 3.0;
        }
        if dof > 0.0 { Ok((sum / dof, dof)) } else { Err(NotEnough::NoReadings) }
    }

    /// The standard deviation of one reading about its station, approach and drift, in millimetres along the axis.
    ///
    /// # Errors
    /// [`NotEnough`] until every station has two readings from each approach.
    pub fn repeatability_mm(&self) -> Result<f64, NotEnough> {
        Ok(libm::sqrt(self.noise()?.0) * self.setup.cosine())
    }

    /// The lost motion at a station, in millimetres.
    ///
    /// # Errors
    /// As [`Running::repeatability_mm`]; [`NotEnough::NoReadings`] at a station without any.
    pub fn at(&self, target: Length) -> Result<Estimate, NotEnough> {
        let noise = self.noise()?;
        let mut stations = self.stations.iter();
        let station = stations.find(|station| same_station(station.target, target));
        let station = station.ok_or(NotEnough::NoReadings)?;
        Ok(self.estimate(station.difference(), station.cofactor(), noise))
    }

    /// The mean over the stations of the lost motion, in millimetres.
    ///
    /// # Errors
    /// As [`Running::repeatability_mm`].
    pub fn lost_motion(&self) -> Result<Estimate, NotEnough> {
        let noise = self.noise()?;
        let share = 1.0 / self.stations.len() as f64;
        let difference: f64 = self.stations.iter().map(Sums::difference).sum();
        let cofactor: f64 = self.stations.iter().map(Sums::cofactor).sum();
        Ok(self.estimate(difference * share, cofactor * share * share, noise))
    }

    fn estimate(&self, difference: f64, cofactor: f64, (variance, dof): (f64, f64)) -> Estimate {
        let cosine = self.setup.cosine();
        let s_mm = libm::sqrt(variance) * cosine;
        let systematic = Systematic::new(self.setup, s_mm);
        let value = self.setup.motion_per_reading() * difference - systematic.correction;
        let others = systematic.parts(value).map(|part| (part.standard_uncertainty, part.dof));
        combine(value, [(s_mm * libm::sqrt(cofactor), dof)].into_iter().chain(others))
    }
}

#[cfg(test)]
mod tests {
    use super::super::assess;
    use super::*;
    use crate::axis::Direction::{Minus, Plus};
    use crate::measure::regression::LeastSquares;
    use proptest::prelude::*;

    fn reading(target_mm: f64, approach: Direction, value_mm: f64) -> Reading {
        Reading { target: Length::from_mm(target_mm).unwrap(), cycle: 1, approach, value_mm, time_s: None }
    }

    fn all<'s>(readings: &[Reading], setup: &'s Setup) -> Running<'s, 4> {
        let mut test = Running::new(setup).unwrap();
        readings.iter().for_each(|reading| test.take(reading).unwrap());
        test
    }

    #[test]
    fn a_station_takes_as_many_bytes_as_is_said() {
        assert_eq!(size_of::<Sums>(), 88);
    }

    #[test]
    fn what_is_missing_is_said() {
        let setup = Setup::default();
        let mut test = Running::<1>::new(&setup).unwrap();
        assert_eq!(test.lost_motion(), Err(NotEnough::NoReadings));
        test.take(&reading(0.0, Minus, 0.2)).unwrap();
        assert_eq!(test.lost_motion(), Err(NotEnough::OneApproach { target: Length::ZERO, missing: Plus }));
        test.take(&reading(0.0, Plus, 0.1)).unwrap();
        assert_eq!(test.lost_motion(), Err(NotEnough::OneCycle { target: Length::ZERO, approach: Plus }));
        assert_eq!(test.take(&reading(5.0, Plus, 0.1)), Err(NotEnough::TooManyStations { room: 1 }));
        assert_eq!(test.take(&reading(0.0, Plus, f64::NAN)), Err(NotEnough::NotFinite { index: 2 }));
        assert_eq!(test.taken(), 2);
        test.take(&reading(0.0, Plus, 0.1)).unwrap();
        test.take(&reading(0.0, Minus, 0.2)).unwrap();
        assert!((test.lost_motion().unwrap().value - 0.1).abs() < 1e-12);
        assert_eq!(test.at(Length::from_mm(5.0).unwrap()), Err(NotEnough::NoReadings));
        let wrong = Setup { angle_deg: 90.0, ..setup };
        assert!(Running::<1>::new(&wrong).is_err());
    }

    #[test]
    fn angle_sense_and_hysteresis_are_taken_as_by_the_whole_assessment() {
        let setup = Setup {
            resolution_mm: 0.001,
            indicator_error_mm: 0.003,
            hysteresis_mm: 0.004,
            angle_deg: 30.0,
            sense: Minus,
            ..Setup::default()
        };
        let values = [0.103, 0.251, 0.105, 0.249, 0.104, 0.252, 0.102, 0.25, 0.106, 0.253];
        let readings: std::vec::Vec<Reading> = (0..values.len())
            .map(|i| reading(0.0, if i % 2 == 0 { Minus } else { Plus }, values[i]))
            .collect();
        let (running, whole) = (all(&readings, &setup), assess::<1>(&readings[..], &setup).unwrap());
        let (running, whole) = (running.lost_motion().unwrap(), whole.lost_motion);
        assert!((running.value - whole.value).abs() < 0.0003, "{running:?} {whole:?}");
        let ratio = running.expanded_95() / whole.expanded_95();
        assert!((0.8..1.25).contains(&ratio), "{running:?} {whole:?}");
    }

    proptest! {
        // By another way of least squares, which keeps all rows in a triangle.
        #[test]
        fn a_station_is_fitted_as_by_rotations(
            values in proptest::collection::vec((-1.0..1.0_f64, any::<bool>()), 4..30),
            offset in -50.0..50.0_f64,
        ) {
            let setup = Setup::default();
            let fixed = [(0.3, true), (0.1, true), (0.2, false), (0.5, false)];
            let rows: std::vec::Vec<Reading> = values
                .into_iter()
                .chain(fixed)
                .map(|(value, up)| reading(1.0, if up { Plus } else { Minus }, offset + value))
                .collect();
            let mut fit = LeastSquares::<3>::new();
            for (i, row) in rows.iter().enumerate() {
                fit.add([1.0, -0.5 * row.approach.signum(), i as f64], row.value_mm);
            }
            let (fit, running) = (fit.solve().unwrap(), all(&rows, &setup));
            let (fitted, found) = (fit.estimate(1), running.lost_motion().unwrap());
            prop_assert!((fitted.value - found.value).abs() < 1e-9, "{fitted:?} {found:?}");
            let repeatability = running.repeatability_mm().unwrap();
            prop_assert!((fit.variance().sqrt() - repeatability).abs() < 1e-9);
            let others = Systematic::new(&setup, repeatability).parts(fitted.value);
            let scatter = [(fitted.standard_uncertainty, fitted.dof)];
            let whole = combine(
                fitted.value,
                scatter.into_iter().chain(others.map(|part| (part.standard_uncertainty, part.dof))),
            );
            let u = whole.standard_uncertainty;
            prop_assert!((u - found.standard_uncertainty).abs() < 1e-6 * u, "{whole:?} {found:?}");
            prop_assert!((whole.dof - found.dof).abs() < 1e-5 * whole.dof, "{whole:?} {found:?}");
        }
    }
}
