//! Statistics against published values and independent code; each names its source.

use takeup_core::axis::Direction::{Minus, Plus};
use takeup_core::length::Length;
use takeup_core::measure::regression::LeastSquares;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::measure::{Setup, student, uncertainty};

// NIST Statistical Reference Datasets, Norris, certified values of the file (taken from the SciPy wheel).
#[test]
fn norris_to_nine_digits() {
    let text = include_str!("../../../reference/norris.dat");
    let mut squares = LeastSquares::<2>::new();
    for line in text.lines().skip(60) {
        let mut numbers = line.split_whitespace().map(|n| n.parse::<f64>().unwrap());
        if let (Some(y), Some(x)) = (numbers.next(), numbers.next()) {
            squares.add([1.0, x], y);
        }
    }
    assert_eq!(squares.rows(), 36);
    let fit = squares.solve().unwrap();
    for (found, certified) in [
        (fit.coefficient(0), -0.262_323_073_774_029),
        (fit.coefficient(1), 1.002_116_818_020_45),
        (fit.estimate(0).standard_uncertainty, 0.232_818_234_301_152),
        (fit.estimate(1).standard_uncertainty, 0.429_796_848_199_937e-3),
        (fit.variance().sqrt(), 0.884_796_396_144_373),
        (fit.residual_sum, 26.617_398_529_422_4),
    ] {
        assert!((found / certified - 1.0).abs() < 1e-9, "{found} instead of {certified}");
    }
    assert_eq!(fit.dof, 34.0);
}

// Table G.2 of JCGM 100: t for probabilities in per cent and degrees of freedom (recalled from memory).
#[test]
fn student_factors_of_the_guide() {
    for (dof, per_cent, t) in [
        (1.0, 95.0, 12.71),
        (2.0, 95.0, 4.30),
        (3.0, 95.0, 3.18),
        (4.0, 95.0, 2.78),
        (5.0, 95.0, 2.57),
        (10.0, 95.0, 2.23),
        (20.0, 95.0, 2.09),
        (50.0, 95.0, 2.01),
        (f64::INFINITY, 95.0, 1.960),
        (1.0, 99.0, 63.66),
        (16.0, 99.0, 2.92),
        (f64::INFINITY, 99.0, 2.576),
        (5.0, 68.27, 1.11),
        (5.0, 95.45, 2.65),
    ] {
        let found = student::coverage_factor(per_cent / 100.0, dof);
        assert!((found - t).abs() <= 0.0051, "t for {per_cent} % and {dof}: {found} instead of {t}");
    }
}

// SciPy, by the script beside the table.
#[test]
fn student_tails_agree_with_independent_code() {
    let mut worst = (0.0, String::new());
    for line in include_str!("../../../reference/student_t.csv").lines().skip(1) {
        let numbers: Vec<f64> = line.split(',').map(|n| n.parse().unwrap()).collect();
        let [dof, t, tail] = numbers[..] else { panic!("{line}") };
        let error = (student::tail(t, dof) / tail - 1.0).abs();
        // Far out, beyond 100 000 degrees of freedom, the expansion promises less.
        let promised = dof <= 1e5 || t <= 4.0;
        if tail > 1e-280 && promised && error > worst.0 {
            worst = (error, line.to_owned());
        }
        if tail > 1e-12 && t > 0.0 && promised {
            let back = student::quantile(1.0 - tail, dof);
            let lost = 1e-15 / (tail * t.max(1.0)) * 10.0;
            assert!((back / t - 1.0).abs() < 1e-7 + lost || t < 1e-6, "{line}: quantile {back}");
        }
    }
    assert!(worst.0 < 2e-10, "worst relative error {} at {}", worst.0, worst.1);
}

// JCGM 100 example H.1, calibration of an end gauge: combined 32 nm, 16 degrees of freedom, expanded 93 nm at
// 99 %. The parts are those of table H.1 (recalled from memory).
#[test]
fn end_gauge_of_the_guide() {
    let sum = uncertainty::combine(0.0, [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]);
    assert_eq!(sum.standard_uncertainty.round(), 32.0);
    assert_eq!(sum.dof.floor(), 16.0);
    // The guide truncates the degrees of freedom.
    let expanded = student::coverage_factor(0.99, sum.dof.floor()) * sum.standard_uncertainty.round();
    assert_eq!(expanded.round(), 93.0);
}

fn reading(target: f64, cycle: u16, approach: takeup_core::axis::Direction, value_mm: f64) -> Reading {
    Reading { target: Length::from_mm(target).unwrap(), cycle, approach, value_mm, time_s: None }
}

