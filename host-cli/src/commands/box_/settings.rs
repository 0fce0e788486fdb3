//! `box set`: settings of a box, which it keeps.

use super::info::{self, words};
use super::{on, open};
use crate::commands::assess::axis;
use crate::context::Context;
use crate::exit::Outcome;
use crate::refusal::Refusal;
use crate::units::LengthArg;
use serde::Serialize;
use serde_json::{Map, Value};
use std::fmt::Write as _;
use takeup_core::length::{Length, Unit};
use takeup_core::link::settings::{Setting, SettingName};

/// Arguments of `box set`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Settings: axis, low, high, speed, start-stop, acceleration, step, range, following; \
                        \"takeup box info\" shows what they mean.\n\
                        Lengths are in --units, speeds in --units per second.\n\
                        Example:\n  takeup box set /dev/ttyACM0 axis=z low=-120 high=0 step=0.0015625"
)]
pub struct Args {
    /// Serial port, or tcp:HOST:PORT
    #[arg(value_name = "PORT")]
    port: String,
    /// Setting and its value
    #[arg(value_name = "NAME=VALUE", required = true)]
    settings: Vec<String>,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    port: String,
    units: &'static str,
    settings: Map<String, Value>,
}

/// Changes them.
///
/// # Errors
/// When one cannot be read, or the box refuses it; those before it are then kept.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let unit = ctx.units();
    let settings: Vec<Setting> =
        args.settings.iter().map(|text| parse(text, unit)).collect::<Result<_, _>>()?;
    let mut session = open(&args.port)?;
    for setting in &settings {
        session.set(*setting).map_err(|trouble| trouble.refusal(&args.port).word(setting.name().word()))?;
    }
    let all = info::settings(&mut session).map_err(on(&args.port))?;
    let document = Document {
        schema: "takeup.box-settings/1",
        port: args.port.clone(),
        units: unit.symbol(),
        settings: all.iter().map(|one| (one.name().word().to_owned(), info::value(*one, unit))).collect(),
    };
    let text = || {
        let mut text = String::new();
        for setting in &settings {
            let (what, value) = words(*setting, ctx.lengths());
            let _ = writeln!(text, "{:<13} {what:<28} {value}", setting.name().word());
        }
        let kept =
            "The box keeps it. Check the direction and the length of a step with a short move, by hand.";
        let _ = writeln!(text, "{}", ctx.screen().wrap(kept, ""));
        text
    };
    ctx.answer(&document, text, Outcome::Good)
}

fn parse(text: &str, unit: Unit) -> Result<Setting, Refusal> {
    let names = SettingName::ALL.map(SettingName::word).join(", ");
    let known = |word: &str| SettingName::ALL.into_iter().find(|name| name.word().eq_ignore_ascii_case(word));
    let Some((name, value)) =
        text.split_once('=').and_then(|(word, value)| Some((known(word.trim())?, value)))
    else {
        return Err(Refusal::new("NAME=VALUE was expected", format!("Settings are {names}.")).word(text));
    };
    let wrong = |reason: String| Refusal::new(reason, "Correct the value.").word(text);
    if name == SettingName::Axis {
        return axis(value.trim()).map(Setting::Axis).map_err(wrong);
    }
    let length: Length = value.parse::<LengthArg>().map_err(wrong)?.length(unit);
    Ok(match name {
        SettingName::Axis => return Err(wrong("an axis was expected".to_owned())),
        SettingName::Low => Setting::Low(length),
        SettingName::High => Setting::High(length),
        SettingName::Speed => Setting::Speed(length.counts()),
        SettingName::StartStop => Setting::StartStop(length.counts()),
        SettingName::Acceleration => Setting::Acceleration(length.counts()),
        SettingName::Step => Setting::Step(length),
        SettingName::Range => Setting::Range(length),
        SettingName::Following => Setting::Following(length),
    })
}
