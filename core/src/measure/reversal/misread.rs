//! Finding misread dials.
//!
//! A reading is either good, or misread with a small probability and then anywhere within a
//! millimetre. Setting readings aside is worth it where the likelihood of the rest, noise integrated
//! out, grows by more than misreads are rare (the mean-shift outlier model; R. D. Cook and S. Weisberg,
//! Residuals and Influence in Regression, 1982, chapter 2). The worst reading is set aside in each
//! round, a few rounds beyond the best, since misreads can hide each other; then what need not be out is taken back.

use super::evidence::Beforehand;
use super::model::{Clock, Drift, Ratios, Sitting, Zeros, visits_are_whole};
use super::{MOST_SET_ASIDE, Misread, Series, SetAside, Station, used_at};
use crate::axis::Direction;
use crate::length::Length;
use crate::measure::Setup;
use heapless::Vec;

/// How often a dial is misread, beforehand.
const PROBABILITY: f64 = 0.05;
/// The range over which misreads scatter, in mm.
const RANGE_MM: f64 = 2.0;
/// Readings looked at closely in each round.
const SUSPECTS: usize = 16;
/// With more readings than this, a round sets aside all that are out beyond doubt.
const MANY: usize = 100;
/// What is beyond doubt, as a gain of log likelihood.
const DECISIVE: f64 = 25.0;
/// Nothing smaller than so many steps of the dial is called a misread.
const LEAST_STEPS: f64 = 2.5;

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
pub(super) fn find<R: Series + ?Sized>(
    readings: &R,
    setup: &Setup,
    step_s: Option<f64>,
    beforehand: Beforehand,
    stations: &[Station],
) -> Found {
    let search = |zeros| {
        let search = Search {
            readings,
            motion: setup.motion_per_reading(),
            step_s,
            beforehand,
            stations,
            least_mm: LEAST_STEPS * setup.resolution_mm,
            zeros,
        };
        search.all()
    };
    let mut found = search(Zeros::Kept);
    if visits_are_whole(readings, stations) {
        let anew = search(Zeros::SetAnew);
        if anew.log > found.log + KEPT_LOG_PRIOR {
            found = anew;
        }
    }
    name_all(readings, setup, step_s, beforehand, stations, &mut found);
    found
}

/// A dial is left alone rather than set again, beforehand.
const KEPT_LOG_PRIOR: f64 = 3.0;

/// Rounds without gain before the search ends.
const PATIENCE: usize = 3;

/// The readings, with all that is needed to try setting some aside.
struct Search<'a, R: Series + ?Sized> {
    readings: &'a R,
    motion: f64,
    step_s: Option<f64>,
    beforehand: Beforehand,
    stations: &'a [Station],
    least_mm: f64,
    zeros: Zeros,
}

