use super::*;
use crate::axis::Direction;
use crate::slack::simulated::{Dial, Noise};
use proptest::prelude::*;
use std::vec::Vec;

/// Readings of an axis with a clearance, a compliance and a balance, rough by turns.
fn pushed(forces: &[f64], clearance: f64, stiffness: f64, balance: f64) -> Vec<Reading> {
    let rough = |i: usize| [0.0005, -0.0003, -0.0006, 0.0004][i % 4];
    let across = |force: f64| if force > balance { clearance } else { 0.0 };
    (forces.iter().enumerate())
        .map(|(i, &force_n)| Reading {
            force_n,
            value_mm: 0.2 + across(force_n) + force_n / stiffness + rough(i),
        })
        .collect()
}

const BOTH_WAYS: [f64; 10] = [80.0, -80.0, 150.0, -150.0, 200.0, -200.0, 120.0, -60.0, 60.0, -120.0];

#[test]
fn clearance_and_stiffness_come_apart() {
    let result = assess(&pushed(&BOTH_WAYS, 0.08, 5000.0, 0.0), &Setup::default()).unwrap();
    assert!((result.clearance.value - 0.08).abs() < result.clearance.expanded_95(), "{result:?}");
    assert!(result.clearance.expanded_95() < 0.003, "{result:?}");
    let stiffness = result.stiffness.unwrap();
    assert!((stiffness.value - 5000.0).abs() < stiffness.expanded_95(), "{result:?}");
    assert_eq!(result.crossed_n, Some((-60.0, 60.0)));
    assert!(result.shown);
}

#[test]
fn a_dial_of_the_other_sense_and_an_angle_change_nothing() {
    let mut rows = pushed(&BOTH_WAYS, 0.08, 5000.0, 0.0);
    for row in &mut rows {
        row.value_mm *= -2.0;
    }
    let setup = Setup { sense: Direction::Minus, angle_deg: 60.0, ..Setup::default() };
    let result = assess(&rows, &setup).unwrap();
    assert!((result.clearance.value - 0.08).abs() < 0.002, "{result:?}");
}

// A vertical axis: without a force its weight holds it on one side, and it is crossed where the force balances the weight.
#[test]
fn a_weight_moves_the_crossing() {
    let forces = [0.0, 100.0, 200.0, 250.0, 350.0, 400.0, 500.0, 150.0, 450.0];
    let result = assess(&pushed(&forces, 0.06, 8000.0, 300.0), &Setup::default()).unwrap();
    assert_eq!(result.crossed_n, Some((250.0, 350.0)));
    assert!((result.clearance.value - 0.06).abs() < result.clearance.expanded_95(), "{result:?}");
}

// Friction holds the table, after each push, on the side to which it was pushed.
#[test]
fn readings_without_a_force_stay_where_the_axis_was_pushed() {
    let forces = [100.0, 0.0, -100.0, 0.0, 150.0, 0.0, -150.0, 0.0, 200.0, -200.0];
    let mut side = 0.0;
    let rows: Vec<Reading> = pushed(&forces, 0.0, 5000.0, 0.0)
        .into_iter()
        .map(|row| {
            if row.force_n != 0.0 {
                side = if row.force_n > 0.0 { 0.08 } else { 0.0 };
            }
            Reading { value_mm: row.value_mm + side, ..row }
        })
        .collect();
    let result = assess(&rows, &Setup::default()).unwrap();
    assert!((result.clearance.value - 0.08).abs() < result.clearance.expanded_95(), "{result:?}");
    assert!(result.clearance.expanded_95() < 0.003 && result.set_aside.is_empty(), "{result:?}");
}

#[test]
fn a_tight_axis_shows_none() {
    let result = assess(&pushed(&BOTH_WAYS, 0.0, 5000.0, 0.0), &Setup::default()).unwrap();
    assert!(!result.shown && result.crossed_n.is_none(), "{result:?}");
    assert!(result.clearance.value.abs() < result.clearance.expanded_95());
}

