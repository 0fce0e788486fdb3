//! The checks of the fuzzer on seeded lines: whole frames, cut and run together, with rubbish between.

use takeup_core::link::PROTOCOL;
use takeup_core::link::frame::{Frame, Kind};
use takeup_tests::fuzzing;
use takeup_tests::programs::Dice;

fn frame(dice: &mut Dice) -> Vec<u8> {
    let kinds = [Kind::Hello, Kind::Welcome, Kind::Data, Kind::Data, Kind::Ack, Kind::Bye];
    let length = dice.below(24);
    let mut payload: heapless::Vec<u8, 96> = (0..length).map(|_| dice.below(12) as u8).collect();
    if dice.below(2) == 0 {
        // The version that is spoken, so that sessions open.
        payload = PROTOCOL.to_le_bytes().into_iter().chain(payload).take(96).collect();
    }
    let kind = kinds[dice.below(6) as usize];
    let (session, number) = (dice.below(2) as u16, dice.below(3) as u16);
    Frame { kind, session, number, payload }.encode().to_vec()
}

#[test]
fn any_bytes_of_a_line_are_heard_without_a_fault() {
    for seed in 0..20_000 {
        let mut dice = Dice::new(seed);
        let mut bytes = vec![dice.below(2) as u8];
        for _ in 0..1 + dice.below(12) {
            match dice.below(4) {
                0 => bytes.extend((0..dice.below(20)).map(|_| dice.below(256) as u8)),
                _ => bytes.extend(frame(&mut dice)),
            }
        }
        if dice.below(3) == 0 {
            let at = dice.below(bytes.len() as u64) as usize;
            bytes[at] = dice.below(256) as u8;
        }
        let held = std::panic::catch_unwind(|| fuzzing::link(&bytes));
        assert!(held.is_ok(), "seed {seed}: {bytes:?}");
    }
}

#[test]
fn whatever_a_line_does_each_message_arrives_once_or_the_session_ends() {
    for seed in 0..3_000 {
        let mut dice = Dice::new(seed);
        // From lines that are bad now and then to lines that are bad all the time.
        let bad = dice.below(100);
        let bytes: Vec<u8> = (0..dice.below(400))
            .map(|_| {
                let does = if dice.below(100) < bad { dice.below(8) as u8 } else { 0 };
                does << 5 | dice.below(32) as u8
            })
            .collect();
        let held = std::panic::catch_unwind(|| fuzzing::session(&bytes));
        assert!(held.is_ok(), "seed {seed}: {bytes:?}");
    }
}
