//! The log of a shop's machines: sessions, events and corrections in one file that only grows.
//!
//! - [`assessment`]: the document of `assess --json`, read back.
//! - [`entry`]: what can be appended, and the digest that names it on every computer.
//! - [`schema`]: tables, version, migrations, and why the file is kept as it is.
//! - [`store`]: opening, appending, reading, checking.
//! - [`quantity`]: what can be watched over time;
//! - [`history`]: one quantity of one axis through core's watch and line;
//! - [`words`]: what a history says, in the words of a person.

pub mod assessment;
pub mod entry;
pub mod history;
pub mod quantity;
pub mod schema;
pub mod store;
pub mod words;

use crate::refusal::Refusal;
use std::path::PathBuf;

/// The log in the user's data folder.
///
/// # Errors
/// When the system names no such folder.
pub fn default_path() -> Result<PathBuf, Refusal> {
    directories::ProjectDirs::from("", "", "takeup")
        .map(|dirs| dirs.data_dir().join("takeup.log.sqlite"))
        .ok_or_else(|| {
            Refusal::new("this user has no data folder for the log", "Name the log with --log FILE.")
        })
}
