//! A simulated axis: every fault of a real one, to order, and the same every time.
//!
//! For the demonstration, for tests, and for emulation: the truth is known, so estimates can be held
//! against it. Commanded step by step, with the time as an argument; random parts come from a
//! [`Noise`] that the caller seeds.
//!
//! The order of causes along the drive: slip of the coupling, clearance, wind-up, sticking ways, errors
//! of the screw, growth, load.

pub mod dial;
pub mod noise;
mod wind_up;

pub use dial::{Dial, Misreading};
pub use noise::Noise;
pub use wind_up::WindUp;

use crate::axis::Direction;
use core::f64::consts::PI;

/// The faults of an axis. Lengths are millimetres, times seconds; the default has none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Faults {
    /// The seat on which command and position agree.
    pub reference: Direction,
    /// Clearance between drive and table.
    pub clearance_mm: f64,
    /// More clearance where the screw is worn.
    pub worn: Worn,
    /// Wind-up of the drive.
    pub wind_up_mm: f64,
    /// What the control adds to every command away from the reference seat, to make up for lost motion.
    pub compensation_mm: f64,
    /// Motion lost for good each time the drive turns from `-` to `+`, as at a lift.
    pub slip_mm: f64,
    /// Standard deviation of that slip from one lift to the next.
    pub slip_scatter_mm: f64,
    /// Steady drift.
    pub drift_mm_per_s: f64,
    /// Growth that settles: its size and time constant.
    pub growth_mm: f64,
    /// The time constant of the growth; 0 grows at once.
    pub growth_time_s: f64,
    /// Lead error: length gained per length commanded.
    pub lead_error: f64,
    /// Amplitude of the error that repeats with each turn of the screw.
    pub periodic_mm: f64,
    /// Pitch of the screw.
    pub pitch_mm: f64,
    /// Phase of the periodic error.
    pub periodic_phase_deg: f64,
    /// Sticking ways hold until the drive pulls this far.
    pub sticking_mm: f64,
    /// Newtons per millimetre; infinite is rigid.
    pub stiffness_n_per_mm: f64,
}

/// Clearance added by wear, highest at a centre and falling off evenly to nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worn {
    /// Clearance added at the centre.
    pub extra_mm: f64,
    /// The place of most wear.
    pub centre_mm: f64,
    /// How far from the centre the wear reaches.
    pub reach_mm: f64,
}

impl Default for Faults {
    fn default() -> Self {
        Self {
            reference: Direction::Minus,
            clearance_mm: 0.0,
            worn: Worn { extra_mm: 0.0, centre_mm: 0.0, reach_mm: 1.0 },
            wind_up_mm: 0.0,
            compensation_mm: 0.0,
            slip_mm: 0.0,
            slip_scatter_mm: 0.0,
            drift_mm_per_s: 0.0,
            growth_mm: 0.0,
            growth_time_s: 0.0,
            lead_error: 0.0,
            periodic_mm: 0.0,
            pitch_mm: 5.0,
            periodic_phase_deg: 0.0,
            sticking_mm: 0.0,
            stiffness_n_per_mm: f64::INFINITY,
        }
    }
}

impl Faults {
    /// The clearance with the drive at a place.
    #[must_use]
    pub fn clearance_at_mm(&self, place_mm: f64) -> f64 {
        let away = libm::fabs(place_mm - self.worn.centre_mm) / self.worn.reach_mm;
        self.clearance_mm + self.worn.extra_mm * libm::fmax(1.0 - away, 0.0)
    }

    /// The lost motion after a long travel from the other side; negative if the control adds too much.
    #[must_use]
    pub fn lost_motion_at_mm(&self, place_mm: f64) -> f64 {
        self.clearance_at_mm(place_mm) + self.wind_up_mm - self.compensation_mm
    }
}

/// A simulated axis.
#[derive(Clone, Debug, PartialEq)]
pub struct SimulatedAxis {
    faults: Faults,
    command: f64,
    last_direction: Direction,
    slipped: f64,
    nut: f64,
    wind_up: WindUp,
    table: f64,
    time: f64,
    force: f64,
}

