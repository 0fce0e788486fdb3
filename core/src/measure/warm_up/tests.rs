use super::*;
use proptest::prelude::*;
use std::vec::Vec;

fn readings(times: impl IntoIterator<Item = f64>, curve: impl Fn(f64) -> f64) -> Vec<Reading> {
    times.into_iter().map(|time_s| Reading { time_s, value_mm: curve(time_s) }).collect()
}

fn every(step_s: f64, count: u32) -> impl Iterator<Item = f64> {
    (0..count).map(move |i| f64::from(i) * step_s)
}

/// Readings that are off by turns.
fn rough(time_s: f64) -> f64 {
    0.0004 * libm::sin(time_s * 1.7)
}

#[test]
fn the_curve_is_found_from_any_start() {
    let (start, amplitude, tau) = (7200.0, -0.05, 1500.0);
    // A clock that began long before, and a dial of the other sense.
    let result = assess(
        &readings(every(300.0, 16).map(|t| t + start), |t| {
            0.3 - amplitude * -libm::expm1(-(t - start) / tau) + rough(t)
        }),
        &Setup { sense: crate::axis::Direction::Minus, ..Setup::default() },
    )
    .unwrap();
    let holds = |estimate: Estimate, truth: f64| {
        assert!((estimate.value - truth).abs() <= estimate.expanded_95(), "{estimate:?} {truth}");
        assert!(estimate.expanded_95() < 0.15 * truth.abs(), "{estimate:?} {truth}");
    };
    holds(result.amplitude.unwrap(), amplitude);
    holds(result.time_constant_s.unwrap(), tau);
    holds(result.left.unwrap(), amplitude * libm::exp(-4500.0 / tau));
    holds(result.rate_now, amplitude / tau * libm::exp(-4500.0 / tau));
    assert_eq!(result.course, Course::Bends);
}

#[test]
fn a_curve_that_does_not_bend_yet_says_what_it_can() {
    let result = assess(&readings(every(60.0, 12), |t| 1e-5 * t + rough(t)), &Setup::default()).unwrap();
    let Course::Straight { time_constant_at_least_s, left_at_least_mm } = result.course else {
        panic!("{result:?}");
    };
    assert!(time_constant_at_least_s > 200.0 && left_at_least_mm > 0.0, "{result:?}");
    assert_eq!((result.amplitude, result.time_constant_s, result.left), (None, None, None));
    assert!((result.rate_now.value - 1e-5).abs() < result.rate_now.expanded_95());
}

// A quadratic either way, and readings that are off by turns: no bound is less than none, nor without end.
#[test]
fn growth_that_comes_faster_and_faster_has_no_end_to_speak_of() {
    for sign in [1.0, -1.0] {
        let shape = |t: f64| sign * 0.05 * (t / 1100.0) * (t / 1100.0) + rough(t);
        let result = assess(&readings(every(100.0, 12), shape), &Setup::default()).unwrap();
        assert_eq!(result.course, Course::Faster, "{result:?}");
        assert_eq!((result.amplitude, result.time_constant_s, result.left), (None, None, None));
        assert!(result.rate_now.value * sign > result.seen.value * sign / result.span_s, "{result:?}");
        assert_eq!(result.worth_measuring_after_s(1200.0, 0.001), None);
        // The other bend, that of a growth that comes to its end.
        let shape = |t: f64| sign * 0.05 * (t / 1100.0) * (2.0 - t / 1100.0) + rough(t);
        let result = assess(&readings(every(100.0, 12), shape), &Setup::default()).unwrap();
        assert_eq!(result.course, Course::Bends, "{result:?}");
    }
}

// From nothing shown over what may yet end to what comes faster and faster.
#[test]
fn every_size_of_a_faster_growth_gives_numbers() {
    for n in 0..400 {
        let bend = 1e-5 * f64::from(n);
        let shape = |t: f64| bend * (t / 500.0) * (t / 500.0) + 4.0 * rough(t);
        let result = assess(&readings(every(100.0, 12), shape), &Setup::default()).unwrap();
        numbers(&result);
    }
}

/// All that is published is a number, and a bound is not below none.
fn numbers(result: &Assessment) {
    let estimates = [result.amplitude, result.time_constant_s, result.left];
    for estimate in estimates.into_iter().flatten().chain([result.rate_now, result.seen]) {
        assert!(estimate.value.is_finite() && estimate.expanded_95() >= 0.0, "{result:?}");
        assert!(estimate.expanded_95().is_finite(), "{result:?}");
    }
    if let Course::Straight { time_constant_at_least_s, left_at_least_mm } = result.course {
        assert!(time_constant_at_least_s.is_finite() && time_constant_at_least_s > 0.0, "{result:?}");
        assert!(left_at_least_mm.is_finite() && left_at_least_mm >= 0.0, "{result:?}");
    }
}

