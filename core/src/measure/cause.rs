//! The likely cause of lost motion, argued from evidence.
//!
//! Each cause that the readings could speak of is a model of them; its weight is the likelihood of
//! the readings under it, its unknown sizes integrated out (R. E. Kass and A. E. Raftery, "Bayes
//! factors", Journal of the American Statistical Association 90, 1995), times how common it is. Weights add up to 1.
//!
//! The usual sizes below are common practice, no source.
//!
//! - here: the causes and the evidence there is for them;
//! - [`of_reversal`], [`of_positioning`] and the like: what one test says of them;
//! - [`joint`]: what several tests of one sitting say together.

pub mod joint;
mod reversal;
mod single;

pub use reversal::{of_positioning, of_reversal};
pub use single::{of_indicator, of_push_pull, of_warm_up};

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
    /// All causes.
    pub const ALL: [Name; 11] = [
        Name::Clearance,
        Name::WindUp,
        Name::Slip,
        Name::WornTravel,
        Name::LeadError,
        Name::Periodic,
        Name::Thermal,
        Name::Sticking,
        Name::IndicatorSetup,
        Name::OverCorrected,
        Name::NoneShown,
    ];

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
    /// Length gained per length commanded, and the length over which it was seen.
    LeadError {
        /// A ratio.
        per_length: Estimate,
        /// From the first target to the last.
        span_mm: f64,
    },
    /// The amplitude of an error that repeats with every turn of the screw.
    PeriodicError(Estimate),
    /// The clearance crossed by a known force, the drive holding.
    UnderLoad {
        /// The clearance.
        clearance: Estimate,
        /// It was crossed, or looked for, from this force in newtons.
        least_n: f64,
        /// To this force.
        most_n: f64,
    },
    /// The place grew while it was watched.
    Grew {
        /// By so much.
        seen: Estimate,
        /// Within so many seconds.
        span_s: f64,
    },
    /// The dial itself lags on a reversal.
    DialLags(Estimate),
    /// The travel in which nothing moves after a reversal.
    DeadBand(Estimate),
    /// The travel lost to wind-up.
    WindUp(Estimate),
    /// The table holds while the drive pulls, and then jumps.
    HoldsAndJumps {
        /// Steps at which it held.
        held: u32,
        /// Steps at which the drive pulled.
        of: u32,
        /// The mean jump.
        jump_mm: f64,
    },
    /// What is lost at each lift.
    SlipPerLift(Estimate),
    /// What is lost differs from lift to lift.
    SlipDiffers {
        /// Standard deviation of the slip of one lift.
        s_mm: f64,
    },
    /// Drift in millimetres per hour.
    DriftPerHour(Estimate),
    /// Slip and drift together, from one return to the next.
    TrendPerReturn(Estimate),
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

/// How much likelier an effect of a usual size is than none, as a logarithm; few degrees of freedom make
/// chance wider.
fn effect_log_odds(effect: &Estimate, usual_mm: f64) -> f64 {
    effect_of(1.0, effect, usual_mm)
}

/// The same of an effect that is the size of so many coefficients, one or two, that chance has each to itself: of two, such
/// as the sine and the cosine of a wave, chance makes more.
fn effect_of(coefficients: f64, effect: &Estimate, usual_mm: f64) -> f64 {
    const TURN: f64 = 2.0 * core::f64::consts::PI;
    let half = 0.5 * coefficients;
    let wide = effect.dof / libm::fmax(effect.dof - 2.0, 0.5);
    let u2 = effect.standard_uncertainty * effect.standard_uncertainty * libm::fmax(wide, 1.0) + 1e-8;
    // The t distribution, of as many variates, in place of the normal one: chance throws far values more often.
    let nu = libm::fmax(effect.dof.min(1e6), 1.0);
    let z2 = effect.value * effect.value / u2;
    let chance = -0.5 * (nu + coefficients) * libm::log1p(z2 / nu) - half * libm::log(TURN * u2);
    // A normal distribution with the tails of a Cauchy distribution: now and then an effect is far larger than usual.
    let scale2 = u2 + usual_mm * usual_mm;
    let x2 = effect.value * effect.value / scale2;
    let middle = -0.5 * x2 - half * libm::log(TURN);
    // What a Cauchy distribution of one variate has before its power is 1 / π, of two 1 / 2π.
    let tails = -(half + 0.5) * libm::log1p(x2) - libm::log(coefficients * core::f64::consts::PI);
    let usual = libm::fmax(middle, tails) - half * libm::log(scale2);
    usual - chance
}

/// How common an effect is that is there or not, as a logarithm of its odds.
const UNCOMMON: f64 = -1.5;

/// The same, with how common an effect is.
pub(in crate::measure) fn shown_log_odds(effect: &Estimate, usual_mm: f64) -> f64 {
    effect_log_odds(effect, usual_mm) + UNCOMMON
}

/// Adds a cause that is there or not beside the others: where it is, it shares their weight by half, and
/// takes that of nothing being shown.
pub(in crate::measure) fn admit(causes: &mut Causes, name: Name, log_odds: f64, evidence: Evidence) {
    let there = 1.0 / (1.0 + libm::exp(-log_odds));
    let mut weight = 0.0;
    for cause in causes.iter_mut() {
        let taken = if cause.cause == Name::NoneShown { there } else { 0.5 * there } * cause.weight;
        cause.weight -= taken;
        weight += taken;
    }
    let evidence = [evidence].into_iter().collect();
    // Eleven causes, room for eleven.
    let _ = causes.push(Cause { cause: name, weight, evidence, next: None });
}

/// How much likelier a scatter is that of something loose about the indicator than that of a sound axis, as a
/// logarithm; a loose one is the rarer (common practice, no source).
pub(in crate::measure) fn loose_log_odds(s_mm: f64, setup: &Setup) -> f64 {
    scatter_log_odds(s_mm, setup) - 2.0
}

/// The same, but for how common it is.
fn scatter_log_odds(s_mm: f64, setup: &Setup) -> f64 {
    let least = 0.3 * setup.resolution_mm + 1e-4;
    let size = libm::log(s_mm + least);
    let scatter = |usual: f64, spread: f64| {
        let z = (size - libm::log(usual + least)) / spread;
        -0.5 * z * z - libm::log(spread)
    };
    if s_mm < SOUND_SCATTER_MM {
        return f64::NEG_INFINITY;
    }
    scatter(LOOSE_SCATTER_MM, LOOSE_SPREAD) - scatter(SOUND_SCATTER_MM, SOUND_SPREAD)
}

/// The likeliest first.
pub(in crate::measure) fn sort_by_weight(causes: &mut Causes) {
    causes.sort_unstable_by(|a, b| b.weight.total_cmp(&a.weight));
}

/// Lost motion worth looking at lies between these, any size as likely as any other in proportion, mm.
pub(in crate::measure) const SIZES_MM: (f64, f64) = (0.001, 1.0);
/// What a sound axis and a good indicator scatter by, mm, and the spread of that as a factor e^x.
const SOUND_SCATTER_MM: f64 = 0.002;
const SOUND_SPREAD: f64 = 0.6;
/// The same where something is loose.
const LOOSE_SCATTER_MM: f64 = 0.02;
const LOOSE_SPREAD: f64 = 0.8;
