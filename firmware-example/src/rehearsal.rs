//! A whole test without hardware: a simulated axis turns two simulated pins, the box counts their
//! edges, takes the readings of a plan and estimates the lost motion.
//!
//! A microcontroller and a host run this same code; their numbers must agree bit for bit.

use crate::capture::{self, Drive};
use crate::indicator::{Fault, Indicator, Quadrature};
use core::cell::Cell;
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin};
use takeup_core::axis::Direction;
use takeup_core::correct::Corrector;
use takeup_core::correct::bytes::{self, decode, encode};
use takeup_core::correct::table::{AxisTable, Invalid, Table};
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{Assessment, NotEnough, assess};
use takeup_core::measure::routine::{BadPlan, ReversalPlan};
use takeup_core::slack::simulated::{Faults, Noise, SimulatedAxis};

/// The clearance of the simulated axis in millimetres.
pub const CLEARANCE_MM: f64 = 0.12;
/// Its wind-up in millimetres.
pub const WIND_UP_MM: f64 = 0.01;
/// One count of the simulated indicator in millimetres.
pub const COUNT_MM: f64 = 0.001;
/// One step of the simulated drive in millimetres: below a count, so that no edge is missed.
const STEP_MM: f64 = 0.0004;
/// Standard deviation of where the table comes to rest, in millimetres.
const SCATTER_MM: f64 = 0.0008;

/// Room for the bytes of a table with one axis.
const TABLE_ROOM: usize = 256;
/// From one set-point to the next: 0.1 mm.
const SET_POINT_STEP: i64 = 1_000_000;

/// Why a table cannot be applied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TableError {
    /// The table breaks a rule of its own.
    Invalid(Invalid),
    /// Its bytes cannot be written or read.
    Bytes(bytes::Error),
}

/// Why a rehearsal has no result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Error {
    /// The plan cannot be carried out.
    Plan(BadPlan),
    /// The readings could not be taken.
    Capture(capture::Error),
    /// The readings do not suffice.
    Assess(NotEnough),
}

/// One of the two pins: high in two of the four quarters of each period.
#[derive(Debug)]
struct Pin<'a> {
    counts: &'a Cell<i64>,
    high_in: [bool; 4],
}

impl ErrorType for Pin<'_> {
    type Error = Infallible;
}

impl InputPin for Pin<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        let quarter = self.counts.get().rem_euclid(4);
        Ok(usize::try_from(quarter).ok().and_then(|q| self.high_in.get(q)).copied().unwrap_or(false))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

/// The simulated axis, and the counts its table has moved.
struct Bench<'a> {
    axis: SimulatedAxis,
    noise: Noise,
    command_mm: f64,
    counts: &'a Cell<i64>,
}

impl Bench<'_> {
    /// Takes the table to a place, edge by edge as a real one passes them, the box looking on.
    fn show(&self, table_mm: f64, indicator: &mut impl Indicator) -> Result<(), Fault> {
        let aim = libm::round(table_mm / COUNT_MM) as i64;
        while self.counts.get() != aim {
            let now = self.counts.get();
            self.counts.set(now.saturating_add(aim.saturating_sub(now).signum()));
            indicator.poll(0)?;
        }
        Ok(())
    }
}

impl Drive for Bench<'_> {
    fn go(&mut self, to: Length, indicator: &mut impl Indicator) -> Result<(), Fault> {
        let (from, to) = (self.command_mm, to.as_mm());
        let steps = libm::fabs(to - from) / STEP_MM;
        let mut done = 0.0;
        while done < steps {
            done += 1.0;
            let at = from + (to - from) * libm::fmin(done / steps, 1.0);
            let table = self.axis.move_to_mm(at, 0.0, &mut self.noise);
            self.show(table, indicator)?;
        }
        self.command_mm = to;
        // The table does not come to rest in quite the same place each time.
        let rest = self.axis.position_mm() + self.noise.normal() * SCATTER_MM;
        self.show(rest, indicator)
    }
}

/// Runs the test: two stations, five cycles; the same seed gives the same numbers anywhere.
pub fn run(seed: u64) -> Result<Assessment<4>, Error> {
    let mm = |v| Length::from_mm(v).unwrap_or(Length::ZERO);
    let stations = [mm(0.0), mm(-2.0)];
    let plan = ReversalPlan::new(&stations, 5, mm(0.5)).map_err(Error::Plan)?;
    let faults = Faults { clearance_mm: CLEARANCE_MM, wind_up_mm: WIND_UP_MM, ..Faults::default() };
    let counts = Cell::new(0);
    let mut bench = Bench {
        axis: SimulatedAxis::new(faults, 0.0, Direction::Minus),
        noise: Noise::new(seed),
        command_mm: 0.0,
        counts: &counts,
    };
    let a = Pin { counts: &counts, high_in: [false, true, true, false] };
    let b = Pin { counts: &counts, high_in: [false, false, true, true] };
    let mut indicator = Quadrature::new(a, b, COUNT_MM);
    let readings = capture::reversal::<32>(&plan, &mut bench, &mut indicator).map_err(Error::Capture)?;
    let setup = Setup { resolution_mm: COUNT_MM, limit_mm: Some(0.05), ..Setup::default() };
    assess(&readings[..], &setup).map_err(Error::Assess)
}

/// A controller's side: the table of an estimate, through its bytes, applied to set-points that go up
/// and down again; `each` is given every corrected command.
pub fn set_points(lost: Length, mut each: impl FnMut(Length)) -> Result<(), TableError> {
    let mut table = Table::EMPTY;
    table.axes.z = Some(AxisTable::uniform(Direction::Minus, lost).map_err(TableError::Invalid)?);
    let mut buffer = [0; TABLE_ROOM];
    let length = encode(&table, &mut buffer).map_err(TableError::Bytes)?;
    let table = decode(buffer.get(..length).unwrap_or(&[])).map_err(TableError::Bytes)?;
    if let Some(z) = &table.axes.z {
        let mut corrector = Corrector::new(z, Length::from_counts(SET_POINT_STEP / 2));
        for i in [0, 1, 2, 3, 2, 1, 0, -1, 0, 1] {
            each(corrector.command(Length::from_counts(i * SET_POINT_STEP)));
        }
    }
    Ok(())
}
