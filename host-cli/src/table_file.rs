//! Compensation tables in files.

use std::path::Path;

use takeup_core::correct::{Table, bytes};

use crate::{context::Context, input, output, refusal::Refusal};

/// Reads a table.
///
/// # Errors
/// When the file cannot be read, or is not a whole and sound table of the version that this program reads.
pub fn read(path: &Path, ctx: &Context) -> Result<Table, Refusal> {
    // One byte more than any table: a longer file is told from one that is just full.
    let found = input::read(path, bytes::MAX_BYTES as u64 + 1, ctx)?;
    bytes::decode(&found).map_err(|error| {
        let way_out = match error {
            bytes::Error::NotATable => "Give a file made by \"takeup table build\".",
            bytes::Error::OtherVersion { .. } => "Build it again with this version of takeup.",
            _ => "Copy it again, or build it again from the readings.",
        };
        Refusal::new(error.to_string(), way_out).file(input::name(path))
    })
}

/// Writes a table.
///
/// # Errors
/// When the file cannot be written.
pub fn write(path: &Path, table: &Table, ctx: &Context) -> Result<(), Refusal> {
    let mut buffer = [0; bytes::MAX_BYTES];
    let length = bytes::encode(table, &mut buffer)
        .map_err(|error| Refusal::new(error.to_string(), "Report this fault."))?;
    output::write(path, &buffer[..length], ctx)
}
