//! The tables of the log, their version, and how an older file is brought up to date.
//!
//! The file keeps a rollback journal and not a write-ahead log, with `synchronous = EXTRA`: between commands the whole
//! log is one file, so that copying that file to a stick copies everything, and it works on a network share. Each commit
//! waits for the disk, and for the folder after the journal is gone; that costs some milliseconds per command and buys
//! that what was acknowledged survives a pulled plug. Readings arrive by the dozen, not by the thousand.
//!
//! Every entry lives in one table: entries from several computers merge by their digest alone. Triggers refuse to change
//! or delete an entry, so that no later fault of this program can.

use rusqlite::Connection;

/// Marks the file as ours: `tklg` in ASCII.
pub const APPLICATION_ID: i32 = 0x746b_6c67;

/// One step per version; step `i` brings a file from version `i` to `i + 1`.
const STEPS: [&str; 2] = [
    "CREATE TABLE entry (
        id INTEGER PRIMARY KEY,
        digest TEXT NOT NULL UNIQUE,
        kind TEXT NOT NULL CHECK (kind IN ('session', 'event', 'correction')),
        machine TEXT NOT NULL,
        axis TEXT CHECK (axis IN ('X', 'Y', 'Z')),
        at TEXT NOT NULL,
        body TEXT NOT NULL,
        value_mm REAL,
        uncertainty_mm REAL,
        dof REAL
    ) STRICT;
    CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
        BEGIN SELECT RAISE(ABORT, 'the log only appends'); END;
    CREATE TRIGGER entry_remains BEFORE DELETE ON entry
        BEGIN SELECT RAISE(ABORT, 'the log only appends'); END;",
    "CREATE INDEX entry_in_time ON entry (machine, axis, at);
    CREATE INDEX correction_of ON entry (json_extract(body, '$.corrects')) WHERE kind = 'correction';",
];

/// The version this program writes.
pub const VERSION: i32 = STEPS.len() as i32;

/// What a file turned out to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// A file with nothing in it.
    Empty,
    /// A log of this version.
    Current,
    /// A log of an older version.
    Older(i32),
    /// A log of a newer version.
    Newer(i32),
    /// A database of something else.
    Foreign,
}

/// Looks at a file without changing it.
///
/// # Errors
/// When it cannot be read or is no database.
pub fn look(db: &Connection) -> rusqlite::Result<Found> {
    let pragma = |name| db.pragma_query_value(None, name, |row| row.get::<_, i32>(0));
    let (application, version, tables) =
        (pragma("application_id")?, pragma("user_version")?, pragma("schema_version")?);
    Ok(match (application, version) {
        (0, 0) if tables == 0 => Found::Empty,
        (APPLICATION_ID, VERSION) => Found::Current,
        (APPLICATION_ID, v) if (1..VERSION).contains(&v) => Found::Older(v),
        (APPLICATION_ID, v) if v > VERSION => Found::Newer(v),
        _ => Found::Foreign,
    })
}

/// The bytes of a log without entries.
///
/// # Errors
/// When there is no memory for it.
pub fn blank() -> rusqlite::Result<Vec<u8>> {
    let mut db = Connection::open_in_memory()?;
    migrate(&mut db, 0)?;
    Ok(db.serialize(rusqlite::MAIN_DB)?.to_vec())
}

/// Brings a file from version `from` (0: empty) to [`VERSION`], or changes nothing.
///
/// # Errors
/// When it cannot be written.
pub fn migrate(db: &mut Connection, from: i32) -> rusqlite::Result<()> {
    let change = db.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    // Another program may have done it while this one waited for the file.
    let now: i32 = change.pragma_query_value(None, "user_version", |row| row.get(0))?;
    for step in STEPS.iter().skip(usize::try_from(now.max(from)).unwrap_or(STEPS.len())) {
        change.execute_batch(step)?;
    }
    change.pragma_update(None, "application_id", APPLICATION_ID)?;
    change.pragma_update(None, "user_version", VERSION)?;
    change.commit()
}
