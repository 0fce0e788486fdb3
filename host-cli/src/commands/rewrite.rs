//! `rewrite`: a program corrected for the lost motion of the machine.

use crate::ahead::Ahead;
use crate::carrier::{self, Carrier};
use crate::context::Context;
use crate::exit::Outcome;
use crate::input::{self, LineError};
use crate::output;
use crate::program_args::{IntegersArg, Warning, WorkOffset};
use crate::refusal::Refusal;
use crate::slack_args::{AfterAxis, AxisValue, SlackArgs, per_axis};
use crate::units::{LengthArg, counted, decimals, word};
use serde::Serialize;
use std::io::{self, BufRead, BufReader, Seek};
use std::path::PathBuf;
use takeup_core::axis::{Axis, PerAxis};
use takeup_core::length::{Length, Unit};
use takeup_core::program::rewrite::clear::Heights;
use takeup_core::program::rewrite::{
    self, AlongTravel, Counts, Past, Rewriter, Settings, Strategy, Unseated,
};
use takeup_core::program::words::LONGEST_LINE;

/// Arguments of `rewrite`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Run a corrected program first in the air, in single block, with soft limits on.\n\n\
                        Example:\n  takeup rewrite core-box.nc -o corrected.nc --play z=0.12")]
pub struct Args {
    /// The program; "-" is standard input
    #[arg(value_name = "PROGRAM")]
    program: PathBuf,
    /// The corrected program; "-" is standard output
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,
    #[command(flatten)]
    slack: SlackArgs,
    /// How an axis is corrected, for all axes or as x=take-up: one-way, take-up or both [default: both]
    #[arg(long, value_name = "[AXIS=]HOW", value_delimiter = ',')]
    strategy: Vec<StrategyArg>,
    /// Height at and above which X and Y may overrun to arrive one-way [in --units; default: found by
    /// reading the program once before]
    #[arg(long, value_name = "HEIGHT", allow_negative_numbers = true)]
    clear_z: Option<LengthArg>,
    #[command(flatten)]
    offset: WorkOffset,
    /// Where an axis may be sent, such as x=0..400,z=-180..5, in the program's coordinates [in --units];
    /// a correction that would pass it is refused
    #[arg(long, value_name = "AXIS=LOW..HIGH", value_delimiter = ',')]
    travel: Vec<AxisValue<Travel>>,
    /// Refuse a program in which a cut begins while a seat is unknown
    #[arg(long)]
    strict: bool,
    /// What numbers without a decimal point mean
    #[arg(long, value_enum, default_value = "unit")]
    integers: IntegersArg,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Named(Strategy);

impl AfterAxis for Named {
    const EXPECTED: &'static str = "a strategy such as z=take-up";

    fn read(text: &str) -> Result<Self, String> {
        match text {
            "one-way" => Ok(Named(Strategy::OneWay)),
            "take-up" => Ok(Named(Strategy::TakeUp)),
            "both" => Ok(Named(Strategy::Both)),
            _ => Err(format!(
                "\"{}\" is no strategy: one-way, take-up or both was expected",
                crate::refusal::clip(text)
            )),
        }
    }
}

/// The lowest and the highest place of an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Travel(LengthArg, LengthArg);

impl AfterAxis for Travel {
    const EXPECTED: &'static str = "a travel such as z=-180..5";

    fn read(text: &str) -> Result<Self, String> {
        let (low, high) = text.split_once("..").ok_or_else(|| {
            format!("\"{}\" is no travel: LOW..HIGH was expected", crate::refusal::clip(text))
        })?;
        Ok(Travel(low.parse()?, high.parse()?))
    }
}

#[derive(Clone, Copy, Debug)]
enum StrategyArg {
    All(Strategy),
    One(AxisValue<Named>),
}

impl std::str::FromStr for StrategyArg {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text.contains('=') {
            text.parse().map(StrategyArg::One)
        } else {
            Named::read(text.trim()).map(|Named(strategy)| StrategyArg::All(strategy))
        }
    }
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    lines_in: u64,
    lines_out: u64,
    lines_changed: u64,
    take_ups: u64,
    one_way_moves: u64,
    arcs_split: u64,
    unseated_cuts: Vec<u64>,
    warnings: Vec<Warning>,
    /// How many more there are than the lists name; absent when they name all.
    #[serde(skip_serializing_if = "Option::is_none")]
    unseated_cuts_not_listed: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    warnings_not_listed: Option<u64>,
}

