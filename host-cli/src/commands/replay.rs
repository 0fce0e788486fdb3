//! `replay`: the proof of a rewritten program, on a model of the slack machine.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use comfy_table::{CellAlignment, presets};
use serde::Serialize;
use takeup_core::program::replay::{Answer, Figures, Replay, Report, Sample, Settings, Source, Want};

use crate::context::Context;
use crate::exit::Outcome;
use crate::output;
use crate::plan_view::{CALM, Class, FAR, MILD, Mark, OFF, PlanView, SILENT, Strokes};
use crate::program_args::{self, IntegersArg, Lines, WorkOffset};
use crate::refusal::Refusal;
use crate::screen::Tone;
use crate::slack_args::SlackArgs;
use crate::units::LengthArg;

/// Arguments of `replay`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The program as it was; "-" is standard input
    #[arg(value_name = "ORIGINAL")]
    original: PathBuf,
    /// The program to prove; "-" is standard input
    #[arg(value_name = "REWRITTEN")]
    rewritten: PathBuf,
    #[command(flatten)]
    slack: SlackArgs,
    #[command(flatten)]
    offset: WorkOffset,
    /// Deviation of the tool that is still good
    #[arg(long, value_name = "LENGTH", default_value = "0.005mm", allow_hyphen_values = true)]
    tolerance: LengthArg,
    /// What words without a decimal point mean
    #[arg(long, value_name = "HOW", default_value = "unit")]
    integers: IntegersArg,
    /// Draw the cuts from above, coloured by what the rewritten program leaves
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    units: &'static str,
    tolerance: f64,
    before: FiguresIn,
    after: FiguresIn,
    unseated_length: f64,
    worst: Vec<WorstIn>,
    answer: &'static str,
}

#[derive(Serialize)]
struct FiguresIn {
    max: f64,
    mean: f64,
    p99: f64,
}

#[derive(Serialize)]
struct WorstIn {
    line: u64,
    deviation: f64,
    at: [f64; 3],
}

/// Replays both programs.
///
/// # Errors
/// When a program cannot be read or followed, the slack is not given, or the plot cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let tolerance = args.tolerance.mm(ctx.units());
    if tolerance < 0.0 {
        return Err(Refusal::new("--tolerance is negative", "Give a length of 0 or more."));
    }
    program_args::keep_plot_apart(args.plot.as_deref(), &[&args.original, &args.rewritten], &args.slack)?;
    let slack = program_args::slack(&args.slack, &args.offset, ctx)?;
    let settings = Settings { unit: ctx.units(), integers: args.integers.into(), ..Settings::new(slack) };
    let mut strokes = args.plot.is_some().then(Strokes::default);
    let report = prove(&args.original, &args.rewritten, settings, tolerance, strokes.as_mut(), ctx)?;
    if let (Some(path), Some(strokes)) = (&args.plot, strokes) {
        output::write(path, drawing(&report, strokes, tolerance, ctx).svg().as_bytes(), ctx)?;
    }
    let outcome = if report.answer == Answer::Good { Outcome::Good } else { Outcome::Adverse };
    ctx.answer(&document(&report, tolerance, ctx), || text(&report, tolerance, ctx), outcome)
}

/// Replays both programs, and draws the cuts of the second if asked to.
///
/// # Errors
/// When a program cannot be read or followed.
pub(crate) fn prove(
    original: &Path,
    rewritten: &Path,
    settings: Settings,
    tolerance: f64,
    mut strokes: Option<&mut Strokes>,
    ctx: &Context,
) -> Result<Report, Refusal> {
    let mut original = Lines::open(original, ctx)?;
    let mut rewritten = Lines::open(rewritten, ctx)?;
    let mut replay = Box::new(Replay::new(settings));
    let mut sample = |sample: Sample| {
        if let Some(strokes) = strokes.as_mut().filter(|_| sample.source == Source::Rewritten) {
            strokes.push(&sample.at, class_of(sample.deviation_mm, tolerance), sample.begins);
        }
    };
    loop {
        let (source, lines) = match replay.advance(&mut sample) {
            Ok(Want::Done) => break,
            Ok(Want::Line(Source::Original)) => (Source::Original, &mut original),
            Ok(Want::Line(Source::Rewritten)) => (Source::Rewritten, &mut rewritten),
            Err(failure) => return Err(refusal(&failure, &original, &rewritten)),
        };
        let read = match lines.read()? {
            Some(line) => replay.read(source, line),
            None => {
                replay.end(source);
                Ok(())
            }
        };
        read.map_err(|failure| refusal(&failure, &original, &rewritten))?;
    }
    Ok(replay.report(tolerance))
}

