//! How a command ends, and the exit code that says so.

use crate::refusal::Refusal;
use std::process::ExitCode;

/// The answer of a command that did its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Done, and nothing in the answer calls for action.
    Good,
    /// Done, and the answer is adverse: over the limit, worse, alarm, beyond tolerance.
    Adverse,
}

/// The exit code of a command; the only place where one is decided.
///
/// | code | meaning |
/// |---|---|
/// | 0 | done, and the answer is not adverse; or whoever read the output wants no more of it |
/// | 1 | done, and the answer is adverse |
/// | 2 | not done: bad usage, unreadable or refused input; nothing was written |
#[must_use]
pub fn code(result: &Result<Outcome, Refusal>) -> ExitCode {
    match result {
        Ok(Outcome::Good) => ExitCode::from(0),
        Ok(Outcome::Adverse) => ExitCode::from(1),
        Err(refusal) if refusal.is_reader_gone() => ExitCode::from(0),
        Err(_) => NOT_DONE.into(),
    }
}

/// The exit code of a command that was not done.
pub const NOT_DONE: u8 = 2;
