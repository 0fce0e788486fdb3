//! `exposure`: what the slack of a machine would do to a program, before cutting it.

mod order;

use std::fmt::Write;
use std::path::{Path, PathBuf};

use serde::Serialize;
use takeup_core::axis::{Axis, PerAxis};
use takeup_core::program::exposure::{self, Exposed, Exposure, Settings, Way};

use crate::context::Context;
use crate::exit::Outcome;
use crate::output;
use crate::plan_view::{CALM, Class, FAR, MILD, Mark, OFF, PlanView, SILENT, Strokes};
use crate::program_args::{self, IntegersArg, Lines, Warning, WorkOffset};
use crate::refusal::Refusal;
use crate::screen::{Tone, table};
use crate::slack_args::SlackArgs;
use crate::units::LengthArg;
use crate::units::counted;

/// A step below this is none.
const LEAST_STEP_MM: f64 = 1e-6;

/// Arguments of `exposure`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  takeup exposure core-box.nc --play z=0.12\n  takeup exposure core-box.nc --table mill.table --plot core-box.svg"
)]
pub struct Args {
    /// The program, or several of one part, to be put in order; "-" is standard input
    #[arg(value_name = "PROGRAM", required = true)]
    programs: Vec<PathBuf>,
    #[command(flatten)]
    slack: SlackArgs,
    #[command(flatten)]
    offset: WorkOffset,
    /// A lift that comes back this near could be a link kept down
    #[arg(long, value_name = "LENGTH", default_value = "6mm", allow_hyphen_values = true)]
    near: LengthArg,
    /// What words without a decimal point mean
    #[arg(long, value_name = "HOW", default_value = "unit")]
    integers: IntegersArg,
    /// Draw cuts and lifts from above
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    units: &'static str,
    #[serde(flatten)]
    program: ProgramIn,
}

/// What is told of one program.
#[derive(Serialize)]
struct ProgramIn {
    lines: u64,
    cutting_moves: u64,
    cutting_length: f64,
    unseated_length: f64,
    lifts: u64,
    near_lifts: u64,
    links: Vec<LinkIn>,
    axes: serde_json::Map<String, serde_json::Value>,
    worst: Vec<StepIn>,
    advice: Vec<String>,
    warnings: Vec<Warning>,
}

#[derive(Serialize)]
struct AxisIn {
    reversals_in_cut: u64,
    reversals_in_rapid: u64,
    length_on_other_seat: f64,
    largest_step: f64,
}

/// A lift that a planner could keep down.
#[derive(Serialize)]
struct LinkIn {
    left_line: u64,
    back_line: u64,
    distance: f64,
    at: [f64; 3],
}

#[derive(Serialize)]
struct StepIn {
    line: u64,
    axis: &'static str,
    step: f64,
    at: [f64; 3],
}

/// Looks at the program, or at several.
///
/// # Errors
/// When a program cannot be read or followed, the slack is not given, or the plot cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let near_mm = args.near.mm(ctx.units());
    if near_mm < 0.0 {
        return Err(Refusal::new("--near is negative", "Give a length of 0 or more."));
    }
    let programs: Vec<&Path> = args.programs.iter().map(PathBuf::as_path).collect();
    program_args::keep_plot_apart(args.plot.as_deref(), &programs, &args.slack)?;
    if args.plot.is_some() && programs.len() > 1 {
        return Err(Refusal::new("--plot draws one program", "Give one program with it."));
    }
    let slack = program_args::slack(&args.slack, &args.offset, ctx)?;
    let slack_axes = slack.map(|axis| !axis.is_none());
    let widest = slack.iter().map(|(_, axis)| axis.widest_mm()).fold(0.0, f64::max);
    let settings =
        Settings { unit: ctx.units(), integers: args.integers.into(), near_mm, ..Settings::new(slack) };
    let mut looked_at = Vec::new();
    for program in &programs {
        let mut strokes = args.plot.is_some().then(Strokes::default);
        let found = look(program, settings.clone(), widest, strokes.as_mut(), ctx)?;
        if let (Some(path), Some(strokes)) = (&args.plot, strokes) {
            output::write(path, drawing(&found, strokes, widest, ctx).svg().as_bytes(), ctx)?;
        }
        looked_at.push(found);
    }
    let told = |found: &Exposure| advice(found, slack_axes, near_mm, ctx);
    if let [found] = looked_at.as_slice() {
        let advice = told(found);
        let program = program_in(found, slack_axes, &advice, ctx);
        let document = Document { schema: "takeup.exposure/1", units: ctx.lengths().unit.symbol(), program };
        return ctx.answer(&document, || text(found, slack_axes, &advice, ctx), Outcome::Good);
    }
    let ordered = order::of(&programs, looked_at);
    let document = order::document(&ordered, |found| program_in(found, slack_axes, &told(found), ctx), ctx);
    ctx.answer(&document, || order::text(&ordered, near_mm, ctx), Outcome::Good)
}

