//! Programs as a whole: random ones through the rewriter and the replay, which share only the reader.

mod smoke;

use std::thread;

use takeup_core::axis::{Axis, PerAxis};
use takeup_core::correct::{AxisTable, Table};
use takeup_core::length::Length;
use takeup_core::program::replay::{
    AxisSlack, Failure, Interpreter, Reading, Replay, Report, Settings, Slack, Source, Want, geometry::Point,
};
use takeup_core::program::rewrite::{self, Rewriter};
use takeup_core::slack::Play;
use takeup_tests::programs::{Dice, Language, program};

/// Lost motion of X, Y and Z in thousandths of a millimetre.
type Widths = [u16; 3];

fn table(widths: Widths) -> Table {
    let mut table = Table::EMPTY;
    for (axis, width) in Axis::ALL.into_iter().zip(widths) {
        let lost = Length::from_counts(i64::from(width) * 10_000);
        if width > 0 {
            *table.axes.get_mut(axis) = Some(AxisTable::uniform(axis.usual_seat(), lost).unwrap());
        }
    }
    table
}

fn slack(widths: Widths) -> Slack {
    let mut slack = PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z: AxisSlack::NONE };
    for (axis, width) in Axis::ALL.into_iter().zip(widths) {
        let play = Play::new(f64::from(width) / 1000.0, axis.usual_seat()).unwrap();
        *slack.get_mut(axis) = AxisSlack::of_play(&play);
    }
    slack
}

fn corrected(text: &str, widths: Widths) -> Result<String, rewrite::Refusal> {
    let table = table(widths);
    let mut rewriter = Rewriter::new(&table, &rewrite::Settings::DEFAULT);
    let mut out = Vec::new();
    for line in text.split_inclusive('\n') {
        rewriter.line(line.as_bytes(), &mut |bytes| out.extend_from_slice(bytes))?;
    }
    Ok(String::from_utf8(out).expect("text"))
}

fn replayed(original: &str, rewritten: &str, widths: Widths) -> Result<Report, Failure> {
    let mut replay = Box::new(Replay::new(Settings::new(slack(widths))));
    let (mut first, mut second) = (original.lines(), rewritten.lines());
    loop {
        let (source, line) = match replay.advance(&mut |_| {})? {
            Want::Done => return Ok(replay.report(0.005)),
            Want::Line(Source::Original) => (Source::Original, first.next()),
            Want::Line(Source::Rewritten) => (Source::Rewritten, second.next()),
        };
        match line {
            Some(line) => replay.read(source, line.as_bytes())?,
            None => replay.end(source),
        }
    }
}

/// Runs a check over many seeds on two threads; the check says what is wrong.
fn over_seeds(seeds: std::ops::Range<u64>, check: impl Fn(u64) -> Result<(), String> + Sync) {
    let half = seeds.start + (seeds.end - seeds.start) / 2;
    let wrong: Vec<(u64, String)> = thread::scope(|scope| {
        let halves = [seeds.start..half, half..seeds.end].map(|part| {
            let check = &check;
            scope.spawn(move || {
                part.filter_map(|seed| check(seed).err().map(|why| (seed, why))).collect::<Vec<_>>()
            })
        });
        halves.into_iter().flat_map(|half| half.join().expect("a check panicked")).collect()
    });
    if let Some((seed, why)) = wrong.first() {
        let list: Vec<u64> = wrong.iter().map(|w| w.0).take(12).collect();
        panic!(
            "{} of {} seeds are wrong, {list:?}; seed {seed}: {why}",
            wrong.len(),
            seeds.end - seeds.start
        );
    }
}

/// Where the commands of a program end.
fn end_of(text: &str) -> Result<Point, String> {
    let mut interpreter = Interpreter::new(Reading::default());
    for line in text.lines() {
        interpreter.read(line.as_bytes()).map_err(|refusal| format!("{refusal:?}"))?;
        while interpreter.next().map_err(|refusal| format!("{refusal:?}"))?.is_some() {}
    }
    Ok(interpreter.position())
}

