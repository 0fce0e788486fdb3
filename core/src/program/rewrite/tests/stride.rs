//! The short way for lines that go on with a cut, beside the long way.

use super::*;
use proptest::prelude::{Just, ProptestConfig, prop, prop_assert_eq, prop_oneof, proptest};
use proptest::strategy::Strategy as _;

/// What stands in the place of a text, the refusal if there is one, and what was counted.
type Made = (String, Option<Refusal>, Counts);

fn made(out: Vec<u8>, done: Result<(), Refusal>, rewriter: &Rewriter<'_>) -> Made {
    let mut counts = *rewriter.counts();
    if done.is_err() {
        counts = Counts::default();
    }
    (String::from_utf8(out).unwrap(), done.err(), counts)
}

fn by_lines(text: &str, table: &Table, settings: &Settings) -> Made {
    let (mut rewriter, mut out) = (Rewriter::new(table, settings), Vec::new());
    let done = text.split_inclusive('\n').try_for_each(|line| {
        rewriter.line(line.as_bytes(), &mut |part| out.extend_from_slice(part)).map(drop)
    });
    made(out, done, &rewriter)
}

/// With no more of the text at hand than a window; gives how many bytes went the short way, too.
fn by_strides(text: &str, window: usize, table: &Table, settings: &Settings) -> (Made, usize) {
    let (mut rewriter, mut out) = (Rewriter::new(table, settings), Vec::new());
    let (mut rest, mut short) = (text.as_bytes(), 0);
    let done = loop {
        let mut sink = |part: &[u8]| out.extend_from_slice(part);
        let taken = rewriter.strides(&rest[..rest.len().min(window)], &mut sink);
        (rest, short) = (&rest[taken..], short + taken);
        if taken > 0 {
            continue;
        }
        let Some(line) = rest.split_inclusive(|byte| *byte == b'\n').next() else { break Ok(()) };
        if let Err(refusal) = rewriter.line(line, &mut sink) {
            break Err(refusal);
        }
        rest = &rest[line.len()..];
    };
    (made(out, done, &rewriter), short)
}

const HEAD: &str = "G21 G90 G17\nG0 X0 Y0 Z9\nG1 Z-9 F100\nX5 Y5 Z-12\nX6 Y6 Z-13\n";

/// All of a program behind its head is taken by strides, with several turns of Z in it.
fn goes_the_short_way(text: &str) {
    let table = table(0.0, 0.0, 0.12);
    let (made, short) = by_strides(text, usize::MAX, &table, &Settings::DEFAULT);
    assert_eq!(made, by_lines(text, &table, &Settings::DEFAULT));
    assert!(made.2.take_ups > 8, "{:?}", made.2);
    assert!(short + HEAD.len() + 20 > text.len(), "{short} of {} bytes", text.len());
}

#[test]
fn a_surface_goes_the_short_way_with_its_turns() {
    let mut text = String::from(HEAD);
    for i in 0..200_i32 {
        let z = -20.0 + f64::from((i % 40 - 20).abs()) * 0.25;
        text += &std::format!("X{}.{:03} Y0.500 Z{z:.3}\n", i / 4, i % 4 * 250);
    }
    goes_the_short_way(&text);
}

#[test]
fn words_that_gain_or_lose_digits_come_out_alike() {
    let table = table(0.05, 0.0, 0.12);
    for lines in [
        "X7 Z-12\nX8. Z-11.5\nX.5 Z-.1\nX-.5 Z-.12\nZ-.05\nZ+.3\n",
        "Z-0.12\nZ-0.1\nZ0\nZ.0\nZ1.0000\nX10 Z9.8800\nX99.95 Z99.8\n",
        "Z999.99\nZ9899.8799\nZ9899.8801\nZ9999.9999\nZ-9999.9999\nX1\n",
        "X10010\nY0.000X0.000\n",
        "G1 X7 Y1\nG2 X8 Y2\nG1 X9 Y3\nG3 X7 Y1\nG0 X8 Y2\nG1 X9 Y3\n",
        "Z-12.00001\nZ-11.99999\nX123456.5 Z1234567.5\nX1234567 Y1\n",
        "x7 z -12 \r\nX8\tZ-11\r\n X9  Z- 10\nX1 0 Z-9\nX1.1.1 Z2\n",
        "N1 G1 X7\nN2 G01 Z-3 F7\nN3 G2 X9 Y9 I1 J1\nG03 X1 R5 Z-2\nX2 K1\nG1 I3\n",
        "X7 (a)\nX8 ;b\n/X9\nX9 X9\nG4 P1\nX3 A9\nG0 Z3\nX4\n",
        "X7 Y5.0 Z-12\nX7 Y5.00 Z-11\nX7 Y5 Z-12\nX7 Y5.0 Z-11\nX7 Y5.0 Z-12\nX7 Y5.1 Z-11\nX7 Y-5.1 Z-12\n",
        "G20\nZ-0.5\nX1 Z-0.4\nZ-.30000\nZ-.312345\n",
    ] {
        let text = std::format!("{HEAD}{lines}");
        let expected = by_lines(&text, &table, &Settings::DEFAULT);
        assert_eq!(by_strides(&text, usize::MAX, &table, &Settings::DEFAULT).0, expected);
    }
}

