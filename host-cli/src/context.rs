//! What holds for every command.

use crate::args::Global;
use crate::exit::Outcome;
use crate::refusal::Refusal;
use crate::screen::{Screen, harmless_lines};
use crate::units::Print;
use serde::Serialize;
use std::cell::{Cell, RefCell};
use std::io::{self, Write};
use takeup_core::length::Unit;

/// The settings, streams and screens that every command shares.
#[derive(Debug)]
pub struct Context {
    units: Option<Unit>,
    json: bool,
    stdin_taken: Cell<bool>,
    stdout: Screen,
    stderr: Screen,
    kept: Option<RefCell<String>>,
}

impl Context {
    /// The context of a command line; looks at the terminal once.
    #[must_use]
    pub fn new(global: &Global) -> Self {
        Self {
            units: global.units.map(Unit::from),
            json: global.json,
            stdin_taken: Cell::new(false),
            stdout: Screen::of_stdout(),
            stderr: Screen::of_stderr(),
            kept: None,
        }
    }

    /// A context whose answers are kept instead of printed, for a command that runs others.
    #[must_use]
    pub fn keeping(global: &Global, outer: &Context) -> Self {
        Self {
            stdout: outer.stdout,
            stderr: outer.stderr,
            kept: Some(RefCell::default()),
            ..Self::new(global)
        }
    }

    /// The answers kept so far.
    #[must_use]
    pub fn into_kept(self) -> String {
        self.kept.map(RefCell::into_inner).unwrap_or_default()
    }

    /// The units of lengths that carry none: as given, or millimetres.
    #[must_use]
    pub fn units(&self) -> Unit {
        self.units.unwrap_or_default()
    }

    /// The units, only if the person named them.
    #[must_use]
    pub fn units_given(&self) -> Option<Unit> {
        self.units
    }

    /// How lengths are printed that come from something with a unit of its own: in that unless another was asked for.
    #[must_use]
    pub fn lengths_of(&self, own: Unit) -> Print {
        Print { unit: self.units.unwrap_or(own) }
    }

    /// How lengths are printed.
    #[must_use]
    pub fn lengths(&self) -> Print {
        Print { unit: self.units() }
    }

    /// Whether the answer is one JSON document.
    #[must_use]
    pub fn json(&self) -> bool {
        self.json
    }

    /// The screen behind standard output, for emphasis and line width.
    #[must_use]
    pub fn screen(&self) -> &Screen {
        &self.stdout
    }

    /// The screen behind standard error, where whatever is not the answer is shown.
    #[must_use]
    pub fn side_screen(&self) -> &Screen {
        &self.stderr
    }

    /// Whether to show the progress of long work (on standard error).
    #[must_use]
    pub fn shows_progress(&self) -> bool {
        self.stderr.is_terminal() && !self.json
    }

    /// Claims standard input for one reader.
    ///
    /// # Errors
    /// When something else on the command line has claimed it.
    pub fn take_stdin(&self) -> Result<(), Refusal> {
        if self.stdin_taken.replace(true) {
            return Err(Refusal::new(
                "\"-\" is named twice, but standard input can be read only once",
                "Give a file for all but one of them.",
            ));
        }
        Ok(())
    }

    /// Prints an answer for a person, as it stands.
    ///
    /// A reader that has gone away is no error here: the work is done, and its outcome stands.
    ///
    /// # Errors
    /// When standard output cannot be written, for instance on a full disk.
    pub fn print(&self, text: &str) -> Result<(), Refusal> {
        if let Some(kept) = &self.kept {
            kept.borrow_mut().push_str(text);
            return Ok(());
        }
        let mut out = io::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                Err(Refusal::io("standard output", "write", &error))
            }
            _ => Ok(()),
        }
    }

    /// Prints one JSON document, and the line end.
    ///
    /// # Errors
    /// As for [`Context::print`].
    pub fn print_json(&self, document: &impl Serialize) -> Result<(), Refusal> {
        let mut text = serde_json::to_string_pretty(document).map_err(|error| {
            Refusal::new(format!("the answer cannot be written: {error}"), "Report this fault.")
        })?;
        text.push('\n');
        self.print(&text)
    }

    /// The common end of a command: a JSON document or text for a person, and the outcome.
    ///
    /// # Errors
    /// As for [`Context::print`].
    pub fn answer(
        &self,
        document: &impl Serialize,
        text: impl FnOnce() -> String,
        outcome: Outcome,
    ) -> Result<Outcome, Refusal> {
        if self.json {
            self.print_json(document)?
        } else {
            self.print(&text())?
        }
        Ok(outcome)
    }

    /// Tells the person something that is neither the answer nor an error (on standard error).
    pub fn note(&self, text: &str) {
        // Nobody can be told that standard error is gone.
        let _ = writeln!(io::stderr(), "{}", self.for_stderr(&format!("takeup: {text}"), "        "));
    }

    /// Says why the command was not done.
    pub fn report(&self, refusal: &Refusal) {
        if refusal.is_reader_gone() {
            return;
        }
        // Where the document cannot be written, a full disk for instance, the person is told all the same.
        if self.json && self.print_json(refusal).is_ok() {
            return;
        }
        self.note(&refusal.to_string());
        if let Some(way_out) = refusal.way_out() {
            let _ = writeln!(io::stderr(), "{}", self.for_stderr(&format!("        {way_out}"), "        "));
        }
    }

    /// Lines are broken for a person at a terminal; a log file keeps one line per message.
    fn for_stderr(&self, text: &str, indent: &str) -> String {
        if self.stderr.is_terminal() { self.stderr.wrap(text, indent) } else { harmless_lines(text) }
    }
}