#[test]
fn a_misread_dial_is_set_aside() {
    let mut rows = pushed(&BOTH_WAYS, 0.08, 5000.0, 0.0);
    rows[4].value_mm -= 0.2;
    let result = assess(&rows, &Setup { resolution_mm: 0.001, ..Setup::default() }).unwrap();
    let indices: Vec<u16> = result.set_aside.iter().map(|s| s.index).collect();
    assert_eq!(indices, [4]);
    assert!((result.clearance.value - 0.08).abs() < result.clearance.expanded_95(), "{result:?}");
}

// Pushed `+` a dial that lags shows too little, pushed `-` too much: of what was crossed its hysteresis is missing.
#[test]
fn what_a_lagging_dial_does_not_show_is_given_back_by_half() {
    let mut dial = Dial { hysteresis_mm: 0.010, ..Dial::default() };
    let mut noise = Noise::new(1);
    let mut rows = pushed(&BOTH_WAYS, 0.050, 5000.0, 0.0);
    for row in &mut rows {
        row.value_mm = dial.read_mm(row.value_mm, &mut noise);
    }
    let bare = assess(&rows, &Setup::default()).unwrap().clearance;
    assert!((bare.value - 0.040).abs() < 0.001, "{bare:?}");
    let setup = Setup { hysteresis_mm: 0.010, ..Setup::default() };
    let told = assess(&rows, &setup).unwrap().clearance;
    assert!((told.value - bare.value - 0.005).abs() < 1e-9, "{told:?}");
    assert!(told.low_95() <= 0.050 && 0.050 <= told.high_95(), "{told:?}");
}

#[test]
fn the_indicator_enters_the_budget() {
    let setup = Setup { hysteresis_mm: 0.004, indicator_error_mm: 0.003, ..Setup::default() };
    let rows = pushed(&BOTH_WAYS, 0.08, 5000.0, 0.0);
    let (bare, with) = (assess(&rows, &Setup::default()).unwrap(), assess(&rows, &setup).unwrap());
    assert!((with.clearance.value - bare.clearance.value - 0.002).abs() < 1e-9);
    let part = |source| with.budget.iter().find(|p| p.source == source).unwrap().standard_uncertainty;
    assert!((part(Source::IndicatorHysteresis) - 0.002 / 3.0_f64.sqrt()).abs() < 1e-12);
    assert!((part(Source::IndicatorError) - 0.003 / 3.0_f64.sqrt()).abs() < 1e-12);
}

#[test]
fn too_little_is_refused() {
    let refused = |forces: &[f64]| assess(&pushed(forces, 0.0, 5000.0, 0.0), &Setup::default()).unwrap_err();
    assert_eq!(refused(&[1.0, 2.0]), NotEnough::TooFew { found: 2, needed: FEWEST });
    assert_eq!(refused(&[50.0; 6]), NotEnough::TooFewForces);
    assert_eq!(
        refused(&[-50.0, 50.0, 60.0, 70.0, 80.0, 90.0].map(f64::abs)),
        NotEnough::OneWay { least_n: 50.0, most_n: 90.0 }
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    // Whatever is read: an answer or a refusal, and numbers that are numbers.
    #[test]
    fn any_readings_give_an_answer(
        rows in prop::collection::vec((-500.0..500.0f64, -10.0..10.0f64), 0..40), resolution_mm in 0.0..0.1f64,
    ) {
        let rows: Vec<Reading> =
            rows.into_iter().map(|(force_n, value_mm)| Reading { force_n: force_n.round(), value_mm }).collect();
        if let Ok(result) = assess(&rows, &Setup { resolution_mm, ..Setup::default() }) {
            prop_assert!(result.clearance.value.is_finite() && result.clearance.expanded_95() >= 0.0);
            prop_assert!(result.stiffness.is_none_or(|k| k.low_95() > 0.0), "{result:?}");
            prop_assert_eq!(result.used as usize + result.set_aside.len(), rows.len());
        }
    }
}
