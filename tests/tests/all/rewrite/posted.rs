//! Programs in the style of CAM post-processors, each written for this project: what such programs hold
//! is rewritten, and holds all that is promised of a rewritten program.

use super::mill::{Mill, mm};
use takeup_core::axis::Axis;
use takeup_core::program::replay::{Event, Interpreter, Reading};
use takeup_core::program::rewrite::{CycleTrouble, Reason};
use takeup_core::program::{FaultKind, Token, Words};

/// Name, text, and lines listed as unseated when all axes are corrected. Where a program feeds down from the
/// height of its only rapids (11, 15, 21, 24, 25, 26), X and Y are seated nowhere before the first cut; in 19 a
/// return of Z may be skipped, and where X and Y then go is not known to be clear; in 28 a fine bore leaves the seat of Y
/// unknown, and the next one lies beside it along X.
const POSTED: [(&str, &str, &[usize]); 28] = [
    ("01-facing-and-pocket", include_str!("posted/01-facing-and-pocket.nc"), &[]),
    ("02-no-spaces", include_str!("posted/02-no-spaces.nc"), &[]),
    ("03-inch-drilling", include_str!("posted/03-inch-drilling.nc"), &[]),
    ("04-drilling-all-cycles", include_str!("posted/04-drilling-all-cycles.nc"), &[]),
    ("05-incremental-drilling", include_str!("posted/05-incremental-drilling.nc"), &[]),
    ("06-helical-bore-ij", include_str!("posted/06-helical-bore-ij.nc"), &[]),
    ("07-arcs-radius-form", include_str!("posted/07-arcs-radius-form.nc"), &[]),
    ("08-planes", include_str!("posted/08-planes.nc"), &[]),
    ("09-cutter-compensation", include_str!("posted/09-cutter-compensation.nc"), &[]),
    ("10-surface-zigzag", include_str!("posted/10-surface-zigzag.nc"), &[]),
    ("11-feed-links", include_str!("posted/11-feed-links.nc"), &[12]),
    ("12-inverse-time-4axis", include_str!("posted/12-inverse-time-4axis.nc"), &[]),
    ("13-plain-controller", include_str!("posted/13-plain-controller.nc"), &[]),
    ("14-first-cut-without-rapid", include_str!("posted/14-first-cut-without-rapid.nc"), &[4]),
    ("15-tool-changes-offsets", include_str!("posted/15-tool-changes-offsets.nc"), &[7, 11, 16, 24]),
    ("16-g92-g52", include_str!("posted/16-g92-g52.nc"), &[13]),
    ("17-incremental-contour", include_str!("posted/17-incremental-contour.nc"), &[]),
    ("18-absolute-centres", include_str!("posted/18-absolute-centres.nc"), &[]),
    ("19-block-delete", include_str!("posted/19-block-delete.nc"), &[13, 19]),
    ("20-rapid-plunges", include_str!("posted/20-rapid-plunges.nc"), &[]),
    ("21-lower-case-semicolons", include_str!("posted/21-lower-case-semicolons.ngc"), &[10]),
    ("22-tapping-and-boring", include_str!("posted/22-tapping-and-boring.nc"), &[]),
    ("23-dwell-stops", include_str!("posted/23-dwell-stops.nc"), &[]),
    ("24-ramp-entries", include_str!("posted/24-ramp-entries.nc"), &[8]),
    ("25-smoothing-words", include_str!("posted/25-smoothing-words.nc"), &[16]),
    ("26-simultaneous-start", include_str!("posted/26-simultaneous-start.nc"), &[3]),
    ("27-boring-from-below", include_str!("posted/27-boring-from-below.nc"), &[]),
    ("28-taps-and-fine-bores", include_str!("posted/28-taps-and-fine-bores.nc"), &[19]),
];

/// Words that are no motion, in their order.
fn other_words(text: &str) -> Vec<String> {
    let mut words = Vec::new();
    for line in text.lines() {
        for token in Words::new(line.as_bytes()) {
            let Ok(Token::Word(word)) = token else { continue };
            if !b"GXYZIJKRFNPQLABC".contains(&word.letter) {
                words.push(String::from_utf8_lossy(word.span.of(line.as_bytes())).into_owned());
            }
        }
    }
    words
}

fn in_order(part: &[String], whole: &[String]) -> bool {
    let mut rest = whole.iter();
    part.iter().all(|word| rest.any(|other| other == word))
}