fn widths_of(seed: u64) -> Widths {
    let mut dice = Dice::new(seed ^ 0x51ac);
    let mut widths = [0; 3];
    let axes = 1 + dice.below(7);
    for (axis, width) in widths.iter_mut().enumerate() {
        if axes & (1 << axis) != 0 {
            *width = 5 + dice.below(200) as u16;
        }
    }
    widths
}

/// Worst error allowed after a rewriting: half a step of the output on each of two axes, and the model.
fn bound(text: &str) -> f64 {
    // Inch programs are written to 0.0001 in at worst.
    if text.to_ascii_uppercase().contains("G20") { 0.004 } else { 0.001 }
}

fn holds(text: &str, seed: u64, widths: Widths, most: f64) -> Result<(), String> {
    let rewritten = corrected(text, widths).map_err(|refusal| format!("{refusal:?}\n{text}"))?;
    let report = replayed(text, &rewritten, widths).map_err(|failure| format!("{failure:?}\n{rewritten}"))?;
    let told = || {
        format!(
            "widths {widths:?}, seed {seed}: {report:?}\n--- original\n{text}\n--- rewritten\n{rewritten}"
        )
    };
    // Rapids may fall away where the shifted command stands there already; cuts that do are seen as deviation.
    if report.after.max_mm > most {
        return Err(told());
    }
    let (end, ends) = (end_of(text)?, end_of(&rewritten)?);
    for (axis, width) in Axis::ALL.into_iter().zip(widths) {
        // The command may stand off by the clearance, never by more.
        let off = (ends.get(axis) - end.get(axis)).abs();
        if off > f64::from(width) / 1000.0 + most {
            return Err(format!("{axis} ends {off} mm away: {}", told()));
        }
    }
    if corrected(&rewritten, widths).is_ok() {
        return Err(format!("a corrected program is not refused: {}", told()));
    }
    Ok(())
}

#[test]
fn straight_programs_keep_the_tool_on_the_path() {
    over_seeds(0..20_000, |seed| {
        let text = program(seed, Language::Straight, 20);
        holds(&text, seed, widths_of(seed), 0.001)
    });
}

#[test]
fn programs_of_the_whole_language_keep_the_tool_on_the_path() {
    over_seeds(0..20_000, |seed| {
        let text = program(seed, Language::Whole, 10);
        holds(&text, seed, widths_of(seed), bound(&text) + 0.001)
    });
}

#[test]
fn without_lost_motion_every_program_is_copied() {
    over_seeds(0..20_000, |seed| {
        let language = if seed % 2 == 0 { Language::Straight } else { Language::Whole };
        let text = program(seed, language, 10);
        let copied = corrected(&text, [0; 3]).map_err(|refusal| format!("{refusal:?}"))?;
        if copied == text { Ok(()) } else { Err(format!("{text}\n---\n{copied}")) }
    });
}

#[test]
fn a_program_against_itself_is_as_good_after_as_before() {
    over_seeds(0..2_000, |seed| {
        let text = program(seed, Language::Whole, 16);
        let widths = widths_of(seed);
        let report = replayed(&text, &text, widths).map_err(|failure| format!("{failure:?}\n{text}"))?;
        let most =
            f64::from(widths.iter().map(|w| u32::from(*w) * u32::from(*w)).sum::<u32>()).sqrt() / 1000.0;
        let same = report.before == report.after && report.missing == 0;
        if same && report.before.max_mm <= most + 1.1e-4 {
            Ok(())
        } else {
            Err(format!("{report:?} {widths:?}\n{text}"))
        }
    });
}

#[test]
fn a_first_cut_may_begin_at_the_height_of_the_last_rapid() {
    let text = "G21 G90 G17\nG0 X0 Y0 Z5\nG1 X-2.925 Y2.779 Z4.872 F300\nG1 X-2.962 Y2.375 Z5.387\n\
                G1 X-6.211 Y-1.398 Z5.603\nG0 Z30\nM30\n";
    for widths in [[0, 0, 120], [80, 110, 120]] {
        holds(text, 0, widths, 0.001).unwrap_or_else(|why| panic!("{why}"));
    }
}