fn refusal(failure: &takeup_core::program::replay::Failure, original: &Lines, rewritten: &Lines) -> Refusal {
    match failure.source {
        Source::Original => original.refusal(&failure.refusal),
        Source::Rewritten => rewritten.refusal(&failure.refusal),
    }
}

fn document(report: &Report, tolerance: f64, ctx: &Context) -> Document {
    let show = ctx.lengths();
    let figures = |figures: &Figures| FiguresIn {
        max: show.value(figures.max_mm),
        mean: show.value(figures.mean_mm),
        p99: show.value(figures.p99_mm),
    };
    Document {
        schema: "takeup.replay/1",
        units: show.unit.symbol(),
        tolerance: show.value(tolerance),
        before: figures(&report.before),
        after: figures(&report.after),
        unseated_length: show.value(report.unseated_mm),
        worst: report
            .worst
            .iter()
            .map(|worst| WorstIn {
                line: worst.line,
                deviation: show.value(worst.deviation_mm),
                at: [show.value(worst.at.x), show.value(worst.at.y), show.value(worst.at.z)],
            })
            .collect(),
        answer: match report.answer {
            Answer::Good => "good",
            Answer::BeyondTolerance => "beyond-tolerance",
        },
    }
}

fn text(report: &Report, tolerance: f64, ctx: &Context) -> String {
    let (show, screen) = (ctx.lengths(), ctx.screen());
    let hurried = report.hurried_mm > tolerance;
    let within = report.answer == Answer::BeyondTolerance && report.after.max_mm <= tolerance;
    let unjudged = within && !hurried;
    let (tone, answer) = match report.answer {
        Answer::Good => (
            Tone::Good,
            format!(
                "Good: the rewritten program keeps the tool within {} of the path intended (tolerance {}).",
                show.with_unit(report.after.max_mm),
                show.with_unit(tolerance)
            ),
        ),
        Answer::BeyondTolerance if unjudged => (
            Tone::Adverse,
            "Not shown: every cut is made while a seat is not known, so nothing can be said about it."
                .to_owned(),
        ),
        Answer::BeyondTolerance if within => (
            Tone::Adverse,
            format!(
                "Not good: the rewritten program makes {} of the cuts in rapid.",
                show.with_unit(report.hurried_mm)
            ),
        ),
        Answer::BeyondTolerance => (
            Tone::Adverse,
            format!(
                "Beyond tolerance: the rewritten program leaves the tool up to {} off the path intended \
                 (tolerance {}).",
                show.with_unit(report.after.max_mm),
                show.with_unit(tolerance)
            ),
        ),
    };
    let mut text = String::new();
    let _ = writeln!(text, "{}\n", screen.paint(tone, &screen.wrap(&answer, "")));
    let mut rows = comfy_table::Table::new();
    rows.load_style(presets::NOTHING).set_header([
        format!("deviation, {}", show.unit.symbol()),
        "largest".into(),
        "99 % of the cut within".into(),
        "mean".into(),
    ]);
    for (name, figures) in [("before", &report.before), ("after", &report.after)] {
        rows.add_row([
            name.to_owned(),
            show.fine(figures.max_mm),
            show.fine(figures.p99_mm),
            show.fine(figures.mean_mm),
        ]);
    }
    for column in rows.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    let _ = writeln!(text, "{rows}");
    if report.unseated_mm > 0.0 {
        let said = format!(
            "{} of {} are cut while a seat is not known; they are not judged.",
            show.with_unit(report.unseated_mm),
            show.with_unit(report.cut_mm)
        );
        let _ = writeln!(text, "\n{}", screen.paint(Tone::Caution, &screen.wrap(&said, "")));
    }
    if hurried && !within {
        let said = format!("{} of the cuts are made in rapid.", show.with_unit(report.hurried_mm));
        let _ = writeln!(text, "\n{}", screen.paint(Tone::Adverse, &said));
    }
    if report.missing > 0 && report.answer == Answer::BeyondTolerance {
        let said = format!("{} moves of the original have no counterpart.", report.missing);
        let _ = writeln!(text, "\n{}", screen.paint(Tone::Caution, &said));
    }
    let worst: Vec<_> = report.worst.iter().filter(|worst| worst.deviation_mm >= 0.000_05).take(5).collect();
    if !worst.is_empty() {
        let _ = writeln!(text, "\nWorst places after, by line of the original:");
        for worst in worst {
            let at = [worst.at.x, worst.at.y, worst.at.z].map(|mm| show.short(mm));
            let deviation = show.fine(worst.deviation_mm);
            let _ = writeln!(text, "  line {}: {deviation} at X{} Y{} Z{}", worst.line, at[0], at[1], at[2]);
        }
    }
    let next = match report.answer {
        Answer::Good => {
            "Next: run the corrected program in the air first, in single block, with soft limits on."
        }
        Answer::BeyondTolerance if unjudged => {
            "Next: let the program move every slack axis in the clear before it cuts, or rewrite it with --strict."
        }
        Answer::BeyondTolerance => {
            "Next: look at these lines; was the program rewritten with this table or --play? Do not cut with it yet."
        }
    };
    let _ = writeln!(text, "\n{}", screen.wrap(next, ""));
    text
}

