//! Spelling: what is a word and what is none.

use super::*;
use crate::length::Unit;
use crate::program::Integers;
use proptest::prelude::*;
use std::vec::Vec;

fn tokens(line: &[u8]) -> Vec<Result<Token, Fault>> {
    Words::new(line).collect()
}

fn words(line: &str) -> Vec<(char, f64)> {
    tokens(line.as_bytes())
        .into_iter()
        .filter_map(|token| match token.unwrap_or_else(|fault| panic!("{line}: {fault}")) {
            Token::Word(word) => Some((char::from(word.letter), word.number.value())),
            _ => None,
        })
        .collect()
}

fn fault(line: &str) -> (FaultKind, &str) {
    let fault = tokens(line.as_bytes()).pop().unwrap().unwrap_err();
    (fault.kind, &line[fault.span.start..fault.span.end])
}

// NISTIR 6556, section 3.3: spaces and tabs anywhere, either case; its own example of an odd but
// permitted line (recalled from memory) is `g0x +0. 12 34y 7`, equal to `g0 x+0.1234 y7`.
#[test]
fn spaces_and_case_do_not_matter() {
    assert_eq!(words("g0x +0. 12 34y 7"), [('G', 0.0), ('X', 0.1234), ('Y', 7.0)]);
    assert_eq!(words("G01X-.5Y5.Z+3"), [('G', 1.0), ('X', -0.5), ('Y', 5.0), ('Z', 3.0)]);
    assert_eq!(words("\t N10 G 90.1\tX - 2\r\n"), [('N', 10.0), ('G', 90.1), ('X', -2.0)]);
}

#[test]
fn marks_and_comments_keep_their_place() {
    let line = b"/2 N5 (a (b) c) X1 ; rest (x\r\n";
    let found: Vec<_> = tokens(line).into_iter().map(Result::unwrap).collect();
    let texts: Vec<&[u8]> = found
        .iter()
        .map(|token| match token {
            Token::Word(word) => word.span.of(line),
            Token::Comment(span) | Token::BlockDelete(span) | Token::Percent(span) => span.of(line),
        })
        .collect();
    assert_eq!(texts, [&b"/2"[..], b"N5", b"(a (b) c)", b"X1", b"; rest (x"]);
    assert_eq!(tokens(b"%\n"), [Ok(Token::Percent(Span { start: 0, end: 1 }))]);
    for name in ["%1234", "%_N_CORE_MPF", "% CORE BOX 7 (b)", " %prog1"] {
        let end = name.len();
        let start = name.find('%').unwrap();
        assert_eq!(tokens(std::format!("{name}\r\n").as_bytes()), [Ok(Token::Percent(Span { start, end }))]);
    }
    assert_eq!(words("(open (again) X1"), [('X', 1.0)]);
    assert_eq!(words(":0012"), [(':', 12.0)]);
    assert!(tokens(b"\x1a\r\n").is_empty());
    // Codes of tapes, and LF before CR.
    for edges in ["\x11\x13", "\x0c", "\r"] {
        let line = std::format!("{edges}N5 X1{edges}\n");
        assert_eq!(words(&line), [('N', 5.0), ('X', 1.0)], "{line:?}");
    }
    assert!(matches!(tokens(b"X1 \0 Y2\n").as_slice(), [Ok(_), Err(_)]));
    // The number of the line may stand before the switch.
    let (line, switch) = ("N20 /2 G0 X1", Token::BlockDelete(Span { start: 4, end: 6 }));
    assert_eq!(tokens(line.as_bytes())[1], Ok(switch));
    assert_eq!(words("N20 /G0"), [('N', 20.0), ('G', 0.0)]);
    assert!(matches!(tokens(b"G0 /X1\n").as_slice(), [Ok(_), Err(_)]));
    assert_eq!(words("\u{feff}G21"), [('G', 21.0)]);
}

#[test]
fn spans_run_from_the_letter_to_the_last_digit() {
    let line = b"G1 X 1 0.  F2";
    let spans: Vec<&[u8]> = Words::new(line)
        .filter_map(|token| match token {
            Ok(Token::Word(word)) => Some(word.span.of(line)),
            _ => None,
        })
        .collect();
    assert_eq!(spans, [&b"G1"[..], b"X 1 0.", b"F2"]);
}