/// Looks at one program; what there is to draw is added to the strokes.
fn look(
    program: &Path,
    settings: Settings,
    widest: f64,
    mut strokes: Option<&mut Strokes>,
    ctx: &Context,
) -> Result<Exposure, Refusal> {
    let mut lines = Lines::open(program, ctx)?;
    let mut exposed = Box::new(Exposed::new(settings));
    let mut mark = |mark: exposure::Mark| {
        let Some(strokes) = strokes.as_deref_mut() else { return };
        match mark {
            exposure::Mark::Cut { at, begins, off_mm } => {
                let class = if off_mm <= LEAST_STEP_MM {
                    0
                } else if off_mm <= widest / 2.0 {
                    1
                } else {
                    2
                };
                strokes.push(&at, class, begins);
            }
            exposure::Mark::Lift { from, to, way } => {
                let class = if way == Way::Near { 4 } else { 3 };
                strokes.push(&from, class, true);
                strokes.push(&to, class, false);
            }
        }
    };
    loop {
        let refused = match lines.read()? {
            None => break,
            Some(line) => exposed.read(line, &mut mark).err(),
        };
        if let Some(refusal) = refused {
            return Err(lines.refusal(&refusal));
        }
    }
    let found = exposed.finish();
    if found.moves == 0 { Err(lines.moves_nothing()) } else { Ok(found) }
}

fn slack_of(slack: PerAxis<bool>) -> impl Iterator<Item = Axis> {
    Axis::ALL.into_iter().filter(move |axis| *slack.get(*axis))
}

/// Advice in words, the most useful first.
fn advice(found: &Exposure, slack: PerAxis<bool>, near_mm: f64, ctx: &Context) -> Vec<String> {
    let show = ctx.lengths();
    let mut advice = Vec::new();
    if found.near_lifts > 0 {
        let places: Vec<String> = found
            .links
            .iter()
            .take(3)
            .map(|link| format!("{} to {}", link.left_line, link.back_line))
            .collect();
        let more = if found.near_lifts > places.len() as u64 { ", …" } else { "" };
        advice.push(format!(
            "{} of {} lifts {} within {} {}: keep the tool down there. Lines {}{more}.",
            found.near_lifts,
            found.lifts,
            if found.near_lifts == 1 { "rejoins" } else { "rejoin" },
            show.short(near_mm),
            show.unit.symbol(),
            places.join(", ")
        ));
    }
    for axis in slack_of(slack) {
        let exposed = found.axes.get(axis);
        if exposed.reversals_in_cut > 0 && exposed.largest_step_mm > LEAST_STEP_MM {
            advice.push(format!(
                "{axis} reverses {} in the cut, steps up to {}: rewrite the program for this slack, or \
                 lay the cuts so that {axis} moves one way.",
                counted(exposed.reversals_in_cut, "time"),
                show.with_unit(exposed.largest_step_mm)
            ));
        } else if exposed.largest_step_mm > LEAST_STEP_MM {
            advice.push(format!(
                "{axis} leaves steps up to {} between cuts: rewrite the program so that {axis} arrives from one \
                 side.",
                show.with_unit(exposed.largest_step_mm)
            ));
        }
    }
    if found.leaves_steps_open() {
        advice.push(
            "Move each of these axes both ways in the clear before the first cut, and look again.".to_owned(),
        );
    } else if advice.is_empty() {
        advice.push("No correction is needed for this slack.".to_owned());
    }
    advice
}

fn program_in(found: &Exposure, slack: PerAxis<bool>, advice: &[String], ctx: &Context) -> ProgramIn {
    let show = ctx.lengths();
    let mut axes = serde_json::Map::new();
    for axis in slack_of(slack) {
        let exposed = found.axes.get(axis);
        let value = serde_json::to_value(AxisIn {
            reversals_in_cut: exposed.reversals_in_cut,
            reversals_in_rapid: exposed.reversals_in_rapid,
            length_on_other_seat: show.value(exposed.length_on_other_seat_mm),
            largest_step: show.value(exposed.largest_step_mm),
        });
        axes.insert(axis.key().to_owned(), value.unwrap_or_default());
    }
    ProgramIn {
        lines: found.lines,
        cutting_moves: found.cutting_moves,
        cutting_length: show.value(found.cutting_length_mm),
        unseated_length: show.value(found.unseated_length_mm),
        lifts: found.lifts,
        near_lifts: found.near_lifts,
        links: found
            .links
            .iter()
            .map(|link| LinkIn {
                left_line: link.left_line,
                back_line: link.back_line,
                distance: show.value(link.distance_mm),
                at: [show.value(link.at.x), show.value(link.at.y), show.value(link.at.z)],
            })
            .collect(),
        axes,
        worst: found
            .worst
            .iter()
            .map(|step| StepIn {
                line: step.line,
                axis: step.axis.key(),
                step: show.value(step.step_mm),
                at: [show.value(step.at.x), show.value(step.at.y), show.value(step.at.z)],
            })
            .collect(),
        advice: advice.to_vec(),
        warnings: found.unit_assumed.map(Warning::unit_assumed).into_iter().collect(),
    }
}

