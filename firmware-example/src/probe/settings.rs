//! What the box keeps of the machine that it is wired to.

use super::guard::Bounds;
use serde::{Deserialize, Serialize};
use takeup_core::axis::Axis;
use takeup_core::length::Length;
use takeup_core::link::settings::{Setting, SettingName};

/// The settings; each can be changed alone by the host. Speeds in counts of 0.1 nm per second.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// The axis that the box drives.
    pub axis: Axis,
    /// The lower soft limit.
    pub low: Length,
    /// The upper soft limit.
    pub high: Length,
    /// The highest speed.
    pub speed: i64,
    /// The highest speed from which the drive stops at once without losing a step.
    pub start_stop: i64,
    /// Speeding up and slowing down, per second squared.
    pub acceleration: i64,
    /// The motion by one step; negative where a high direction pin moves the axis `-`.
    pub step: Length,
    /// The indicator must stay within plus and minus this, from where it stood at the start.
    pub range: Length,
    /// The indicator may be away from the command by this at most.
    pub following: Length,
}

/// A value that makes no sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Senseless;

const fn mm(value: i64) -> Length {
    Length::from_counts(value.saturating_mul(10_000_000))
}

impl Settings {
    /// A vertical axis with a screw of 5 mm pitch and a drive of 3200 steps a turn; slow, and with no more
    /// room than an indicator has. Set it up for the machine before the first run.
    pub const CAREFUL: Settings = Settings {
        axis: Axis::Z,
        low: mm(-5),
        high: mm(5),
        speed: mm(5).counts(),
        start_stop: mm(5).counts(),
        acceleration: mm(20).counts(),
        step: Length::from_counts(15_625),
        range: mm(10),
        following: Length::from_counts(4_000_000),
    };

    /// The value of a setting.
    #[must_use]
    pub const fn get(&self, name: SettingName) -> Setting {
        match name {
            SettingName::Axis => Setting::Axis(self.axis),
            SettingName::Low => Setting::Low(self.low),
            SettingName::High => Setting::High(self.high),
            SettingName::Speed => Setting::Speed(self.speed),
            SettingName::StartStop => Setting::StartStop(self.start_stop),
            SettingName::Acceleration => Setting::Acceleration(self.acceleration),
            SettingName::Step => Setting::Step(self.step),
            SettingName::Range => Setting::Range(self.range),
            SettingName::Following => Setting::Following(self.following),
        }
    }

    /// Changes a setting.
    ///
    /// # Errors
    /// When it could not be worked with whatever the others are.
    pub fn set(&mut self, setting: Setting) -> Result<(), Senseless> {
        let mut changed = *self;
        match setting {
            Setting::Axis(axis) => changed.axis = axis,
            Setting::Low(low) => changed.low = low,
            Setting::High(high) => changed.high = high,
            Setting::Speed(speed) => changed.speed = speed,
            Setting::StartStop(speed) => changed.start_stop = speed,
            Setting::Acceleration(acceleration) => changed.acceleration = acceleration,
            Setting::Step(step) => changed.step = step,
            Setting::Range(range) => changed.range = range,
            Setting::Following(following) => changed.following = following,
        }
        if !changed.makes_sense() {
            return Err(Senseless);
        }
        *self = changed;
        Ok(())
    }

    /// Whether each value is in a range that arithmetic and machines can bear. Limits the wrong way round
    /// are let pass here, so that both can be changed one after another; with them nothing can be armed.
    #[must_use]
    pub fn makes_sense(&self) -> bool {
        /// Longer than any travel: 100 m.
        const FAR: Length = mm(100_000);
        // 0.01 µm to 10 mm.
        let step = self.step.saturating_abs().counts();
        let sane = |value: i64| value > 0 && value <= FAR.counts();
        self.low.saturating_abs() <= FAR
            && self.high.saturating_abs() <= FAR
            && (100..=mm(10).counts()).contains(&step)
            && sane(self.speed)
            && sane(self.start_stop)
            && sane(self.acceleration)
            && sane(self.range.counts())
            && sane(self.following.counts())
    }

    /// Steps per second for a speed in counts of 0.1 nm per second.
    #[must_use]
    pub fn steps_per_s(&self, speed: i64) -> f64 {
        speed as f64 / self.step.saturating_abs().counts() as f64
    }

    /// The motion by one step in millimetres.
    #[must_use]
    pub fn step_mm(&self) -> f64 {
        self.step.as_mm()
    }

    /// The bounds on the indicator.
    #[must_use]
    pub fn bounds(&self) -> Bounds {
        Bounds { range_mm: self.range.as_mm(), following_mm: self.following.as_mm() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_is_given_as_it_was_set() {
        let mut settings = Settings::CAREFUL;
        for setting in [
            Setting::Axis(Axis::X),
            Setting::Low(mm(-300)),
            Setting::High(mm(7)),
            Setting::Speed(9),
            Setting::StartStop(8),
            Setting::Acceleration(7),
            Setting::Step(Length::from_counts(-12_500)),
            Setting::Range(mm(4)),
            Setting::Following(mm(1)),
        ] {
            assert_eq!(settings.set(setting), Ok(()));
            assert_eq!(settings.get(setting.name()), setting);
        }
        let kept = settings;
        for senseless in [
            Setting::Speed(0),
            Setting::Speed(i64::MAX),
            Setting::StartStop(-1),
            Setting::Acceleration(0),
            Setting::Step(Length::ZERO),
            Setting::Step(Length::from_counts(i64::MIN)),
            Setting::Low(Length::from_counts(i64::MIN)),
            Setting::Range(Length::ZERO),
            Setting::Following(mm(-1)),
        ] {
            assert_eq!(settings.set(senseless), Err(Senseless));
            assert_eq!(settings, kept);
        }
        assert!(Settings::CAREFUL.makes_sense());
    }
}
