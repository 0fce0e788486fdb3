//! What is known of the indicator and the machine, on the command line: the keys of a readings file.

use crate::readings::keys::Keys;
use crate::refusal::Refusal;
use crate::units::{LengthArg, number, word};
use takeup_core::axis::Direction;
use takeup_core::length::{Length, Unit};

/// The keys, as typed; flatten them into the `Args` of a command.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct KeyArgs {
    /// Lost motion allowed
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    limit: Option<LengthArg>,
    /// Smallest step in which the indicator is read
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    resolution: Option<LengthArg>,
    /// Largest error of the indicator over the span used, plus or minus
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    indicator_error: Option<LengthArg>,
    /// What the indicator itself may add to a reversal, full width
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    indicator_hysteresis: Option<LengthArg>,
    /// Degrees between the stylus motion and the axis, below 90
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true, value_parser = number)]
    angle: Option<f64>,
    /// Pitch of the screw
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pitch: Option<LengthArg>,
    /// + if the reading grows as the axis moves +, else -
    #[arg(long, value_name = "+|-", allow_hyphen_values = true, value_parser = sense)]
    sense: Option<Direction>,
    /// Name of the machine
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
}

fn sense(text: &str) -> Result<Direction, String> {
    text.parse().ok().and_then(Direction::from_sign).ok_or_else(|| "+ or - was expected".to_owned())
}

impl KeyArgs {
    /// The flags as keys, in millimetres; lengths without a unit are in `units`.
    ///
    /// # Errors
    /// When one is out of range.
    pub fn keys(&self, units: Unit) -> Result<Keys, Refusal> {
        let mm = |arg: Option<LengthArg>| arg.map(|arg| arg.mm(units));
        let keys = Keys {
            limit_mm: mm(self.limit),
            resolution_mm: mm(self.resolution),
            indicator_error_mm: mm(self.indicator_error),
            hysteresis_mm: mm(self.indicator_hysteresis),
            angle_deg: self.angle,
            pitch_mm: mm(self.pitch),
            sense: self.sense,
            machine: self.machine.clone(),
            ..Keys::default()
        };
        match keys.setup().checked() {
            Ok(_) => Ok(keys),
            Err(what) => Err(Refusal::new(
                format!("--{} is out of range: {} was expected", what.key, what.allowed),
                "Correct the option.",
            )),
        }
    }

    /// The pitch of the screw, if it was given.
    #[must_use]
    pub fn pitch(&self, units: Unit) -> Option<Length> {
        self.pitch.map(|pitch| pitch.length(units))
    }

    /// The flags that were given, as lines at the head of a readings file in `units`.
    #[must_use]
    pub fn lines(&self, units: Unit) -> String {
        let length = |arg: Option<LengthArg>| arg.map(|arg| word(arg.length(units), units));
        // A line end in a name would begin a row of its own.
        let machine = self.machine.as_ref().map(|name| name.replace(char::is_control, " "));
        [
            ("machine", machine),
            ("limit", length(self.limit)),
            ("resolution", length(self.resolution)),
            ("indicator-error", length(self.indicator_error)),
            ("indicator-hysteresis", length(self.indicator_hysteresis)),
            ("angle", self.angle.map(|angle| angle.to_string())),
            ("pitch", length(self.pitch)),
            ("sense", self.sense.map(|sense| sense.to_string())),
        ]
        .into_iter()
        .filter_map(|(key, value)| Some(format!("# {key}: {}\n", value?)))
        .collect()
    }
}
