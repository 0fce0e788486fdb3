//! What tests can argue that speak of one cause: it is there, or nothing is shown.

use super::{Cause, Causes, Evidence, Name, UNCOMMON, effect_log_odds};
use crate::measure::{Kind, Setup, indicator, push_pull, warm_up};

/// Clearance worth a push is usually about so large, mm (common practice, no source).
const CLEARANCE_MM: f64 = 0.05;
/// A machine grows by about so much while it warms up, mm (common practice, no source).
const GROWTH_MM: f64 = 0.02;
/// What a sound indicator on a good stand scatters and lags by, and one that is neither, mm; and the spread of both as a
/// factor e^x (common practice, no source).
const SOUND_MM: f64 = 0.001;
const LOOSE_MM: f64 = 0.01;
const SPREAD: f64 = 0.7;

/// What a push-pull test can tell: clearance, or none.
#[must_use]
pub fn of_push_pull(result: &push_pull::Assessment) -> Causes {
    let clearance = result.clearance;
    let log_odds = clearance_log_odds(result) + UNCOMMON;
    let (least_n, most_n) = result.crossed_n.unwrap_or(result.forces_n);
    let evidence = Evidence::UnderLoad { clearance, least_n, most_n };
    let repeats = Evidence::Repeats { s_mm: result.repeatability_mm };
    let next = Some(Kind::Reversal);
    there_or_not(Name::Clearance, log_odds, [Some(evidence), Some(repeats)], next)
}

/// How much likelier a clearance is than none, as a logarithm. It has no sign: what seems less than none is none.
pub(super) fn clearance_log_odds(result: &push_pull::Assessment) -> f64 {
    let clearance = result.clearance;
    if clearance.value > 0.0 { effect_log_odds(&clearance, CLEARANCE_MM) } else { -20.0 }
}

/// What a warm-up test can tell: growth, or none.
#[must_use]
pub fn of_warm_up(result: &warm_up::Assessment) -> Causes {
    let log_odds = growth_log_odds(result) + UNCOMMON;
    let grew = Evidence::Grew { seen: result.seen, span_s: result.span_s };
    let repeats = Evidence::Repeats { s_mm: result.repeatability_mm };
    there_or_not(Name::Thermal, log_odds, [Some(grew), Some(repeats)], None)
}

/// How much likelier growth is than none, as a logarithm.
pub(super) fn growth_log_odds(result: &warm_up::Assessment) -> f64 {
    effect_log_odds(&result.seen, GROWTH_MM)
}

/// What an indicator test can tell: an indicator or a stand that scatters or lags, or a sound one.
#[must_use]
pub fn of_indicator(result: &indicator::Assessment, setup: &Setup) -> Causes {
    let log_odds = indicator_log_odds(result, setup) - 1.0;
    let repeats = Some(Evidence::Repeats { s_mm: result.s.value });
    let lags = result.hysteresis.map(Evidence::DialLags);
    there_or_not(Name::IndicatorSetup, log_odds, [repeats, lags], None)
}

/// How much likelier an indicator or stand that is loose is than a sound one, as a logarithm.
pub(super) fn indicator_log_odds(result: &indicator::Assessment, setup: &Setup) -> f64 {
    // Steps of the dial are no fault.
    let least = 0.3 * setup.resolution_mm;
    let lag = result.hysteresis.map_or(0.0, |h| 0.5 * libm::fabs(h.value));
    let size = libm::log(libm::fmax(libm::fmax(result.s.value, lag), 1e-4) + least);
    let log_likelihood = |usual: f64| {
        let z = (size - libm::log(usual + least)) / SPREAD;
        -0.5 * z * z
    };
    log_likelihood(LOOSE_MM) - log_likelihood(SOUND_MM)
}

/// Two causes, the likelier first: one that is there by so much, and nothing.
fn there_or_not(name: Name, log_odds: f64, evidence: [Option<Evidence>; 2], next: Option<Kind>) -> Causes {
    let there = 1.0 / (1.0 + libm::exp(-log_odds));
    let list: heapless::Vec<Evidence, 4> = evidence.into_iter().flatten().collect();
    let one = Cause { cause: name, weight: there, evidence: list.clone(), next };
    let none = Cause { cause: Name::NoneShown, weight: 1.0 - there, evidence: list, next: None };
    let order = if there >= 0.5 { [one, none] } else { [none, one] };
    order.into_iter().collect()
}
