//! The decision against a limit: the rule, and how well the further cycles it asks for do decide.

use takeup_core::measure::Setup;
use takeup_core::measure::decision::{Answer, More};
use takeup_core::measure::reversal::assess;
use takeup_tests::sitting::Sitting;

const SITTING: Sitting = Sitting { stations: 1, noise_mm: 0.004, ..Sitting::USUAL };

fn setup(limit_mm: f64) -> Setup {
    Setup { limit_mm: Some(limit_mm), ..SITTING.setup() }
}

// ISO 14253-1, recalled from memory: proven within, proven beyond, or neither.
#[test]
fn the_limit_is_met_or_missed_only_beyond_the_uncertainty() {
    for seed in 0..200 {
        let readings = SITTING.readings(seed);
        for limit_mm in [0.05, 0.11, 0.115, 0.118, 0.121, 0.13, 0.2] {
            let result = assess::<1>(&readings[..], &setup(limit_mm)).unwrap();
            let (low, high) =
                (result.stations[0].lost_motion.low_95(), result.stations[0].lost_motion.high_95());
            let decision = result.decision.unwrap();
            let expected = match (low > limit_mm, high <= limit_mm) {
                (true, _) => Answer::Over,
                (_, true) => Answer::Within,
                _ => Answer::Undecided,
            };
            assert_eq!(decision.answer, expected, "seed {seed}, limit {limit_mm}");
            assert_eq!(
                decision.more.is_some(),
                expected == Answer::Undecided,
                "seed {seed}, limit {limit_mm}"
            );
        }
    }
}

// So many further cycles as are asked for decide in most cases, a third as many in fewer.
#[test]
fn further_cycles_decide() {
    for (start, limit_mm) in [(3, 0.124), (5, 0.1235), (3, 0.112)] {
        let (mut asked, mut decided, mut decided_by_third) = (0.0, 0.0, 0.0);
        for seed in 0..400 {
            let first = Sitting { cycles: start, ..SITTING };
            let result = assess::<1>(&first.readings(seed)[..], &setup(limit_mm)).unwrap();
            let Some(More::Cycles(further)) = result.decision.unwrap().more else { continue };
            // Long sittings take long to simulate.
            if further > 30 {
                continue;
            }
            asked += 1.0;
            let answer = |more: u32| {
                let longer = Sitting { cycles: start + more as u16, ..SITTING };
                assess::<1>(&longer.readings(seed)[..], &setup(limit_mm)).unwrap().decision.unwrap().answer
            };
            decided += f64::from(u8::from(answer(further) != Answer::Undecided));
            decided_by_third += f64::from(u8::from(answer(further / 3) != Answer::Undecided));
        }
        println!(
            "from {start} cycles, limit {limit_mm}: asked {asked}, decided {:.2}, by a third {:.2}",
            decided / asked,
            decided_by_third / asked
        );
        assert!(asked > 50.0, "{asked}");
        assert!((0.5..=0.9).contains(&(decided / asked)), "{}", decided / asked);
        assert!(decided_by_third < decided);
    }
}

#[test]
fn a_coarse_indicator_cannot_decide() {
    let setup = Setup { indicator_error_mm: 0.02, limit_mm: Some(0.12), ..SITTING.setup() };
    let result = assess::<1>(&SITTING.readings(1)[..], &setup).unwrap();
    let decision = result.decision.unwrap();
    assert_eq!(decision.answer, Answer::Undecided);
    assert!(matches!(decision.more, Some(More::IndicatorTooCoarse { .. })), "{decision:?}");
}
