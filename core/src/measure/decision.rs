//! Within a limit, over it, or not decided yet.
//!
//! The rule of ISO 14253-1, recalled from memory: a limit is met only if the value with its expanded
//! uncertainty is within it, and exceeded only if the value without its expanded uncertainty is
//! beyond it. Between the two nothing is decided.

use crate::length::Length;
use crate::measure::reversal::Station;
use crate::measure::student::coverage_factor;
use crate::measure::uncertainty::combine;

/// The decision against a limit on the size of lost motion at every station.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Decision {
    /// The limit in millimetres.
    pub limit_mm: f64,
    /// The answer.
    pub answer: Answer,
    /// For `Undecided`: how many more cycles are expected to decide, or why they cannot.
    pub more: Option<More>,
}

/// The answer of a decision.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Answer {
    /// Every station is within the limit.
    Within,
    /// A station is over the limit.
    Over,
    /// Neither is shown.
    Undecided,
}

impl Answer {
    /// The word in documents.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Answer::Within => "within",
            Answer::Over => "over",
            Answer::Undecided => "undecided",
        }
    }
}

/// What would decide.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum More {
    /// So many further cycles like those taken.
    Cycles(u32),
    /// However many cycles are taken, what does not average out (indicator, resolution, angle) leaves
    /// an interval wider than the distance from the limit.
    IndicatorTooCoarse {
        /// The station.
        target: Length,
        /// The distance of its lost motion from the limit, in millimetres.
        distance_mm: f64,
        /// The half width of the 95 % interval that would remain, in millimetres.
        remaining_mm: f64,
    },
    /// More cycles than anybody would take.
    TooCloseToLimit {
        /// The station.
        target: Length,
        /// The distance of its lost motion from the limit, in millimetres.
        distance_mm: f64,
    },
}

/// The most further cycles worth proposing.
const MOST_CYCLES: u32 = 200;

/// Decides on the stations of a reversal test.
#[must_use]
pub fn decide(limit_mm: f64, stations: &[Station]) -> Decision {
    let size = |s: &Station| libm::fabs(s.lost_motion.value);
    let over = stations.iter().any(|s| size(s) - s.lost_motion.expanded_95() > limit_mm);
    let within = stations.iter().all(|s| size(s) + s.lost_motion.expanded_95() <= limit_mm);
    let answer = match (over, within) {
        (true, _) => Answer::Over,
        (false, true) => Answer::Within,
        (false, false) => Answer::Undecided,
    };
    let more = match answer {
        Answer::Undecided => Some(what_decides(limit_mm, stations)),
        Answer::Within | Answer::Over => None,
    };
    Decision { limit_mm, answer, more }
}

/// One station over the limit decides alone; to be within, all must be shown to be.
fn what_decides(limit_mm: f64, stations: &[Station]) -> More {
    let mut soonest_over: Option<More> = None;
    let mut latest_within: Option<More> = None;
    for station in stations {
        let more = cycles_for(limit_mm, station);
        if libm::fabs(station.lost_motion.value) > limit_mm {
            soonest_over = Some(match (soonest_over, more) {
                (Some(More::Cycles(a)), More::Cycles(b)) => More::Cycles(a.min(b)),
                (Some(More::Cycles(a)), _) => More::Cycles(a),
                (_, more) => more,
            });
        } else {
            latest_within = Some(match (latest_within, more) {
                (Some(More::Cycles(a)), More::Cycles(b)) => More::Cycles(a.max(b)),
                (Some(More::Cycles(_)) | None, more) => more,
                (Some(cannot), _) => cannot,
            });
        }
    }
    soonest_over.or(latest_within).unwrap_or(More::Cycles(1))
}

/// Further cycles until the interval at a station is expected to clear the limit.
fn cycles_for(limit_mm: f64, station: &Station) -> More {
    let target = station.target;
    let distance_mm = libm::fabs(libm::fabs(station.lost_motion.value) - limit_mm);
    let u = station.lost_motion.standard_uncertainty;
    let repeatability = station.repeatability_mm;
    let systematic = libm::sqrt(libm::fmax(u * u - repeatability * repeatability, 0.0));
    let remaining_mm = coverage_factor(0.95, f64::INFINITY) * systematic;
    if remaining_mm >= distance_mm {
        return More::IndicatorTooCoarse { target, distance_mm, remaining_mm };
    }
    let now = 0.5 * f64::from(station.plus.n.saturating_add(station.minus.n));
    let expanded = |further: u32| {
        let cycles = now + f64::from(further);
        let part = repeatability * libm::sqrt(now / cycles);
        combine(0.0, [(part, libm::fmax(2.0 * cycles - 3.0, 1.0)), (systematic, f64::INFINITY)]).expanded_95()
    };
    // The expanded uncertainty falls with every cycle: halve the interval.
    let (mut low, mut high) = (0_u32, MOST_CYCLES);
    if expanded(high) >= distance_mm {
        return More::TooCloseToLimit { target, distance_mm };
    }
    while low.saturating_add(1) < high {
        let middle = low.midpoint(high);
        if expanded(middle) >= distance_mm {
            low = middle;
        } else {
            high = middle;
        }
    }
    More::Cycles(high)
}
