//! The likely causes as far as a return test can tell.

use super::{Assessment, Trend};
use crate::measure::cause::{
    Cause, Causes, Evidence, Name, admit, loose_log_odds, shown_log_odds, sort_by_weight,
};
use crate::measure::{Estimate, Kind, Setup};

/// What a slipping drive usually loses per lift, and what a machine usually grows while a return test is taken, mm.
const SLIP_MM: f64 = 0.02;
const GROWTH_MM: f64 = 0.02;
/// Slip that differs from lift to lift but has no trend is rare, as a logarithm (common practice, no source).
const UNEVEN: f64 = 3.5;

/// Where the interval of what is lost leaves out 0, the answer says so, and that nothing is shown cannot lead: the odds of slip
/// are then four to one at least, whatever its usual size.
const SHOWN: f64 = 2.0 * core::f64::consts::LN_2;

/// The causes: slip, growth and a loose indicator, each for itself there or not, by the likelihood of an
/// effect of a usual size against none. Where slip and drift are not told apart, they share what is seen.
#[must_use]
pub fn of(result: &Assessment, setup: &Setup) -> Causes {
    let mut causes = Causes::new();
    let s_mm = result.repeatability_mm;
    let repeats = [Evidence::Repeats { s_mm }].into_iter().collect();
    // One cause, room for eleven.
    let _ = causes.push(Cause { cause: Name::NoneShown, weight: 1.0, evidence: repeats, next: None });
    let uneven = result.wander_log_odds - UNEVEN;
    let slips = |lost: &Estimate| {
        let shown = if libm::fabs(lost.value) > lost.expanded_95() { SHOWN } else { f64::NEG_INFINITY };
        libm::fmax(libm::fmax(shown_log_odds(lost, SLIP_MM), shown), uneven)
    };
    // What is lost unevenly is slip without a trend as well: then that is the evidence.
    let differs = (result.wander_log_odds > 0.0).then_some(Evidence::SlipDiffers { s_mm: result.wander_mm });
    match result.trend {
        Trend::Apart { per_cycle, per_hour } => {
            admit(&mut causes, Name::Slip, slips(&per_cycle), Evidence::SlipPerLift(per_cycle));
            if let (Some(slip), Some(differs)) = (causes.last_mut(), differs) {
                // Two pieces, room for four.
                let _ = slip.evidence.push(differs);
            }
            let hours = result.hours.unwrap_or(1.0);
            let grows = shown_log_odds(&per_hour.scaled(hours), GROWTH_MM);
            admit(&mut causes, Name::Thermal, grows, Evidence::DriftPerHour(per_hour));
        }
        Trend::Together(_) => {
            let either = slips(&result.per_return);
            admit(&mut causes, Name::Slip, either, Evidence::TrendPerReturn(result.per_return));
            let slip = causes.iter_mut().find(|c| c.cause == Name::Slip).map(|cause| {
                cause.weight *= 0.5;
                let mut thermal = Cause { cause: Name::Thermal, ..cause.clone() };
                let _ = thermal.evidence.push(Evidence::NotTold { from: Name::Slip });
                if let Some(differs) = differs {
                    let _ = cause.evidence.push(differs);
                }
                let _ = cause.evidence.push(Evidence::NotTold { from: Name::Thermal });
                thermal
            });
            if let Some(thermal) = slip {
                // Four causes, room for eleven.
                let _ = causes.push(thermal);
            }
        }
    }
    let scatters = Evidence::DoesNotRepeat { s_mm, indicator_mm: 0.3 * setup.resolution_mm };
    admit(&mut causes, Name::IndicatorSetup, loose_log_odds(s_mm, setup), scatters);
    for cause in &mut causes {
        cause.next = match (cause.cause, result.trend) {
            (Name::Slip | Name::Thermal, Trend::Together(_)) => Some(Kind::Return),
            (Name::Thermal, _) => Some(Kind::WarmUp),
            (Name::IndicatorSetup, _) => Some(Kind::Indicator),
            _ => None,
        };
    }
    sort_by_weight(&mut causes);
    causes
}
