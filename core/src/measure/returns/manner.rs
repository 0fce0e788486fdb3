//! How likely the returns are under each manner in which a mark may wander.
//!
//! A mark holds; or the drive slips, by about as much at each lift, which scatters; or the machine grows, straight in
//! time or settling; or both. Each manner is a model of the readings with its sizes integrated out over a few orders of
//! magnitude beside the noise, and the noise integrated out too: about what is usual for a sound stand, or for one that
//! gives way.

use super::Reading;
use super::model::Sitting;
use crate::measure::regression::LeastSquares;
use crate::measure::reversal::evidence::{Beforehand, Evidence, LOOSE, SOUND};
use crate::measure::reversal::{SetAside, USUAL_NOISE_MM};

/// The log likelihood of the readings under one manner; only differences mean something.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Manner {
    /// The indicator stands firm.
    pub sound: f64,
    /// The indicator or its stand gives way.
    pub loose: f64,
}

/// The manners in which a mark may wander.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Manners {
    /// It holds.
    pub holds: Manner,
    /// It moves at each lift.
    pub slips: Manner,
    /// It moves smoothly in time.
    pub grows: Manner,
    /// It does both.
    pub both: Manner,
}

/// The size of something over the noise, and how likely that is beforehand among its kind.
#[derive(Clone, Copy)]
struct Slip {
    /// Per lift, over the noise.
    size: f64,
    /// The walk's variance per lift, over that of the noise.
    walk: f64,
}

#[derive(Clone, Copy)]
struct Growth {
    /// Over the test, over the noise; of each of its two parts.
    size: f64,
    /// The parts: their time constants over the length of the test. Infinite is straight.
    settles: [Option<f64>; 2],
}

// What is lost at each lift scatters by a fourth or by two thirds of itself.
const SCATTERS: [f64; 2] = [0.25, 0.67];
const SLIPS: [f64; 6] = [1.0, 3.0, 10.0, 30.0, 100.0, 300.0];
const GROWS: [f64; 3] = [3.0, 30.0, 300.0];
// Two together are as good as any time constant between them.
const SETTLES: [[Option<f64>; 2]; 5] = [
    [Some(0.15), None],
    [Some(0.5), None],
    [Some(f64::INFINITY), None],
    [Some(0.15), Some(0.5)],
    [Some(0.5), Some(f64::INFINITY)],
];

/// The manners of the readings that are left.
pub(super) fn weigh(sitting: &Sitting<'_>, out: &[SetAside]) -> Manners {
    let slips =
        || SLIPS.into_iter().flat_map(|size| SCATTERS.map(|s| Slip { size, walk: (s * size) * (s * size) }));
    let grows = || GROWS.into_iter().flat_map(|size| SETTLES.map(|settles| Growth { size, settles }));
    let mut manners = Manners::default();
    let mut mean = Mean::new();
    mean.take(model(sitting, out, None, None));
    manners.holds = mean.manner();
    let mut mean = Mean::new();
    slips().for_each(|slip| mean.take(model(sitting, out, Some(slip), None)));
    manners.slips = mean.manner();
    let mut mean = Mean::new();
    grows().for_each(|growth| mean.take(model(sitting, out, None, Some(growth))));
    manners.grows = mean.manner();
    let mut mean = Mean::new();
    for slip in slips() {
        grows().for_each(|growth| mean.take(model(sitting, out, Some(slip), Some(growth))));
    }
    manners.both = mean.manner();
    manners
}

/// One size of each.
fn model(
    sitting: &Sitting<'_>,
    out: &[SetAside],
    slip: Option<Slip>,
    growth: Option<Growth>,
) -> Option<Manner> {
    let parts = growth.map_or([None; 2], |growth| growth.settles);
    let settled = |part: Option<f64>, time: f64| match part {
        None => 0.0,
        Some(settles) if settles.is_finite() => libm::expm1(-time / settles) / libm::expm1(-1.0 / settles),
        Some(_) => time,
    };
    let row = |reading: &Reading| {
        let [one, lift, time, y] = sitting.row(reading);
        let lift = if slip.is_some() { lift } else { 0.0 };
        [one, lift, settled(parts[0], time), settled(parts[1], time), y]
    };
    let mut squares = LeastSquares::<4>::new();
    let mut log_determinant = 0.0;
    // The sizes, as readings of nothing that scatter by as much; what is not there is held at nothing.
    let growing = |part: Option<f64>| growth.filter(|_| part.is_some()).map_or(1.0, |growth| growth.size);
    let sizes =
        [slip.map_or(1.0, |slip| slip.size * sitting.lifts.max(1.0)), growing(parts[0]), growing(parts[1])];
    squares.add([0.0, 1.0 / sizes[0], 0.0, 0.0], 0.0);
    squares.add([0.0, 0.0, 1.0 / sizes[1], 0.0], 0.0);
    squares.add([0.0, 0.0, 0.0, 1.0 / sizes[2]], 0.0);
    for size in sizes {
        log_determinant += 2.0 * libm::log(size);
    }
    let walk = slip.map_or(0.0, |slip| slip.walk);
    sitting.each(out, walk, row, |[one, lift, first, second, y], variance| {
        squares.add([one, lift, first, second], y);
        log_determinant += libm::log(variance);
    });
    let fit = squares.solve().ok()?;
    let least = sitting.least_variance;
    let beforehand = Beforehand::new(USUAL_NOISE_MM * USUAL_NOISE_MM, least);
    let evidence = Evidence {
        residual_sum: fit.residual_sum,
        log_determinant: log_determinant + fit.log_determinant,
        // Four coefficients, three of them held.
        dof: fit.dof,
        drift_dof: 0.0,
    };
    let [sound, loose] = [&SOUND, &LOOSE].map(|kind| evidence.under(&beforehand.belief(kind), least).log);
    Some(Manner { sound, loose })
}

/// The mean of likelihoods given by their logarithms.
struct Mean {
    sum: Manner,
    count: f64,
}

impl Mean {
    fn new() -> Self {
        Self { sum: Manner { sound: f64::NEG_INFINITY, loose: f64::NEG_INFINITY }, count: 0.0 }
    }

    fn take(&mut self, log: Option<Manner>) {
        self.count += 1.0;
        let Some(log) = log else { return };
        let plus = |a: f64, b: f64| {
            let (more, less) = (libm::fmax(a, b), libm::fmin(a, b));
            if less == f64::NEG_INFINITY { more } else { more + libm::log1p(libm::exp(less - more)) }
        };
        self.sum = Manner { sound: plus(self.sum.sound, log.sound), loose: plus(self.sum.loose, log.loose) };
    }

    fn manner(&self) -> Manner {
        let count = libm::log(self.count);
        Manner { sound: self.sum.sound - count, loose: self.sum.loose - count }
    }
}
