//! The ways down by themselves.
//!
//! A drive that slips loses motion as it turns from `-` to `+`. There the staircase is off by what is lost, which
//! looks like more of a gap on the way up than on the way down; so that the whole of it fits no curve. Each way down,
//! with the end of the way up before it, is a staircase of its own with one turn, at which nothing slips: the mirror image
//! of one that begins seated `-`.

use super::fit::Sitting;
use super::{Curve, Evidence, FEWEST_READINGS, Reading, begin, posterior, sticking};
use crate::axis::Direction;
use crate::measure::{Estimate, Setup};

/// What the ways down say, each by itself, all sizes integrated out.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Down {
    /// How likely they are under each explanation but ways that stick.
    pub evidence: Evidence,
    /// Steady drift, added up over them: if nothing winds up, and if something does.
    pub drift_mm: [Estimate; 2],
    /// The standard deviation of one reading about curve and drift, and its degrees of freedom.
    pub repeatability_mm: f64,
    /// Those degrees of freedom.
    pub repeatability_dof: f64,
}

/// So much of the way up before is taken: where it has taken up all that is lost.
const END: f64 = 1.0 / 3.0;

pub(super) fn of(readings: &[Reading], setup: &Setup) -> Option<Down> {
    let mut all: Option<Down> = None;
    let mut ways = readings.chunk_by(|a, b| a.approach == b.approach).peekable();
    let mut begins = 0_usize;
    while let (Some(way), next) = (ways.next(), ways.peek()) {
        let ends = begins.saturating_add(way.len());
        if let (Some(first), Some(next)) = (way.first(), next)
            && first.approach == Direction::Plus
        {
            let before = libm::ceil(END * way.len() as f64) as usize;
            let from = ends.saturating_sub(before.max(1));
            let since_turn = way.get(..way.len().saturating_sub(before)).map_or(0.0, |gone| {
                gone.last().map_or(0.0, |last| last.target.saturating_sub(first.target).as_mm())
            });
            let own = readings.get(from..ends.saturating_add(next.len()));
            let own = own.and_then(|own| one(own, since_turn, setup));
            if let Some(own) = own {
                all = Some(all.map_or(own, |all| all.plus(&own)));
            }
        }
        begins = ends;
    }
    all
}

fn one(readings: &[Reading], since_turn: f64, setup: &Setup) -> Option<Down> {
    if readings.len() < FEWEST_READINGS {
        return None;
    }
    let mut sitting = Sitting::new(readings, setup);
    sitting.since_turn = since_turn;
    // A control that adds too much sets off all readings of the way up at once: so many would be misread.
    let start = sitting.likeliest(&[], sitting.robust_start());
    let (curve, out) = begin(&mut sitting, start, setup);
    let fit = posterior::of(&sitting, &out, curve)?;
    // A way at which nothing is seen to hold says nothing of ways that stick.
    let smooth = fit.smooth_log_likelihood;
    let stuck = sticking::of(&mut sitting, &out, fit.curve);
    let sticking = stuck.map_or(f64::NEG_INFINITY, |stuck| stuck.log_likelihood - smooth);
    let evidence = Evidence { sticking, ..fit.evidence };
    let lost = fit.curve.dead_band_mm + fit.curve.wind_up_mm;
    let (dead_band_mm, _) = sitting.best_dead_band(&out, &sitting.terms_of_drift(&out), 0.0, lost);
    let curves = [Curve { dead_band_mm, wind_up_mm: 0.0 }, fit.curve];
    Some(Down {
        evidence,
        drift_mm: curves.map(|curve| sitting.drift_beside_curve(curve, &out)),
        repeatability_mm: fit.s_mm,
        repeatability_dof: fit.dof,
    })
}

impl Down {
    fn plus(&self, other: &Down) -> Down {
        let (a, b) = (&self.evidence, &other.evidence);
        let [gap, wound] = self.drift_mm;
        let [gap_too, wound_too] = other.drift_mm;
        let squares = |of: &Down| of.repeatability_dof * of.repeatability_mm * of.repeatability_mm;
        let dof = self.repeatability_dof + other.repeatability_dof;
        Down {
            evidence: Evidence {
                none: a.none + b.none,
                clearance: a.clearance + b.clearance,
                wind_up: a.wind_up + b.wind_up,
                both: a.both + b.both,
                over_corrected: a.over_corrected + b.over_corrected,
                sticking: match (a.sticking, b.sticking) {
                    (f64::NEG_INFINITY, other) | (other, f64::NEG_INFINITY) => other,
                    (a, b) => a + b,
                },
                smooth: 0.0,
            },
            drift_mm: [sum(gap, gap_too), sum(wound, wound_too)],
            repeatability_mm: libm::sqrt((squares(self) + squares(other)) / dof),
            repeatability_dof: dof,
        }
    }
}

fn sum(a: Estimate, b: Estimate) -> Estimate {
    Estimate {
        value: a.value + b.value,
        standard_uncertainty: libm::hypot(a.standard_uncertainty, b.standard_uncertainty),
        dof: a.dof + b.dof,
    }
}
