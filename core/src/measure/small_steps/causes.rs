//! The likely causes as far as a test of small steps can tell.

use super::Assessment;
use crate::measure::cause::{
    Cause, Causes, Evidence, Name, admit, loose_log_odds, shown_log_odds, sort_by_weight,
};
use crate::measure::{Kind, Setup};

/// What a machine usually grows while a staircase is read, in mm.
const GROWTH_MM: f64 = 0.02;
/// A gap and wind-up at once are less common than either (common practice, no source), as a logarithm.
const BOTH: f64 = -0.7;

/// The causes: the explanations of the curve (nothing lost, a gap, wind-up, both, a control that adds too much) by
/// their likelihoods, sizes integrated out; with them ways that stick, growth, and a loose indicator, each for
/// itself there or not. Where two hold at once, each has half.
#[must_use]
pub fn of(result: &Assessment, setup: &Setup) -> Causes {
    let e = &result.evidence;
    let logs = [e.none + 1.0, e.clearance, e.wind_up - 0.5, e.both + BOTH, e.over_corrected - 0.7];
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let [none, gap, wound, both, lead] = logs.map(|log| libm::exp(log - top));
    let total = none + gap + wound + both + lead;
    let shapes = [
        (Name::NoneShown, none),
        (Name::Clearance, gap + 0.5 * both),
        (Name::WindUp, wound + 0.5 * both),
        (Name::OverCorrected, lead),
    ];
    let mut causes = Causes::new();
    for (cause, weight) in shapes {
        if weight > 0.0 {
            // Four causes, room for eleven.
            let _ = causes.push(Cause {
                cause,
                weight: weight / total,
                evidence: argue(cause, result),
                next: None,
            });
        }
    }
    if let Some(sticking) = result.sticking {
        let (held, of, jump_mm) = (sticking.held, sticking.of, sticking.jump_mm);
        admit(
            &mut causes,
            Name::Sticking,
            e.sticking - e.smooth,
            Evidence::HoldsAndJumps { held, of, jump_mm },
        );
    }
    let drifted = Evidence::Drifted { over_test_mm: result.drift_mm.value };
    admit(&mut causes, Name::Thermal, shown_log_odds(&result.drift_mm, GROWTH_MM), drifted);
    let s_mm = result.repeatability_mm;
    let scatters = Evidence::DoesNotRepeat { s_mm, indicator_mm: 0.3 * setup.resolution_mm };
    let loose = if result.sticking.is_some() { f64::NEG_INFINITY } else { loose_log_odds(s_mm, setup) };
    admit(&mut causes, Name::IndicatorSetup, loose, scatters);
    for cause in &mut causes {
        cause.next = match cause.cause {
            Name::Thermal => Some(Kind::WarmUp),
            Name::IndicatorSetup => Some(Kind::Indicator),
            // Whether the gap is the same everywhere is not seen at one place.
            Name::Clearance => Some(Kind::Reversal),
            _ => None,
        };
    }
    sort_by_weight(&mut causes);
    causes
}

fn argue(cause: Name, result: &Assessment) -> heapless::Vec<Evidence, 4> {
    let lost = result.lost_motion;
    let shown = libm::fabs(lost.value) > lost.expanded_95();
    let seen = if shown { Evidence::LostMotionShown(lost) } else { Evidence::LostMotionNotShown(lost) };
    let (gap, wound) = (Evidence::DeadBand(result.dead_band), Evidence::WindUp(result.wind_up));
    let repeats = Evidence::Repeats { s_mm: result.repeatability_mm };
    let list = match cause {
        Name::Clearance => [seen, gap, wound, repeats],
        Name::WindUp => [seen, wound, gap, repeats],
        Name::OverCorrected if lost.value < 0.0 => [Evidence::NegativeLostMotion(lost), repeats, gap, wound],
        _ => return [seen, repeats].into_iter().collect(),
    };
    list.into_iter().collect()
}
