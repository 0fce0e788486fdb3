//! Regression, robust location and Welch's test held against statsmodels, by the script beside the table.

use std::collections::BTreeMap;
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::regression::LeastSquares;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::measure::{Estimate, Setup};
use takeup_core::trend::compare;

/// The numbers of a case and what they are.
type Rows = BTreeMap<(&'static str, &'static str), Vec<f64>>;

/// The rows of the table, and the cases in order.
fn table() -> (Vec<&'static str>, Rows) {
    let (mut cases, mut rows) = (Vec::new(), BTreeMap::new());
    for line in include_str!("../../../reference/robust.csv").lines() {
        let mut words = line.split(',');
        let (case, what) = (words.next().unwrap(), words.next().unwrap());
        if what == "shown" {
            cases.push(case);
        }
        rows.insert((case, what), words.map(|word| word.parse().unwrap()).collect());
    }
    assert_eq!(cases.len(), 6);
    (cases, rows)
}

fn near(found: f64, theirs: f64, relative: f64, what: &str) {
    assert!((found - theirs).abs() <= relative * theirs.abs().max(1e-9), "{what}: {found}, not {theirs}");
}

// The same rows by least squares: both are exact.
#[test]
fn regression_with_drift_agrees_to_nine_digits() {
    let (cases, rows) = table();
    for case in cases {
        let mut squares = LeastSquares::<3>::new();
        for (row, shown) in rows[&(case, "shown")].iter().enumerate() {
            let approach = if row % 2 == 0 { 1.0 } else { -1.0 };
            squares.add([1.0, -0.5 * approach, row as f64], *shown);
        }
        let fit = squares.solve().unwrap();
        let variance = fit.residual_sum / fit.dof;
        let theirs = &rows[&(case, "ols")];
        for (place, of) in [(1, 0), (2, 2)] {
            // A drift that is nothing is so to the digits of what it is made of.
            let error = (fit.coefficient(place) - theirs[of]).abs();
            assert!(error < 1e-9 * theirs[of + 1], "{case}: {error}");
            near((fit.cofactor(place, place) * variance).sqrt(), theirs[of + 1], 1e-9, case);
        }
    }
}

// Two ways to the same: one sets misread dials aside, the other gives them less weight and in the end none.
#[test]
fn a_robust_regression_finds_the_same_lost_motion_and_the_same_misreads() {
    let (cases, rows) = table();
    for case in cases {
        let shown = &rows[&(case, "shown")];
        let readings: Vec<Reading> = shown
            .iter()
            .enumerate()
            .map(|(row, &value_mm)| Reading {
                target: Length::ZERO,
                cycle: row as u16 / 2 + 1,
                approach: if row % 2 == 0 { Direction::Plus } else { Direction::Minus },
                value_mm,
                time_s: None,
            })
            .collect();
        let setup = Setup { resolution_mm: 0.001, ..Setup::default() };
        let result = assess::<1>(&readings[..], &setup).unwrap();
        let out: Vec<f64> = result.set_aside.iter().map(|aside| f64::from(aside.index)).collect();
        // Theirs gives no weight to what is far by the median of the residuals, which chance may be as well.
        let theirs = &rows[&(case, "out")];
        assert_eq!(out, rows[&(case, "misread")], "{case}");
        assert!(out.iter().all(|row| theirs.contains(row)), "{case}: {theirs:?}");
        let theirs = &rows[&(case, "tukey")];
        let lost = result.lost_motion;
        println!(
            "{case}: {} ± {}, statsmodels {} ± {}",
            lost.value, lost.standard_uncertainty, theirs[0], theirs[1]
        );
        // Weights differ, so do the estimates: by less than their standard uncertainties together.
        let apart = (lost.value - theirs[0]).abs();
        assert!(apart < theirs[1].hypot(lost.standard_uncertainty), "{case}: {apart} apart");
        let ratio = lost.standard_uncertainty / theirs[1];
        assert!((0.5..2.5).contains(&ratio), "{case}: {ratio}");
    }
}

#[test]
fn the_change_of_two_means_is_that_of_welch() {
    let (cases, rows) = table();
    let mean = |case: &str| {
        let shown = &rows[&(case, "shown")];
        let differences: Vec<f64> = shown.chunks(2).map(|pair| pair[1] - pair[0]).collect();
        let n = differences.len() as f64;
        let value = differences.iter().sum::<f64>() / n;
        let s2 = differences.iter().map(|d| (d - value).powi(2)).sum::<f64>() / (n - 1.0);
        Estimate { value, standard_uncertainty: (s2 / n).sqrt(), dof: n - 1.0 }
    };
    for pair in cases.windows(2) {
        let change = compare::change(mean(pair[0]), mean(pair[1]));
        let theirs = &rows[&(pair[0], "welch")];
        let found =
            [change.value, change.standard_uncertainty, change.dof, change.low_95(), change.high_95()];
        for (found, theirs) in found.into_iter().zip(theirs) {
            near(found, *theirs, 1e-7, pair[0]);
        }
    }
}
