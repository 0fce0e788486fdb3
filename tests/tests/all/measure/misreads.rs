//! Misread dials are found, set aside visibly, and named.

use takeup_core::measure::reversal::{Misread, Reading, assess};
use takeup_tests::sitting::Sitting;

fn spoiled(seed: u64, spoil: impl Fn(&mut [Reading])) -> Vec<(u16, Misread)> {
    let mut readings = Sitting::USUAL.readings(seed);
    spoil(&mut readings);
    let result = assess::<2>(&readings[..], &Sitting::USUAL.setup()).unwrap();
    assert!((result.lost_motion.value - 0.118).abs() < 0.006, "seed {seed}: {:?}", result.lost_motion);
    assert_eq!(result.used as usize + result.set_aside.len(), readings.len());
    result.set_aside.iter().map(|s| (s.index, s.probably)).collect()
}

#[test]
fn what_a_misread_probably_is() {
    for seed in 0..100 {
        let shown = |r: &[Reading]| r[6].value_mm;
        // A value near zero has no sign to lose; half a turn with the other sign is a turn off.
        let of = |row: usize| Sitting::USUAL.readings(seed)[row].value_mm.abs();
        if (of(6) - 0.5).abs() < 0.02 || (of(13) - 0.15).abs() < 0.02 {
            continue;
        }
        if shown(&Sitting::USUAL.readings(seed)).abs() > 0.06 {
            let sign = spoiled(seed, |r| r[6].value_mm = -r[6].value_mm);
            assert_eq!(sign, [(6, Misread::Sign)], "seed {seed}");
        }
        let turn = spoiled(seed, |r| r[6].value_mm += 1.0);
        assert!(
            matches!(turn[..], [(6, Misread::Revolution { off_um })] if (990..=1010).contains(&off_um)),
            "seed {seed}: {turn:?}"
        );
        let digit = spoiled(seed, |r| r[13].value_mm -= 0.3);
        assert!(
            matches!(digit[..], [(13, Misread::Digit { off_um })] if (-310..=-290).contains(&off_um)),
            "seed {seed}: {digit:?}"
        );
        let swapped = spoiled(seed, |r| {
            let (a, b) = (r[4].value_mm, r[5].value_mm);
            r[4].value_mm = b;
            r[5].value_mm = a;
        });
        let named = [(4, Misread::Swapped { with: 5 }), (5, Misread::Swapped { with: 4 })];
        assert_eq!(swapped, named, "seed {seed}");
    }
}

#[test]
fn sound_readings_are_left_alone() {
    let out: usize = (0..500).map(|seed| Sitting::USUAL.assess(seed).set_aside.len()).sum();
    // 10 000 readings.
    assert!(out <= 10, "{out} sound readings set aside");
}
