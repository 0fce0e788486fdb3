//! The likely cause of lost motion, argued from evidence.
//!
//! Each cause that the readings could speak of is a model of them; its weight is the likelihood of
//! the readings under it, its unknown sizes integrated out (R. E. Kass and A. E. Raftery, "Bayes
//! factors", Journal of the American Statistical Association 90, 1995), times how common it is. Weights add up to 1.
//!
//! The usual sizes below are common practice, no source.

mod single;

pub use single::{of_indicator, of_push_pull, of_warm_up};

use crate::measure::positioning::Positioning;
use crate::measure::reversal::{Assessment, Station};
use crate::measure::uncertainty::Source;
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

/// The likely causes as far as a reversal test can tell.
///
/// The readings are compared under every pair of a *shape* of lost motion (none, the same everywhere,
/// different along the travel, negative) and a *manner* of wandering (steady, growing, slipping, the
/// indicator). A cause has the weight of all pairs that hold it; where a pair holds two, each has half.
#[must_use]
pub fn of_reversal<const S: usize>(result: &Assessment<S>, setup: &Setup) -> Causes {
    weigh(result, setup, |_| 0.0)
}

/// The causes; `known_mm` is the part of a station's lost motion that has another reason.
fn weigh<const S: usize>(
    result: &Assessment<S>,
    setup: &Setup,
    known_mm: impl Fn(&Station) -> f64,
) -> Causes {
    let manners = manners(result);
    let steady = shapes(result, |s| (s.lost_motion.value - known_mm(s), s.repeatability_mm));
    // A drive that slips shifts one approach against the other, and that is not lost motion.
    let slipping = shapes(result, |s| (f64::from(s.slipping_mm.0) - known_mm(s), f64::from(s.slipping_mm.1)));
    let mut weights = [(Name::NoneShown, 0.0); 11];
    for (slot, name) in weights.iter_mut().zip(Name::ALL) {
        slot.0 = name;
    }
    let under = |manner: Name| if manner == Name::Slip { &slipping } else { &steady };
    let highest = |list: &[(Name, f64)]| list.iter().map(|l| l.1).fold(f64::NEG_INFINITY, f64::max);
    let top = manners.iter().map(|m| m.1 + highest(under(m.0))).fold(f64::NEG_INFINITY, f64::max);
    let mut total = 0.0;
    for &(manner, manner_log) in &manners {
        for &(shape, shape_log) in under(manner) {
            let weight = libm::exp(shape_log + manner_log - top);
            total += weight;
            let faults = if shape == Name::NoneShown || manner == Name::NoneShown { 1.0 } else { 2.0 };
            let sound = shape == Name::NoneShown && manner == Name::NoneShown;
            for slot in &mut weights {
                let held = slot.0 == shape || slot.0 == manner;
                if held && (slot.0 != Name::NoneShown || sound) {
                    slot.1 += weight / faults;
                }
            }
        }
    }
    let mut causes = Causes::new();
    for (name, weight) in weights {
        if weight > 0.0 {
            let (evidence, next) = argue(name, result, setup);
            // Eleven causes, room for eleven.
            let _ = causes.push(Cause { cause: name, weight: weight / total, evidence, next });
        }
    }
    causes.sort_unstable_by(|a, b| b.weight.total_cmp(&a.weight));
    causes
}

/// The usual size of a lead error over the span of a test, and of a periodic error, mm.
const LEAD_MM: f64 = 0.05;
const PERIODIC_MM: f64 = 0.02;

/// The likely causes as far as a positioning test can tell: those of its reversal values, and with
/// them the errors of the screw, each for itself there or not.
#[must_use]
pub fn of_positioning<const S: usize>(
    result: &Assessment<S>,
    positioning: &Positioning,
    setup: &Setup,
) -> Causes {
    // An error of the screw is seen at two places of a turn, a lost motion apart, when approached from both sides.
    let mut causes = weigh(result, setup, |station| {
        let (Some(pitch), Some(periodic)) = (setup.pitch_mm, positioning.periodic) else { return 0.0 };
        let turn = 2.0 * core::f64::consts::PI / pitch;
        let phase = turn * station.target.as_mm() + periodic.phase_deg * core::f64::consts::PI / 180.0;
        2.0 * periodic.amplitude.value * libm::cos(phase) * libm::sin(0.5 * turn * result.lost_motion.value)
    });
    if let Some(per_length) = positioning.lead_error {
        let span_mm = positioning.span_mm;
        let log_odds = shown_log_odds(&per_length.scaled(span_mm), LEAD_MM);
        admit(&mut causes, Name::LeadError, log_odds, Evidence::LeadError { per_length, span_mm });
    }
    if let Some(periodic) = positioning.periodic {
        let log_odds = shown_log_odds(&periodic.amplitude, PERIODIC_MM);
        admit(&mut causes, Name::Periodic, log_odds, Evidence::PeriodicError(periodic.amplitude));
    }
    causes.sort_unstable_by(|a, b| b.weight.total_cmp(&a.weight));
    causes
}

