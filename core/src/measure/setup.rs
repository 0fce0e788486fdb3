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

    /// The standard uncertainty of a length along the axis by that of the angle, as a share of the length: a dial is
    /// set up to about 2 degrees (common practice, no source).
    #[must_use]
    pub fn alignment_share(&self) -> f64 {
        self.share_of_angle(2.0)
    }

    /// The same for a scale as long as the travel, set parallel to 0.3 degrees: 1.6 mm in 300 mm are seen by eye
    /// (common practice, no source).
    #[must_use]
    pub(crate) fn scale_alignment_share(&self) -> f64 {
        self.share_of_angle(0.3)
    }

    /// The root mean square error of a length, as a share of it, where the angle is off by anything up to so many
    /// degrees, any as likely as any other (a rectangular distribution: JCGM 100, 4.3.7; square angle included, since at no
    /// angle that is all there is, as in its F.2.4.4).
    fn share_of_angle(&self, off_deg: f64) -> f64 {
        let off2 = (off_deg * PI / 180.0) * (off_deg * PI / 180.0);
        let slope = libm::tan(self.angle_deg * PI / 180.0);
        libm::sqrt(off2 * off2 / 20.0 + slope * slope * off2 / 3.0)
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

#[cfg(test)]
mod tests {
    use super::*;

    // The mean square of the error over angles that are off by anything up to so much, summed in small steps.
    #[test]
    fn the_share_of_an_angle_is_that_of_its_error() {
        for (angle_deg, off_deg) in [(0.0, 2.0), (0.0, 0.3), (12.0, 2.0), (-40.0, 2.0)] {
            let setup = Setup { angle_deg, ..Setup::default() };
            let steps = 10_000;
            let squares = (0..steps).map(|n| {
                let off = off_deg * (2.0 * (f64::from(n) + 0.5) / f64::from(steps) - 1.0);
                ((angle_deg + off).to_radians().cos() / setup.cosine() - 1.0).powi(2)
            });
            let root = (squares.sum::<f64>() / f64::from(steps)).sqrt();
            let share = setup.share_of_angle(off_deg);
            assert!((share / root - 1.0).abs() < 2e-3, "{angle_deg} {off_deg}: {share}, not {root}");
        }
    }
}
