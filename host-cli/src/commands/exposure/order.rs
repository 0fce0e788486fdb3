//! Several programs of one part, the least exposed first.

use std::cmp::Ordering;
use std::fmt::Write;
use std::path::Path;

use serde::Serialize;
use takeup_core::program::exposure::Exposure;

use super::{LEAST_STEP_MM, ProgramIn};
use crate::context::Context;
use crate::input;
use crate::program_args::Warning;
use crate::screen::{Tone, table};
use crate::units::counted;

/// Programs of one part cut about the same length: beyond this ratio it is doubted that they are of one.
const ALIKE: f64 = 1.5;

/// A program in its place.
pub struct Ordered {
    name: String,
    /// From 1; the same where two are equally exposed.
    place: usize,
    found: Exposure,
}

#[derive(Serialize)]
pub struct Document {
    schema: &'static str,
    units: &'static str,
    programs: Vec<PlaceIn>,
}

#[derive(Serialize)]
struct PlaceIn {
    program: String,
    place: usize,
    #[serde(flatten)]
    found: ProgramIn,
}

/// Puts what was found of programs in order; those that are alike stay as they were given.
pub fn of(programs: &[&Path], found: Vec<Exposure>) -> Vec<Ordered> {
    let named = programs.iter().map(|path| input::name(path)).zip(found);
    let mut ordered: Vec<_> = named.map(|(name, found)| Ordered { name, place: 1, found }).collect();
    ordered.sort_by(|a, b| a.found.rank(&b.found));
    for index in 1..ordered.len() {
        if let [better, program] = &mut ordered[index - 1..=index] {
            let alike = better.found.rank(&program.found) == Ordering::Equal;
            program.place = if alike { better.place } else { index + 1 };
        }
    }
    ordered
}

/// The document.
pub fn document(ordered: &[Ordered], told: impl Fn(&Exposure) -> ProgramIn, ctx: &Context) -> Document {
    let place = |program: &Ordered| PlaceIn {
        program: program.name.clone(),
        place: program.place,
        found: told(&program.found),
    };
    Document {
        schema: "takeup.exposure-order/1",
        units: ctx.lengths().unit.symbol(),
        programs: ordered.iter().map(place).collect(),
    }
}

/// The order in words.
pub fn text(ordered: &[Ordered], near_mm: f64, ctx: &Context) -> String {
    let (show, screen) = (ctx.lengths(), ctx.screen());
    let mut text = String::new();
    let _ = writeln!(text, "{}\n", screen.paint(Tone::Strong, &screen.wrap(&answer(ordered, ctx), "")));
    let row = |program: &Ordered| {
        let found = &program.found;
        vec![
            program.name.clone(),
            found.lifts.to_string(),
            found.near_lifts.to_string(),
            found.reversals_in_cut().to_string(),
            show.with_unit(found.largest_step_mm()),
            show.with_unit(found.cutting_length_mm),
        ]
    };
    // Short, so that names of files have room.
    let head = ["program", "lifts", "near", "reversals", "step", "cut"];
    text.push_str(&table(&head, ordered.iter().map(row).collect()));
    let lengths = ordered.iter().map(|program| program.found.cutting_length_mm);
    let (shortest, longest) =
        lengths.fold((f64::INFINITY, 0.0_f64), |(low, high), length| (low.min(length), high.max(length)));
    if longest > ALIKE * shortest {
        let doubt = "They cut very different lengths: an order says something only of programs of one part.";
        let _ = writeln!(text, "\n{}", screen.paint(Tone::Caution, &screen.wrap(doubt, "")));
    }
    let rule = format!(
        "In order of lifts: of two programs of one part the one with fewer leaves fewer differences in height (common \
         practice, no source). Then of reversals in the cut, then of the largest step. Near: lifts that rejoin within {} \
         {}. Give one program by itself for its places and advice.",
        show.short(near_mm),
        show.unit.symbol()
    );
    let _ = writeln!(text, "\n{}", screen.wrap(&rule, ""));
    for program in ordered {
        if let Some(line) = program.found.unit_assumed {
            let warning = format!("{}: {}", program.name, Warning::unit_assumed(line));
            let _ = writeln!(text, "\n{}", screen.paint(Tone::Caution, &screen.wrap(&warning, "")));
        }
    }
    text
}

/// Which one is the least exposed, and by what.
fn answer(ordered: &[Ordered], ctx: &Context) -> String {
    let (best, rest) = ordered.split_at(ordered.iter().take_while(|program| program.place == 1).count());
    let names: Vec<_> = best.iter().map(|program| program.name.as_str()).collect();
    let names = names.join(", ");
    let leaves_no_step = |program: &&Ordered| {
        program.found.largest_step_mm() <= LEAST_STEP_MM && !program.found.leaves_steps_open()
    };
    let no_step = ordered.iter().all(|program| leaves_no_step(&program));
    let (Some(first), Some(next)) = (best.first(), rest.first()) else {
        let all = if no_step { "Not exposed: this slack leaves no step in any of them. As" } else { "As" };
        return format!("{all} good as each other: {names}.");
    };
    let (a, b) = (&first.found, &next.found);
    let why = if a.lifts != b.lifts {
        format!("{}, {} has {}", counted(a.lifts, "lift"), next.name, b.lifts)
    } else if a.reversals_in_cut() != b.reversals_in_cut() {
        let reversals = counted(a.reversals_in_cut(), "reversal");
        format!("as many lifts, {reversals} in the cut, {} has {}", next.name, b.reversals_in_cut())
    } else {
        let [step, other] = [a, b].map(|found| ctx.lengths().with_unit(found.largest_step_mm()));
        format!("as many lifts and reversals, steps up to {step}, {} has {other}", next.name)
    };
    if no_step {
        return format!("Not exposed: this slack leaves no step in any of them. Best: {names}: {why}.");
    }
    let but = match rest.iter().find(leaves_no_step) {
        Some(other) if !leaves_no_step(&first) => {
            format!(" In {} this slack leaves no step, for all its lifts.", other.name)
        }
        _ => String::new(),
    };
    format!("Least exposed: {names}: {why}.{but}")
}