#[test]
fn a_warm_machine_shows_no_growth() {
    let result = assess(&readings(every(300.0, 12), rough), &Setup::default()).unwrap();
    assert_eq!(result.course, Course::NotShown);
    let left = result.left.unwrap();
    assert!(left.low_95() <= 0.0 && left.high_95() >= 0.0 && left.expanded_95() < 0.005, "{left:?}");
    assert_eq!(result.worth_measuring_after_s(1200.0, 0.001), Some(0.0));
}

#[test]
fn waiting_for_what_matters() {
    let result = assess(
        &readings(every(300.0, 13), |t| -0.06 * libm::expm1(-t / 1800.0) + 0.1 * rough(t)),
        &Setup::default(),
    )
    .unwrap();
    let wait = result.worth_measuring_after_s(1200.0, 0.002).unwrap();
    let left = |t: f64| 0.06 * libm::exp(-t / 1800.0);
    let during = left(3600.0 + wait) - left(4800.0 + wait);
    assert!((during - 0.002).abs() < 1e-4, "{wait} s, then {during} mm");
}

#[test]
fn a_misread_dial_is_set_aside_and_named() {
    let mut rows = readings(every(300.0, 16), |t| -0.06 * libm::expm1(-t / 1800.0) + rough(t));
    rows[6].value_mm += 0.1;
    let result = assess(&rows, &Setup { resolution_mm: 0.001, ..Setup::default() }).unwrap();
    assert_eq!(result.set_aside.len(), 1);
    assert_eq!(result.set_aside[0].index, 6);
    assert!(matches!(result.set_aside[0].probably, crate::measure::reversal::Misread::Digit { .. }));
    assert_eq!(result.used, 15);
}

#[test]
fn too_little_is_refused() {
    let few = readings(every(60.0, 5), |_| 0.0);
    assert_eq!(assess(&few, &Setup::default()), Err(NotEnough::TooFew { found: 5, needed: FEWEST }));
    let still = readings([0.0, 0.0, 1.0, 1.0, 2.0, 2.0, 2.0], |_| 0.0);
    assert_eq!(assess(&still, &Setup::default()), Err(NotEnough::NoTime));
    let back = readings([0.0, 1.0, 3.0, 2.0, 4.0, 5.0], |_| 0.0);
    assert_eq!(assess(&back, &Setup::default()), Err(NotEnough::TimeRunsBack { index: 3 }));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    // Whatever is read: an answer or a refusal, and numbers that are numbers.
    #[test]
    fn any_readings_give_an_answer(
        steps in prop::collection::vec((0.0..1e4f64, -10.0..10.0f64), 0..30), resolution_mm in 0.0..0.1f64,
    ) {
        let mut time_s = 0.0;
        let rows: Vec<Reading> = steps.into_iter().map(|(step, value_mm)| {
            time_s += step;
            Reading { time_s, value_mm }
        }).collect();
        if let Ok(result) = assess(&rows, &Setup { resolution_mm, ..Setup::default() }) {
            numbers(&result);
            prop_assert_eq!(result.used as usize + result.set_aside.len(), rows.len());
        }
    }

    // A change of the zero, of the clock or of the unit changes nothing but itself.
    #[test]
    fn zero_clock_and_unit_do_not_matter(zero in -1.0..1.0f64, clock in 0.0..1e5f64, scale in 0.5..30.0f64) {
        let shape = |t: f64| -0.05 * libm::expm1(-t / 1500.0) + rough(t);
        let one = assess(&readings(every(300.0, 14), shape), &Setup::default()).unwrap();
        let rows = readings(every(300.0, 14).map(|t| t + clock), |t| zero + scale * shape(t - clock));
        let other = assess(&rows, &Setup::default()).unwrap();
        let (a, b) = (one.left.unwrap().scaled(scale), other.left.unwrap());
        prop_assert!((a.value - b.value).abs() < 1e-4 * a.value.abs(), "{a:?} {b:?}");
        prop_assert!((a.expanded_95() / b.expanded_95() - 1.0).abs() < 1e-3, "{a:?} {b:?}");
    }
}
