//! The return test against simulated truth (the bench `coverage` prints a wider table), and what it says of causes.

use takeup_core::measure::Setup;
use takeup_core::measure::cause::{Evidence, Name};
use takeup_core::measure::returns::{self, NotEnough, Reading, Trend, Why, assess};
use takeup_core::measure::routine::Pauses;
use takeup_tests::returning::{Returning, score};

/// Coverage 93 % or more at this number of seeds, and an interval of slip no wider than so many times that of an estimator
/// that is told how readings scatter, where that is known.
#[track_caller]
fn holds(sitting: Returning, widest: Option<f64>) {
    let seeds = 1000;
    let s = score(&sitting, seeds);
    assert_eq!(s.together, 0, "{sitting:?}");
    for (name, part) in [("slip", s.per_cycle), ("drift", s.per_hour), ("scatter", s.scatter)] {
        let share = part.coverage();
        assert!(share >= 0.93, "{name}: {share} of {seeds} seeds, {sitting:?}");
    }
    let ratio = s.per_cycle.half() / s.told_mm;
    assert!(widest.is_none_or(|widest| ratio < widest), "{ratio} {sitting:?}");
}

#[test]
fn intervals_hold_the_truth() {
    holds(Returning::USUAL, Some(1.4));
    holds(Returning { slip_mm: 0.0, drift_mm_per_h: 0.05, ..Returning::USUAL }, Some(1.4));
    holds(Returning { returns: 10, noise_mm: 0.004, resolution_mm: 0.01, ..Returning::USUAL }, Some(1.95));
    holds(Returning { returns: 40, misread: 0.1, ..Returning::USUAL }, Some(1.5));
}

// What a drive loses unevenly scatters about its trend by the walk that it makes as well.
#[test]
fn intervals_hold_the_truth_of_uneven_slip() {
    let uneven = Returning { slip_mm: 0.02, slip_scatter_mm: 0.01, ..Returning::USUAL };
    holds(uneven, None);
    holds(Returning { returns: 40, ..uneven }, None);
    let s = score(&uneven, 300);
    assert!(s.scatter.bias().abs() < 0.001, "{}", s.scatter.bias());
}

// Readings on a straight line but for one step: the scatter is that about the line, worked out by hand. Ten places 0 0 0 0
// 0 1 1 1 1 1 about their own line: the squares about the mean, 2.5, less 12.5² / 82.5 that the slope takes.
#[test]
fn scatter_is_that_about_the_trend() {
    let readings: Vec<Reading> = (0..10)
        .map(|n| Reading { lift: n + 1, value_mm: if n < 5 { 0.0 } else { 0.1 }, time_s: None })
        .collect();
    let result = assess(&readings, &Setup::default()).unwrap();
    let by_hand = 0.1 * ((2.5 - 12.5 * 12.5 / 82.5) / 8.0_f64).sqrt();
    assert!((result.scatter.value - by_hand).abs() < 1e-9, "{:?} {by_hand}", result.scatter);
}

#[test]
fn what_is_lost_is_never_called_nothing() {
    let mut shown = 0;
    for seed in 0..400 {
        let sitting = Returning { slip_mm: 0.0015, ..Returning::USUAL };
        let result = sitting.assess(seed);
        let Trend::Apart { per_cycle, .. } = result.trend else { panic!("seed {seed}") };
        if per_cycle.value.abs() > per_cycle.expanded_95() {
            shown += 1;
            let first = returns::causes(&result, &Setup::default())[0].cause;
            assert_ne!(first, Name::NoneShown, "seed {seed}: {per_cycle:?}");
        }
    }
    assert!(shown > 100, "{shown}");
}

// A step of the dial at every lift leaves no residual at all, which is no reason to believe less.
#[test]
fn slip_by_a_step_of_the_dial_at_every_lift_is_shown() {
    let falling = Returning { resolution_mm: 0.01, noise_mm: 0.0005, ..Returning::USUAL };
    let s = score(&falling, 300);
    assert!(s.per_cycle.coverage() >= 0.93 && s.per_cycle.half() < 0.003, "{s:?}");
    let setup = Setup { resolution_mm: falling.resolution_mm, ..Setup::default() };
    for seed in 0..300 {
        let first = returns::causes(&falling.assess(seed), &setup)[0].cause;
        assert_eq!(first, Name::Slip, "seed {seed}");
    }
}