/// How much likelier an effect of a usual size is than none, as a logarithm; few degrees of freedom make
/// chance wider.
pub(in crate::measure) fn shown_log_odds(effect: &Estimate, usual_mm: f64) -> f64 {
    let wide = effect.dof / libm::fmax(effect.dof - 2.0, 0.5);
    let u2 = effect.standard_uncertainty * effect.standard_uncertainty * libm::fmax(wide, 1.0) + 1e-8;
    // The t distribution in place of the normal one: chance throws far values more often.
    let nu = libm::fmax(effect.dof.min(1e6), 1.0);
    let z2 = effect.value * effect.value / u2;
    let chance = -0.5 * (nu + 1.0) * libm::log1p(z2 / nu) - 0.5 * libm::log(2.0 * core::f64::consts::PI * u2);
    // A normal distribution with the tails of a Cauchy distribution: now and then an effect is far larger than usual.
    let scale2 = u2 + usual_mm * usual_mm;
    let x2 = effect.value * effect.value / scale2;
    let middle = -0.5 * (x2 + libm::log(2.0 * core::f64::consts::PI));
    let tails = -libm::log1p(x2) - libm::log(core::f64::consts::PI);
    let usual = libm::fmax(middle, tails) - 0.5 * libm::log(scale2);
    usual - chance - 1.5
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
    let least = 0.3 * setup.resolution_mm + 1e-4;
    let size = libm::log(s_mm + least);
    let scatter = |usual: f64, spread: f64| {
        let z = (size - libm::log(usual + least)) / spread;
        -0.5 * z * z - libm::log(spread)
    };
    if s_mm < SOUND_SCATTER_MM {
        return f64::NEG_INFINITY;
    }
    scatter(LOOSE_SCATTER_MM, LOOSE_SPREAD) - scatter(SOUND_SCATTER_MM, SOUND_SPREAD) - 2.0
}

/// The likeliest first.
pub(in crate::measure) fn sort_by_weight(causes: &mut Causes) {
    causes.sort_unstable_by(|a, b| b.weight.total_cmp(&a.weight));
}

/// Lost motion worth looking at lies between these, any size as likely as any other in proportion, mm.
pub(in crate::measure) const SIZES_MM: (f64, f64) = (0.001, 1.0);
/// How much lost motion differs along a worn travel, mm.
const WEAR_MM: [f64; 4] = [0.01, 0.03, 0.1, 0.3];
/// What a machine grows from one reading to the next while a test is taken, mm.
const GROWTH_STEP_MM: f64 = 0.001;
/// What a sound axis and a good indicator scatter by, mm, and the spread of that as a factor e^x.
const SOUND_SCATTER_MM: f64 = 0.002;
const SOUND_SPREAD: f64 = 0.6;
/// The same where something is loose.
const LOOSE_SCATTER_MM: f64 = 0.02;
const LOOSE_SPREAD: f64 = 0.8;

/// The shapes of lost motion with the log likelihood of the stations under each.
fn shapes<const S: usize>(result: &Assessment<S>, lost: impl Fn(&Station) -> (f64, f64)) -> [(Name, f64); 5] {
    // What does not differ from station to station.
    let shared = result
        .budget
        .iter()
        .filter(|p| matches!(p.source, Source::IndicatorError | Source::IndicatorHysteresis))
        .map(|p| p.standard_uncertainty * p.standard_uncertainty)
        .sum::<f64>();
    let own = |station: &Station| {
        let repeatability = lost(station).1;
        // A t distribution has wider tails than a normal one of its scale.
        let wide = result.repeatability_dof / libm::fmax(result.repeatability_dof - 2.0, 0.5);
        repeatability * repeatability * libm::fmax(wide, 1.0)
            + station.rounding_mm * station.rounding_mm
            + 1e-8
    };
    let (mut weight, mut sum, mut logs) = (0.0, 0.0, 0.0);
    for station in &result.stations {
        let w = 1.0 / own(station);
        weight += w;
        sum += w * lost(station).0;
        logs += 0.5 * libm::log(w);
    }
    let centre = sum / weight;
    let chi2 = |about: f64| {
        result.stations.iter().map(|s| (lost(s).0 - about) * (lost(s).0 - about) / own(s)).sum::<f64>()
    };
    // The same everywhere: the common value integrated over any size in proportion.
    let variance = 1.0 / weight + shared;
    let sizes = libm::log(SIZES_MM.1 / SIZES_MM.0);
    let integrated = |sign: f64| {
        let size = libm::fmax(sign * centre, SIZES_MM.0);
        let miss = sign * centre - size;
        -0.5 * miss * miss / variance - libm::log(size * sizes) + 0.5 * libm::log(6.3 * variance)
    };
    let same = logs - 0.5 * chi2(centre);
    // What spreads the common value beyond the readings' own weight, shared, is a factor of all shapes and left out.
    let none = same - 0.5 * centre * centre / variance;
    let mut worn = f64::NEG_INFINITY;
    if result.stations.len() > 1 {
        for wear in WEAR_MM {
            let log: f64 = result
                .stations
                .iter()
                .map(|s| {
                    let v = own(s) + wear * wear;
                    let away = lost(s).0 - centre;
                    -0.5 * (away * away / v + libm::log(v))
                })
                .sum();
            worn = libm::fmax(worn, log - libm::log(WEAR_MM.len() as f64) + integrated(1.0));
        }
    }
    [
        (Name::NoneShown, none + 1.0),
        (Name::Clearance, same + integrated(1.0)),
        // A reversal test sees the same; a gap is the commoner of the two (common practice, no source).
        (Name::WindUp, same + integrated(1.0) - 1.5),
        (Name::OverCorrected, same + integrated(-1.0) - 0.7),
        (Name::WornTravel, worn - 1.0),
    ]
}

