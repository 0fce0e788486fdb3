//! What the slack of a machine does to a program, seen from above.

use crate::context::Context;
use crate::plan_view::{CALM, FAR, MILD, OFF, Strokes};
use crate::proof::{self, Verdict, drawing, prove};
use crate::refusal::Refusal;
use crate::report::how::How;
use crate::report::page::{Figure, Key, Part, Table, Tone};
use std::path::Path;
use takeup_core::program::replay::Settings;

/// A program on the slack machine; with a rewritten one, that one against the original.
#[derive(Debug, Clone, Copy)]
pub struct Program<'a> {
    /// The program as it was.
    pub original: &'a Path,
    /// The rewritten one.
    pub rewritten: Option<&'a Path>,
    /// Deviation of the tool that is still good, in millimetres.
    pub tolerance_mm: f64,
    /// Where the slack was taken from.
    pub slack_from: &'a str,
}

/// The part of the page.
///
/// # Errors
/// When a program cannot be read or followed.
pub fn part(program: &Program<'_>, settings: Settings, ctx: &Context) -> Result<Part, Refusal> {
    let mut strokes = Strokes::default();
    let shown = program.rewritten.unwrap_or(program.original);
    let report = prove(program.original, shown, settings, program.tolerance_mm, Some(&mut strokes), ctx)?;
    let print = ctx.lengths();
    let name = shown.file_name().unwrap_or(shown.as_os_str()).to_string_lossy().into_owned();
    // As fine as in the verdict and the table.
    let most = format!("{} {}", print.fine(report.after.max_mm), print.unit);
    let tolerance = print.with_unit(program.tolerance_mm);
    let found = Verdict::of(&report, program.tolerance_mm);
    let next = match (found, program.rewritten) {
        (Verdict::Good, _) => "Run it in the air first, in single block, with soft limits on.",
        (_, None) => {
            "Repair the machine, or correct the program with `takeup rewrite`; then prove the corrected one the same way."
        }
        (Verdict::Unjudged, Some(_)) => {
            "Do not cut with it: let it move every slack axis in the clear before it cuts, or rewrite it with `--strict`."
        }
        (Verdict::InRapid, Some(_)) => {
            "Do not cut with it: moves that it makes in rapid are cuts of the original. Rewrite it again."
        }
        (Verdict::Untold(_), Some(_)) => {
            "Do not cut with it: on the machine that axis may be anywhere there. Rewrite the program again."
        }
        (Verdict::Beyond, Some(_)) => "Do not cut with it: look at the places named below.",
    };
    let mut view = drawing(&report, strokes, program.tolerance_mm, ctx);
    view.description = format!(
        "Plan view of the cuts of {name}, X to the right and Y up; largest error {most}, tolerance {tolerance}.{}",
        if view.marks.is_empty() { "" } else { " The worst places beyond it are numbered." }
    );
    let keys = view
        .classes
        .iter()
        .map(|class| {
            let name = match class.colour {
                CALM => "calm",
                MILD => "mild",
                OFF => "off",
                FAR => "far",
                _ => "silent",
            };
            Key::new(name, "━", class.label.clone())
        })
        .collect();
    let svg = view.figure();
    let figures =
        vec![Figure { title: format!("Error of {name}"), svg, words: view.description.clone(), keys }];
    let mut tables = Vec::new();
    let rows = [("before", &report.before), ("after", &report.after)]
        .into_iter()
        .skip(usize::from(program.rewritten.is_none()));
    let rows = rows
        .map(|(when, figures)| {
            let when = if program.rewritten.is_some() { when } else { "as it is" };
            vec![
                when.to_owned(),
                print.fine(figures.max_mm),
                print.fine(figures.p99_mm),
                print.fine(figures.mean_mm),
            ]
        })
        .collect();
    let title = format!("Error of the program, in {}", print.unit_name());
    tables.push(Table::new(title, &["program", "largest", "99 % within", "mean"], rows));
    let worst: Vec<_> = report
        .worst
        .iter()
        .filter(|worst| worst.deviation_mm > program.tolerance_mm)
        .enumerate()
        .map(|(i, worst)| {
            let at = [worst.at.x, worst.at.y, worst.at.z].map(|mm| print.short(mm));
            vec![
                format!("{}. line {}, at X{} Y{} Z{}", i + 1, worst.line, at[0], at[1], at[2]),
                print.fine(worst.deviation_mm),
            ]
        })
        .collect();
    if !worst.is_empty() {
        tables.push(Table::new("Worst places, by line of the original", &["place", "error"], worst));
    }
    let source = match program.rewritten {
        None => format!("{name}, replayed with the slack of {}.", program.slack_from),
        Some(_) => format!(
            "{name} against {}, replayed with the slack of {}.",
            program.original.display(),
            program.slack_from
        ),
    };
    Ok(Part {
        heading: format!("Program {name}"),
        verdict: found.sentence(&name, &report, program.tolerance_mm, print),
        tone: if found == Verdict::Good { Tone::Good } else { Tone::Bad },
        next: vec![next.to_owned()],
        lines: proof::besides(&report, found, program.tolerance_mm, print)
            .into_iter()
            .map(|(_, said)| said)
            .collect(),
        figures,
        tables,
        sources: vec![source],
        hows: vec![How::Replay],
    })
}