/// Lowest and highest commanded place of each axis (mm).
fn range(text: &str) -> [(f64, f64); 3] {
    let mut found = [(f64::INFINITY, f64::NEG_INFINITY); 3];
    let mut interpreter = Interpreter::new(Reading::default());
    for line in text.lines() {
        interpreter.read(line.as_bytes()).expect("a program");
        while let Some(event) = interpreter.next().expect("a program") {
            let Event::Motion(motion) = event else { continue };
            for (axis, (low, high)) in Axis::ALL.into_iter().zip(&mut found) {
                for k in 0..=8 {
                    let place = *motion.curve.at(f64::from(k) / 8.0).get(axis);
                    (*low, *high) = (low.min(place), high.max(place));
                }
            }
        }
    }
    found
}

#[test]
fn posted_programs_are_rewritten_and_keep_what_is_promised() {
    let (narrow, wide) = (Mill::uniform(0.0, 0.0, 0.12), Mill::uniform(0.08, 0.0613, 0.12));
    for (name, text, unseated) in POSTED {
        for (mill, listed) in [(&narrow, None), (&wide, Some(unseated))] {
            // Sender commands are no program, and cutter compensation is only refused beside X and Y.
            let due = match (name, listed) {
                ("13-plain-controller", _) => Some((1, Reason::Unreadable(FaultKind::Unexpected(b'$')))),
                ("09-cutter-compensation", Some(_)) => Some((9, Reason::CutterCompensation)),
                _ => None,
            };
            let rewritten = mill.rewritten(text);
            let refused = rewritten.as_ref().err().map(|refusal| (refusal.line, refusal.reason));
            assert_eq!(refused, due, "{name}");
            let Ok(rewritten) = rewritten else { continue };
            let report = mill.replayed(text, &rewritten.text);
            assert!(report.after.max_mm <= 0.002, "{name}: {report:?}\n{}", rewritten.text);
            if let Some(listed) = listed {
                assert_eq!(rewritten.unseated, listed, "{name}");
            }
            assert!(
                in_order(&other_words(text), &other_words(&rewritten.text)),
                "{name}\n{}",
                rewritten.text
            );
            let (before, after) = (range(text), range(&rewritten.text));
            for (axis, (old, new)) in Axis::ALL.into_iter().zip(before.into_iter().zip(after)) {
                // Half a millimetre, rounded to the last digit of either unit.
                let overrun = if axis == Axis::Z { 1e-6 } else { 0.501 };
                assert!(new.0 >= old.0 - overrun, "{name}: {axis} {new:?}, was {old:?}");
                assert!(axis == Axis::Z || new.1 <= old.1 + overrun, "{name}: {axis} {new:?}, was {old:?}");
            }
            let again = mill.rewritten(&rewritten.text).map(|again| again.text);
            assert_eq!(again.unwrap_err().reason, Reason::AlreadyCorrected, "{name}");
        }
        let copy = Mill::uniform(0.0, 0.0, 0.0).rewritten(text).unwrap();
        assert_eq!(copy.text, text, "{name}");
    }
}

/// A table that changes along the travel: long lines and arcs are divided so that the path is kept
/// between their ends too.
#[test]
fn corrections_that_change_along_the_travel_are_followed() {
    let mill = Mill::new([
        &[(-60.0, 0.05), (-20.0, 0.14), (25.0, 0.06), (70.0, 0.11)],
        &[(-40.0, 0.09), (10.0, 0.03), (45.0, 0.12)],
        &[(-30.0, 0.2), (0.0, 0.1)],
    ]);
    let mut refused = Vec::new();
    for (name, text, _) in POSTED {
        let rewritten = match mill.rewritten(text) {
            Ok(rewritten) => rewritten,
            Err(refusal) => {
                refused.push((name, refusal.line, refusal.reason));
                continue;
            }
        };
        let report = mill.replayed(text, &rewritten.text);
        assert!(report.after.max_mm <= 0.002, "{name}: {report:?}\n{}", rewritten.text);
    }
    let due = [
        ("05-incremental-drilling", 7, Reason::Cycle(CycleTrouble::Incremental)),
        ("09-cutter-compensation", 9, Reason::CutterCompensation),
        ("13-plain-controller", 1, Reason::Unreadable(FaultKind::Unexpected(b'$'))),
        ("15-tool-changes-offsets", 10, Reason::OtherOffset(Axis::X)),
        ("16-g92-g52", 3, Reason::OtherOffset(Axis::X)),
        ("27-boring-from-below", 8, Reason::Cycle(CycleTrouble::StepAside)),
        ("28-taps-and-fine-bores", 29, Reason::Cycle(CycleTrouble::Incremental)),
    ];
    assert_eq!(refused, due);
    let ring = "G21 G90 G17 G94\nG0 X-55 Y0\nZ10\nZ2\nG1 Z-1 F200\nG2 X-55 Y0 I55 J0 F800\nG1 X60 Y35 Z-20\n\
                X-50 Y-35 Z-1\nG3 X50 Y-35 R52 Z-12\nG93\nG1 X-50 Y30 F4\nG94\nG0 Z10\nM30\n";
    let (error, rewritten) = mill.error_after(ring);
    assert!(error <= 0.002, "{error}\n{}", rewritten.text);
    assert!(rewritten.counts.lines_out > rewritten.counts.lines_in + 20, "divided\n{}", rewritten.text);
    // Half of the way at half of the rate: the pieces of the inverse-time line take its time together.
    let minutes: f64 = rewritten
        .text
        .lines()
        .skip_while(|line| !line.starts_with("G93"))
        .take_while(|line| !line.starts_with("G94"))
        .filter_map(|line| line.split_whitespace().find_map(|word| word.strip_prefix('F')))
        .map(|rate| rate.parse::<f64>().expect("a rate"))
        .filter(|rate| *rate < 600.0)
        .map(|rate| 1.0 / rate)
        .sum();
    assert!((minutes - 0.25).abs() < 1e-6, "{minutes} minutes\n{}", rewritten.text);
}

