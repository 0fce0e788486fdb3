//! The test of small steps against simulated truth (the bench `coverage` prints a wider table), against SciPy, and
//! what it says of causes.

use takeup_core::axis::Direction::{self, Minus, Plus};
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::cause::Name;
use takeup_core::measure::small_steps::{self, NotEnough, Reading, assess};
use takeup_tests::staircase::{Staircase, score};

/// Coverage of every quantity 93 % or more at this number of seeds, and intervals on average no wider than 1.3 times those
/// of an estimator that is told the noise; without a wind-up its parts are not linear, and only their sum is compared.
#[track_caller]
fn holds(sitting: Staircase) {
    let seeds = 500;
    let s = score(&sitting, seeds);
    let [gap, wound, both] = sitting.informed();
    for (name, part, informed) in
        [("gap", s.dead_band, gap), ("wind-up", s.wind_up, wound), ("lost motion", s.lost_motion, both)]
    {
        let share = part.coverage();
        assert!(share >= 0.93, "{name}: {share} of {seeds} seeds, {sitting:?}");
        let ratio = part.half() / informed;
        let compared = sitting.wind_up_mm > 0.0 || name == "lost motion";
        assert!(!compared || ratio < 1.3, "{name}: {ratio} {sitting:?}");
    }
    assert!(s.lost_motion.bias().abs() < 0.0008, "{sitting:?} {s:?}");
}

#[test]
fn intervals_hold_the_truth() {
    holds(Staircase::USUAL);
    holds(Staircase { drift_mm: 0.0002, misread: 0.1, ..Staircase::USUAL });
}

#[test]
fn intervals_hold_the_truth_of_a_gap_alone_and_of_wind_up_alone() {
    holds(Staircase { wind_up_mm: 0.0, ..Staircase::USUAL });
    holds(Staircase { clearance_mm: 0.0, wind_up_mm: 0.05, ..Staircase::USUAL });
}

#[test]
fn intervals_hold_the_truth_on_a_coarse_dial() {
    holds(Staircase { noise_mm: 0.004, resolution_mm: 0.01, ..Staircase::USUAL });
}

// On an inch dial that nothing moves the roundings of one place are alike, cycle after cycle.
#[test]
fn more_cycles_on_a_coarse_dial_do_not_promise_more_than_they_tell() {
    let seeds = 150;
    let steady = Staircase { wind_up_mm: 0.0, noise_mm: 0.003, resolution_mm: 0.0127, ..Staircase::USUAL };
    let s = score(&Staircase { cycles: 10, ..steady }, seeds);
    // 93 % and two standard deviations of a share by chance.
    assert!(s.lost_motion.coverage() >= 0.89, "{s:?}");
}

// The pull at which the table jumps is learnt from the jumps: else, on a dial as coarse as the steps, readings would be held or
// free by chance, and what is lost by the pull would seem lost for good.
#[test]
fn ways_that_stick_do_not_bend_what_is_lost() {
    let seeds = 100;
    let stuck = Staircase { clearance_mm: 0.05, wind_up_mm: 0.0, sticking_mm: 0.035, ..Staircase::USUAL };
    for (noise_mm, resolution_mm) in [(0.002, 0.001), (0.004, 0.01), (0.003, 0.0127)] {
        for misread in [0.0, 0.1] {
            let s = score(&Staircase { noise_mm, resolution_mm, misread, ..stuck }, seeds);
            assert!(s.sticking >= 0.97 && s.lost_motion.coverage() >= 0.93, "{noise_mm} {misread}: {s:?}");
            assert!(s.lost_motion.bias().abs() < 0.002, "{noise_mm} {misread}: {s:?}");
        }
    }
}

// A dead band below nothing that a wind-up makes up for is chance on a sound axis.
#[test]
fn a_sound_axis_has_no_dead_band_below_nothing() {
    let sound = Staircase { clearance_mm: 0.0, wind_up_mm: 0.0, ..Staircase::USUAL };
    let below = (0..300).filter(|&seed| sound.assess(seed).dead_band.value < 0.0).count();
    assert!(below <= 1, "{below}");
}

