//! A positioning test of one run up and one run down, as ISO 230-2 allows on long axes (recalled from memory).
//!
//! No reading is taken twice, so how well the axis repeats is seen only from station to station: the scatter of the
//! reversal values about their mean stands for it, and holds their change along the travel as well. Steady drift makes
//! reversal values that grow with the time between both runs at a station. Lost motion that changes along the travel
//! does the same, so such a trend is not taken out: it is a part of the budget, and shows no change along the travel.
//! A misread dial is not found either, and makes every interval wide.

use crate::axis::Direction::{Minus, Plus};
use crate::measure::decision;
use crate::measure::regression::LeastSquares;
use crate::measure::reversal::{
    AlongTravel, Assessment, Drift, Manners, NotEnough, Series, Station, Systematic, all, check,
    find_stations, mean_step_s, plain_statistics, used_at,
};
use crate::measure::uncertainty::{Contribution, Source, combine, rectangular};
use crate::measure::{Estimate, Setup};
use heapless::Vec;

/// Whether every one of several stations has one reading from each approach.
pub(super) fn is_one<const S: usize>(readings: &dyn Series) -> bool {
    let Ok(stations) = find_stations::<S>(readings) else { return false };
    let once = |station: &Station| {
        let count = |approach| {
            used_at(readings, &|_| true, station.target).filter(|(_, r)| r.approach == approach).count()
        };
        count(Plus) == 1 && count(Minus) == 1
    };
    stations.len() > 1 && stations.iter().all(once)
}

/// How reversal values change with the time from the reading approached `+` to that approached `-`.
struct Trend {
    /// Millimetres per reading.
    rate: Estimate,
    /// The most that the trend is likely to be, either way.
    most: f64,
}

/// How much of the uncertainty of a trend is added to it; found by simulation (the coverage of the mean lost motion under
/// steady drift of any size).
const UNSEEN: f64 = 1.5;

fn trend(stations: &[Station], apart: &[f64]) -> Option<Trend> {
    let mut line = LeastSquares::<2>::new();
    for (station, apart) in stations.iter().zip(apart) {
        // Approached `-` later by `apart`, a place that grows reads higher then.
        line.add([1.0, -apart], station.reversal_mm);
    }
    let rate = line.solve().ok()?.estimate(1);
    Some(Trend { rate, most: libm::fabs(rate.value) + UNSEEN * rate.standard_uncertainty })
}

/// Assesses the one run; the means of the stations count from their own first readings, as for the reversal test.
pub(super) fn assess<const S: usize>(
    readings: &dyn Series,
    setup: &Setup,
) -> Result<Assessment<S>, NotEnough> {
    let setup = setup.checked()?;
    check(readings)?;
    let mut stations = find_stations::<S>(readings)?;
    let step_s = mean_step_s(readings);
    // The time, in readings, from the reading approached `+` to that approached `-`, at each station.
    let mut apart: Vec<f64, S> = Vec::new();
    for station in &mut stations {
        plain_statistics(readings, setup.motion_per_reading(), &|_| true, station);
        let when = |approach| {
            all(readings)
                .filter(|(_, r)| {
                    r.approach == approach && super::reversal::same_station(r.target, station.target)
                })
                .map(|(index, r)| match (step_s, r.time_s) {
                    (Some(step), Some(time)) => time / step,
                    _ => index as f64,
                })
                .next()
                .unwrap_or(0.0)
        };
        // As many as stations.
        let _ = apart.push(when(Minus) - when(Plus));
    }
    let count = stations.len() as f64;
    let mean = stations.iter().map(|s| s.reversal_mm).sum::<f64>() / count;
    let squares = stations.iter().map(|s| (s.reversal_mm - mean) * (s.reversal_mm - mean)).sum::<f64>();
    let dof = libm::fmax(count - 1.0, 1.0);
    let variance = libm::fmax(squares / dof, 2.0 * setup.least_variance());
    let spread = libm::sqrt(variance);
    let s = libm::sqrt(0.5 * variance);
    let trend = trend(&stations, &apart);
    let temperature = |apart: f64| rectangular(trend.as_ref().map_or(0.0, |t| t.most) * apart);
    let systematic = Systematic::new(&setup, s);
    let budget = |value: f64, repeatability: f64, apart: f64, averaged: f64| {
        let part = |source, standard_uncertainty, dof| Contribution { source, standard_uncertainty, dof };
        let own = [
            part(Source::Repeatability, repeatability, dof),
            part(Source::Temperature, temperature(apart), f64::INFINITY),
        ];
        let mut parts: Vec<Contribution, 6> = Vec::new();
        for mut part in own.into_iter().chain(systematic.parts(value)) {
            if part.source == Source::Resolution {
                // Each station is rounded by itself.
                part.standard_uncertainty /= libm::sqrt(averaged);
            }
            if part.standard_uncertainty > 0.0 || part.source == Source::Repeatability {
                // As many sources as there is room for.
                let _ = parts.push(part);
            }
        }
        parts
    };
    let of = |value: f64, parts: &Vec<Contribution, 6>| {
        combine(value, parts.iter().map(|p| (p.standard_uncertainty, p.dof)))
    };
    let mut largest = 0.0;
    for (station, apart) in stations.iter_mut().zip(&apart) {
        let value = -station.reversal_mm - systematic.correction;
        station.repeatability_mm = spread;
        station.rounding_mm = systematic.resolution;
        station.slipping_mm = (value as f32, spread as f32);
        station.lost_motion = of(value, &budget(value, spread, *apart, 1.0));
        if libm::fabs(value) > libm::fabs(largest) {
            largest = value;
        }
    }
    let value = -mean - systematic.correction;
    let middle = apart.iter().sum::<f64>() / count;
    let budget = budget(value, spread / libm::sqrt(count), middle, count);
    let per_reading = trend.map_or(Estimate::ZERO, |t| t.rate);
    Ok(Assessment {
        lost_motion: of(value, &budget),
        largest_mm: largest,
        along_travel: along_travel(&stations, dof),
        budget,
        repeatability_mm: s,
        repeatability_dof: dof,
        drift: Drift {
            per_reading,
            over_test_mm: per_reading.value * (readings.count() as f64 - 1.0),
            wander_mm: 0.0,
            step_s,
            // One run tells nothing of how a place wanders: all manners are alike.
            manners: Manners::default(),
        },
        used: readings.count() as u32,
        set_aside: Vec::new(),
        decision: setup.limit_mm.map(|limit| decision::decide(limit, &stations)),
        stations,
    })
}

/// The slope of lost motion along the travel; drift could make the whole of it.
fn along_travel(stations: &[Station], dof: f64) -> Option<AlongTravel> {
    let mut line = LeastSquares::<2>::new();
    for station in stations {
        line.add([1.0, station.target.as_mm()], station.lost_motion.value);
    }
    let slope = line.solve().ok()?;
    let spread = stations.first()?.repeatability_mm * libm::sqrt(slope.cofactor(1, 1));
    let value = slope.coefficient(1);
    let per_length = combine(value, [(spread, dof), (rectangular(value), f64::INFINITY)]);
    Some(AlongTravel { per_length, shown: libm::fabs(per_length.value) > per_length.expanded_95() })
}
