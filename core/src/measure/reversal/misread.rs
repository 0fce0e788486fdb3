//! Finding misread dials.
//!
//! A reading is either good, or misread with a small probability and then anywhere within a
//! millimetre. Setting readings aside is worth it where the likelihood of the rest, noise integrated
//! out, grows by more than misreads are rare (the mean-shift outlier model; R. D. Cook and S. Weisberg,
//! Residuals and Influence in Regression, 1982, chapter 2). Readings are tried singly and, since two
//! misreads can hide each other, in pairs.

use super::model::{Ratios, Sitting};
use super::{MOST_SET_ASIDE, Misread, Series, SetAside, Station, same_station, used_at};
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
/// Nothing smaller than so many steps of the dial is called a misread.
const LEAST_STEPS: f64 = 2.5;

/// The readings to set aside, by rising index.
pub(super) fn find<R: Series + ?Sized>(
    readings: &R,
    setup: &Setup,
    step_s: Option<f64>,
    least_variance: f64,
    stations: &[Station],
) -> Vec<SetAside, MOST_SET_ASIDE> {
    let motion = setup.motion_per_reading();
    let penalty = libm::log(PROBABILITY / (1.0 - PROBABILITY) / RANGE_MM);
    let most = (readings.count() / 4).min(MOST_SET_ASIDE);
    let mut found: Vec<SetAside, MOST_SET_ASIDE> = Vec::new();
    loop {
        let next = {
            let now = Trial { readings, motion, step_s, least_variance, stations, found: &found, penalty };
            let room = most.saturating_sub(found.len());
            now.best(room, LEAST_STEPS * setup.resolution_mm)
        };
        let Some(next) = next else { break };
        for index in next.into_iter().flatten() {
            let _ = found.push(SetAside { index: index as u16, probably: Misread::Unexplained });
        }
    }
    found.sort_unstable_by_key(|s| s.index);
    name_all(readings, setup, step_s, least_variance, stations, &mut found);
    found
}

/// The readings with some set aside already.
struct Trial<'a, R: Series + ?Sized> {
    readings: &'a R,
    motion: f64,
    step_s: Option<f64>,
    least_variance: f64,
    stations: &'a [Station],
    found: &'a [SetAside],
    penalty: f64,
}