fn number() -> impl proptest::strategy::Strategy<Value = String> {
    prop_oneof![
        4 => (-30_000_i32..30_000).prop_map(|n| std::format!("{:.3}", f64::from(n) / 1e3)),
        2 => (-300_i32..300).prop_map(|n| std::format!("{:.1}", f64::from(n) / 10.0)),
        1 => (-90_000_i32..90_000).prop_map(|n| std::format!("{:.4}", f64::from(n) / 1e4)),
        1 => "[+-]?[0-9]{0,3}[.]?[0-9]{1,5}",
    ]
}

/// Lines of words in any order, most of them such as a surface has.
fn line() -> impl proptest::strategy::Strategy<Value = String> {
    let word = prop_oneof![
        12 => ("[XYZ]", number()).prop_map(|(letter, number)| letter + &number),
        1 => ("[xyzIJKRF]", number()).prop_map(|(letter, number)| letter + &number),
        1 => "G[0123]",
        1 => "N[0-9]{1,4}",
        1 => Just(String::from("(a)")),
    ];
    (prop::collection::vec(word, 1..5), " {0,2}", prop::bool::weighted(0.1))
        .prop_map(|(words, blank, crlf)| words.join(&blank) + if crlf { "\r\n" } else { "\n" })
}

#[test]
fn lines_that_come_in_turn_are_known_again() {
    let mut text = String::from(HEAD);
    for i in 0..60_i32 {
        let (x, z) = (10 + i % 7, (i % 9 - 4) * 100);
        text += &std::format!(
            "G1 X{x}.500 Y1.000\nG2 X{x}.900 Y1.400 R0.400\nX{x}.500 Y1.800 I-0.400 J0.000\nG1 Z-12.{:03} F{}.\nY1.000\n",
            500 + z,
            100 + i,
        );
    }
    goes_the_short_way(&text);
}

#[test]
fn a_known_line_whose_motion_is_another_goes_the_long_way() {
    let lines = |from: u32, motion: u32| std::format!("G{motion} X{from}.000 Y1.000\nX{from}.500 Y2.000\n");
    let (table, known) = (table(0.05, 0.0, 0.0), (10..20).map(|from| lines(from, 1)).collect::<String>());
    for motion in [0, 2, 3] {
        let text = std::format!("{HEAD}{known}{}{}{}", lines(20, motion), lines(30, 1), lines(40, 1));
        let (made, short) = by_strides(&text, usize::MAX, &table, &Settings::DEFAULT);
        assert_eq!(made, by_lines(&text, &table, &Settings::DEFAULT));
        assert!(short >= known.len(), "{short} bytes");
    }
}

/// Each digit raised by some, that of a G word among the first four motions.
fn with_other_digits(text: &str, by: u8) -> String {
    let mut of_motion = false;
    text.chars()
        .map(|c| {
            of_motion = c == 'G' || (of_motion && !c.is_ascii_alphabetic());
            let among = if of_motion { 4 } else { 10 };
            c.to_digit(10).map_or(c, |digit| char::from(b'0' + (digit as u8 + by) % among))
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]
    #[test]
    fn both_ways_lead_to_the_same_program(
        lines in prop::collection::vec(line(), 1..40),
        wide in prop::array::uniform3(prop_oneof![1 => Just(0.0), 2 => 0.0..0.3_f64]),
        inches: bool,
        window in 1_usize..400,
        one_way: bool,
        few in 1_usize..9,
    ) {
        let [x, y, z] = wide;
        let strategy = if one_way { Strategy::OneWay } else { Strategy::Both };
        let mut settings = Settings { strategy: PerAxis::from_fn(|_| strategy), ..Settings::DEFAULT };
        let head = if inches { HEAD.replace("G21", "G20") } else { HEAD.into() };
        settings.unit = if inches { Unit::Inch } else { Unit::Mm };
        // A program ends at its first refusal: each line is tried behind all those that passed.
        let (mut text, table) = (head, table(x, y, z));
        for line in lines {
            let longer = std::format!("{text}{line}");
            let expected = by_lines(&longer, &table, &settings);
            if expected.1.is_none() {
                text = longer;
            } else {
                prop_assert_eq!(by_strides(&longer, window, &table, &settings).0, expected);
            }
        }
        // A few lines that come in turn with other digits are known by their shapes.
        let body: String = text.split_inclusive('\n').skip(HEAD.lines().count()).take(few).collect();
        for round in 0..4 {
            text += &with_other_digits(&body, round);
            let expected = by_lines(&text, &table, &settings);
            prop_assert_eq!(by_strides(&text, window, &table, &settings).0, expected);
        }
    }
}
