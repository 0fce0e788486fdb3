//! The likely cause of lost motion, argued from evidence.
//!
//! Each cause that the readings could speak of is a model of them; its weight is the likelihood of
//! the readings under it, with a penalty for each free parameter (the criterion of G. Schwarz, Annals
//! of Statistics 6, 1978), times how common the cause is. Weights add up to 1.

use crate::measure::reversal::Assessment;
use crate::measure::{Estimate, Kind, Setup};
use heapless::Vec;

/// A cause of lost or irregular motion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Name {
    /// A gap between drive and table.
    Clearance,
    /// Friction against a springy drive.
    WindUp,
    /// A coupling or belt that creeps: positions are not returned to.
    Slip,
    /// Clearance that depends on the place, as of a screw worn where it works most.
    WornTravel,
    /// The screw's pitch is not what the control believes.
    LeadError,
    /// An error that repeats with every turn of the screw.
    Periodic,
    /// Growth by temperature.
    Thermal,
    /// Ways that hold and jump.
    Sticking,
    /// The indicator or its stand, not the machine.
    IndicatorSetup,
    /// A compensation already in the control is larger than the lost motion.
    OverCorrected,
    /// Nothing is shown to be wrong.
    NoneShown,
}

impl Name {
    /// The name in documents.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Name::Clearance => "clearance",
            Name::WindUp => "wind-up",
            Name::Slip => "slip",
            Name::WornTravel => "worn-travel",
            Name::LeadError => "lead-error",
            Name::Periodic => "periodic",
            Name::Thermal => "thermal",
            Name::Sticking => "sticking",
            Name::IndicatorSetup => "indicator-setup",
            Name::OverCorrected => "over-corrected",
            Name::NoneShown => "none-shown",
        }
    }

    /// Whether a correction of programs or set-points can take it away.
    #[must_use]
    pub const fn correctable(self) -> bool {
        match self {
            Name::Clearance
            | Name::WindUp
            | Name::WornTravel
            | Name::LeadError
            | Name::Periodic
            | Name::OverCorrected => true,
            Name::Slip | Name::Thermal | Name::Sticking | Name::IndicatorSetup | Name::NoneShown => false,
        }
    }
}

/// A number that speaks for or against a cause. Lengths are millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Evidence {
    /// The lost motion is shown to be there: its interval leaves out zero.
    LostMotionShown(Estimate),
    /// The interval of the lost motion holds zero.
    LostMotionNotShown(Estimate),
    /// The axis moves farther than commanded after a reversal.
    NegativeLostMotion(Estimate),
    /// The readings repeat to this standard deviation.
    Repeats {
        /// Standard deviation of one reading.
        s_mm: f64,
    },
    /// The readings do not repeat.
    DoesNotRepeat {
        /// Standard deviation of one reading.
        s_mm: f64,
        /// What the indicator alone would explain.
        indicator_mm: f64,
    },
    /// The lost motion is the same along the travel, as far as can be told.
    SameAlongTravel {
        /// The largest less the smallest.
        difference_mm: f64,
        /// What the readings could not tell from zero.
        expanded_mm: f64,
    },
    /// The lost motion differs along the travel by more than the readings' uncertainty.
    DiffersAlongTravel {
        /// The largest less the smallest.
        difference_mm: f64,
        /// What the readings could not tell from zero.
        expanded_mm: f64,
    },
    /// The place drifted while the readings were taken.
    Drifted {
        /// From the first reading to the last.
        over_test_mm: f64,
    },
    /// The indicator's own hysteresis could explain what is seen.
    WithinHysteresis {
        /// Full width.
        hysteresis_mm: f64,
    },
    /// So many readings were set aside as misread.
    SetAside {
        /// Set aside.
        count: u32,
        /// Of so many.
        of: u32,
    },
    /// A test of this kind cannot tell the cause from another.
    NotTold {
        /// The other cause.
        from: Name,
    },
}

/// A cause with its weight and the evidence for it.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Cause {
    /// The cause.
    pub cause: Name,
    /// Its weight; the weights of all causes add up to 1.
    pub weight: f64,
    /// Numbers that speak for it.
    pub evidence: Vec<Evidence, 4>,
    /// The test that would tell most.
    pub next: Option<Kind>,
}

/// The causes that readings can speak of, the likeliest first.
pub type Causes = Vec<Cause, 11>;

/// The likely causes as far as a reversal test can tell.
#[must_use]
pub fn of_reversal<const S: usize>(result: &Assessment<S>, setup: &Setup) -> Causes {
    let lost = result.lost_motion;
    let z = if lost.standard_uncertainty > 0.0 { lost.value / lost.standard_uncertainty } else { 0.0 };
    let shown = libm::fabs(lost.value) > lost.expanded_95();
    let mut causes = Causes::new();
    let against_zero = libm::exp(-0.5 * libm::fmin(z * z, 1400.0));
    let mut add = |cause, weight: f64, evidence: &[Evidence], next| {
        let evidence = evidence.iter().copied().take(4).collect();
        // Eleven causes, room for eleven.
        let _ = causes.push(Cause { cause, weight, evidence, next });
    };
    let repeats = Evidence::Repeats { s_mm: result.repeatability_mm };
    let _ = setup;
    if lost.value >= 0.0 {
        let first = if shown { Evidence::LostMotionShown(lost) } else { Evidence::LostMotionNotShown(lost) };
        add(
            Name::Clearance,
            0.6,
            &[first, repeats, Evidence::NotTold { from: Name::WindUp }],
            Some(Kind::SmallSteps),
        );
        add(Name::WindUp, 0.1, &[first, Evidence::NotTold { from: Name::Clearance }], Some(Kind::SmallSteps));
    } else {
        add(Name::OverCorrected, 0.7, &[Evidence::NegativeLostMotion(lost), repeats], None);
    }
    add(Name::NoneShown, 4.0 * against_zero, &[Evidence::LostMotionNotShown(lost)], None);
    let sum: f64 = causes.iter().map(|c| c.weight).sum();
    for cause in &mut causes {
        cause.weight /= sum;
    }
    causes.sort_unstable_by(|a, b| b.weight.total_cmp(&a.weight));
    causes
}