// ISO 230-2 (formulas recalled from memory), worked by hand: one-way means, standard deviations with
// divisor n - 1, and B = mean approached + less mean approached -.
#[test]
fn one_way_means_and_reversal_by_hand() {
    let plus = [0.010, 0.012, 0.008, 0.011, 0.009];
    let minus = [0.130, 0.127, 0.129, 0.131, 0.128];
    let readings: Vec<Reading> = plus
        .iter()
        .zip(&minus)
        .zip(1..)
        .flat_map(|((&p, &m), cycle)| [reading(0.0, cycle, Plus, p), reading(0.0, cycle, Minus, m)])
        .collect();
    let result = assess::<1>(&readings[..], &Setup::default()).unwrap();
    let station = &result.stations[0];
    // Means are relative to the first reading, 0.010: 0.010 - 0.010 and 0.129 - 0.010.
    assert!((station.plus.mean_mm - 0.0).abs() < 1e-12);
    assert!((station.minus.mean_mm - 0.119).abs() < 1e-12);
    assert!((station.reversal_mm + 0.119).abs() < 1e-12);
    // Squares of the deviations in micrometres: 0 4 4 1 1 and 1 4 0 4 1, both 10; over 4; root.
    let s = (10.0_f64 / 4.0).sqrt() / 1000.0;
    assert!((station.plus.s_mm.unwrap() - s).abs() < 1e-12);
    assert!((station.minus.s_mm.unwrap() - s).abs() < 1e-12);
    assert!((result.lost_motion.value - 0.119).abs() < 0.0005, "{:?}", result.lost_motion);
}

// Common practice, no source: 0.25 mm commanded and 0.20 mm shown is 0.05 mm lost.
#[test]
fn a_quarter_commanded_and_a_fifth_shown() {
    let mut readings = Vec::new();
    for cycle in 1..=3 {
        readings.push(reading(0.0, cycle, Minus, 0.25));
        readings.push(reading(0.0, cycle, Plus, 0.20));
    }
    let result = assess::<1>(&readings[..], &Setup::default()).unwrap();
    assert!((result.lost_motion.value - 0.05).abs() < 1e-12, "{:?}", result.lost_motion);
    assert!((result.stations[0].reversal_mm + 0.05).abs() < 1e-12);
}

// Half of the indicator's hysteresis is taken off, with a rectangular uncertainty (JCGM 100, 4.3.7); sense and
// angle are applied; the error of the indicator and its resolution stand in the budget.
#[test]
fn the_setup_enters_as_it_should() {
    let mut readings = Vec::new();
    for cycle in 1..=4 {
        readings.push(reading(0.0, cycle, Plus, 0.30));
        readings.push(reading(0.0, cycle, Minus, 0.20));
    }
    let setup = Setup {
        hysteresis_mm: 0.004,
        indicator_error_mm: 0.003,
        resolution_mm: 0.01,
        sense: Minus,
        ..Setup::default()
    };
    let result = assess::<1>(&readings[..], &setup).unwrap();
    assert!((result.stations[0].reversal_mm + 0.1).abs() < 1e-12);
    assert!((result.lost_motion.value - 0.098).abs() < 1e-9, "{:?}", result.lost_motion);
    let part =
        |source| result.budget.iter().find(|p| p.source == source).map_or(0.0, |p| p.standard_uncertainty);
    assert!((part(uncertainty::Source::IndicatorHysteresis) - 0.004 / 12.0_f64.sqrt()).abs() < 1e-12);
    assert!((part(uncertainty::Source::IndicatorError) - 0.003 / 3.0_f64.sqrt()).abs() < 1e-12);
    // All readings alike: two means, each wrong by up to half a step (JCGM 100, F.2.2.1), but for the edges, where
    // they would mix.
    let rounding = part(uncertainty::Source::Resolution) / (0.01 / 6.0_f64.sqrt());
    assert!((0.7..=1.0).contains(&rounding), "{rounding}");
    assert!(result.budget.iter().all(|p| p.standard_uncertainty <= part(uncertainty::Source::Resolution)));
    let tilted =
        assess::<1>(&readings[..], &Setup { angle_deg: 60.0, sense: Minus, ..Setup::default() }).unwrap();
    assert!((tilted.lost_motion.value - 0.05).abs() < 1e-9, "{:?}", tilted.lost_motion);
}

// Part of the budget of a small microcontroller: the result for ten stations, beside the readings.
#[test]
fn a_result_of_ten_stations_is_small() {
    let bytes = size_of::<takeup_core::measure::reversal::Assessment<10>>();
    println!("{bytes} bytes");
    assert!(bytes < 2048, "{bytes} bytes");
}
