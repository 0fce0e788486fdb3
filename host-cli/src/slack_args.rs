//! The slack of a machine on the command line: `--play`, `--seat`, `--table`.

use crate::context::Context;
use crate::refusal::Refusal;
use crate::units::LengthArg;
use std::path::PathBuf;
use std::str::FromStr;
use takeup_core::axis::{Axis, Direction, PerAxis};
use takeup_core::correct::{AxisTable, Table};
use takeup_core::length::Length;
use takeup_core::slack::Play;

/// The slack of a machine, as typed; flatten it into the `Args` of a command.
#[derive(Clone, Debug, clap::Args)]
pub struct SlackArgs {
    /// Lost motion of an axis, such as z=0.12 or x=0.08,z=0.12 [in --units]
    #[arg(long, value_name = "AXIS=WIDTH", value_delimiter = ',', conflicts_with = "table")]
    pub play: Vec<AxisValue<LengthArg>>,
    /// Side on which the work was zeroed, such as z=-,x=+ [default: z=-, others +]
    #[arg(long, value_name = "AXIS=SIDE", value_delimiter = ',', conflicts_with = "table")]
    pub seat: Vec<AxisValue<Direction>>,
    /// Compensation table, instead of --play and --seat
    #[arg(long, value_name = "FILE")]
    pub table: Option<PathBuf>,
}

/// The clearances given by `--play` and `--seat`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clearances {
    /// The width of each axis; zero where none was given.
    pub width: PerAxis<Length>,
    /// The reference seat of each axis.
    pub seat: PerAxis<Direction>,
}

impl Clearances {
    /// The play operator of an axis.
    #[must_use]
    pub fn play(&self, axis: Axis) -> Option<Play> {
        Play::new(self.width.get(axis).as_mm(), *self.seat.get(axis))
    }
}

impl SlackArgs {
    /// The clearances of `--play` and `--seat`; `None` if neither `--play` nor a seat was given.
    ///
    /// # Errors
    /// When an axis is given twice with different values, or a clearance is negative.
    pub fn clearances(&self, ctx: &Context) -> Result<Option<Clearances>, Refusal> {
        if self.play.is_empty() {
            return if self.seat.is_empty() { Ok(None) } else { Err(Self::none_given()) };
        }
        let width = per_axis("--play", &self.play, |arg| arg.length(ctx.units()))?;
        for (axis, length) in width.iter() {
            if length.is_some_and(|length| length < Length::ZERO) {
                return Err(Refusal::new(
                    format!("--play of {axis} is negative; lost motion to correct is positive"),
                    "Find out what already over-corrects the axis, a setting of the controller for instance.",
                ));
            }
        }
        let seat = per_axis("--seat", &self.seat, |side| side)?;
        Ok(Some(Clearances {
            width: width.map(|length| length.unwrap_or(Length::ZERO)),
            seat: PerAxis::from_fn(|axis| seat.get(axis).unwrap_or(axis.usual_seat())),
        }))
    }

    /// The slack as a table, however it was given.
    ///
    /// # Errors
    /// When it was not given, or the table cannot be read.
    pub fn to_table(&self, ctx: &Context) -> Result<Table, Refusal> {
        if let Some(file) = &self.table {
            return crate::table_file::read(file, ctx);
        }
        let given = self.clearances(ctx)?.ok_or_else(Self::none_given)?;
        let mut table = Table::EMPTY;
        for (axis, width) in given.width.iter().filter(|(_, width)| **width != Length::ZERO) {
            let uniform = AxisTable::uniform(*given.seat.get(axis), *width).map_err(|rule| {
                Refusal::new(format!("--play of {axis}: {rule}"), "Give the lost motion that was measured.")
            })?;
            *table.axes.get_mut(axis) = Some(uniform);
        }
        Ok(table)
    }

    /// The refusal for a command that needs to know the slack and was not told.
    #[must_use]
    pub fn none_given() -> Refusal {
        Refusal::new(
            "the slack of the machine is not given",
            "Give --table FILE (from \"takeup table build\") or --play such as z=0.12.",
        )
    }
}

/// One value per axis from a list that may name an axis once.
pub(crate) fn per_axis<T: Copy, U: Copy + PartialEq>(
    option: &str,
    list: &[AxisValue<T>],
    convert: impl Fn(T) -> U,
) -> Result<PerAxis<Option<U>>, Refusal> {
    let mut values = PerAxis::from_fn(|_| None);
    for entry in list {
        let value = convert(entry.value);
        if values.get_mut(entry.axis).replace(value).is_some_and(|earlier| earlier != value) {
            return Err(Refusal::new(
                format!("{option} gives {} twice, with different values", entry.axis),
                "Give each axis once.",
            ));
        }
    }
    Ok(values)
}

/// `AXIS=VALUE`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisValue<T> {
    /// The axis.
    pub axis: Axis,
    /// The value.
    pub value: T,
}

/// A value that can stand after `AXIS=`.
pub trait AfterAxis: Sized {
    /// What the value is, in words.
    const EXPECTED: &'static str;

    /// Reads it.
    ///
    /// # Errors
    /// What was found and what was expected.
    fn read(text: &str) -> Result<Self, String>;
}

impl AfterAxis for LengthArg {
    const EXPECTED: &'static str = "a width such as z=0.12";

    fn read(text: &str) -> Result<Self, String> {
        text.parse()
    }
}

impl AfterAxis for Direction {
    const EXPECTED: &'static str = "a side such as z=- or x=+";

    fn read(text: &str) -> Result<Self, String> {
        let mut letters = text.chars();
        match (letters.next().and_then(Direction::from_sign), letters.next()) {
            (Some(direction), None) => Ok(direction),
            _ => Err(format!("\"{}\" was found where + or - was expected", crate::refusal::clip(text))),
        }
    }
}

impl<T: AfterAxis> FromStr for AxisValue<T> {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (axis, value) = text.split_once('=').ok_or_else(|| format!("expected {}", T::EXPECTED))?;
        let axis = axis.trim().parse::<char>().ok().and_then(Axis::from_letter).ok_or_else(|| {
            format!("\"{}\" is no axis: x, y or z was expected", crate::refusal::clip(axis.trim()))
        })?;
        Ok(Self { axis, value: T::read(value.trim())? })
    }
}