/// Places listed at most, so that memory stays bounded.
const MOST_LISTED: usize = 10_000;

/// Corrected lines are written when they make this many bytes.
const CHUNK: usize = 768 * 1024;

/// Rewrites the program.
///
/// # Errors
/// When the program cannot be read, is refused, or the output cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let table = args.slack.to_table(ctx)?;
    let mut settings = settings(args, ctx)?;
    let mut inputs = vec![args.program.as_path()];
    inputs.extend(args.slack.table.as_deref());
    output::keep_apart(&[&args.output], &inputs)?;
    let name = input::name(&args.program);
    let mut reader = input::open_ahead(&args.program, ctx)?;
    let corrected = table.axes.map(|law| law.as_ref().is_some_and(|law| !law.is_zero()));
    let mut found = Found::default();
    if corrected.x || corrected.y {
        // Twice through the program: a stream is kept in a file without a name meanwhile.
        let regular = std::fs::metadata(&args.program).is_ok_and(|metadata| metadata.is_file());
        let heights = if regular && !input::is_dash(&args.program) {
            let heights =
                heights(&mut *reader, &settings).map_err(|error| Refusal::io(&name, "read", &error))?;
            reader = input::open_ahead(&args.program, ctx)?;
            heights
        } else {
            let kept = "a temporary file";
            let mut file = tempfile::tempfile().map_err(|error| Refusal::io(kept, "open", &error))?;
            io::copy(&mut *reader, &mut file).map_err(|error| Refusal::io(&name, "read", &error))?;
            let mut read = || -> io::Result<Heights> {
                file.rewind()?;
                let heights = heights(&mut BufReader::with_capacity(64 * 1024, &file), &settings)?;
                file.rewind()?;
                Ok(heights)
            };
            let heights = read().map_err(|error| Refusal::io(kept, "read", &error))?;
            reader = Box::new(Ahead::of(file));
            heights
        };
        match settings.clear {
            Some(said) => found.warn_of_clear(said, &heights),
            None => settings.clear = heights.clear(),
        }
        found.top = heights.top().filter(|_| settings.clear.is_none());
    }
    let mut out = output::create(&args.output, ctx)?;
    let mut rewriter = Rewriter::new(&table, &settings);
    carrier::beside(&mut out, |carrier| correct(&mut *reader, &name, &mut rewriter, &mut found, &carrier))?;
    let (counts, along_travel) = (*rewriter.counts(), rewriter.changes_along_travel());
    if counts.lines_in == 0 {
        return Err(Refusal::new("the program is empty", "Check that this is the file you mean.").file(&name));
    }
    if along_travel && args.offset.work_offset.is_empty() {
        found.warn(
            1,
            "the correction changes along the travel and no --work-offset was given: program and table are \
             taken to share their zero"
                .to_owned(),
        );
    }
    found.warn_of_limits();
    let copied = corrected.iter().all(|(_, corrected)| !corrected);
    if copied && !args.travel.is_empty() {
        found
            .warn(1, "nothing is corrected: the program is copied, and --travel is not looked at".to_owned());
    }
    out.finish()?;
    let document = document(&counts, found);
    if input::is_dash(&args.output) {
        ctx.note(&text(&document, ctx));
        return Ok(Outcome::Good);
    }
    ctx.answer(&document, || text(&document, ctx), Outcome::Good)
}

/// Takes a program through the rewriter, to its end.
fn correct(
    reader: &mut dyn BufRead,
    name: &str,
    rewriter: &mut Rewriter<'_>,
    found: &mut Found,
    carrier: &Carrier,
) -> Result<(), Refusal> {
    let mut corrected = Vec::with_capacity(2 * CHUNK);
    let mut line = Vec::new();
    loop {
        // Most of a large program goes the short way, straight from what was read.
        let read = match reader.fill_buf() {
            Ok(read) => read,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => &[],
            Err(error) => return Err(Refusal::io(name, "read", &error)),
        };
        let taken = rewriter.strides(read, &mut |bytes| corrected.extend_from_slice(bytes));
        reader.consume(taken);
        match input::read_line(&mut *reader, &mut line, LONGEST_LINE) {
            Ok(true) => {}
            Ok(false) => return carrier.hand_over(&mut corrected),
            Err(LineError::Io(error)) => return Err(Refusal::io(name, "read", &error)),
            Err(LineError::TooLong(most)) => {
                return Err(Refusal::new(
                    format!("the line is longer than {most} bytes"),
                    "Check that the file is a program and that its line ends are whole.",
                )
                .file(name)
                .line(rewriter.counts().lines_in + 1));
            }
        }
        let note = rewriter
            .line(&line, &mut |bytes| corrected.extend_from_slice(bytes))
            .map_err(|refusal| refused(&refusal, &line).file(name))?;
        found.add(rewriter.counts().lines_in, &note);
        if corrected.len() >= CHUNK {
            carrier.hand_over(&mut corrected)?;
        }
    }
}

