//! `replay`: the proof of a rewritten program, on a model of the slack machine.

use std::fmt::Write;
use std::path::PathBuf;

use serde::Serialize;
use takeup_core::program::replay::{Answer, Figures, Report, Settings};

use crate::context::Context;
use crate::exit::Outcome;
use crate::output;
use crate::plan_view::Strokes;
use crate::program_args::{self, IntegersArg, Warning, WorkOffset};
use crate::proof::{self, Verdict, drawing, prove};
use crate::refusal::Refusal;
use crate::screen::table;
use crate::slack_args::SlackArgs;
use crate::units::LengthArg;

/// Arguments of `replay`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup replay core-box.nc core-box-corrected.nc --table mill.table")]
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
    /// Height at and above which X and Y may be sent aside, as it was given to rewrite [in --units; default: what
    /// the program shows to be above the work]
    #[arg(long, value_name = "HEIGHT", allow_negative_numbers = true)]
    clear_z: Option<LengthArg>,
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
    /// Length of cuts that the rewritten program makes in rapid.
    rapid_length: f64,
    /// Motions of the original that it does not make.
    missing_moves: u64,
    /// Where it sends an axis to a place before the original has told where that is.
    #[serde(skip_serializing_if = "Option::is_none")]
    untold: Option<UntoldIn>,
    worst: Vec<WorstIn>,
    /// Of the original.
    warnings: Vec<Warning>,
    answer: &'static str,
}

#[derive(Serialize)]
struct UntoldIn {
    axis: String,
    line: u64,
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
    let clear_mm = args.clear_z.map(|height| height.mm(ctx.units()));
    let settings =
        Settings { unit: ctx.units(), integers: args.integers.into(), clear_mm, ..Settings::new(slack) };
    let mut strokes = args.plot.is_some().then(Strokes::default);
    let report = prove(&args.original, &args.rewritten, settings, tolerance, strokes.as_mut(), ctx)?;
    if let (Some(path), Some(strokes)) = (&args.plot, strokes) {
        output::write(path, drawing(&report, strokes, tolerance, ctx).svg().as_bytes(), ctx)?;
    }
    let outcome = if report.answer == Answer::Good { Outcome::Good } else { Outcome::Adverse };
    ctx.answer(&document(&report, tolerance, ctx), || text(&report, tolerance, ctx), outcome)
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
        rapid_length: show.value(report.hurried_mm),
        missing_moves: report.missing,
        untold: report.untold.map(|untold| UntoldIn { axis: untold.axis.to_string(), line: untold.line }),
        worst: report
            .worst
            .iter()
            .map(|worst| WorstIn {
                line: worst.line,
                deviation: show.value(worst.deviation_mm),
                at: [show.value(worst.at.x), show.value(worst.at.y), show.value(worst.at.z)],
            })
            .collect(),
        warnings: report.unit_assumed.map(Warning::unit_assumed).into_iter().collect(),
        answer: match report.answer {
            Answer::Good => "good",
            Answer::BeyondTolerance => "beyond-tolerance",
        },
    }
}

fn text(report: &Report, tolerance: f64, ctx: &Context) -> String {
    let (show, screen) = (ctx.lengths(), ctx.screen());
    let verdict = Verdict::of(report, tolerance);
    let mut text = String::new();
    let answer = verdict.sentence("the rewritten program", report, tolerance, show);
    let _ = writeln!(text, "{}\n", screen.paint(verdict.tone(), &screen.wrap(&answer, "")));
    let rows = [("before", &report.before), ("after", &report.after)].map(|(name, figures)| {
        let cells = [figures.max_mm, figures.p99_mm, figures.mean_mm].map(|mm| show.fine(mm));
        std::iter::once(name.to_owned()).chain(cells).collect()
    });
    let head = format!("deviation, {}", show.unit);
    text.push_str(&table(&[&head, "largest", "99 % of the cut within", "mean"], rows.to_vec()));
    for (tone, said) in proof::besides(report, verdict, tolerance, show) {
        let _ = writeln!(text, "\n{}", screen.paint(tone, &screen.wrap(&said, "")));
    }
    let worst: Vec<_> = report.worst.iter().filter(|worst| worst.deviation_mm >= 0.000_05).take(5).collect();
    if !worst.is_empty() {
        let _ = writeln!(text, "\nWorst places after, by line of the original:");
        for worst in worst {
            let at = [worst.at.x, worst.at.y, worst.at.z].map(|mm| show.short(mm));
            let deviation = show.fine(worst.deviation_mm);
            let _ = writeln!(
                text,
                "  line {}: {deviation} {} at X{} Y{} Z{}",
                worst.line, show.unit, at[0], at[1], at[2]
            );
        }
    }
    let next = match verdict {
        Verdict::Good => {
            "Next: run the corrected program in the air first, in single block, with soft limits on."
        }
        Verdict::Unjudged => {
            "Next: let the program move every slack axis in the clear before it cuts, or rewrite it with --strict."
        }
        Verdict::InRapid => {
            "Next: do not cut with it: the moves it makes in rapid are cuts of the original. Rewrite it again."
        }
        Verdict::Untold(_) => {
            "Next: do not cut with it: on the machine that axis may be anywhere there. Rewrite the program again."
        }
        Verdict::Beyond => {
            "Next: look at these lines; was the program rewritten with this table or --play? Do not cut with it yet."
        }
    };
    let _ = writeln!(text, "\n{}", screen.wrap(next, ""));
    text
}
