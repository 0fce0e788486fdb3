//! How a program is read: flags that commands on programs share, lines from files, slack for replay.

use std::fmt;
use std::io::BufRead;
use std::path::Path;

use serde::Serialize;
use takeup_core::axis::{Axis, Direction, PerAxis};
use takeup_core::correct::Table;
use takeup_core::length::Length;
use takeup_core::program::Integers;
use takeup_core::program::replay::{self, AxisSlack, SeatStation, Slack};
use takeup_core::program::words::LONGEST_LINE;

use crate::context::Context;
use crate::input::{self, LineError};
use crate::output;
use crate::refusal::Refusal;
use crate::slack_args::{AxisValue, SlackArgs, per_axis};
use crate::table_file;
use crate::units::LengthArg;

/// Something in a line of a program that a person should know of.
#[derive(Debug, Serialize)]
pub struct Warning {
    /// The line.
    pub line: u64,
    /// What to know.
    pub text: String,
}

impl Warning {
    /// The line is the first with lengths, and no word has told their unit.
    #[must_use]
    pub fn unit_assumed(line: u64) -> Self {
        let text = "neither G20 nor G21 stands before this move: lengths are read in --units, mm if that is not given";
        Self { line, text: text.to_owned() }
    }
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.text)
    }
}

/// What words without a decimal point mean.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum IntegersArg {
    /// Whole millimetres or inches
    #[default]
    Unit,
    /// Least increments, 0.001 mm or 0.0001 in
    Increment,
}

impl From<IntegersArg> for Integers {
    fn from(arg: IntegersArg) -> Self {
        match arg {
            IntegersArg::Unit => Integers::Units,
            IntegersArg::Increment => Integers::Increments,
        }
    }
}

/// Where the work lies along the travel, for tables that change along it.
#[derive(Clone, Debug, clap::Args)]
pub struct WorkOffset {
    /// Position of the program's zero in the table's coordinates, such as x=120,z=-85 [default: 0]
    #[arg(long, value_name = "AXIS=PLACE", value_delimiter = ',', requires = "table")]
    pub work_offset: Vec<AxisValue<LengthArg>>,
}

impl WorkOffset {
    /// The place of the program's zero on each axis.
    ///
    /// # Errors
    /// When an axis is given twice with different places.
    pub fn places(&self, ctx: &Context) -> Result<PerAxis<Length>, Refusal> {
        let places = per_axis("--work-offset", &self.work_offset, |place| place.length(ctx.units()))?;
        Ok(places.map(|place| place.unwrap_or(Length::ZERO)))
    }
}

/// The slack of the machine, from `--table` or `--play`.
///
/// # Errors
/// When neither is given, or the table cannot be read.
pub fn slack(args: &SlackArgs, offset: &WorkOffset, ctx: &Context) -> Result<Slack, Refusal> {
    if let Some(path) = &args.table {
        return slack_of_table(&table_file::read(path, ctx)?, offset, ctx)
            .map_err(|refusal| refusal.path(path));
    }
    let clearances = args.clearances(ctx)?.ok_or_else(SlackArgs::none_given)?;
    Ok(Slack::from_fn(|axis| match clearances.play(axis) {
        Some(play) if *clearances.width.get(axis) > Length::ZERO => AxisSlack::of_play(&play),
        _ => AxisSlack::NONE,
    }))
}

/// The slack that a table describes.
///
/// # Errors
/// When its corrections cannot be followed.
pub fn slack_of_table(table: &Table, offset: &WorkOffset, ctx: &Context) -> Result<Slack, Refusal> {
    let places = offset.places(ctx)?;
    let mut slack = Slack { x: AxisSlack::NONE, y: AxisSlack::NONE, z: AxisSlack::NONE };
    for axis in Axis::ALL {
        let Some(corrections) = table.axes.get(axis) else { continue };
        let offset_mm = places.get(axis).as_mm();
        let stations = corrections.stations().iter().map(|station| SeatStation {
            position_mm: station.position.as_mm(),
            plus_mm: station.on(Direction::Plus).as_mm(),
            minus_mm: station.on(Direction::Minus).as_mm(),
        });
        *slack.get_mut(axis) = AxisSlack::of_stations(stations, offset_mm).ok_or_else(|| {
            Refusal::new(format!("the corrections of {axis} cannot be followed"), "Build the table again.")
        })?;
    }
    Ok(slack)
}

/// Checks that a plot overwrites nothing that is read: neither a program nor the table.
///
/// # Errors
/// When it would.
pub fn keep_plot_apart(plot: Option<&Path>, programs: &[&Path], slack: &SlackArgs) -> Result<(), Refusal> {
    let Some(plot) = plot else { return Ok(()) };
    let inputs: Vec<&Path> = programs.iter().copied().chain(slack.table.as_deref()).collect();
    output::keep_apart(&[plot], &inputs)
}

/// The lines of a program, one after another.
pub struct Lines {
    name: String,
    reader: Box<dyn BufRead>,
    line: Vec<u8>,
    number: u64,
}

impl Lines {
    /// Opens a program.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn open(path: &Path, ctx: &Context) -> Result<Self, Refusal> {
        let reader = input::open(path, ctx)?;
        Ok(Self { name: input::name(path), reader, line: Vec::new(), number: 0 })
    }

    /// The next line, `None` behind the last one.
    ///
    /// # Errors
    /// When it cannot be read, is too long for a line of a program, or there is none at all.
    pub fn read(&mut self) -> Result<Option<&[u8]>, Refusal> {
        self.number += 1;
        match input::read_line(&mut *self.reader, &mut self.line, LONGEST_LINE + 2) {
            Ok(true) => Ok(Some(&self.line)),
            // Of nothing anything could be said: nearly always it is another file that was meant.
            Ok(false) if self.number == 1 => {
                Err(Refusal::new("the program is empty", "Check that this is the file you mean.")
                    .file(&self.name))
            }
            Ok(false) => Ok(None),
            Err(LineError::TooLong(most)) => Err(Refusal::new(
                format!("the line is longer than {most} bytes"),
                "Check that this file is a program.",
            )
            .file(&self.name)
            .line(self.number)),
            Err(LineError::Io(error)) => Err(Refusal::io(&self.name, "read", &error)),
        }
    }

    /// Lines read so far.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.number.saturating_sub(1)
    }

    /// The refusal of a program without a move: it shows nothing, and is nearly always another file than was meant.
    #[must_use]
    pub fn moves_nothing(&self) -> Refusal {
        Refusal::new("there is no move in it to be followed", "Check that this is the file you mean.")
            .file(&self.name)
    }

    /// The refusal of the line read last.
    #[must_use]
    pub fn refusal(&self, refusal: &replay::Refusal) -> Refusal {
        let said = Refusal::new(refusal.reason.to_string(), refusal.reason.way_out())
            .file(&self.name)
            .line(refusal.line);
        let word = refusal.word.of(&self.line);
        if word.is_empty() { said } else { said.word(String::from_utf8_lossy(word)) }
    }
}