/// The heights of a program, read once before it is rewritten. A line that is too long ends that: the rewriting will
/// refuse it.
fn heights(reader: &mut dyn BufRead, settings: &Settings) -> io::Result<Heights> {
    let mut heights = Heights::new(settings);
    let mut line = Vec::new();
    loop {
        match input::read_line(reader, &mut line, LONGEST_LINE) {
            Ok(true) => heights.line(&line),
            Ok(false) | Err(LineError::TooLong(_)) => return Ok(heights),
            Err(LineError::Io(error)) => return Err(error),
        }
    }
}

/// In both units: it is told of a length of the program, in whichever of G20 and G21 that stands.
fn in_both(length: Length) -> String {
    format!("{} mm ({} in)", word(length, Unit::Mm), decimals(length.as_unit(Unit::Inch), 5))
}

fn excess(past: &Past) -> Length {
    past.place.saturating_sub(past.limit).saturating_abs()
}

#[derive(Default)]
struct Found {
    unseated: Vec<u64>,
    warnings: Vec<Warning>,
    /// For each axis, where the program goes farthest past its travel limits.
    past: PerAxis<Option<(u64, Past)>>,
    /// The highest place of rapids, where no clear height was found.
    top: Option<Length>,
    /// Unseated cuts and warnings beyond [`MOST_LISTED`].
    not_listed: (u64, u64),
}

impl Found {
    fn warn(&mut self, line: u64, text: String) {
        if self.warnings.len() < MOST_LISTED {
            self.warnings.push(Warning { line, text });
        } else {
            self.not_listed.1 += 1;
        }
    }

    /// Where the program itself passes the limits, before all other warnings: once for an axis, at the worst.
    fn warn_of_limits(&mut self) {
        for (line, past) in Axis::ALL.into_iter().rev().filter_map(|axis| *self.past.get(axis)) {
            let text = format!(
                "the program itself sends {} to {}, past the travel limit of {}: clamp the work elsewhere",
                past.axis,
                in_both(past.place),
                in_both(past.limit)
            );
            self.warnings.insert(0, Warning { line, text });
        }
    }

    /// A clear height that is said stands, whatever the program shows; a person should know if it shows otherwise.
    fn warn_of_clear(&mut self, said: Length, heights: &Heights) {
        if let Some(cut) = heights.cut_sideways().filter(|cut| *cut > said) {
            let text = format!(
                "the program cuts sideways up to Z {}, above --clear-z {}: between them X and Y overrun in rapid all the \
                 same",
                in_both(cut),
                in_both(said)
            );
            self.warn(1, text);
        }
    }

    fn add(&mut self, line: u64, note: &rewrite::Note) {
        if let Some(axis) = note.unseated {
            if self.unseated.len() < MOST_LISTED {
                self.unseated.push(line);
            } else {
                self.not_listed.0 += 1;
            }
            let begins = format!("a cut begins while the seat of {axis} is unknown");
            let text = match self.top.filter(|_| axis != Axis::Z) {
                Some(top) => format!(
                    "{begins}; if Z {} is clear of the work and its clamps, say so by --clear-z",
                    in_both(top)
                ),
                None if axis == Axis::Z => format!("{begins}; move it in the clear before the cut"),
                None => format!("{begins}; move it at a clear height (--clear-z) before the cut"),
            };
            self.warn(line, text);
        }
        match note.along_travel {
            None => {}
            Some(AlongTravel::ToolLength) => self.warn(
                line,
                "the correction of Z changes along the travel and is read where --work-offset says: give it with \
                 the length of the tool"
                    .to_owned(),
            ),
            Some(AlongTravel::Rotary) => self.warn(
                line,
                "a line with a rotary word is not divided where the correction changes: it is exact at its ends only"
                    .to_owned(),
            ),
        }
        if let Some(past) = note.past {
            let farther = |told: &(u64, Past)| excess(&past) > excess(&told.1);
            let farthest = self.past.get_mut(past.axis);
            if farthest.as_ref().is_none_or(farther) {
                *farthest = Some((line, past));
            }
        }
        if note.unit_assumed {
            let Warning { line, text } = Warning::unit_assumed(line);
            self.warn(line, text);
        }
        if note.limits_lost {
            self.warn(
                line,
                "other coordinates: from here --travel is not looked at on their axes".to_owned(),
            );
        }
        if note.clear_lost {
            self.warn(line, "other coordinates: from here X and Y do not overrun at --clear-z".to_owned());
        }
        if let Some(blending) = note.blending {
            let (axis, width) = (blending.axis, in_both(blending.width));
            let what = blending.tolerance.map_or_else(
                || "path blending without a tolerance".to_owned(),
                |tolerance| format!("path blending of {}", in_both(tolerance)),
            );
            self.warn(
                line,
                format!("{what} may swallow a take-up move of {axis}: give G64 a P below {width}, or G61"),
            );
        }
    }
}