impl<R: Series + ?Sized> Search<'_, R> {
    fn all(&self) -> Found {
        let most = self.readings.count().div_ceil(4).min(MOST_SET_ASIDE);
        let mut found: Vec<SetAside, MOST_SET_ASIDE> = Vec::new();
        let Some((mut highest, mut ratios)) = self.likelihood(&found) else {
            return Found { set_aside: found, log: f64::NEG_INFINITY, zeros: self.zeros };
        };
        let mut keep = 0;
        // Where misreads hide each other, setting one aside gains nothing until the next is: so the path
        // goes on for a few rounds beyond the best so far.
        while found.len() < most && found.len().saturating_sub(keep) < PATIENCE {
            let worst = self.worst(&found, ratios);
            if worst.is_empty() {
                break;
            }
            for index in worst.into_iter().take(most.saturating_sub(found.len())) {
                let target = self.readings.reading(index).map(|r| r.target);
                if target.is_some_and(|target| self.leaves_enough(&found, target, index)) {
                    let _ = found.push(SetAside { index: index as u16, probably: Misread::Unexplained });
                }
            }
            let Some((now, likeliest)) = self.likelihood(&found) else { break };
            ratios = likeliest;
            if now > highest {
                highest = now;
                keep = found.len();
            }
        }
        found.truncate(keep);
        // A good reading may have looked bad beside one set aside later: take back what need not be out.
        let mut place = 0;
        while place < found.len() {
            let out = found.swap_remove(place);
            match self.likelihood(&found) {
                Some((now, _)) if now >= highest => {
                    highest = now;
                    place = 0;
                }
                _ => {
                    let _ = found.insert(place, out);
                    place = place.saturating_add(1);
                }
            }
        }
        found.sort_unstable_by_key(|s| s.index);
        Found { set_aside: found, log: highest, zeros: self.zeros }
    }

    fn without(&self, found: &[SetAside], one: Option<usize>) -> Sitting<'_, R, impl Fn(usize) -> bool> {
        Sitting {
            readings: self.readings,
            is_used: move |i: usize| !is_in(found, i) && one != Some(i),
            motion: self.motion,
            step_s: self.step_s,
            beforehand: self.beforehand,
            step_mm: 0.0,
            zeros: self.zeros,
            clock: Clock::Rows,
        }
    }

    /// The log likelihood of the readings with some set aside, and the ratios that make it highest.
    fn likelihood(&self, found: &[SetAside]) -> Option<(f64, Ratios)> {
        let penalty = libm::log(PROBABILITY / (1.0 - PROBABILITY) / RANGE_MM);
        let (ratios, log) = self.without(found, None).likeliest(self.stations)?;
        Some((log + found.len() as f64 * penalty, ratios))
    }

    /// The reading without which the rest is likeliest; of many readings, with it all those without which
    /// the rest is far likelier, so that the rounds do not grow with the readings.
    fn worst(&self, found: &[SetAside], likeliest: Ratios) -> Vec<usize, SUSPECTS> {
        let now = self.without(found, None);
        let many = self.readings.count() > MANY;
        // Misreads look like noise, and noise that large hides a drift: try also with a walk.
        let mut best: Option<(usize, f64)> = None;
        let mut out: Vec<usize, SUSPECTS> = Vec::new();
        for ratios in [likeliest, Ratios { walk: 1.0, drift: Drift::steady(0.1) }] {
            let Some(whole) = now.evidence(self.stations, ratios) else { continue };
            let before = whole.log_likelihood(self.beforehand);
            for &(index, target) in &self.suspects(found, ratios) {
                if !self.leaves_enough(found, target, index) {
                    continue;
                }
                let Some(old) = now.station_evidence(target, ratios) else { continue };
                let Some(new) = self.without(found, Some(index)).station_evidence(target, ratios) else {
                    continue;
                };
                let log = whole.exchanged(old, new).log_likelihood(self.beforehand);
                let better = best.is_none_or(|(_, most)| log > most);
                let decisive = many && log > before + DECISIVE && !out.contains(&index);
                if (better || decisive)
                    && now.off_mm(target, index, ratios).is_some_and(|off| libm::fabs(off) >= self.least_mm)
                {
                    if better {
                        best = Some((index, log));
                    }
                    if decisive {
                        // What finds no room now is found in the next round.
                        let _ = out.push(index);
                    }
                }
            }
        }
        if out.is_empty() {
            out.extend(best.map(|(index, _)| index));
        }
        out
    }

    /// The readings that fit worst.
    fn suspects(&self, found: &[SetAside], ratios: Ratios) -> Vec<(usize, Length), SUSPECTS> {
        let now = self.without(found, None);
        let mut worst: Vec<(f64, usize, Length), SUSPECTS> = Vec::new();
        for station in self.stations {
            now.residuals(station.target, ratios, |index, size| {
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

    /// Whether a station keeps a reading from each approach, and three in all.
    fn leaves_enough(&self, found: &[SetAside], target: Length, one: usize) -> bool {
        let left = self.without(found, Some(one));
        let count = |approach: Direction| {
            used_at(left.readings, &left.is_used, target).filter(|(_, r)| r.approach == approach).count()
        };
        let (plus, minus) = (count(Direction::Plus), count(Direction::Minus));
        plus > 0 && minus > 0 && plus.saturating_add(minus) >= 3
    }
}

fn is_in(found: &[SetAside], index: usize) -> bool {
    found.iter().any(|s| usize::from(s.index) == index)
}

/// Says of each reading set aside what it probably is.
fn name_all<R: Series + ?Sized>(
    readings: &R,
    setup: &Setup,
    step_s: Option<f64>,
    beforehand: Beforehand,
    stations: &[Station],
    outcome: &mut Found,
) {
    let zeros = outcome.zeros;
    let found = &mut outcome.set_aside;
    let motion = setup.motion_per_reading();
    let rest = Sitting {
        readings,
        is_used: |i| !is_in(found, i),
        motion,
        step_s,
        beforehand,
        step_mm: 0.0,
        zeros,
        clock: Clock::Rows,
    };
    let Some((ratios, _)) = rest.likeliest(stations) else { return };
    // What the dial showed and what it should have shown, by the readings that are left. Worked out anew
    // each time it is asked for: misreads are few, and a list of all would double the memory needed.
    let shown_and_expected = |found: &[SetAside], index: usize| {
        let reading = readings.reading(index)?;
        let with = Sitting {
            readings,
            is_used: |i| i == index || !is_in(found, i),
            motion,
            step_s,
            beforehand,
            step_mm: 0.0,
            zeros,
            clock: Clock::Rows,
        };
        let off = with.off_mm(reading.target, index, ratios)?;
        Some((reading.value_mm, reading.value_mm - off / motion))
    };
    let tolerance = libm::fmax(2.0 * setup.resolution_mm, LEAST_TOLERANCE_MM);
    let close = |a: f64, b: f64| libm::fabs(a - b) <= tolerance;
    for place in 0..found.len() {
        let Some(index) = found.get(place).map(|one| one.index) else { continue };
        let Some((shown, expected)) = shown_and_expected(found, usize::from(index)) else { continue };
        let exchanged = |other: &&SetAside| {
            other.index != index
                && shown_and_expected(found, usize::from(other.index)).is_some_and(
                    |(other_shown, other_expected)| {
                        close(shown, other_expected) && close(other_shown, expected)
                    },
                )
        };
        let name = match found.iter().find(exchanged) {
            Some(other) => Misread::Swapped { with: other.index },
            None => pattern(shown, expected, tolerance),
        };
        if let Some(one) = found.get_mut(place) {
            one.probably = name;
        }
    }
}

/// Within this a misread fits a pattern, in mm.
pub(in crate::measure) const LEAST_TOLERANCE_MM: f64 = 0.01;
/// What a pointer turns once for: dials of 1 mm, 0.2 mm, 0.1 in and 0.5 mm a turn are common
/// (common practice, no source).
const TURNS_MM: [f64; 2] = [1.0, 2.54];

pub(in crate::measure) fn pattern(shown: f64, expected: f64, tolerance: f64) -> Misread {
    let off = shown - expected;
    let size = libm::fabs(off);
    // Beyond 32 mm no dial reads: the conversion holds at its ends.
    let off_um = libm::round(1000.0 * off) as i16;
    if libm::fabs(shown + expected) <= tolerance && size > 2.0 * tolerance {
        return Misread::Sign;
    }
    if TURNS_MM.iter().any(|turn| libm::fabs(size - turn) <= tolerance) {
        return Misread::Revolution { off_um };
    }
    // One digit wrong: off by a whole number of tenths, or of hundredths where the scatter allows to tell.
    let is_digit = |unit: f64| {
        let times = libm::round(size / unit);
        (1.0..=9.0).contains(&times) && libm::fabs(size - times * unit) <= tolerance.min(0.2 * unit)
    };
    if is_digit(0.1) || is_digit(1.0) { Misread::Digit { off_um } } else { Misread::Unexplained }
}