fn text(found: &Exposure, slack: PerAxis<bool>, advice: &[String], ctx: &Context) -> String {
    let (show, screen) = (ctx.lengths(), ctx.screen());
    let step = found.largest_step_mm();
    let (tone, answer) = if step > LEAST_STEP_MM {
        (
            Tone::Caution,
            format!(
                "Exposed: steps up to {} are to be expected; {}, {} in the cut.",
                show.with_unit(step),
                counted(found.lifts, "lift"),
                counted(found.reversals_in_cut(), "reversal")
            ),
        )
    } else if found.leaves_steps_open() {
        (
            Tone::Caution,
            format!(
                "Not shown: the cuts that could leave a step are made while a seat is not known; {}.",
                counted(found.lifts, "lift")
            ),
        )
    } else {
        (
            Tone::Good,
            format!(
                "Not exposed: this slack leaves no step in this program; {}.",
                counted(found.lifts, "lift")
            ),
        )
    };
    let mut text = String::new();
    let _ = writeln!(text, "{}\n", screen.paint(tone, &screen.wrap(&answer, "")));
    let _ = writeln!(
        text,
        "{}, {}, {} cut.\n",
        counted(found.lines, "line"),
        counted(found.cutting_moves, "cutting move"),
        show.with_unit(found.cutting_length_mm)
    );
    if found.unseated_length_mm > 0.0 {
        let said = format!(
            "{} of it are cut while a seat is not known: no step is foretold there.",
            show.with_unit(found.unseated_length_mm)
        );
        let _ = writeln!(text, "{}\n", screen.wrap(&said, ""));
    }
    let head = ["axis", "reversals in the cut", "in rapids", "cut on the other seat", "largest step"];
    let row = |axis| {
        let exposed = found.axes.get(axis);
        vec![
            axis.to_string(),
            exposed.reversals_in_cut.to_string(),
            exposed.reversals_in_rapid.to_string(),
            show.with_unit(exposed.length_on_other_seat_mm),
            show.with_unit(exposed.largest_step_mm),
        ]
    };
    text.push_str(&table(&head, slack_of(slack).map(row).collect()));
    if !found.worst.is_empty() {
        let _ = writeln!(text, "\nLargest steps:");
        for step in found.worst.iter().take(5) {
            let at = [step.at.x, step.at.y, step.at.z].map(|mm| show.short(mm));
            let size = show.with_unit(step.step_mm);
            let _ = writeln!(
                text,
                "  line {}: {} {size} at X{} Y{} Z{}",
                step.line, step.axis, at[0], at[1], at[2]
            );
        }
    }
    text.push('\n');
    for line in advice {
        let _ = writeln!(text, "{}", screen.wrap(line, ""));
    }
    if let Some(line) = found.unit_assumed {
        let warning = screen.wrap(&Warning::unit_assumed(line).to_string(), "");
        let _ = writeln!(text, "\n{}", screen.paint(Tone::Caution, &warning));
    }
    text
}

fn drawing(found: &Exposure, strokes: Strokes, widest: f64, ctx: &Context) -> PlanView {
    let show = ctx.lengths();
    let classes = [
        ("cut, tool at its command".to_owned(), CALM, 1.2),
        (format!("cut, off by up to {}", show.with_unit(widest / 2.0)), MILD, 1.8),
        ("cut, off by more".to_owned(), OFF, 2.6),
        ("lift, from the cut left to the next".to_owned(), SILENT, 0.8),
        ("lift that could be kept down".to_owned(), FAR, 3.4),
    ];
    PlanView {
        title: "Exposure of the program to slack".to_owned(),
        description: format!(
            "Plan view of cuts and lifts: {} cutting moves, {} lifts, of which {} come back near. The {} largest \
             steps are numbered.",
            found.cutting_moves,
            found.lifts,
            found.near_lifts,
            found.worst.len()
        ),
        classes: classes.into_iter().map(|(label, colour, width)| Class { label, colour, width }).collect(),
        strokes,
        marks: found
            .worst
            .iter()
            .map(|step| Mark {
                at: step.at,
                text: format!("line {}: {} {}", step.line, step.axis, show.with_unit(step.step_mm)),
            })
            .collect(),
        unit: (show.unit.symbol(), show.unit.as_mm()),
    }
}