impl<R: Series + ?Sized> Trial<'_, R> {
    fn without(&self, more: [Option<usize>; 2]) -> Sitting<'_, R, impl Fn(usize) -> bool> {
        Sitting {
            readings: self.readings,
            is_used: move |i: usize| !is_in(self.found, i) && !more.contains(&Some(i)),
            motion: self.motion,
            step_s: self.step_s,
            least_variance: self.least_variance,
        }
    }

    /// One or two more readings to set aside, if any are worth it.
    fn best(&self, room: usize, least_mm: f64) -> Option<[Option<usize>; 2]> {
        if room == 0 {
            return None;
        }
        let now = self.without([None; 2]);
        let (likeliest, present) = now.likeliest(self.stations)?;
        // Misreads look like noise, and noise that large hides a drift: try also with a drift, a walk.
        let tried = [
            likeliest,
            Ratios { walk: 0.0, drift: 5.0 },
            Ratios { walk: 1.0, drift: 0.0 },
            Ratios { walk: 30.0, drift: 0.0 },
        ];
        let mut best: Option<([Option<usize>; 2], f64)> = None;
        let mut consider = |indices, gain: f64| {
            if gain > 0.0 && best.is_none_or(|(_, most)| gain > most) {
                best = Some((indices, gain));
            }
        };
        for ratios in tried {
            let Some(whole) = now.evidence(self.stations, ratios) else { continue };
            let suspects = self.suspects(ratios);
            let score = |suspects: [Option<(usize, Length)>; 2]| -> Option<f64> {
                let trial = self.without(suspects.map(|s| s.map(|s| s.0)));
                let mut evidence = whole;
                let mut set_aside = 0.0;
                for (i, (index, target)) in suspects.iter().enumerate().filter_map(|(i, s)| s.map(|s| (i, s)))
                {
                    let off = now.off_mm(target, index, ratios)?;
                    if libm::fabs(off) < least_mm || !self.leaves_enough(target, suspects) {
                        return None;
                    }
                    set_aside += 1.0;
                    let repeated = i == 1
                        && suspects.first().and_then(|s| *s).is_some_and(|s| same_station(s.1, target));
                    if !repeated {
                        let old = now.station_evidence(target, ratios)?;
                        evidence = evidence.exchanged(old, trial.station_evidence(target, ratios)?);
                    }
                }
                (evidence.dof() >= 1.0).then(|| {
                    evidence.log_likelihood(self.least_variance) + set_aside * self.penalty - present
                })
            };
            for (i, &one) in suspects.iter().enumerate() {
                if let Some(gain) = score([Some(one), None]) {
                    consider([Some(one.0), None], gain);
                }
                if room < 2 {
                    continue;
                }
                for &two in suspects.iter().take(i) {
                    if let Some(gain) = score([Some(one), Some(two)]) {
                        consider([Some(one.0), Some(two.0)], gain);
                    }
                }
            }
        }
        best.map(|(indices, _)| indices)
    }

    /// The readings that fit worst.
    fn suspects(&self, ratios: Ratios) -> Vec<(usize, Length), SUSPECTS> {
        let now = self.without([None; 2]);
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
    fn leaves_enough(&self, target: Length, suspects: [Option<(usize, Length)>; 2]) -> bool {
        let left = self.without(suspects.map(|s| s.map(|s| s.0)));
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
    least_variance: f64,
    stations: &[Station],
    found: &mut Vec<SetAside, MOST_SET_ASIDE>,
) {
    let motion = setup.motion_per_reading();
    let rest = Sitting { readings, is_used: |i| !is_in(found, i), motion, step_s, least_variance };
    let Some((ratios, _)) = rest.likeliest(stations) else { return };
    // What the dial should have shown, by the readings that are left.
    let mut shown_and_expected: Vec<(u16, f64, f64), MOST_SET_ASIDE> = Vec::new();
    for one in found.iter() {
        let index = usize::from(one.index);
        let Some(reading) = readings.reading(index) else { continue };
        let with =
            Sitting { readings, is_used: |i| i == index || !is_in(found, i), motion, step_s, least_variance };
        if let Some(off) = with.off_mm(reading.target, index, ratios) {
            let _ = shown_and_expected.push((one.index, reading.value_mm, reading.value_mm - off / motion));
        }
    }
    let tolerance = libm::fmax(2.0 * setup.resolution_mm, LEAST_TOLERANCE_MM);
    let close = |a: f64, b: f64| libm::fabs(a - b) <= tolerance;
    for one in found.iter_mut() {
        let Some(&(_, shown, expected)) = shown_and_expected.iter().find(|e| e.0 == one.index) else {
            continue;
        };
        let exchanged = |e: &&(u16, f64, f64)| e.0 != one.index && close(shown, e.2) && close(e.1, expected);
        one.probably = match shown_and_expected.iter().find(exchanged) {
            Some(other) => Misread::Swapped { with: other.0 },
            None => pattern(shown, expected, tolerance),
        };
    }
}

/// Within this a misread fits a pattern, in mm.
const LEAST_TOLERANCE_MM: f64 = 0.006;
/// What a pointer turns once for: dials of 1 mm, 0.2 mm, 0.1 in and 0.5 mm a turn are common
/// (common practice, no source).
const TURNS_MM: [f64; 2] = [1.0, 2.54];

fn pattern(shown: f64, expected: f64, tolerance: f64) -> Misread {
    let off = shown - expected;
    let size = libm::fabs(off);
    let off_um = libm::round(1000.0 * off) as i32;
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