// The contract: lost motion is dead band plus wind-up.
#[test]
fn the_parts_add_up() {
    for sitting in [
        Staircase::USUAL,
        Staircase { clearance_mm: 0.0, wind_up_mm: 0.05, ..Staircase::USUAL },
        Staircase { wind_up_mm: 0.0, noise_mm: 0.004, resolution_mm: 0.01, ..Staircase::USUAL },
        Staircase { clearance_mm: 0.05, wind_up_mm: 0.0, sticking_mm: 0.035, ..Staircase::USUAL },
    ] {
        for seed in 0..5 {
            let setup = Setup { hysteresis_mm: 0.004, ..sitting.setup() };
            let result = assess(&sitting.readings(seed), &setup).unwrap();
            let both = result.dead_band.value + result.wind_up.value;
            assert!((both - result.lost_motion.value).abs() < 1e-12, "seed {seed}: {result:?}");
        }
    }
}

#[test]
fn misreads_are_set_aside() {
    let sitting = Staircase { misread: 0.1, ..Staircase::USUAL };
    for seed in 0..10 {
        let clean = Staircase { misread: 0.0, ..sitting }.readings(seed).len();
        let result = sitting.assess(seed);
        let out = result.set_aside.len();
        assert_eq!(result.used as usize + out, clean, "seed {seed}");
        assert!((8..=40).contains(&out), "seed {seed}: {out} set aside");
    }
}

#[test]
fn over_correction_is_reported_plainly() {
    let sitting =
        Staircase { clearance_mm: 0.02, wind_up_mm: 0.0, compensation_mm: 0.06, ..Staircase::USUAL };
    for seed in 0..10 {
        let result = sitting.assess(seed);
        let lost = result.lost_motion;
        assert!((lost.value + 0.04).abs() <= lost.expanded_95() + 0.001, "seed {seed}: {lost:?}");
        let causes = small_steps::causes(&result, &sitting.setup());
        assert_eq!(causes[0].cause, Name::OverCorrected, "seed {seed}: {causes:?}");
    }
}

/// How often the likeliest cause is the one wanted.
fn named(sitting: Staircase, wanted: Name) -> f64 {
    let seeds = 40;
    let right = (0..seeds)
        .filter(|&seed| {
            let causes = small_steps::causes(&sitting.assess(seed), &sitting.setup());
            let sum: f64 = causes.iter().map(|c| c.weight).sum();
            assert!((sum - 1.0).abs() < 1e-9, "seed {seed}: {causes:?}");
            causes[0].cause == wanted
        })
        .count();
    right as f64 / seeds as f64
}

#[test]
fn the_cause_is_named() {
    let none = Staircase { clearance_mm: 0.0, wind_up_mm: 0.0, ..Staircase::USUAL };
    for (sitting, wanted) in [
        (none, Name::NoneShown),
        (Staircase { clearance_mm: 0.08, ..none }, Name::Clearance),
        (Staircase { wind_up_mm: 0.05, ..none }, Name::WindUp),
        (Staircase { sticking_mm: 0.045, ..none }, Name::Sticking),
        (Staircase { growth_mm: 0.06, ..none }, Name::Thermal),
    ] {
        let right = named(sitting, wanted);
        assert!(right >= 0.95, "{wanted:?}: {right}");
    }
}

// Data and fits by scipy.optimize.curve_fit: tests/reference/take_up.py. Values are even within their intervals, which
// reach as far as the longer side of the likelihood: a little wider than the standard errors of the linear theory.
#[test]
fn the_fit_is_that_of_scipy() {
    let text = include_str!("../../../reference/take_up.csv");
    let mut fits: Vec<[f64; 6]> = Vec::new();
    let mut readings: Vec<Vec<Reading>> = Vec::new();
    for line in text.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let number = |n: usize| fields[n].parse::<f64>().unwrap();
        match fields[0] {
            "fit" => {
                fits.push([number(1), number(2), number(3), number(4), 0.0, 0.0]);
                readings.push(Vec::new());
            }
            "both" => {
                let fit = fits.last_mut().unwrap();
                (fit[4], fit[5]) = (number(1), number(2));
            }
            _ => readings.last_mut().unwrap().push(Reading {
                target: Length::from_mm(number(1)).unwrap(),
                approach: if fields[2] == "+" { Plus } else { Minus },
                value_mm: number(3),
                time_s: None,
            }),
        }
    }
    assert_eq!(fits.len(), 3);
    for ([b, b_error, w, w_error, both, both_error], readings) in fits.into_iter().zip(readings) {
        let result = assess(&readings, &Setup::default()).unwrap();
        for (name, found, value, error) in [
            ("gap", result.dead_band, b, b_error),
            ("wind-up", result.wind_up, w, w_error),
            ("both", result.lost_motion, both, both_error),
        ] {
            assert!((found.value - value).abs() < 0.15 * error, "{name}: {found:?}, not {value} ± {error}");
            let ratio = found.standard_uncertainty / error;
            assert!((0.98..1.1).contains(&ratio), "{name}: {found:?}, not {value} ± {error}");
        }
    }
}