impl SimulatedAxis {
    /// An axis at a place at time 0, having come there over a long travel in a direction.
    ///
    /// ```
    /// use takeup_core::axis::Direction;
    /// use takeup_core::slack::simulated::{Faults, Noise, SimulatedAxis};
    /// let faults = Faults { clearance_mm: 0.1, ..Faults::default() };
    /// let mut axis = SimulatedAxis::new(faults, 0.0, Direction::Minus);
    /// let mut noise = Noise::new(1);
    /// assert_eq!(axis.move_to_mm(0.04, 1.0, &mut noise), 0.0); // inside the clearance
    /// assert!((axis.move_to_mm(5.0, 2.0, &mut noise) - 4.9).abs() < 1e-12);
    /// assert!((axis.move_to_mm(0.0, 3.0, &mut noise) - 0.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn new(faults: Faults, at_mm: f64, settled: Direction) -> Self {
        let off_reference = settled != faults.reference;
        let nut = at_mm - if off_reference { settled.signum() * faults.clearance_at_mm(at_mm) } else { 0.0 };
        let mut wind_up = WindUp::new(faults.wind_up_mm, faults.reference, nut, settled);
        let table = wind_up.follow_mm(nut);
        Self {
            faults,
            command: at_mm,
            last_direction: settled,
            slipped: 0.0,
            nut,
            wind_up,
            table,
            time: 0.0,
            force: 0.0,
        }
    }

    /// The faults.
    #[must_use]
    pub const fn faults(&self) -> &Faults {
        &self.faults
    }

    /// Commands a straight move that ends at a time, and answers where the table then is (mm).
    pub fn move_to_mm(&mut self, command: f64, time_s: f64, noise: &mut Noise) -> f64 {
        let way = command - self.command;
        if way != 0.0 {
            let direction = if way > 0.0 { Direction::Plus } else { Direction::Minus };
            if direction == Direction::Plus && self.last_direction == Direction::Minus {
                self.slipped += self.faults.slip_mm;
                if self.faults.slip_scatter_mm > 0.0 {
                    self.slipped += self.faults.slip_scatter_mm * noise.normal();
                }
            }
            self.last_direction = direction;
        }
        self.command = command;
        let drive = self.drive();
        let width = self.faults.clearance_at_mm(drive);
        let (low, high) = match self.faults.reference {
            Direction::Minus => (drive - width, drive),
            Direction::Plus => (drive, drive + width),
        };
        self.nut = self.nut.max(low).min(high);
        let pulled = self.wind_up.follow_mm(self.nut);
        if libm::fabs(pulled - self.table) >= self.faults.sticking_mm {
            self.table = pulled;
        }
        self.time = time_s;
        self.position_mm()
    }

    /// Where the drive stands for the present command.
    fn drive(&self) -> f64 {
        let away = self.last_direction != self.faults.reference;
        let added = if away { self.last_direction.signum() * self.faults.compensation_mm } else { 0.0 };
        self.command + added - self.slipped
    }

    /// Lets time pass, the drive holding, and answers where the table then is (mm).
    pub fn wait_until(&mut self, time_s: f64) -> f64 {
        self.time = time_s;
        self.position_mm()
    }

    /// Pushes the table with a force in newtons (positive pushes `+`), the drive holding, and answers
    /// where it then is (mm). A force of zero leaves it on the side to which it was pushed.
    pub fn push(&mut self, force_n: f64) -> f64 {
        self.force = force_n;
        if force_n != 0.0 {
            let drive = self.drive();
            let width = self.faults.clearance_at_mm(drive);
            let (low, high) = match self.faults.reference {
                Direction::Minus => (drive - width, drive),
                Direction::Plus => (drive, drive + width),
            };
            let place = if force_n > 0.0 { high } else { low };
            self.table += place - self.nut;
            self.nut = place;
        }
        self.position_mm()
    }

    /// Where the table is (mm).
    #[must_use]
    pub fn position_mm(&self) -> f64 {
        let f = &self.faults;
        let settled = if f.growth_time_s > 0.0 { -libm::expm1(-self.time / f.growth_time_s) } else { 1.0 };
        let turn = || 2.0 * PI * self.table / f.pitch_mm + f.periodic_phase_deg * PI / 180.0;
        let periodic = if f.periodic_mm == 0.0 { 0.0 } else { f.periodic_mm * libm::sin(turn()) };
        self.table * (1.0 + f.lead_error)
            + periodic
            + f.growth_mm * settled
            + f.drift_mm_per_s * self.time
            + self.force / f.stiffness_n_per_mm
    }
}

#[cfg(test)]
mod tests;
