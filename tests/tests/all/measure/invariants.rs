//! What holds of a reversal test whatever the readings are.

use proptest::prelude::*;
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Setup;
use takeup_core::measure::cause::{of_positioning, of_reversal};
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::measure::{Estimate, positioning};
use takeup_tests::sitting::{Sitting, Visits};

fn any_reading() -> impl Strategy<Value = Reading> {
    let value = prop_oneof![
        Just(0.0),
        -0.5..0.5f64,
        -1e-9..1e-9f64,
        (-3i32..3).prop_map(|n| f64::from(n) / 100.0),
        -1e9..1e9f64
    ];
    (0..3i64, any::<bool>(), value, prop::option::of(Just(5.0))).prop_map(
        |(station, up, value_mm, time_s)| Reading {
            target: Length::from_counts(station * 100_000_000),
            cycle: 1,
            approach: if up { Direction::Plus } else { Direction::Minus },
            value_mm,
            time_s,
        },
    )
}

fn sound(estimate: &Estimate) -> bool {
    let u = estimate.standard_uncertainty;
    estimate.value.is_finite()
        && u.is_finite()
        && u >= 0.0
        && estimate.dof > 0.0
        && estimate.expanded_95().is_finite()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    // Whatever a person writes down, the answer is a refusal or finite numbers.
    #[test]
    fn numbers_are_finite_or_refused(
        readings in prop::collection::vec(any_reading(), 0..30),
        resolution_mm in prop_oneof![Just(0.0), Just(0.01), 0.0..10.0f64],
        limit in prop::option::of(0.0..0.2f64),
    ) {
        let setup = Setup { resolution_mm, limit_mm: limit, pitch_mm: Some(5.0), ..Setup::default() };
        if let Ok(result) = assess::<3>(&readings[..], &setup) {
            prop_assert!(sound(&result.lost_motion), "{result:?}");
            prop_assert!(result.stations.iter().all(|s| sound(&s.lost_motion)), "{result:?}");
            prop_assert_eq!(result.used as usize + result.set_aside.len(), readings.len());
            let causes = of_reversal(&result, &setup);
            let sum: f64 = causes.iter().map(|c| c.weight).sum();
            prop_assert!((sum - 1.0).abs() < 1e-9, "{sum} {causes:?}");
            let (result, shown) = positioning::assess::<3>(&readings[..], &setup).unwrap();
            let sum: f64 = of_positioning(&result, &shown, &setup).iter().map(|c| c.weight).sum();
            prop_assert!((sum - 1.0).abs() < 1e-9, "{sum} {shown:?}");
        }
    }

    // A dial set to another zero, or turned round with its sense, tells the same.
    #[test]
    fn zero_and_sense_do_not_matter(
        // Of the five readings of the first, four of one approach are misread.
        seed in prop_oneof![1 => Just(6_983_524_012_069_244_726), 20 => any::<u64>()],
        zero in -5.0..5.0f64,
    ) {
        let readings = Sitting { misread: 0.05, ..Sitting::USUAL }.readings(seed);
        let setup = Sitting::USUAL.setup();
        let one = assess::<2>(&readings[..], &setup).unwrap();
        let moved: Vec<Reading> =
            readings.iter().map(|r| Reading { value_mm: zero - r.value_mm, ..*r }).collect();
        let turned = Setup { sense: Direction::Minus, ..setup };
        let other = assess::<2>(&moved[..], &turned).unwrap();
        prop_assert!((one.lost_motion.value - other.lost_motion.value).abs() < 1e-6, "{one:?} {other:?}");
        prop_assert!((one.lost_motion.expanded_95() - other.lost_motion.expanded_95()).abs() < 1e-6);
    }
}

// To which zero a dial is set between the visits says nothing of the axis, however far apart the zeros are.
#[test]
fn zeros_set_far_apart_do_not_matter() {
    let sitting = Sitting { visits: Visits::Rezeroed, noise_mm: 0.0005, ..Sitting::USUAL };
    for seed in 0..20 {
        let mut readings = sitting.readings(seed);
        let near = assess::<2>(&readings[..], &sitting.setup()).unwrap();
        for (visit, pair) in readings.chunks_mut(2).enumerate() {
            pair.iter_mut().for_each(|r| r.value_mm += 3.0 * (visit * 7 % 5) as f64);
        }
        let far = assess::<2>(&readings[..], &sitting.setup()).unwrap();
        let (a, b) = (near.lost_motion, far.lost_motion);
        assert!((a.value - b.value).abs() < 1e-5, "seed {seed}: {a:?} {b:?}");
        assert!((b.expanded_95() / a.expanded_95() - 1.0).abs() < 0.01, "seed {seed}: {a:?} {b:?}");
        assert!((far.repeatability_mm / near.repeatability_mm - 1.0).abs() < 0.01, "seed {seed}");
    }
}

// The scatter of readings is not lost beside what lies between them, if that is kilometres.
#[test]
fn readings_far_apart_keep_their_scatter() {
    let apart = |far_mm: f64| {
        let readings: Vec<Reading> = (1..=5_u16)
            .flat_map(|cycle| [(Direction::Plus, far_mm), (Direction::Minus, 0.0)].map(|at| (cycle, at)))
            .map(|(cycle, (approach, at_mm))| Reading {
                target: Length::ZERO,
                cycle,
                approach,
                value_mm: at_mm + f64::from(cycle * 7 % 5) / 64.0,
                time_s: None,
            })
            .collect();
        assess::<1>(&readings[..], &Setup::default()).unwrap().stations[0].repeatability_mm
    };
    let near = apart(1.0);
    for far_mm in [1e3, 1e6, 1e7] {
        let far = apart(far_mm);
        assert!((far / near - 1.0).abs() < 1e-3, "{far_mm}: {far}, not {near}");
    }
}
