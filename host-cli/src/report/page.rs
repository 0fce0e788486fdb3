//! The page as a whole.

use crate::refusal::Refusal;
use crate::report::how::How;
use crate::units::tight;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// How good an answer is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Tone {
    /// Nothing to do.
    Good,
    /// Not known yet.
    Open,
    /// Calls for action.
    Bad,
}

/// A session, an axis over time, or a program.
#[derive(Debug, Clone, Serialize)]
pub struct Part {
    /// What it is about.
    pub heading: String,
    /// The answer, in one sentence.
    pub verdict: String,
    /// How good it is.
    pub tone: Tone,
    /// What to do next, the first thing first.
    pub next: Vec<String>,
    /// What else is worth a sentence.
    pub lines: Vec<String>,
    /// Plots with their text.
    pub figures: Vec<Figure>,
    /// Numbers.
    pub tables: Vec<Table>,
    /// Files and entries that the numbers came from.
    pub sources: Vec<String>,
    /// How they were found.
    #[serde(skip)]
    pub hows: Vec<How>,
}

/// A plot with its text.
#[derive(Debug, Clone, Serialize)]
pub struct Figure {
    /// What it shows, in a few words.
    pub title: String,
    /// The drawing.
    pub svg: String,
    /// What it shows, for those who do not see it.
    pub words: String,
    /// What its marks mean.
    pub keys: Vec<Key>,
}

/// What a mark means.
#[derive(Debug, Clone, Serialize)]
pub struct Key {
    /// Its class in the style sheet.
    pub class: &'static str,
    /// Its shape, as a character.
    pub shape: &'static str,
    /// What it means.
    pub words: String,
}

impl Key {
    /// A key.
    pub fn new(class: &'static str, shape: &'static str, words: impl Into<String>) -> Self {
        Self { class, shape, words: words.into() }
    }
}

/// A table; the first column is text, the others numbers.
#[derive(Debug, Clone, Serialize)]
pub struct Table {
    /// Its title.
    pub title: String,
    /// The heads of its columns.
    pub head: Vec<String>,
    /// Its rows.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// A table.
    pub fn new(title: impl Into<String>, head: &[&str], rows: Vec<Vec<String>>) -> Self {
        Self { title: title.into(), head: head.iter().map(|name| (*name).to_owned()).collect(), rows }
    }
}

const CAUTIONS: [&str; 6] = [
    "This page says what was measured; it certifies nothing. The machine maker's manual, local rules and qualified people come first.",
    "Measuring: spindle off and locked out of the test; the indicator clear of every rapid move; a hand on the emergency stop; nobody reaches in while drives are live.",
    "Mending: isolate and lock out the drives before a wrench goes on a coupling.",
    "A vertical axis: block it before anything that holds it up is loosened.",
    "A corrected program: first in the air, in single block, with soft limits on.",
    "A loss that comes from a loosening part grows and does not heal (common practice, no source).",
];

/// The script of the page. Whatever the files say, no other runs: the page names its digest to the browser (Content Security
/// Policy Level 3, W3C, hash sources).
const SCRIPT: &str = include_str!("page.js");

/// The page; `made` is its date.
///
/// # Errors
/// When the template cannot be filled, which is a fault of this program.
pub fn render(title: &str, made: &str, parts: &[Part]) -> Result<String, Refusal> {
    let fault = |error: minijinja::Error| {
        Refusal::new(format!("the report cannot be made: {error}"), "Report this fault.")
    };
    let hows: BTreeSet<How> = parts.iter().flat_map(|part| &part.hows).copied().collect();
    let hows: Vec<_> = hows.into_iter().map(How::words).collect();
    let sources: Vec<_> = parts.iter().flat_map(|part| &part.sources).collect();
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_filter("tight", |text: String| tight(&text));
    environment.add_template("page", include_str!("page.html")).map_err(fault)?;
    let mut values = BTreeMap::new();
    values.insert("title", minijinja::Value::from(title));
    values.insert("made", minijinja::Value::from(made));
    values.insert("script", minijinja::Value::from(SCRIPT));
    values.insert("digest", minijinja::Value::from(STANDARD.encode(Sha256::digest(SCRIPT))));
    values.insert("version", minijinja::Value::from(env!("CARGO_PKG_VERSION")));
    values.insert("parts", minijinja::Value::from(Serde(parts)));
    values.insert("cautions", minijinja::Value::from(Serde(CAUTIONS)));
    values.insert("hows", minijinja::Value::from(Serde(hows)));
    values.insert("sources", minijinja::Value::from(Serde(sources)));
    let page = environment.get_template("page").and_then(|page| page.render(values)).map_err(fault)?;
    // Control characters are no part of HTML, and what came from a file may have any.
    Ok(page.replace(|c: char| c.is_control() && !matches!(c, '\n' | '\t'), "?"))
}
