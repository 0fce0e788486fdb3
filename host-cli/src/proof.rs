//! The proof of a program on a model of the slack machine: run, judged, put into words, drawn.

use std::path::Path;

use takeup_core::program::replay::{Answer, Failure, Replay, Report, Sample, Settings, Source, Untold, Want};

use crate::context::Context;
use crate::plan_view::{CALM, Class, FAR, MILD, Mark, OFF, PlanView, SILENT, Strokes};
use crate::program_args::{Lines, Warning};
use crate::refusal::Refusal;
use crate::screen::Tone;
use crate::units::{Print, counted};

/// What a replay shows, with the reason of an adverse answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the tolerance, wherever it was judged.
    Good,
    /// The tool leaves the path intended by more than the tolerance.
    Beyond,
    /// Cuts of the original are made in rapid.
    InRapid,
    /// An axis is sent to a place where the original has not told where it is.
    Untold(Untold),
    /// Not one cut is made with known seats.
    Unjudged,
}

impl Verdict {
    /// The verdict of a report that was made with this tolerance.
    #[must_use]
    pub fn of(report: &Report, tolerance_mm: f64) -> Self {
        // Half a count of the exact lengths, as the answer itself has it: just the tolerance is within it.
        let beyond = report.after.max_mm > tolerance_mm + 0.5e-7;
        match (report.answer, report.untold) {
            (Answer::Good, _) => Self::Good,
            (Answer::BeyondTolerance, Some(untold)) => Self::Untold(untold),
            (Answer::BeyondTolerance, None) if beyond => Self::Beyond,
            (Answer::BeyondTolerance, None) if report.hurried_mm > tolerance_mm => Self::InRapid,
            (Answer::BeyondTolerance, None) => Self::Unjudged,
        }
    }

    /// How it looks on a terminal.
    #[must_use]
    pub fn tone(self) -> Tone {
        if self == Self::Good { Tone::Good } else { Tone::Adverse }
    }

    /// The answer in one sentence about a program with this name.
    #[must_use]
    pub fn sentence(self, name: &str, report: &Report, tolerance_mm: f64, show: Print) -> String {
        // With a digit more than the tolerance: what is left is mostly smaller than its last one.
        let most = format!("{} {}", show.fine(report.after.max_mm), show.unit);
        let tolerance = show.with_unit(tolerance_mm);
        match self {
            Self::Good => {
                format!(
                    "Good: {name} keeps the tool within {most} of the path intended (tolerance {tolerance})."
                )
            }
            Self::Beyond => format!(
                "Beyond tolerance: {name} leaves the tool up to {most} off the path intended (tolerance \
                 {tolerance})."
            ),
            Self::InRapid => {
                format!("Not good: {name} makes {} of the cuts in rapid.", show.with_unit(report.hurried_mm))
            }
            Self::Untold(Untold { axis, line }) => format!(
                "Not good: {name} sends {axis} to a place at line {line} of the original, where that has not told \
                 where {axis} is."
            ),
            Self::Unjudged => format!(
                "Not shown: {name} makes every cut while a seat is not known, so nothing can be said about it."
            ),
        }
    }
}

/// What else is worth a sentence, each with its tone.
#[must_use]
pub fn besides(report: &Report, verdict: Verdict, tolerance_mm: f64, show: Print) -> Vec<(Tone, String)> {
    let mut said = Vec::new();
    if report.unseated_mm > 0.0 {
        said.push((
            Tone::Caution,
            format!(
                "{} of {} are cut while a seat is not known; they are not judged.",
                show.with_unit(report.unseated_mm),
                show.with_unit(report.cut_mm)
            ),
        ));
    }
    if report.cut_mm == 0.0 {
        said.push((Tone::Caution, "Nothing is cut at a feed rate: there was nothing to judge.".to_owned()));
    }
    if report.hurried_mm > tolerance_mm && verdict != Verdict::InRapid {
        let hurried = show.with_unit(report.hurried_mm);
        said.push((Tone::Adverse, format!("{hurried} of the cuts are made in rapid.")));
    }
    if report.missing > 0 {
        let moves = counted(report.missing, "move");
        let have = if report.missing == 1 { "has" } else { "have" };
        said.push((Tone::Caution, format!("{moves} of the original {have} no counterpart.")));
    }
    if let Some(line) = report.unit_assumed {
        said.push((Tone::Caution, format!("In the original, {}.", Warning::unit_assumed(line))));
    }
    said
}

/// Replays both programs, and draws the cuts of the second if asked to.
///
/// # Errors
/// When a program cannot be read or followed.
pub fn prove(
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
    let report = replay.report(tolerance);
    if report.moves == 0 { Err(original.moves_nothing()) } else { Ok(report) }
}

fn refusal(failure: &Failure, original: &Lines, rewritten: &Lines) -> Refusal {
    match failure.source {
        Source::Original => original.refusal(&failure.refusal),
        Source::Rewritten => rewritten.refusal(&failure.refusal),
    }
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

/// The cuts seen from above, coloured by the deviation.
#[must_use]
pub fn drawing(report: &Report, strokes: Strokes, tolerance: f64, ctx: &Context) -> PlanView {
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
