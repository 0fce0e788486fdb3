//! What is known of the indicator, how it stands, and the limit to be met.

use crate::axis::Direction;
use crate::measure::uncertainty::rectangular;
use core::f64::consts::PI;
use core::fmt;

/// The circumstances of a set of readings. Lengths are millimetres on the dial.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Setup {
    /// The smallest step in which the indicator is read (full width); 0 if not known.
    pub resolution_mm: f64,
    /// ± largest error of the indicator over the span used; 0 if not known.
    pub indicator_error_mm: f64,
    /// Full width: the indicator itself may add from nothing up to this to every reversal it sees; from a push and pull
    /// it takes as much.
    pub hysteresis_mm: f64,
    /// Degrees between the stylus motion and the axis; motion = reading × cos.
    pub angle_deg: f64,
    /// The axis direction in which the reading grows.
    pub sense: Direction,
    /// The lost motion allowed, if a decision is wanted.
    pub limit_mm: Option<f64>,
    /// The pitch of the screw, if known.
    pub pitch_mm: Option<f64>,
}

impl Default for Setup {
    fn default() -> Self {
        Self {
            resolution_mm: 0.0,
            indicator_error_mm: 0.0,
            hysteresis_mm: 0.0,
            angle_deg: 0.0,
            sense: Direction::Plus,
            limit_mm: None,
            pitch_mm: None,
        }
    }
}

/// A value of a setup that cannot be.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OutOfRange {
    /// The key as readings files write it.
    pub key: &'static str,
    /// What was found.
    pub found: f64,
    /// What is allowed.
    pub allowed: &'static str,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is {}, but must be {}", self.key, self.found, self.allowed)
    }
}

impl core::error::Error for OutOfRange {}

impl Setup {
    /// The setup itself if every value can be, else the first that cannot.
    pub fn checked(self) -> Result<Self, OutOfRange> {
        const LENGTH: &str = "a length of 0 or more";
        let lengths = [
            ("resolution", self.resolution_mm),
            ("indicator-error", self.indicator_error_mm),
            ("indicator-hysteresis", self.hysteresis_mm),
            ("limit", self.limit_mm.unwrap_or(0.0)),
        ];
        for (key, found) in lengths {
            if !(found.is_finite() && found >= 0.0) {
                return Err(OutOfRange { key, found, allowed: LENGTH });
            }
        }
        if !(self.angle_deg.is_finite() && libm::fabs(self.angle_deg) < 90.0) {
            return Err(OutOfRange { key: "angle", found: self.angle_deg, allowed: "less than 90 degrees" });
        }
        match self.pitch_mm {
            Some(found) if !(found.is_finite() && found > 0.0) => {
                Err(OutOfRange { key: "pitch", found, allowed: "a length above 0" })
            }
            _ => Ok(self),
        }
    }

    /// The factor that makes motion along the axis, in its own sense, of a difference of readings.
    #[must_use]
    pub fn motion_per_reading(&self) -> f64 {
        self.sense.signum() * self.cosine()
    }

    /// The standard uncertainty of a length along the axis by that of the angle, as a share of the length: the
    /// angle is known to about 2 degrees (common practice, no source).
    #[must_use]
    pub fn alignment_share(&self) -> f64 {
        let angle = libm::fabs(self.angle_deg) * PI / 180.0;
        let off = 2.0 * PI / 180.0;
        let (low, high) = (libm::cos(angle + off), libm::cos(libm::fmax(angle - off, 0.0)));
        rectangular(0.5 * (high - low)) / self.cosine()
    }

    /// The variance of a reading, in mm² along the axis, below which no noise is believed: that of the dial's rounding,
    /// and at least that of a dial.
    pub(crate) fn least_variance(&self) -> f64 {
        /// No dial scatters less, in mm.
        const LEAST_NOISE_MM: f64 = 2e-5;
        let rounding = rectangular(0.5 * self.resolution_mm) * self.cosine();
        libm::fmax(rounding * rounding, LEAST_NOISE_MM * LEAST_NOISE_MM)
    }

    /// The cosine of the angle: lengths on the dial times this are lengths along the axis.
    #[must_use]
    pub fn cosine(&self) -> f64 {
        libm::cos(self.angle_deg * PI / 180.0)
    }
}
