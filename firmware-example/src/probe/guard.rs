//! Whether motion is allowed, and what ends it.
//!
//! Nothing moves before the host has armed the box with axis, range and speed. Each stop disarms it; it must
//! be armed again. The guard is asked on every poll, before any step is made.

use super::motion::Limits;
use takeup_core::link::message::{Refusal, StopCause};

/// The link counts as lost after so long without a frame: the bound of 50 ms less what a poll may take.
pub const LINK_LOST_US: u64 = 40_000;

/// What was allowed, in steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Permit {
    /// The lowest position.
    pub low: i32,
    /// The highest position.
    pub high: i32,
    /// How fast.
    pub limits: Limits,
}

impl Permit {
    /// Whether a position is within the range.
    #[must_use]
    pub const fn holds(&self, position: i32) -> bool {
        self.low <= position && position <= self.high
    }
}

/// What is seen at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// How long nothing was heard from the host; `None` without a session.
    pub silence_us: Option<u64>,
    /// Whether the emergency stop is pressed, or its wire broken.
    pub emergency: bool,
    /// The travel commanded since the start, in millimetres.
    pub command_mm: f64,
    /// The indicator, in millimetres; `None` if it failed.
    pub indicator_mm: Option<f64>,
}

/// Bounds on the indicator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// It must stay between minus and plus this, in millimetres from where the box started.
    pub range_mm: f64,
    /// It may be away from the command by this at most: the largest lost motion expected, and some.
    pub following_mm: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    Disarmed,
    Armed { permit: Permit, bounds: Bounds, command_mm: f64, indicator_mm: f64 },
}

/// The guard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guard {
    state: State,
}

impl Default for Guard {
    fn default() -> Self {
        Self::new()
    }
}

impl Guard {
    /// A guard that allows nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { state: State::Disarmed }
    }

    /// What is allowed now.
    pub const fn permit(&self) -> Option<Permit> {
        match self.state {
            State::Armed { permit, .. } => Some(permit),
            State::Disarmed => None,
        }
    }

    /// Arms, if nothing speaks against it; from here on the indicator must follow the command.
    pub fn arm(&mut self, permit: Permit, bounds: Bounds, seen: &Sight) -> Result<(), Refusal> {
        self.state = State::Disarmed;
        if seen.emergency {
            return Err(Refusal::EmergencyStop);
        }
        // Not a number, or the wrong way round, is beyond every limit.
        if !(permit.low <= permit.high && permit.limits.speed > 0.0 && permit.limits.speed.is_finite()) {
            return Err(Refusal::BeyondLimits);
        }
        let Some(indicator_mm) = seen.indicator_mm else { return Err(Refusal::Indicator) };
        if is_beyond(indicator_mm, bounds.range_mm) {
            return Err(Refusal::Indicator);
        }
        self.state = State::Armed { permit, bounds, command_mm: seen.command_mm, indicator_mm };
        Ok(())
    }

    /// Allows nothing any more.
    pub const fn disarm(&mut self) {
        self.state = State::Disarmed;
    }

    /// What is seen, against what is allowed: a cause to stop disarms, and is told once.
    pub fn watch(&mut self, seen: &Sight) -> Option<StopCause> {
        let State::Armed { bounds, command_mm, indicator_mm, .. } = self.state else { return None };
        let cause = Self::cause(seen, bounds, command_mm, indicator_mm)?;
        self.disarm();
        Some(cause)
    }

    fn cause(seen: &Sight, bounds: Bounds, from_mm: f64, zero_mm: f64) -> Option<StopCause> {
        if seen.emergency {
            return Some(StopCause::EmergencyStop);
        }
        if seen.silence_us.is_none_or(|silence| silence >= LINK_LOST_US) {
            return Some(StopCause::LinkLost);
        }
        let Some(at) = seen.indicator_mm else { return Some(StopCause::IndicatorFault) };
        if is_beyond(at, bounds.range_mm) {
            return Some(StopCause::IndicatorRange);
        }
        if is_beyond((seen.command_mm - from_mm) - (at - zero_mm), bounds.following_mm) {
            return Some(StopCause::NotFollowing);
        }
        None
    }
}

/// Beyond a bound on either side, or not a number.
fn is_beyond(value: f64, bound: f64) -> bool {
    value.is_nan() || bound.is_nan() || libm::fabs(value) > bound
}

#[cfg(test)]
mod tests {
    use super::*;

    const CALM: Sight =
        Sight { silence_us: Some(0), emergency: false, command_mm: 0.0, indicator_mm: Some(0.0) };

    const BOUNDS: Bounds = Bounds { range_mm: 10.0, following_mm: 0.5 };

    fn permit(low: i32, high: i32, speed: f64) -> Permit {
        Permit { low, high, limits: Limits { speed, acceleration: 1.0 } }
    }

    fn armed() -> Guard {
        let mut guard = Guard::new();
        assert_eq!(guard.arm(permit(0, 1, 1.0), BOUNDS, &CALM), Ok(()));
        guard
    }

    #[test]
    fn each_cause_disarms_and_is_told_once() {
        for (seen, cause) in [
            (Sight { emergency: true, ..CALM }, StopCause::EmergencyStop),
            (Sight { silence_us: Some(LINK_LOST_US), ..CALM }, StopCause::LinkLost),
            (Sight { silence_us: None, ..CALM }, StopCause::LinkLost),
            (Sight { indicator_mm: None, ..CALM }, StopCause::IndicatorFault),
            (Sight { indicator_mm: Some(10.001), command_mm: 10.0, ..CALM }, StopCause::IndicatorRange),
            (Sight { indicator_mm: Some(f64::NAN), ..CALM }, StopCause::IndicatorRange),
            (Sight { indicator_mm: Some(0.501), ..CALM }, StopCause::NotFollowing),
            (Sight { command_mm: f64::NAN, ..CALM }, StopCause::NotFollowing),
        ] {
            let mut guard = armed();
            assert_eq!(guard.watch(&CALM), None);
            assert_eq!(guard.watch(&seen), Some(cause));
            assert_eq!(guard.permit(), None);
            assert_eq!(guard.watch(&seen), None);
        }
    }

    #[test]
    fn nothing_is_armed_against_a_reason() {
        let mut guard = armed();
        for (permit, seen, refusal) in [
            (permit(1, 0, 1.0), CALM, Refusal::BeyondLimits),
            (permit(0, 1, f64::NAN), CALM, Refusal::BeyondLimits),
            (permit(0, 1, 1.0), Sight { emergency: true, ..CALM }, Refusal::EmergencyStop),
            (permit(0, 1, 1.0), Sight { indicator_mm: None, ..CALM }, Refusal::Indicator),
            (permit(0, 1, 1.0), Sight { indicator_mm: Some(-10.001), ..CALM }, Refusal::Indicator),
        ] {
            assert_eq!(guard.arm(permit, BOUNDS, &seen), Err(refusal));
            assert_eq!(guard.permit(), None);
        }
    }
}