fn at(steps: &[(f64, Direction)]) -> Vec<Reading> {
    steps
        .iter()
        .map(|&(mm, approach)| Reading {
            target: Length::from_mm(mm).unwrap(),
            approach,
            value_mm: mm,
            time_s: None,
        })
        .collect()
}

#[test]
fn too_little_is_refused_with_what_is_missing() {
    let refused = |rows: &[(f64, Direction)]| assess(&at(rows), &Setup::default()).unwrap_err();
    let up: Vec<(f64, Direction)> = (0..12).map(|n| (0.01 * f64::from(n), Plus)).collect();
    assert_eq!(refused(&up[..4]), NotEnough::TooFewReadings { found: 4, fewest: 10 });
    assert_eq!(refused(&up), NotEnough::NotSeated);
    let mut seated = up.clone();
    seated[0].1 = Minus;
    assert!(assess(&at(&seated), &Setup::default()).is_ok());
    seated[5].1 = Minus;
    assert_eq!(refused(&seated), NotEnough::AgainstTheWay { index: 5 });
    let down: Vec<(f64, Direction)> = (0..12).map(|n| (-0.01 * f64::from(n), Minus)).collect();
    assert_eq!(refused(&down), NotEnough::NoReversal);
    let still: Vec<Reading> = at(&up)
        .into_iter()
        .enumerate()
        .map(|(n, r)| Reading { value_mm: 0.0, approach: if n == 0 { Minus } else { Plus }, ..r })
        .collect();
    assert!(matches!(assess(&still, &Setup::default()), Err(NotEnough::TooShort { .. })));
    let mut nan = at(&up);
    nan[3].value_mm = f64::NAN;
    nan[0].approach = Minus;
    assert_eq!(assess(&nan, &Setup::default()).unwrap_err(), NotEnough::NotFinite { index: 3 });
}

proptest::proptest! {
    // Whatever is written down, there is an answer with finite numbers or a refusal.
    #[test]
    fn any_readings_are_assessed_or_refused(
        steps in proptest::collection::vec((-40_i32..40, -1.0..1.0_f64), 10..60),
        resolution_mm in 0.0..0.05_f64,
    ) {
        let mut before = 1000;
        let readings: Vec<Reading> = steps
            .iter()
            .map(|&(place, value_mm)| {
                let approach = if place > before { Plus } else { Minus };
                before = place;
                let target = Length::from_mm(0.01 * f64::from(place)).unwrap();
                Reading { target, approach, value_mm, time_s: None }
            })
            .collect();
        if let Ok(result) = assess(&readings, &Setup { resolution_mm, ..Setup::default() }) {
            for part in [result.dead_band, result.wind_up, result.lost_motion] {
                proptest::prop_assert!(part.value.is_finite() && part.standard_uncertainty >= 0.0, "{result:?}");
                proptest::prop_assert!(part.expanded_95().is_finite(), "{result:?}");
            }
            let sum: f64 = small_steps::causes(&result, &Setup::default()).iter().map(|c| c.weight).sum();
            proptest::prop_assert!((sum - 1.0).abs() < 1e-6, "{sum}");
        }
    }
}

// Ways that hold over the whole staircase: nothing is known of what is lost, least of all that it is nothing.
#[test]
fn a_table_that_never_moved_is_refused() {
    for seed in 0..20 {
        let stuck = Staircase { clearance_mm: 0.0, wind_up_mm: 0.0, sticking_mm: 0.4, ..Staircase::USUAL };
        let refused = assess(&stuck.readings(seed), &stuck.setup()).unwrap_err();
        assert!(matches!(refused, NotEnough::TooShort { .. }), "seed {seed}: {refused}");
    }
}
