//! `log`: sessions, notes, trend, alarm, forecast; bundles out and in.

mod add;
mod bundle;
mod check;
mod list;
mod note;
mod trend;

pub(crate) use trend::none_fits;

use crate::context::Context;
use crate::exit::Outcome;
use crate::log::entry::Entry;
use crate::log::store::{Appended, Store};
use crate::refusal::{Refusal, clip};
use jiff::Timestamp;
use std::path::PathBuf;

/// The machine of sessions that name none.
pub(crate) const USUAL_MACHINE: &str = "mill";

/// The name of a machine, as typed or as a file has it, without spaces around it.
///
/// # Errors
/// When there is none.
pub(crate) fn named(name: &str) -> Result<&str, Refusal> {
    match name.trim() {
        "" => Err(Refusal::new("the machine has no name", "Give one, such as --machine \"bed mill\".")),
        name => Ok(name),
    }
}

/// Tells of a machine that is new in the log where it has one of nearly that name: two spellings make two trends, and an alarm
/// of neither.
///
/// # Errors
/// When the log cannot be read.
pub(crate) fn tell_alike(store: &Store, machine: &str, ctx: &Context) -> Result<(), Refusal> {
    let machines = store.machines()?;
    let alike = machines.iter().find(|known| plain(known) == plain(machine));
    if let Some(known) = alike.filter(|_| !machines.iter().any(|known| known == machine)) {
        ctx.note(&format!(
            "{:?} is new in this log, which has {:?}; if they are one machine, spell it alike: each has its own trend",
            clip(machine),
            clip(known)
        ));
    }
    Ok(())
}

/// Tells of an entry that is of a day to come: a mistyped year stands behind everything in the trend from then on. Told and not
/// refused, since the clock may be the one that is wrong.
pub(crate) fn tell_early(entry: &Entry, appended: Appended, ctx: &Context) {
    let day = jiff::SignedDuration::from_hours(24);
    let Appended::New(id) = appended else { return };
    if entry.at.parse::<Timestamp>().is_ok_and(|at| at.duration_since(Timestamp::now()) > day) {
        ctx.note(&format!(
            "entry {id} is of {}, a day to come by the clock of this computer; if that is mistyped, take the entry back with \
             `takeup log note --corrects {id} \"…\"`, and add it again",
            entry.at.get(..10).unwrap_or(&entry.at)
        ));
    }
}

/// The letters and digits of a name, small.
pub(crate) fn plain(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// Arguments of `log`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  takeup log add z-after.csv --log shop.log\n  \
                        takeup log trend --limit 0.05 --log shop.log\n\n\
                        The log only grows: correct a mistake by `takeup log note --corrects N`.")]
pub struct Args {
    #[command(flatten)]
    place: Place,
    #[command(subcommand)]
    what: What,
}

/// Where the log is.
#[derive(Clone, Debug, clap::Args)]
pub struct Place {
    /// The log's file [default: in the user's data folder]
    #[arg(long = "log", global = true, value_name = "FILE")]
    file: Option<PathBuf>,
}

impl Place {
    /// Whether it was named.
    pub(crate) fn is_named(&self) -> bool {
        self.file.is_some()
    }

    /// The path of the log.
    ///
    /// # Errors
    /// When none is named and the user has no data folder.
    pub fn path(&self) -> Result<PathBuf, Refusal> {
        self.file.clone().map_or_else(crate::log::default_path, Ok)
    }

    /// The log, for reading.
    ///
    /// # Errors
    /// When there is none or it cannot be used.
    pub fn open(&self) -> Result<Store, Refusal> {
        Store::open(&self.path()?)
    }
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Add sessions (readings files, or assessments of `assess --json`) and compensation tables
    Add(add::Args),
    /// Note a repair or another event, or correct an entry
    Note(note::Args),
    /// List the entries
    List(list::ListArgs),
    /// Show one entry whole
    Show(list::ShowArgs),
    /// One quantity of an axis over time: alarm and forecast
    Trend(trend::Args),
    /// Write a bundle of all entries
    Export(bundle::ExportArgs),
    /// Take the entries of a bundle; those already here are left as they are
    Import(bundle::ImportArgs),
    /// Check that the file is whole
    #[command(after_help = "Example:\n  takeup log check --log shop.log")]
    Check,
    /// Bring the log of an older program up to date
    #[command(after_help = "Example:\n  takeup log migrate --log shop.log")]
    Migrate,
}

/// Runs it.
///
/// # Errors
/// When it is not done.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let place = &args.place;
    match &args.what {
        What::Add(args) => add::run(args, place, ctx),
        What::Note(args) => note::run(args, place, ctx),
        What::List(args) => list::list(args, place, ctx),
        What::Show(args) => list::show(args, place, ctx),
        What::Trend(args) => trend::run(args, place, ctx),
        What::Export(args) => bundle::export(args, place, ctx),
        What::Import(args) => bundle::import(args, place, ctx),
        What::Check => check::check(place, ctx),
        What::Migrate => check::migrate(place, ctx),
    }
}