fn class_of(deviation: Option<f64>, tolerance: f64) -> u8 {
    match deviation {
        None => 0,
        Some(d) if d <= tolerance / 4.0 => 1,
        Some(d) if d <= tolerance => 2,
        Some(d) if d <= 4.0 * tolerance => 3,
        Some(_) => 4,
    }
}

pub(crate) fn drawing(report: &Report, strokes: Strokes, tolerance: f64, ctx: &Context) -> PlanView {
    let show = ctx.lengths();
    let within = |mm: f64| show.short(mm);
    let unit = show.unit.symbol();
    let classes = [
        ("not judged: a seat is not known".to_owned(), SILENT, 1.0),
        (format!("within {} {unit}", within(tolerance / 4.0)), CALM, 1.2),
        (format!("within {} {unit}, the tolerance", within(tolerance)), MILD, 1.8),
        (format!("within {} {unit}", within(4.0 * tolerance)), OFF, 2.6),
        (format!("beyond {} {unit}", within(4.0 * tolerance)), FAR, 3.4),
    ];
    let shown = report.worst.iter().filter(|worst| worst.deviation_mm > tolerance);
    PlanView {
        title: "Deviation of the tool after the rewrite".to_owned(),
        description: format!(
            "Plan view of the cuts. Largest deviation {} before, {} after; tolerance {}. {} places are beyond it \
             and are numbered.",
            show.with_unit(report.before.max_mm),
            show.with_unit(report.after.max_mm),
            show.with_unit(tolerance),
            shown.clone().count()
        ),
        classes: classes.into_iter().map(|(label, colour, width)| Class { label, colour, width }).collect(),
        strokes,
        marks: shown
            .map(|worst| Mark {
                at: worst.at,
                text: format!("line {}: {}", worst.line, show.with_unit(worst.deviation_mm)),
            })
            .collect(),
        unit: (unit, show.unit.as_mm()),
    }
}