#[test]
fn what_is_no_word_is_named() {
    assert_eq!(fault("G1 X#12"), (FaultKind::Variable, "X#"));
    assert_eq!(fault("#1=5"), (FaultKind::Variable, "#"));
    assert_eq!(words("g0@1.5 ^-30"), [('G', 0.0), ('@', 1.5), ('^', -30.0)]);
    assert_eq!(fault("G0 @ X1"), (FaultKind::NoNumber, "@"));
    assert_eq!(fault("Drill81(10, 2)"), (FaultKind::Keyword, "Drill"));
    assert_eq!(fault("Drill (10)"), (FaultKind::Text, "Drill"));
    assert_eq!(fault("O12 - core box"), (FaultKind::Unexpected(b'-'), "-"));
    assert_eq!(fault("O12 core box"), (FaultKind::Text, "core"));
    assert_eq!(fault("msg(\"open\""), (FaultKind::UnclosedComment, "msg(\"open\""));
    assert_eq!(fault("G1 X1e-05"), (FaultKind::Exponent, "e"));
    assert_eq!(fault("G1 X-6.1E-17Y2"), (FaultKind::Exponent, "E"));
    assert_eq!(
        words("G1X6.1E-17.5 X1 E-05"),
        [('G', 1.0), ('X', 6.1), ('E', -17.5), ('X', 1.0), ('E', -5.0)]
    );
    assert_eq!(fault("G1 X1,5"), (FaultKind::Unexpected(b','), ","));
    assert_eq!(fault("X[1+2]"), (FaultKind::Expression, "X["));
    assert_eq!(fault("N1 WHILE"), (FaultKind::Keyword, "WHILE"));
    assert_eq!(fault("O100 sub"), (FaultKind::Keyword, "sub"));
    assert_eq!(fault("if [#1 EQ 2] GOTO 3"), (FaultKind::Keyword, "if"));
    assert_eq!(fault("G1 X Y2"), (FaultKind::NoNumber, "X"));
    assert_eq!(fault("G1 X."), (FaultKind::NoNumber, "X"));
    assert_eq!(fault("X1234567890123456789"), (FaultKind::NumberTooLong, "X1234567890123456789"));
    assert_eq!(fault("X1.2.3"), (FaultKind::Unexpected(b'.'), "."));
    assert_eq!(fault("G1 (open"), (FaultKind::UnclosedComment, "(open"));
    assert_eq!(fault("G1 / X1"), (FaultKind::Expression, "/"));
    assert_eq!(fault("G1\rX1"), (FaultKind::Unexpected(b'\r'), "\r"));
    let long = std::vec![b'X'; 10_000_000];
    assert_eq!(tokens(&long).len(), 1);
    assert!(matches!(tokens(&long)[0], Err(Fault { kind: FaultKind::LineTooLong, .. })));
}

#[test]
fn messages_and_names_of_programs_are_remarks() {
    let remarks = |line: &'static str| -> Vec<&'static str> {
        let of = |token: &Result<Token, Fault>| match token {
            Ok(Token::Comment(span)) => std::str::from_utf8(span.of(line.as_bytes())).ok(),
            _ => None,
        };
        tokens(line.as_bytes()).iter().filter_map(of).collect()
    };
    assert_eq!(remarks("N10 MSG(\"turn (over)\") M0\n"), ["MSG(\"turn (over)\")"]);
    assert_eq!(words("N10 MSG(\"turn (over)\") M0\n"), [('N', 10.0), ('M', 0.0)]);
    assert_eq!(remarks(" <CORE-BOX>\r\n"), ["<CORE-BOX>"]);
    assert_eq!(fault("<1> X1"), (FaultKind::Expression, "<"));
    assert_eq!(fault("X1 <1>"), (FaultKind::Expression, "<"));
}

#[test]
fn stray_codes_between_words_are_passed_over() {
    let spans: Vec<&[u8]> = Words::new(b"\x02G1 \x01 X1.5\x03Y2\x01\n")
        .map(|token| match token {
            Ok(Token::Word(word)) => word.span.of(b"\x02G1 \x01 X1.5\x03Y2\x01\n"),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(spans, [&b"G1"[..], b"X1.5", b"Y2"]);
    assert!(matches!(tokens(b"\x01/ \x02G1")[..], [Ok(Token::BlockDelete(_)), Ok(Token::Word(_))]));
    assert_eq!(fault("X1\u{1}5"), (FaultKind::Unexpected(b'5'), "5"));
    assert_eq!(fault("X1\0"), (FaultKind::Unexpected(0), "\0"));
}

proptest! {
    #[test]
    fn any_bytes_are_read_without_panic_and_in_order(line in proptest::collection::vec(any::<u8>(), 0..80)) {
        let mut last = 0;
        for token in Words::new(&line) {
            let span = match token {
                Ok(Token::Word(word)) => {
                    let _ = (word.number.value(), word.number.length(Unit::Inch, Integers::Increments));
                    word.span
                }
                Ok(Token::Comment(span) | Token::BlockDelete(span) | Token::Percent(span)) => span,
                Err(fault) => fault.span,
            };
            prop_assert!(span.start >= last && span.start < span.end && span.end <= line.len());
            last = span.end;
        }
    }

    #[test]
    fn words_written_are_words_read(list in proptest::collection::vec((0_u8..26, -1_000_000_i64..1_000_000), 1..12)) {
        let mut line = std::string::String::new();
        for (letter, thousandths) in &list {
            let sign = if *thousandths < 0 { "-" } else { "" };
            line += &std::format!("{}{sign}{}.{:03} ", char::from(b'a' + letter), thousandths.abs() / 1000, thousandths.abs() % 1000);
        }
        let read: Vec<(u8, i64)> = Words::new(line.as_bytes())
            .map(|token| match token {
                Ok(Token::Word(word)) => (word.letter - b'A', word.number.mantissa()),
                other => panic!("{other:?}"),
            })
            .collect();
        prop_assert_eq!(read, list);
    }
}