#[test]
fn every_strategy_keeps_its_word() {
    use takeup_core::axis::PerAxis;
    use takeup_core::program::rewrite::Strategy;
    let text = "G21 G90 G17\nG0 Z20\nX0 Y0\nZ5\nG1 Z-1 F200\nX30 Y10\nX10 Y20 Z-2\nG0 Z5\nX-20 Y5\nG1 Z-1\n\
                X-10\nG0 Z20\nM30\n";
    let mut mill = Mill::uniform(0.08, 0.06, 0.12);
    for strategy in [Strategy::TakeUp, Strategy::Both] {
        mill.settings.strategy = PerAxis::from_fn(|_| strategy);
        let (error, rewritten) = mill.error_after(text);
        assert!(error <= 0.002, "{strategy:?}: {error}\n{}", rewritten.text);
    }
    // One-way leaves the reversal in the cut alone, and no more than that.
    mill.settings.strategy = PerAxis::from_fn(|_| Strategy::OneWay);
    // That 5 mm are clear, from where the tool feeds down, is for a person to say.
    mill.settings.clear = Some(mm(5.0));
    let rewritten = mill.rewritten(text).unwrap();
    assert_eq!((rewritten.counts.take_ups, rewritten.unseated.len()), (0, 0), "{}", rewritten.text);
    assert!(rewritten.counts.one_way_moves >= 2, "{}", rewritten.text);
    let one_way =
        "G21 G90\nG0 Z20\nX0 Y0\nZ5\nG1 Z-1 F200\nX30 Y10\nG0 Z5\nX-20 Y5\nG1 Z-1\nX-10\nG0 Z20\nM30\n";
    let (error, rewritten) = mill.error_after(one_way);
    assert!(error <= 0.002, "{error}\n{}", rewritten.text);
    // By the axis: X alone takes up.
    mill.settings.strategy.x = Strategy::TakeUp;
    assert!(mill.rewritten(text).unwrap().counts.take_ups > 0);
}

#[test]
fn a_travel_limit_is_not_passed() {
    let mut mill = Mill::uniform(0.08, 0.0, 0.12);
    let text = "G21 G90\nG0 Z20\nX0 Y0\nX-50\nZ5\nG1 Z-1 F200\nX10\nX0 Z-3\nG0 Z20\nM30\n";
    mill.settings.limits.z = Some((mm(-3.0), mm(21.0)));
    mill.settings.limits.x = Some((mm(-51.0), mm(11.0)));
    assert!(mill.rewritten(text).is_ok());
    mill.settings.limits.x = Some((mm(-50.0), mm(11.0)));
    let refusal = mill.rewritten(text).map(|rewritten| rewritten.text).unwrap_err();
    assert_eq!(
        (refusal.line, refusal.reason),
        (4, Reason::PastLimit { axis: Axis::X, command: mm(-50.5), limit: mm(-50.0) })
    );
    let said = "X to -50.5 mm (-1.98819 in), past the travel limit of -50 mm (-1.96850 in)";
    assert!(refusal.to_string().contains(said), "{refusal}");
}
