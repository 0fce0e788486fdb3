//! The effect of direction against published analyses of variance: NIST Statistical Reference Datasets, data and
//! certified values of the files (taken from the SciPy wheel).

use takeup_core::axis::Direction::{Minus, Plus};
use takeup_core::length::Length;
use takeup_core::measure::regression::LeastSquares;
use takeup_core::measure::{Setup, indicator, reversal};

/// Group and value of each row.
fn rows(text: &str) -> Vec<(usize, f64)> {
    let row = |line: &str| {
        let mut words = line.split_whitespace();
        Some((words.next()?.parse().ok()?, words.next()?.parse().ok()?))
    };
    text.lines().skip(60).filter_map(row).collect()
}

#[track_caller]
fn near(found: f64, certified: f64, digits: i32) {
    assert!((found / certified - 1.0).abs() < 10_f64.powi(-digits), "{found} instead of {certified}");
}

// AtmWtAg: two instruments, 24 readings of each, stood in for the two approaches at one station. Values are taken from
// 107.8681 in units of 1e-5, as a dial would show them; the F statistic does not change.
#[test]
fn two_approaches_are_a_one_way_analysis() {
    let rows = rows(include_str!("../../../reference/atmwtag.dat"));
    assert_eq!(rows.len(), 48);
    let scale = |value: f64| (value - 107.868_1) * 1e2;
    let of = |group: usize| rows.iter().filter(move |r| r.0 == group).map(|r| scale(r.1));
    let turns: Vec<_> = of(1).zip(of(2)).flat_map(|(a, b)| [(Plus, a), (Minus, b)]).collect();
    let readings: Vec<reversal::Reading> = turns
        .iter()
        .enumerate()
        .map(|(index, &(approach, value_mm))| reversal::Reading {
            target: Length::ZERO,
            cycle: (index / 2 + 1) as u16,
            approach,
            value_mm,
            time_s: None,
        })
        .collect();
    let result = reversal::assess::<1>(&readings[..], &Setup::default()).unwrap();
    assert!(result.set_aside.is_empty(), "{:?}", result.set_aside);
    let station = &result.stations[0];
    let (plus, minus) = (station.plus, station.minus);
    let pooled = 0.5 * (plus.s_mm.unwrap().powi(2) + minus.s_mm.unwrap().powi(2));
    let f = station.reversal_mm.powi(2) / (pooled * (2.0 / 24.0));
    near(f, 15.946_733_567_793_0, 6);
    near(pooled.sqrt() / 1e2, 1.510_483_144_464_10e-5, 6);
    // The estimate averages over drifts and walks that the analysis of variance knows nothing of: about the same effect.
    let lost = result.lost_motion;
    let t2 = (lost.value / result.stations[0].repeatability_mm).powi(2);
    assert!((0.5..1.5).contains(&(t2 / f)), "{t2} {f}");
    // The indicator test's standard deviation is that within instruments.
    let readings: Vec<indicator::Reading> =
        turns.iter().map(|&(way, value_mm)| indicator::Reading { approach: Some(way), value_mm }).collect();
    let result = indicator::assess(&readings, &Setup::default()).unwrap();
    near(result.s.value / 1e2, 1.510_483_144_464_10e-5, 6);
}

// SiRstv: five instruments, five readings of each, as a column for each.
#[test]
fn five_groups_by_least_squares() {
    let rows = rows(include_str!("../../../reference/sirstv.dat"));
    assert_eq!(rows.len(), 25);
    let mean = rows.iter().map(|r| r.1).sum::<f64>() / 25.0;
    let mut squares = LeastSquares::<5>::new();
    for &(group, value) in &rows {
        let mut column = [0.0; 5];
        column[group - 1] = 1.0;
        squares.add(column, value - mean);
    }
    let fit = squares.solve().unwrap();
    let total: f64 = rows.iter().map(|r| (r.1 - mean).powi(2)).sum();
    let f = (total - fit.residual_sum) / 4.0 / fit.variance();
    near(fit.residual_sum, 2.166_365_600_000_00e-1, 9);
    near(f, 1.180_462_374_402_55, 9);
    near(fit.variance().sqrt(), 1.040_760_683_346_56e-1, 9);
}
