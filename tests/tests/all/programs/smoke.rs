//! The checks of the fuzzer on its seeds and on seeded mutations of them.

use takeup_tests::fuzzing;
use takeup_tests::programs::{Dice, Language, program};

fn mutated(text: &mut Vec<u8>, dice: &mut Dice) {
    for _ in 0..1 + dice.below(6) {
        let at = dice.below(text.len().max(1) as u64) as usize;
        match dice.below(5) {
            0 if !text.is_empty() => text[at] = dice.below(256) as u8,
            1 => text.insert(
                at.min(text.len()),
                b"GXYZIJKRFMLPQE0123456789.-+ \n%/();<>"[dice.below(36) as usize],
            ),
            2 if !text.is_empty() => drop(text.remove(at)),
            3 => {
                let end = (at + dice.below(40) as usize).min(text.len());
                let part: Vec<u8> = text[at.min(end)..end].to_vec();
                let to = dice.below(text.len() as u64 + 1) as usize;
                text.splice(to..to, part);
            }
            _ => {
                let big = format!("{}", dice.roll());
                text.splice(at.min(text.len())..at.min(text.len()), big.bytes());
            }
        }
    }
}

#[test]
fn any_bytes_are_read_rewritten_and_replayed_without_a_fault() {
    let seeds: [&[u8]; 5] = [
        include_bytes!("../../../fuzz/seeds/straight.nc"),
        include_bytes!("../../../fuzz/seeds/whole.nc"),
        include_bytes!("../../../fuzz/seeds/variable.nc"),
        include_bytes!("../../../fuzz/seeds/rubbish.nc"),
        include_bytes!("../../../fuzz/seeds/pecks.nc"),
    ];
    for seed in 0..4_000 {
        let mut dice = Dice::new(seed);
        let mut text = match dice.below(7) {
            kind @ 0..=4 => seeds[kind as usize].to_vec(),
            _ => program(seed, Language::Whole, 6).into_bytes(),
        };
        mutated(&mut text, &mut dice);
        let held = std::panic::catch_unwind(|| {
            fuzzing::reader(&text);
            fuzzing::rewriter(&text);
            fuzzing::replay(&text);
        });
        assert!(held.is_ok(), "seed {seed}: {:?}", String::from_utf8_lossy(&text));
    }
}