fn settings(args: &Args, ctx: &Context) -> Result<Settings, Refusal> {
    let mut settings = Settings { unit: ctx.units(), ..Settings::DEFAULT };
    for argument in &args.strategy {
        if let StrategyArg::All(strategy) = argument {
            settings.strategy = PerAxis::from_fn(|_| *strategy);
        }
    }
    for argument in &args.strategy {
        if let StrategyArg::One(AxisValue { axis, value: Named(strategy) }) = argument {
            *settings.strategy.get_mut(*axis) = *strategy;
        }
    }
    let travel = per_axis("--travel", &args.travel, |Travel(low, high)| {
        (low.length(ctx.units()), high.length(ctx.units()))
    })?;
    for (axis, limits) in travel.iter() {
        if limits.is_some_and(|(low, high)| low >= high) {
            return Err(Refusal::new(
                format!("--travel of {axis} ends below where it begins"),
                "Give the lowest place first, such as z=-180..5.",
            ));
        }
    }
    settings.limits = travel;
    settings.clear = args.clear_z.map(|height| height.length(ctx.units()));
    settings.offset = args.offset.places(ctx)?;
    settings.integers = args.integers.into();
    settings.unseated = if args.strict { Unseated::Refused } else { Unseated::Told };
    Ok(settings)
}

fn refused(refusal: &rewrite::Refusal, line: &[u8]) -> Refusal {
    let told = Refusal::new(refusal.reason.to_string(), refusal.reason.way_out()).line(refusal.line);
    match refusal.word {
        Some(word) => told.word(crate::refusal::clip(&String::from_utf8_lossy(word.of(line)))),
        None => told,
    }
}

fn document(counts: &Counts, found: Found) -> Document {
    Document {
        schema: "takeup.rewrite/1",
        lines_in: counts.lines_in,
        lines_out: counts.lines_out,
        lines_changed: counts.lines_changed,
        take_ups: counts.take_ups,
        one_way_moves: counts.one_way_moves,
        arcs_split: counts.arcs_split,
        unseated_cuts: found.unseated,
        warnings: found.warnings,
        unseated_cuts_not_listed: Some(found.not_listed.0).filter(|more| *more > 0),
        warnings_not_listed: Some(found.not_listed.1).filter(|more| *more > 0),
    }
}

fn text(document: &Document, ctx: &Context) -> String {
    let counts = format!(
        "{} in, {} out, {} changed: {}, {}, {} split.",
        counted(document.lines_in, "line"),
        counted(document.lines_out, "line"),
        document.lines_changed,
        counted(document.take_ups, "take-up"),
        counted(document.one_way_moves, "one-way move"),
        counted(document.arcs_split, "arc")
    );
    let mut text = ctx.screen().wrap(&counts, "  ") + "\n";
    const SHOWN: usize = 10;
    for warning in document.warnings.iter().take(SHOWN) {
        text += &ctx.screen().wrap(&warning.to_string(), "  ");
        text.push('\n');
    }
    let more =
        document.warnings.len().saturating_sub(SHOWN) as u64 + document.warnings_not_listed.unwrap_or(0);
    if more > 0 {
        text += &format!("{more} more warnings: see --json.\n");
    }
    text += "Run it first in the air, in single block, with soft limits on.\n";
    text
}
