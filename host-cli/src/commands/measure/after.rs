//! What follows the last reading: the assessment, the comparison with an earlier session, the log.

use super::Taking;
use crate::assessment::document::Document;
use crate::assessment::{self, slip};
use crate::commands::compare::{Compared, comparable, compared};
use crate::commands::log::USUAL_MACHINE;
use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::key_args::KeyArgs;
use crate::log::assessment::{Assessment, In, load};
use crate::log::entry::{Entry, time};
use crate::log::quantity::Quantity;
use crate::log::store::{Appended, Store};
use crate::readings::MOST_BYTES;
use crate::refusal::Refusal;
use crate::sitting::plan::Plan;
use crate::units::Print;
use serde::Serialize;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// What is to follow, checked before the first reading.
pub(super) struct After {
    earlier: Option<(Assessment, String)>,
    log: Option<PathBuf>,
}

impl After {
    /// Reads what there is to compare with, and sees that it and the log can be used.
    pub(super) fn prepare(taking: &Taking, plan: &Plan, ctx: &Context) -> Result<Self, Refusal> {
        let earlier = match &taking.compare {
            None => None,
            Some(path) => {
                let (earlier, name) =
                    (load(path, None, In::PrintedUnits, ctx)?.assessment, input::name(path));
                comparable(&earlier, &name, &plan.axis.to_string(), Some(plan.kind))?;
                Some((earlier, name))
            }
        };
        let log = match &taking.log {
            None => None,
            Some(Some(path)) => Some(path.clone()),
            Some(None) => Some(crate::log::default_path()?),
        };
        if let Some(path) = log.as_ref().filter(|path| path.exists()) {
            Store::open(path)?;
        }
        Ok(Self { earlier, log })
    }

    pub(super) fn run(
        self,
        path: &Path,
        plan: &Plan,
        keys: &KeyArgs,
        ctx: &Context,
    ) -> Result<Outcome, Refusal> {
        let print = Print { unit: plan.unit };
        let name = input::name(path);
        let readings = input::read(path, MOST_BYTES, ctx)?;
        let assessed = assessment::of_bytes(&readings, &name, |units| keys.keys(units), ctx)?;
        let session = Assessment::of(&assessed, Print { unit: assessed.file_units })?;
        let compare = |(before, from): (&Assessment, &str)| -> Result<Compared, Refusal> {
            compared((before, from), (&session, &name), None, ctx)
        };
        let mut comparison = match &self.earlier {
            None => None,
            Some((before, from)) => Some((compare((before, from))?, format!("with {from}"))),
        };
        // The log after the comparison: what is refused leaves none behind.
        let logged = match &self.log {
            None => None,
            Some(log) => {
                let mut logging = Logging::prepare(&session, &readings, log)?;
                if let (None, Some((before, from))) = (&comparison, &logging.last) {
                    // The last session may have been of a kind that gives nothing to compare: that is no error.
                    comparison = compare((before, from))
                        .ok()
                        .map(|compared| (compared, format!("with the last session, {from}")));
                }
                Some((logging.append()?, log.display().to_string()))
            }
        };
        let mut outcome = if assessed.is_over() { Outcome::Adverse } else { Outcome::Good };
        let mut text = slip::of(&assessed, print, ctx.screen());
        let mut document =
            Answered { assessment: Document::of(&assessed, print), comparison: None, logged: None };
        if let Some((compared, with)) = comparison {
            text.push_str(&format!("\nCompared {with}\n\n{}", compared.text));
            document.comparison = Some(compared.document);
            if compared.outcome == Outcome::Adverse {
                outcome = Outcome::Adverse;
            }
        }
        if let Some((appended, log)) = logged {
            let (id, word) = match appended {
                Appended::New(id) => (id, "added as"),
                Appended::Known(id) => (id, "already there as"),
            };
            text.push_str(&format!("\nLog {log}: {word} entry {id}.\n"));
            document.logged = Some(json!({ "log": log, "entry": id }));
        }
        ctx.answer(&document, || text, outcome)
    }
}

/// The document of `measure --json`: the assessment, and what else was asked for.
#[derive(Serialize)]
struct Answered {
    #[serde(flatten)]
    assessment: Document,
    #[serde(skip_serializing_if = "Option::is_none")]
    comparison: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    logged: Option<Value>,
}

/// A session on its way into the log.
struct Logging {
    store: Store,
    entry: Entry,
    /// The last session of this axis before, with a name for it.
    last: Option<(Assessment, String)>,
}

impl Logging {
    fn prepare(assessment: &Assessment, readings: &[u8], log: &Path) -> Result<Self, Refusal> {
        let stated = |key: &str| assessment.document()[key].as_str().map(str::to_owned);
        let taken = stated("taken").as_deref().map(time).transpose()?;
        let machine = stated("machine").filter(|name| !name.trim().is_empty());
        let machine = machine.map_or_else(|| USUAL_MACHINE.to_owned(), |name| name.trim().to_owned());
        let readings = String::from_utf8_lossy(readings);
        let entry = Entry::session(assessment, Some(&readings), &machine, taken, jiff::Timestamp::now());
        let store = Store::open_or_create(log)?;
        let entry = store.same_session(&entry)?.unwrap_or(entry);
        let mut last = None;
        for quantity in assessment.kind().map_or(&[][..], Quantity::of_kind) {
            let sessions = store.sessions(&machine, assessment.axis(), *quantity)?;
            for row in sessions.iter().rev().filter(|row| row.at <= entry.at) {
                let kept = store.entry(row.id)?.entry;
                // The same readings measured against themselves would say nothing.
                if let Some(earlier) = kept.assessment().filter(|_| kept.digest != entry.digest) {
                    last = Some((earlier, format!("entry {} of {}", row.id, row.at)));
                    break;
                }
            }
            if last.is_some() {
                break;
            }
        }
        Ok(Self { store, entry, last })
    }

    fn append(&mut self) -> Result<Appended, Refusal> {
        let done = self.store.append(std::slice::from_ref(&self.entry))?;
        done.first()
            .copied()
            .ok_or_else(|| Refusal::new("nothing was added to the log", "Report this fault."))
    }
}
