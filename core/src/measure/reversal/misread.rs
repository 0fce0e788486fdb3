//! Finding misread dials in a reversal test.
//!
//! The [search](crate::measure::misreads) sets aside the worst reading in each round under the likeliest ratios of the
//! [model](super::model); under the model in which the dial was set to another zero between the visits of a station, too.

use super::evidence::Beforehand;
use super::model::{Clock, Drift, One, Ratios, Sitting, Used, Zeros, visits_are_whole};
use super::{MOST_SET_ASIDE, Misread, Series, SetAside, Station, used_at};
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::Setup;
use crate::measure::misreads::{self, LEAST_STEPS, Limits, SUSPECTS};
use core::cell::Cell;
use heapless::Vec;

/// With more readings than this, a round sets aside all that are out beyond doubt.
const MANY: usize = 100;
/// What is beyond doubt, as a gain of log likelihood.
const DECISIVE: f64 = 25.0;
/// At most a fourth of the readings is set aside.
const LIMITS: Limits = Limits { one_in: 4, patience: 3 };

/// What the search found.
pub(super) struct Found {
    /// The readings to set aside, by rising index.
    pub set_aside: Vec<SetAside, MOST_SET_ASIDE>,
    /// The log likelihood of the rest, with how rare so many misreads are.
    log: f64,
    /// Whether the dial kept its zeros.
    pub zeros: Zeros,
}

/// The readings to set aside, and whether the dial was set to another zero between the visits of a station,
/// by what makes the readings likelier.
pub(super) fn find(
    readings: &dyn Series,
    setup: &Setup,
    step_s: Option<f64>,
    beforehand: Beforehand,
    stations: &[Station],
) -> Found {
    let search = |zeros| Search {
        readings,
        motion: setup.motion_per_reading(),
        step_s,
        beforehand,
        stations,
        least_mm: LEAST_STEPS * setup.resolution_mm,
        zeros,
    };
    let mut found = search(Zeros::Kept).all();
    if visits_are_whole(readings, stations) {
        let anew = search(Zeros::SetAnew).all();
        if anew.log > found.log + KEPT_LOG_PRIOR {
            found = anew;
        }
    }
    search(found.zeros).name_all(&mut found.set_aside, setup.resolution_mm);
    found
}

/// A dial is left alone rather than set again, beforehand.
const KEPT_LOG_PRIOR: f64 = 3.0;

/// The readings, with all that is needed to try setting some aside.
struct Search<'a> {
    readings: &'a dyn Series,
    motion: f64,
    step_s: Option<f64>,
    beforehand: Beforehand,
    stations: &'a [Station],
    least_mm: f64,
    zeros: Zeros,
}

