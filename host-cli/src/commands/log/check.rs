//! `log check` and `log migrate`: the file itself.

use super::Place;
use crate::context::Context;
use crate::exit::Outcome;
use crate::log::schema;
use crate::log::store::Store;
use crate::refusal::Refusal;
use serde_json::json;

pub(super) fn check(place: &Place, ctx: &Context) -> Result<Outcome, Refusal> {
    let (entries, faults) = place.open()?.check()?;
    let document = json!({ "schema": "takeup.log-check/1", "entries": entries, "faults": faults });
    let outcome = if faults.is_empty() { Outcome::Good } else { Outcome::Adverse };
    let text = || match faults.as_slice() {
        [] => format!("the log is whole: {entries} entries\n"),
        faults => {
            format!(
                "the log is damaged, {} faults in {entries} entries:\n  {}\n",
                faults.len(),
                faults.join("\n  ")
            )
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