#[test]
fn uneven_slip_has_its_own_evidence() {
    let uneven = Returning { slip_mm: 0.0, slip_scatter_mm: 0.03, ..Returning::USUAL };
    let causes = returns::causes(&uneven.assess(3), &Setup::default());
    assert_eq!(causes[0].cause, Name::Slip);
    let s = causes[0].evidence.iter().find_map(|e| match e {
        Evidence::SlipDiffers { s_mm } => Some(*s_mm),
        _ => None,
    });
    assert!(s.is_some_and(|s| (0.015..0.06).contains(&s)), "{causes:?}");
    let even = returns::causes(&Returning::USUAL.assess(3), &Setup::default());
    assert!(!even[0].evidence.iter().any(|e| matches!(e, Evidence::SlipDiffers { .. })), "{even:?}");
}

#[test]
fn without_pauses_slip_and_drift_are_not_told_apart() {
    for seed in 0..20 {
        let sitting = Returning { pauses: Pauses::None, ..Returning::USUAL };
        let result = sitting.assess(seed);
        assert_eq!(result.trend, Trend::Together(Why::Even), "seed {seed}");
        assert!(
            (result.per_return.value + 0.01).abs() <= 1.5 * result.per_return.expanded_95(),
            "seed {seed}: {result:?}"
        );
        let causes = returns::causes(&result, &Setup::default());
        let first: Vec<Name> = causes.iter().take(2).map(|c| c.cause).collect();
        assert!(first.contains(&Name::Slip) && first.contains(&Name::Thermal), "seed {seed}: {causes:?}");
        let untimed: Vec<Reading> =
            sitting.readings(seed).into_iter().map(|r| Reading { time_s: None, ..r }).collect();
        let result = assess(&untimed, &Setup::default()).unwrap();
        assert_eq!(result.trend, Trend::Together(Why::NoTimes), "seed {seed}");
    }
}

#[test]
fn the_cause_is_named() {
    let none = Returning { slip_mm: 0.0, ..Returning::USUAL };
    // Short of 95: drift alone, which leans on the pauses (71): the wandering of slip takes some of it.
    for (sitting, wanted, least) in [
        (none, Name::NoneShown, 95),
        (Returning { slip_mm: 0.02, ..none }, Name::Slip, 95),
        (Returning { slip_mm: 0.05, slip_scatter_mm: 0.02, ..none }, Name::Slip, 95),
        (Returning { drift_mm_per_h: 0.1, ..none }, Name::Thermal, 70),
        (Returning { noise_mm: 0.03, ..none }, Name::IndicatorSetup, 95),
    ] {
        let seeds = 100;
        let setup = Setup { resolution_mm: sitting.resolution_mm, ..Setup::default() };
        let right = (0..seeds)
            .filter(|&seed| returns::causes(&sitting.assess(seed), &setup)[0].cause == wanted)
            .count();
        assert!(right >= least, "{wanted:?}: {right} of {seeds}, {least} were expected");
    }
}

#[test]
fn too_little_is_refused_with_what_is_missing() {
    let of = |lifts: &[u16], value_mm: f64| {
        let readings: Vec<Reading> =
            lifts.iter().map(|&lift| Reading { lift, value_mm, time_s: None }).collect();
        assess(&readings, &Setup::default()).unwrap_err()
    };
    assert_eq!(of(&[1, 2, 3], 0.0), NotEnough::TooFewReturns { found: 3, fewest: 4 });
    assert_eq!(of(&[1, 2, 2, 3], 0.0), NotEnough::LiftsNotRising { index: 2 });
    assert_eq!(of(&[1, 2, 3, 4], f64::NAN), NotEnough::NotFinite { index: 0 });
}

proptest::proptest! {
    // Whatever is written down, there is an answer with finite numbers or a refusal.
    #[test]
    fn any_readings_are_assessed_or_refused(
        rows in proptest::collection::vec((1_u16..4, -2.0..2.0_f64, 0.0..500.0_f64), 1..40),
        timed: bool,
        resolution_mm in 0.0..0.05_f64,
    ) {
        let (mut lift, mut time) = (0, 0.0);
        let readings: Vec<Reading> = rows
            .iter()
            .map(|&(more, value_mm, later)| {
                lift += more;
                time += later;
                Reading { lift, value_mm, time_s: timed.then_some(time) }
            })
            .collect();
        if let Ok(result) = assess(&readings, &Setup { resolution_mm, ..Setup::default() }) {
            let mut parts = vec![result.per_return, result.scatter];
            if let Trend::Apart { per_cycle, per_hour } = result.trend {
                parts.extend([per_cycle, per_hour]);
            }
            for part in parts {
                proptest::prop_assert!(part.value.is_finite() && part.expanded_95().is_finite(), "{result:?}");
            }
            let sum: f64 = returns::causes(&result, &Setup::default()).iter().map(|c| c.weight).sum();
            proptest::prop_assert!((sum - 1.0).abs() < 1e-6, "{sum}");
        }
    }
}