impl Search<'_> {
    fn all(&self) -> Found {
        // The ratios that are likeliest without the readings set aside so far.
        let likeliest = Cell::new(None);
        let (set_aside, log) = misreads::search_by_rounds(
            self.readings.count(),
            LIMITS,
            |found| {
                let (ratios, log) = self.with(found, One::None).likeliest(self.stations)?;
                likeliest.set(Some(ratios));
                Some(log)
            },
            |found| likeliest.get().map_or_else(Vec::new, |ratios| self.worst(found, ratios)),
        );
        Found { set_aside, log, zeros: self.zeros }
    }

    fn with<'b>(&'b self, out: &'b [SetAside], one: One) -> Sitting<'b> {
        Sitting {
            readings: self.readings,
            used: Used { out, one },
            motion: self.motion,
            step_s: self.step_s,
            beforehand: self.beforehand,
            step_mm: 0.0,
            zeros: self.zeros,
            clock: Clock::Rows,
        }
    }

    /// The reading without which the rest is likeliest; of many readings, with it all those without which
    /// the rest is far likelier, so that the rounds do not grow with the readings.
    fn worst(&self, found: &[SetAside], likeliest: Ratios) -> Vec<usize, SUSPECTS> {
        let now = self.with(found, One::None);
        let many = self.readings.count() > MANY;
        // Misreads look like noise, and noise that large hides a drift: try also with a walk.
        let mut best: Option<(usize, f64)> = None;
        let mut out: Vec<usize, SUSPECTS> = Vec::new();
        for ratios in [likeliest, Ratios { walk: 1.0, drift: Drift::steady(0.1) }] {
            let Some(whole) = now.evidence(self.stations, ratios) else { continue };
            let before = whole.log_likelihood(self.beforehand);
            let suspects = self.suspects(&now, ratios);
            for station in self.stations {
                let Some(all) = now.whole(station.target, ratios) else { continue };
                for &(index, target) in &suspects {
                    if target != station.target || !self.leaves_enough(found, target, index) {
                        continue;
                    }
                    let Some(one) = all.without(index) else { continue };
                    if libm::fabs(one.off_mm) < self.least_mm {
                        continue;
                    }
                    let log = whole.without(&one).log_likelihood(self.beforehand);
                    if best.is_none_or(|(_, most)| log > most) {
                        best = Some((index, log));
                    }
                    if many && log > before + DECISIVE && !out.contains(&index) {
                        // What finds no room now is found in the next round.
                        let _ = out.push(index);
                    }
                }
            }
        }
        if out.is_empty() {
            out.extend(best.map(|(index, _)| index));
            return out;
        }
        // All together they leave enough as well.
        let mut all: Vec<SetAside, MOST_SET_ASIDE> = found.iter().copied().collect();
        out.retain(|&index| {
            let enough = self
                .readings
                .reading(index)
                .is_some_and(|reading| self.leaves_enough(&all, reading.target, index));
            if enough {
                let _ = all.push(SetAside { index: index as u16, probably: Misread::Unexplained });
            }
            enough
        });
        out
    }

    /// The readings that fit worst.
    fn suspects(&self, now: &Sitting<'_>, ratios: Ratios) -> Vec<(usize, Length), SUSPECTS> {
        let mut worst: Vec<(f64, usize, Length), SUSPECTS> = Vec::new();
        for station in self.stations {
            let Some(all) = now.whole(station.target, ratios) else { continue };
            all.residuals(|index, size| {
                let place = worst.iter().position(|w| size > w.0).unwrap_or(worst.len());
                if worst.is_full() {
                    if place == worst.len() {
                        return;
                    }
                    worst.pop();
                }
                let _ = worst.insert(place, (size, index, station.target));
            });
        }
        worst.iter().map(|w| (w.1, w.2)).collect()
    }

    /// Whether a station keeps enough readings: two from each approach, since of one that is left, which one it is would be
    /// chance; one of two, where there are no more, which is [refused](super::NotEnough::OneOfTwo) later; and three in all.
    fn leaves_enough(&self, found: &[SetAside], target: Length, one: usize) -> bool {
        let left = self.with(found, One::Out(one));
        let count = |approach: Direction, is_used: &dyn Fn(usize) -> bool| {
            used_at(self.readings, &is_used, target).filter(|(_, r)| r.approach == approach).count()
        };
        let (mut enough, mut sum) = (true, 0_usize);
        for approach in [Direction::Plus, Direction::Minus] {
            let kept = count(approach, &|i| left.used.holds(i));
            enough &= kept > 1 || (kept == 1 && count(approach, &|_| true) == 2);
            sum = sum.saturating_add(kept);
        }
        enough && sum >= 3
    }

    /// Says of each reading set aside what it probably is.
    fn name_all(&self, found: &mut [SetAside], resolution_mm: f64) {
        let Some((ratios, _)) = self.with(found, One::None).likeliest(self.stations) else { return };
        let out: Vec<SetAside, MOST_SET_ASIDE> = found.iter().copied().collect();
        // Worked out anew each time it is asked for: misreads are few, and a list of all would need more memory.
        misreads::name_all(found, resolution_mm, |index| {
            let reading = self.readings.reading(index)?;
            let with = self.with(&out, One::Back(index));
            let off = with.whole(reading.target, ratios)?.without(index)?.off_mm;
            Some((reading.value_mm, reading.value_mm - off / self.motion))
        });
    }
}
