//! `box info`: what a box is set up for, and how things stand with it.

use super::{button, on, open};
use crate::context::Context;
use crate::exit::Outcome;
use crate::probe_box::Session;
use crate::refusal::Refusal;
use crate::units::Print;
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::fmt::Write as _;
use takeup_core::length::{Length, Unit};
use takeup_core::link::message::{Armed, State};
use takeup_core::link::settings::{Setting, SettingName};

/// Arguments of `box info`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup box info /dev/ttyACM0")]
pub struct Args {
    /// Serial port, or tcp:HOST:PORT
    #[arg(value_name = "PORT")]
    port: String,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    port: String,
    name: String,
    units: &'static str,
    kinds: Vec<&'static str>,
    count: f64,
    most_readings: u16,
    settings: Map<String, Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    position: Option<f64>,
    armed: bool,
    emergency_stop: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    table: Option<String>,
}

/// Shows it.
///
/// # Errors
/// When no box answers.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let mut session = open(&args.port)?;
    let state = session.state().map_err(on(&args.port))?;
    let settings = settings(&mut session).map_err(on(&args.port))?;
    let print = ctx.lengths();
    let about = session.capabilities();
    let document = Document {
        schema: "takeup.box-info/1",
        port: args.port.clone(),
        name: about.name.to_string(),
        units: print.unit.symbol(),
        kinds: about.kinds.iter().map(takeup_core::measure::Kind::name).collect(),
        count: about.count.as_unit(print.unit),
        most_readings: about.most_readings,
        settings: settings
            .iter()
            .map(|setting| (setting.name().word().to_owned(), value(*setting, print.unit)))
            .collect(),
        position: state.position.map(|at| at.as_unit(print.unit)),
        armed: state.armed == Armed::Yes,
        emergency_stop: button(&state),
        table: state.table.map(|crc| format!("{crc:08x}")),
    };
    ctx.answer(&document, || text(&document, &state, &settings, print, ctx), Outcome::Good)
}

/// All settings of a box.
pub(super) fn settings(session: &mut Session) -> Result<Vec<Setting>, crate::probe_box::Trouble> {
    SettingName::ALL.into_iter().map(|name| session.setting(name)).collect()
}

/// A setting as a number in a unit, or a letter.
pub(super) fn value(setting: Setting, unit: Unit) -> Value {
    match setting {
        Setting::Axis(axis) => json!(axis.to_string()),
        Setting::Low(at)
        | Setting::High(at)
        | Setting::Step(at)
        | Setting::Range(at)
        | Setting::Following(at) => {
            json!(at.as_unit(unit))
        }
        Setting::Speed(counts) | Setting::StartStop(counts) | Setting::Acceleration(counts) => {
            json!(Length::from_counts(counts).as_unit(unit))
        }
    }
}

/// What a setting means, with its value.
pub(super) fn words(setting: Setting, print: Print) -> (&'static str, String) {
    let unit = print.unit;
    let length = |at: Length| format!("{} {unit}", crate::units::word(at, unit));
    let speed = |counts| length(Length::from_counts(counts));
    match setting {
        Setting::Axis(axis) => ("the axis it drives", axis.to_string()),
        Setting::Low(at) => ("lower soft limit", length(at)),
        Setting::High(at) => ("upper soft limit", length(at)),
        Setting::Speed(counts) => ("highest speed", format!("{}/s", speed(counts))),
        Setting::StartStop(counts) => ("stops at once up to", format!("{}/s", speed(counts))),
        Setting::Acceleration(counts) => ("speeds up and slows down by", format!("{}/s²", speed(counts))),
        Setting::Step(step) => ("motion of one step", exact(step, unit)),
        Setting::Range(range) => ("indicator stays within", format!("±{}", length(range))),
        Setting::Following(lag) => ("indicator may lag by", length(lag)),
    }
}

/// A length so small that every digit of it counts, should it be typed back.
fn exact(length: Length, unit: Unit) -> String {
    format!("{} {unit}", crate::units::trimmed(length.as_unit(unit), 9))
}

fn text(document: &Document, state: &State, settings: &[Setting], print: Print, ctx: &Context) -> String {
    let mut text = format!("Probe box \"{}\" on {}\n", crate::refusal::clip(&document.name), document.port);
    let kinds = format!("It runs by itself: {}.", document.kinds.join(", "));
    let _ = writeln!(text, "{}\n", ctx.screen().wrap(&kinds, ""));
    for setting in settings {
        let (what, value) = words(*setting, print);
        let _ = writeln!(text, "  {:<13} {what:<28} {value}", setting.name().word());
    }
    let count = Length::from_unit(document.count, print.unit).unwrap_or_default();
    let _ = writeln!(text, "  {:<13} {:<28} {}", "", "count of the indicator", exact(count, print.unit));
    let stands = match state.position {
        Some(at) => format!("{} {}", crate::units::word(at, print.unit), print.unit),
        None => "not known: look, and say it by \"takeup box run … --stands-at\"".to_owned(),
    };
    let _ = writeln!(text, "\nIt stands at: {stands}");
    let _ = writeln!(
        text,
        "Emergency stop: {}. Armed: {}.",
        document.emergency_stop,
        if document.armed { "yes" } else { "no" }
    );
    let table = document.table.as_deref().map_or("none".to_owned(), |crc| format!("one with checksum {crc}"));
    let _ = writeln!(text, "Compensation table: {table}.");
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_typed_back_in_inches_is_the_same_step() {
        let step = Length::from_mm(0.0005).unwrap();
        let (_, text) = words(Setting::Step(step), Print { unit: Unit::Inch });
        let number = text.strip_suffix(" in").unwrap().parse().unwrap();
        assert_eq!(Length::from_unit(number, Unit::Inch), Some(step), "{text}");
        assert_eq!(words(Setting::Step(step), Print { unit: Unit::Mm }).1, "0.0005 mm");
    }
}
