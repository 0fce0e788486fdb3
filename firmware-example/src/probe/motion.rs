//! An axis by step and direction pulses, with trapezoidal speed.
//!
//! Positions count steps. Speed follows from the distance still to go (v² = 2·a·s) and from the ramp,
//! so a stop on the way needs no plan of its own. A pulse rises in one poll and falls in the next, at least
//! [`PULSE_US`] later: drives overlook shorter ones.

use embedded_hal::digital::OutputPin;

/// The shortest pulse, and the shortest time from a change of direction to a pulse (common practice for
/// stepping drives, no source).
pub const PULSE_US: u64 = 5;

/// The limits of a move, in steps and seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The highest speed, in steps per second.
    pub speed: f64,
    /// Speeding up and slowing down, in steps per second squared.
    pub acceleration: f64,
}

/// A pin could not be set: nothing is known of the motion any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PinFailed;

/// Where the step pin is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Pulse {
    Low,
    High { since_us: u64 },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Unset,
    Up,
    Down,
}

/// The axis.
#[derive(Debug)]
pub struct Motion<S, D> {
    step: S,
    direction: D,
    position: i32,
    target: i32,
    way: Way,
    pulse: Pulse,
    speed: f64,
    next_us: u64,
}

impl<S: OutputPin, D: OutputPin> Motion<S, D> {
    /// An axis at rest at step 0.
    pub const fn new(step: S, direction: D) -> Self {
        Self {
            step,
            direction,
            position: 0,
            target: 0,
            way: Way::Unset,
            pulse: Pulse::Low,
            speed: 0.0,
            next_us: 0,
        }
    }

    /// Where the axis is, in steps.
    pub const fn position(&self) -> i32 {
        self.position
    }

    /// Whether it stands.
    pub const fn stands(&self) -> bool {
        self.position == self.target
    }

    /// Steps per second at the last step; nothing once it stands.
    pub const fn speed(&self) -> f64 {
        if self.stands() { 0.0 } else { self.speed }
    }

    /// Sets where to go, from rest.
    pub fn go(&mut self, target: i32, now_us: u64) {
        self.target = target;
        self.speed = 0.0;
        // A turn right after a move still waits out the time of the last step.
        self.next_us = self.next_us.max(now_us);
    }

    /// Makes no further step: the drive holds where it is.
    pub const fn halt(&mut self) {
        self.target = self.position;
        self.speed = 0.0;
    }

    /// Lets a pulse fall that has risen, and begins none; tells whether the pin is low.
    pub fn rest(&mut self, now_us: u64) -> Result<bool, PinFailed> {
        let Pulse::High { since_us } = self.pulse else { return Ok(true) };
        if now_us.saturating_sub(since_us) >= PULSE_US {
            self.step.set_low().map_err(|_| PinFailed)?;
            self.pulse = Pulse::Low;
        }
        Ok(false)
    }

    /// Makes a step if one is due; tells whether it made one.
    pub fn poll(&mut self, limits: &Limits, now_us: u64) -> Result<bool, PinFailed> {
        if !self.rest(now_us)? {
            return Ok(false);
        }
        if self.stands() || now_us < self.next_us {
            return Ok(false);
        }
        let way = if self.target > self.position { Way::Up } else { Way::Down };
        if self.way != way {
            match way {
                Way::Up | Way::Unset => self.direction.set_high(),
                Way::Down => self.direction.set_low(),
            }
            .map_err(|_| PinFailed)?;
            self.way = way;
            self.next_us = now_us.saturating_add(PULSE_US);
            return Ok(false);
        }
        self.step.set_high().map_err(|_| PinFailed)?;
        self.pulse = Pulse::High { since_us: now_us };
        self.position = self.position.saturating_add(if way == Way::Up { 1 } else { -1 });
        // v² grows by 2·a per step, and is at most what stops in the steps that are left.
        let left = f64::from(self.target.abs_diff(self.position)) + 1.0;
        let gain = 2.0 * limits.acceleration;
        let squared = libm::fmin(self.speed * self.speed + gain, gain * left);
        self.speed = libm::fmin(libm::sqrt(squared), limits.speed);
        let wait_us = libm::ceil(1e6 / self.speed);
        // From now, not from when it was due: after a late poll no step follows sooner than speed allows.
        self.next_us = now_us.saturating_add(if wait_us.is_finite() { wait_us as u64 } else { u64::MAX });
        Ok(true)
    }
}
