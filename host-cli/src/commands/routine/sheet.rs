//! The reading sheet: the keys to fill in, the header, and a row for each reading.

use super::word;
use std::fmt::Write as _;
use takeup_core::axis::Axis;
use takeup_core::length::Unit;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::Stop;

/// What stands above the header of every sheet; `hints` are comments of this kind of test.
pub(super) fn head(kind: Kind, axis: Axis, unit: Unit, hints: &[&str]) -> String {
    let mut text = "# Reading sheet: fill in the column reading; a note may stand beside it.\n".to_owned();
    text.push_str("# Caution: spindle off and locked out; read only while the axis stands still.\n");
    for hint in hints {
        let _ = writeln!(text, "# {hint}");
    }
    text.push_str("# Fill in the keys that you know. One left empty counts as not given.\n");
    let _ = write!(text, "# axis: {axis}\n# routine: {kind}\n# units: {unit}\n");
    text.push_str("# machine:\n# taken:\n# limit:\n# resolution:\n# indicator-error:\n");
    text.push_str("# indicator-hysteresis:\n# sense: +\n");
    text
}

/// The rows of a plan, with a column `time` where the kind of test needs it.
pub(super) fn rows(stops: impl Iterator<Item = Stop>, unit: Unit, time: Time) -> String {
    let (columns, open) = match time {
        Time::None => ("reading,note", ","),
        Time::Wanted => ("reading,time,note", ",,"),
    };
    let mut text = format!("row,cycle,target,approach,{columns}\n");
    for stop in stops {
        let target = word(stop.target, unit);
        let _ = writeln!(text, "{},{},{target},{},{open}", stop.row, stop.cycle, stop.approach);
    }
    text
}

/// Whether a sheet has a column for the time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Time {
    /// Not needed.
    None,
    /// To be filled in.
    Wanted,
}
