//! What the readings tell where something has a part in them that the whole of the staircase has no curve for: each is
//! taken out first, and the rest fitted as usual.
//!
//! - `ways_down`: a drive that slips loses motion as it turns from `-` to `+`, which looks like more of a gap on the way up
//!   than on the way down. Each way down, with the end of the way up before it, is a staircase of its own with one turn, at
//!   which nothing slips.
//! - `by_place`: an error within a turn of the screw is one of the place alone, the same on both ways, and what is lost
//!   is not. Over the height of a staircase it is a cubic of the place (a Taylor series).

use super::curve::Curve;
use super::fit::Sitting;
use super::{Evidence, FEWEST_READINGS, Reading, begin, posterior, sticking};
use crate::axis::Direction;
use crate::measure::misreads::Aside;
use crate::measure::{Estimate, Setup};

/// What the readings tell of the rest, all sizes integrated out.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Told {
    /// How likely they are under each explanation; ways that stick beside ways that do not.
    pub evidence: Evidence,
    /// Steady drift: if nothing winds up, and if something does.
    pub drift_mm: [Estimate; 2],
    /// The standard deviation of one reading about curve and drift.
    pub repeatability_mm: f64,
    /// Its degrees of freedom.
    pub repeatability_dof: f64,
}

/// So much of the way up before is taken.
const END: f64 = 1.0 / 3.0;
/// Rounds in which misread readings and the error of the place are found in turn.
const ROUNDS: usize = 2;

/// The ways down by themselves, added up.
pub(super) fn ways_down(readings: &[Reading], setup: &Setup) -> Option<Told> {
    let mut all: Option<Told> = None;
    let mut ways = readings.chunk_by(|a, b| a.approach == b.approach).peekable();
    let mut begins = 0_usize;
    while let (Some(way), next) = (ways.next(), ways.peek()) {
        let ends = begins.saturating_add(way.len());
        if let (Some(first), Some(next)) = (way.first(), next)
            && first.approach == Direction::Plus
        {
            let gone = way.len().saturating_sub(libm::ceil(END * way.len() as f64) as usize);
            let own = readings.get(begins.saturating_add(gone)..ends.saturating_add(next.len()));
            if let Some(own) = own.filter(|own| own.len() >= FEWEST_READINGS) {
                let mut sitting = Sitting::new(own, setup);
                let start = own.first().map_or(first.target, |reading| reading.target);
                sitting.since_turn = start.saturating_sub(first.target).as_mm();
                // A control that adds too much sets off all readings of the way up at once: so many would be misread.
                let curve = sitting.likeliest(&[], sitting.robust_start());
                let (curve, out) = begin(&mut sitting, curve, setup);
                if let Some(own) = told(&mut sitting, curve, &out) {
                    all = Some(all.map_or(own, |all| all.plus(&own)));
                }
            }
        }
        begins = ends;
    }
    all
}

/// All readings, an error of the place taken out, from a curve to begin with.
pub(super) fn by_place(readings: &[Reading], mut curve: Curve, setup: &Setup) -> Option<Told> {
    let mut sitting = Sitting::new(readings, setup);
    let mut out = Aside::new();
    for _ in 0..ROUNDS {
        curve = sitting.take_out_place(curve, &out)?;
        (_, out) = begin(&mut sitting, curve, setup);
    }
    told(&mut sitting, curve, &out)
}

fn told(sitting: &mut Sitting<'_>, curve: Curve, out: &Aside) -> Option<Told> {
    let fit = posterior::of(sitting, out, curve)?;
    // A way at which nothing is seen to hold says nothing of ways that stick.
    let stuck = sticking::of(sitting, out, fit.curve);
    let sticking = stuck.map_or(f64::NEG_INFINITY, |stuck| stuck.log_likelihood - fit.smooth_log_likelihood);
    let lost = fit.curve.dead_band_mm + fit.curve.wind_up_mm;
    let (dead_band_mm, _) = sitting.best_dead_band(out, &sitting.terms_of_drift(out), 0.0, lost);
    let curves = [Curve { dead_band_mm, wind_up_mm: 0.0 }, fit.curve];
    Some(Told {
        evidence: Evidence { sticking, ..fit.evidence },
        drift_mm: curves.map(|curve| sitting.drift_beside_curve(curve, out)),
        repeatability_mm: fit.s_mm,
        repeatability_dof: fit.dof,
    })
}

impl Told {
    /// Both, each with sizes of its own.
    fn plus(&self, other: &Told) -> Told {
        let (a, b) = (&self.evidence, &other.evidence);
        let [gap, wound] = self.drift_mm;
        let [gap_too, wound_too] = other.drift_mm;
        let squares = |of: &Told| of.repeatability_dof * of.repeatability_mm * of.repeatability_mm;
        let dof = self.repeatability_dof + other.repeatability_dof;
        Told {
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
