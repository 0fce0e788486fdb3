//! The settings of a box (section 6): what it keeps of the machine it is wired to.

use crate::axis::Axis;
use crate::length::Length;
use serde::{Deserialize, Serialize};

/// A setting with its value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Setting {
    /// The axis it drives.
    Axis(Axis),
    /// The lower soft limit.
    Low(Length),
    /// The upper soft limit.
    High(Length),
    /// The highest speed, in counts of 0.1 nm per second.
    Speed(i64),
    /// The highest speed from which the drive stops at once without losing a step, likewise.
    StartStop(i64),
    /// Speeding up and slowing down, in counts of 0.1 nm per second squared.
    Acceleration(i64),
    /// The motion of the axis by one step; negative where a high direction pin moves it `-`.
    Step(Length),
    /// The indicator must stay within plus and minus this, from where it stood at the start.
    Range(Length),
    /// The indicator may be away from the command by this: the largest lost motion expected, and some.
    Following(Length),
}

/// The name of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SettingName {
    /// [`Setting::Axis`].
    Axis,
    /// [`Setting::Low`].
    Low,
    /// [`Setting::High`].
    High,
    /// [`Setting::Speed`].
    Speed,
    /// [`Setting::StartStop`].
    StartStop,
    /// [`Setting::Acceleration`].
    Acceleration,
    /// [`Setting::Step`].
    Step,
    /// [`Setting::Range`].
    Range,
    /// [`Setting::Following`].
    Following,
}

impl SettingName {
    /// All names, in the order of their numbers.
    pub const ALL: [SettingName; 9] = [
        SettingName::Axis,
        SettingName::Low,
        SettingName::High,
        SettingName::Speed,
        SettingName::StartStop,
        SettingName::Acceleration,
        SettingName::Step,
        SettingName::Range,
        SettingName::Following,
    ];

    /// The name on a command line and in documents.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            SettingName::Axis => "axis",
            SettingName::Low => "low",
            SettingName::High => "high",
            SettingName::Speed => "speed",
            SettingName::StartStop => "start-stop",
            SettingName::Acceleration => "acceleration",
            SettingName::Step => "step",
            SettingName::Range => "range",
            SettingName::Following => "following",
        }
    }
}

impl Setting {
    /// Its name.
    #[must_use]
    pub const fn name(&self) -> SettingName {
        match self {
            Setting::Axis(_) => SettingName::Axis,
            Setting::Low(_) => SettingName::Low,
            Setting::High(_) => SettingName::High,
            Setting::Speed(_) => SettingName::Speed,
            Setting::StartStop(_) => SettingName::StartStop,
            Setting::Acceleration(_) => SettingName::Acceleration,
            Setting::Step(_) => SettingName::Step,
            Setting::Range(_) => SettingName::Range,
            Setting::Following(_) => SettingName::Following,
        }
    }
}
