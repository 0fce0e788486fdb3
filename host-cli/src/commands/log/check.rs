//! `log check` and `log migrate`: the file itself.

use super::Place;
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::schema;
use crate::log::store::Store;
use crate::refusal::Refusal;
use crate::units::counted;
use serde_json::json;

/// A number of entries, in words.
fn number(entries: usize) -> String {
    if entries == 1 { "1 entry".to_owned() } else { format!("{entries} entries") }
}

pub(super) fn check(place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let (entries, faults) = place.open()?.check()?;
    let document = json!({ "schema": "takeup.log-check/1", "entries": entries, "faults": faults });
    let outcome = if faults.is_empty() { Outcome::Good } else { Outcome::Adverse };
    let text = || match faults.as_slice() {
        [] => format!("the log is whole: {}\n", number(entries)),
        faults => {
            let many = counted(faults.len() as u64, "fault");
            format!("the log is damaged, {many} in {}:\n  {}\n", number(entries), faults.join("\n  "))
        }
    };
    ctx.answer(&document, text, outcome)
}

pub(super) fn migrate(place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let from = Store::migrate(&place.path()?)?;
    let to = schema::VERSION;
    let document = json!({ "schema": "takeup.log-migrate/1", "from": from.unwrap_or(to), "to": to });
    let text = || match from {
        Some(from) => format!("brought from version {from} to version {to}\n"),
        None => format!("already of version {to}; nothing to do\n"),
    };
    ctx.answer(&document, text, Outcome::Good)
}
