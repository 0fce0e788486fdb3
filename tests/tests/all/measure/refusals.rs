//! What a reversal test says when it has too little.

use takeup_core::axis::Direction::{self, Minus, Plus};
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{NotEnough, Reading, assess};

fn at_zero(rows: &[(u16, Direction, f64)]) -> Vec<Reading> {
    rows.iter()
        .map(|&(cycle, approach, value_mm)| Reading {
            target: Length::ZERO,
            cycle,
            approach,
            value_mm,
            time_s: None,
        })
        .collect()
}

#[test]
fn too_little_is_refused_with_what_is_missing() {
    let refused =
        |rows: &[(u16, Direction, f64)]| assess::<2>(&at_zero(rows)[..], &Setup::default()).unwrap_err();
    assert_eq!(refused(&[]), NotEnough::NoReadings);
    let target = Length::ZERO;
    assert_eq!(refused(&[(1, Plus, 0.0), (2, Plus, 0.0)]), NotEnough::OneApproach { target, missing: Minus });
    assert_eq!(
        refused(&[(1, Minus, 0.0), (2, Minus, 0.0)]),
        NotEnough::OneApproach { target, missing: Plus }
    );
    assert_eq!(refused(&[(1, Plus, 0.0), (1, Minus, 0.1)]), NotEnough::OneCycle { target, approach: Plus });
    let nan = [(1, Plus, 0.0), (1, Minus, f64::NAN), (2, Plus, 0.0), (2, Minus, 0.0)];
    assert_eq!(refused(&nan), NotEnough::NotFinite { index: 1 });
    assert!(refused(&[(1, Plus, 0.0), (2, Plus, 0.0)]).to_string().contains("- direction"));
}

#[test]
fn a_setup_that_cannot_be_is_refused() {
    let rows = at_zero(&[(1, Plus, 0.0), (1, Minus, 0.1), (2, Plus, 0.0), (2, Minus, 0.1)]);
    for setup in [
        Setup { resolution_mm: -0.01, ..Setup::default() },
        Setup { angle_deg: 90.0, ..Setup::default() },
        Setup { limit_mm: Some(f64::NAN), ..Setup::default() },
        Setup { pitch_mm: Some(0.0), ..Setup::default() },
    ] {
        assert!(matches!(assess::<2>(&rows[..], &setup), Err(NotEnough::Setup(_))), "{setup:?}");
    }
}
