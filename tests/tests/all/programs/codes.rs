//! The codes that rewriter and replay know are the same, although they share no list.

use std::collections::BTreeSet;

use takeup_core::axis::PerAxis;
use takeup_core::program::replay::{Interpreter, Reading};
use takeup_tests::judged::Job;

/// A program that says a code, with the words that it may need, behind motions that a code may refer to.
fn program(letter: char, tenths: u32, words: &str) -> String {
    let code = if tenths.is_multiple_of(10) {
        format!("{letter}{}", tenths / 10)
    } else {
        format!("{letter}{}.{}", tenths / 10, tenths % 10)
    };
    format!("G21 G90 G17\nG0 X0 Y0 Z30\nX9 Y9 Z32\nX0 Y0 Z5\nG1 Z4 F100\n{code}{words}\n")
}

fn followed(text: &str) -> bool {
    let slack = PerAxis { x: true, y: true, z: true };
    let mut interpreter = Interpreter::new(Reading { slack, ..Reading::default() });
    text.lines().all(|line| {
        let mut followed = interpreter.read(line.as_bytes()).is_ok();
        while followed {
            match interpreter.next() {
                Ok(Some(_)) => {}
                Ok(None) => break,
                Err(_) => followed = false,
            }
        }
        followed
    })
}

/// Codes of which one side refuses what the other takes.
fn differing(letter: char, words: &str) -> BTreeSet<String> {
    let job = Job { widths: [100, 100, 100], ..Job::of_seed(0) };
    let codes = (0..7_200).filter_map(|tenths| {
        let text = program(letter, tenths, words);
        let (ours, theirs) = (job.rewritten(&text).is_ok(), followed(&text));
        (ours != theirs).then(|| {
            format!(
                "{letter}{} {}",
                f64::from(tenths) / 10.0,
                if ours { "only rewritten" } else { "only replayed" }
            )
        })
    });
    codes.collect()
}

#[test]
fn rewriter_and_replay_know_the_same_codes() {
    // G38 and G38.1 are no codes of a probe; bare they move nothing. The time that a cut lacks in G93 is
    // nothing to replay, which looks at the path.
    let bare = ["G38 only rewritten", "G38.1 only rewritten"];
    let with_axis = ["G93 only replayed"];
    let expected: [(char, &str, &[&str]); 3] = [('G', "", &bare), ('G', " X1", &with_axis), ('M', "", &[])];
    for (letter, words, expected) in expected {
        let mut differing = differing(letter, words);
        differing.retain(|code| !expected.contains(&code.as_str()));
        assert!(differing.is_empty(), "{letter}{words}: {differing:?}");
    }
}