/// What little growth, alike at all stations, can gain: much shows at each.
const MOST_TOGETHER: f64 = 15.0;

/// The manners of wandering with the log likelihood of the readings under each.
fn manners<const S: usize>(result: &Assessment<S>) -> [(Name, f64); 4] {
    let drift = result.drift;
    let [holds, grows, slips, scatters] =
        [drift.manners.holds, drift.manners.grows, drift.manners.slips, drift.manners.scatters]
            .map(f64::from);
    // Stations grow alike, which each for itself does not know.
    let u = drift.per_reading.standard_uncertainty;
    let rate = |spread: f64| {
        let v = u * u + spread * spread + 1e-12;
        -0.5 * (drift.per_reading.value * drift.per_reading.value / v + libm::log(v))
    };
    let together = (rate(GROWTH_STEP_MM) - rate(0.0)).min(MOST_TOGETHER);
    let grows = libm::fmax(grows, holds + together);
    let out = result.set_aside.len() as f64;
    let misread = |share: f64| out * libm::log(share) + f64::from(result.used) * libm::log(1.0 - share);
    let usual = misread(0.05);
    [
        (Name::NoneShown, holds + usual + 2.0),
        (Name::Thermal, grows + usual),
        (Name::Slip, slips + usual - 1.0),
        (Name::IndicatorSetup, libm::fmax(scatters + usual, holds + misread(0.3)) - 0.5),
    ]
}

/// The numbers that speak for a cause, and the test that would tell most.
fn argue<const S: usize>(
    name: Name,
    result: &Assessment<S>,
    setup: &Setup,
) -> (Vec<Evidence, 4>, Option<Kind>) {
    let lost = result.lost_motion;
    let shown = libm::fabs(lost.value) > lost.expanded_95();
    let seen = if shown { Evidence::LostMotionShown(lost) } else { Evidence::LostMotionNotShown(lost) };
    let s_mm = result.repeatability_mm;
    let repeats = Evidence::Repeats { s_mm };
    let scatters = Evidence::DoesNotRepeat { s_mm, indicator_mm: 0.3 * setup.resolution_mm };
    let (least, most) = result
        .stations
        .iter()
        .map(|s| s.lost_motion.value)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (libm::fmin(a, v), libm::fmax(b, v)));
    let widest = result.stations.iter().map(|s| s.lost_motion.expanded_95()).fold(0.0, f64::max);
    let expanded_mm = widest * core::f64::consts::SQRT_2;
    let difference_mm = most - least;
    let along = (result.stations.len() > 1).then_some(if difference_mm > expanded_mm {
        Evidence::DiffersAlongTravel { difference_mm, expanded_mm }
    } else {
        Evidence::SameAlongTravel { difference_mm, expanded_mm }
    });
    let drifted = Evidence::Drifted { over_test_mm: result.drift.over_test_mm };
    let hysteresis = (setup.hysteresis_mm > 0.0)
        .then_some(Evidence::WithinHysteresis { hysteresis_mm: setup.hysteresis_mm });
    let count = result.set_aside.len() as u32;
    let out = (count > 0).then_some(Evidence::SetAside { count, of: result.used.saturating_add(count) });
    let (list, next) = match name {
        Name::Clearance => (
            [Some(seen), Some(repeats), along, Some(Evidence::NotTold { from: Name::WindUp })],
            Some(Kind::SmallSteps),
        ),
        Name::WindUp => (
            [Some(seen), Some(Evidence::NotTold { from: Name::Clearance }), None, None],
            Some(Kind::SmallSteps),
        ),
        Name::WornTravel => ([Some(seen), along, Some(repeats), None], Some(Kind::Positioning)),
        Name::OverCorrected => {
            let negative = (lost.value < 0.0).then_some(Evidence::NegativeLostMotion(lost));
            ([negative, Some(repeats), along, None], None)
        }
        Name::Slip => ([Some(drifted), Some(scatters), None, None], Some(Kind::Return)),
        Name::Thermal => ([Some(drifted), Some(repeats), None, None], Some(Kind::WarmUp)),
        Name::IndicatorSetup => ([Some(scatters), out, hysteresis, None], Some(Kind::Indicator)),
        Name::NoneShown => ([Some(seen), Some(repeats), hysteresis.filter(|_| !shown), None], None),
        Name::LeadError | Name::Periodic | Name::Sticking => ([None; 4], None),
    };
    (list.into_iter().flatten().collect(), next)
}
