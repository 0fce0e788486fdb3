//! The log's file: opened, appended to, read, checked.

use crate::log::assessment::Assessment;
use crate::log::entry::{Entry, Kind};
use crate::log::quantity::Quantity;
use crate::log::schema::{self, Found};
use crate::output;
use crate::refusal::Refusal;
use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, TransactionBehavior, params};
use std::path::{Path, PathBuf};
use std::time::Duration;
use takeup_core::measure::Estimate;

/// How long another program may hold the file before we give up.
const PATIENCE: Duration = Duration::from_secs(2);

/// An open log.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    path: PathBuf,
}

/// An entry in the file.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Its number on this computer.
    pub id: i64,
    /// Its contents.
    pub entry: Entry,
    /// Number of the entry that says this one is wrong.
    pub corrected_by: Option<i64>,
}

/// What an append did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Appended {
    /// It is in the file now, as this number.
    New(i64),
    /// It was there already, as this number.
    Known(i64),
}

/// A session of one axis, as the trend needs it.
#[derive(Debug, Clone)]
pub struct SessionRow {
    /// Its number.
    pub id: i64,
    /// When, RFC 3339.
    pub at: String,
    /// The quantity watched; lengths in millimetres.
    pub found: Estimate,
}

// The + keeps SQLite from looking for the smallest number by going through all entries in their order instead of the index.
const COLUMNS: &str = "e.id, e.digest, e.kind, e.machine, e.axis, e.at, e.body,
    (SELECT MIN(+c.id) FROM entry c WHERE c.kind = 'correction' AND json_extract(c.body, '$.corrects') = e.digest)";

impl Store {
    /// Opens a log for reading.
    ///
    /// # Errors
    /// When there is none, or it is not a log of this version.
    pub fn open(path: &Path) -> Result<Self, Refusal> {
        if !path.exists() {
            return Err(Refusal::new(
                "there is no log here yet",
                "Start one with `takeup log add`, or name another with --log FILE.",
            )
            .path(path));
        }
        let store = Self::connect(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        match store.look()? {
            Found::Current => Ok(store),
            Found::Empty => Err(Refusal::new(
                "the file is empty: no log was begun in it",
                "Begin it with `takeup log add`, or name another log with --log FILE.",
            )
            .path(path)),
            found => Err(unfit(found, path)),
        }
    }

    /// Opens a log for appending; makes it where there is none.
    ///
    /// # Errors
    /// When it cannot be made or opened, or is not a log of this version. Nothing is left behind then.
    pub fn open_or_create(path: &Path) -> Result<Self, Refusal> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder)
                .map_err(|error| Refusal::io(folder.display().to_string(), "make", &error))?;
        }
        if !path.exists() {
            // Whole or not at all: a program that is ended here leaves no file, or a log that has no entry yet.
            let blank = schema::blank().map_err(|error| refusal(&error, path))?;
            output::place_new(path, &blank)
                .map_err(|error| Refusal::io(path.display().to_string(), "make", &error))?;
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
        let mut store = Self::connect(path, flags)?;
        match store.look()? {
            Found::Current => Ok(store),
            Found::Empty => {
                schema::migrate(&mut store.db, 0).map_err(|error| refusal(&error, path))?;
                Ok(store)
            }
            found => Err(unfit(found, path)),
        }
    }

    /// Brings a log of an older version up to date; tells the version it had, or none if it is up to date.
    ///
    /// # Errors
    /// When there is none, it is newer or foreign, or cannot be written.
    pub fn migrate(path: &Path) -> Result<Option<i32>, Refusal> {
        if !path.exists() {
            return Self::open(path).map(|_| None);
        }
        let mut store = Self::connect(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        match store.look()? {
            Found::Current => Ok(None),
            Found::Older(version) => {
                schema::migrate(&mut store.db, version).map_err(|error| refusal(&error, path))?;
                Ok(Some(version))
            }
            found => Err(unfit(found, path)),
        }
    }

    fn connect(path: &Path, flags: OpenFlags) -> Result<Self, Refusal> {
        let open = || -> rusqlite::Result<Connection> {
            let db = Connection::open_with_flags(path, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
            db.busy_timeout(PATIENCE)?;
            db.pragma_update(None, "synchronous", "EXTRA")?;
            // A file made by somebody else must not run code of its own on our queries.
            db.pragma_update(None, "trusted_schema", false)?;
            Ok(db)
        };
        Ok(Self { db: open().map_err(|error| refusal(&error, path))?, path: path.to_owned() })
    }

    fn look(&self) -> Result<Found, Refusal> {
        schema::look(&self.db).map_err(|error| refusal(&error, &self.path))
    }

    /// Appends entries, all of them or none. When this returns they are on the disk.
    ///
    /// # Errors
    /// When the file cannot be written; then it is as it was.
    pub fn append(&mut self, entries: &[Entry]) -> Result<Vec<Appended>, Refusal> {
        self.append_or_error(entries).map_err(|error| refusal(&error, &self.path))
    }

    fn append_or_error(&mut self, entries: &[Entry]) -> rusqlite::Result<Vec<Appended>> {
        let change = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut done = Vec::with_capacity(entries.len());
        {
            let mut known = change.prepare("SELECT id FROM entry WHERE digest = ?1")?;
            let mut insert = change.prepare(
                "INSERT INTO entry (digest, kind, machine, axis, at, body, value_mm, uncertainty_mm, dof)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            )?;
            for entry in entries {
                if let Some(id) = known.query_row([&entry.digest], |row| row.get(0)).optional()? {
                    done.push(Appended::Known(id));
                    continue;
                }
                let lost = match entry.kind {
                    Kind::Session => entry.assessment().and_then(|assessment| assessment.lost_motion_mm()),
                    Kind::Event | Kind::Correction => None,
                };
                insert.execute(params![
                    entry.digest,
                    entry.kind.name(),
                    entry.machine,
                    entry.axis,
                    entry.at,
                    entry.body,
                    lost.map(|lost| lost.value),
                    lost.map(|lost| lost.standard_uncertainty),
                    lost.map(|lost| lost.dof),
                ])?;
                done.push(Appended::New(change.last_insert_rowid()));
            }
        }
        change.commit()?;
        Ok(done)
    }

    /// Entries in the order of their time; of one machine and axis, if named. Entries about a whole machine are among those
    /// of each of its axes.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn entries(&self, machine: Option<&str>, axis: Option<&str>) -> Result<Vec<Kept>, Refusal> {
        self.query(
            &format!(
                "SELECT {COLUMNS} FROM entry e WHERE (?1 IS NULL OR e.machine = ?1)
                 AND (?2 IS NULL OR e.axis IS NULL OR e.axis = ?2) ORDER BY e.at, e.id"
            ),
            params![machine, axis],
        )
    }

    /// Events and corrections of one machine in the order of their time.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn events(&self, machine: &str, axis: &str) -> Result<Vec<Kept>, Refusal> {
        self.query(
            &format!(
                "SELECT {COLUMNS} FROM entry e WHERE e.machine = ?1 AND (e.axis IS NULL OR e.axis = ?2)
                 AND e.kind = 'event' ORDER BY e.at, e.id"
            ),
            params![machine, axis],
        )
    }

    /// One entry by its number.
    ///
    /// # Errors
    /// When there is none.
    pub fn entry(&self, id: i64) -> Result<Kept, Refusal> {
        let found = self.query(&format!("SELECT {COLUMNS} FROM entry e WHERE e.id = ?1"), params![id])?;
        found.into_iter().next().ok_or_else(|| {
            Refusal::new(format!("there is no entry {id}"), "See `takeup log list` for the numbers.")
                .path(&self.path)
        })
    }

    /// Sessions of one axis that give a quantity and are not corrected, in the order of their time.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn sessions(
        &self,
        machine: &str,
        axis: &str,
        quantity: Quantity,
    ) -> Result<Vec<SessionRow>, Refusal> {
        Ok(self.rows(machine, axis, &[quantity])?.pop().unwrap_or_default())
    }

    /// As [`Store::sessions`], of every quantity of [`Quantity::ALL`] in that order.
    ///
    /// # Errors
    /// As for [`Store::sessions`].
    pub fn all_quantities(&self, machine: &str, axis: &str) -> Result<Vec<Vec<SessionRow>>, Refusal> {
        self.rows(machine, axis, &Quantity::ALL)
    }

    fn rows(&self, machine: &str, axis: &str, wanted: &[Quantity]) -> Result<Vec<Vec<SessionRow>>, Refusal> {
        // Lost motion stands in columns of its own; anything else is looked up in the assessments.
        let document = match wanted {
            [Quantity::LostMotion] => "NULL",
            _ => "json_extract(body, '$.assessment')",
        };
        let sql = format!(
            "SELECT id, at, value_mm, uncertainty_mm, dof, {document} FROM entry
             WHERE machine = ?1 AND axis = ?2 AND kind = 'session' AND digest NOT IN
             (SELECT json_extract(body, '$.corrects') FROM entry WHERE kind = 'correction' AND machine = ?1)
             ORDER BY at, id"
        );
        let read = || -> rusqlite::Result<Vec<Vec<SessionRow>>> {
            let mut rows = vec![Vec::new(); wanted.len()];
            let mut statement = self.db.prepare(&sql)?;
            let mut found = statement.query([machine, axis])?;
            while let Some(row) = found.next()? {
                let (id, at): (i64, String) = (row.get(0)?, row.get(1)?);
                let lost = match row.get::<_, Option<f64>>(2)? {
                    Some(value) => {
                        Some(Estimate { value, standard_uncertainty: row.get(3)?, dof: row.get(4)? })
                    }
                    None => None,
                };
                let assessment = row
                    .get::<_, Option<String>>(5)?
                    .and_then(|text| serde_json::from_str(&text).ok())
                    .and_then(|document| Assessment::from_value(document).ok());
                for (quantity, rows) in wanted.iter().zip(&mut rows) {
                    let found = match quantity {
                        Quantity::LostMotion => lost,
                        _ => assessment.as_ref().and_then(|assessment| quantity.of(assessment)),
                    };
                    rows.extend(found.map(|found| SessionRow { id, at: at.clone(), found }));
                }
            }
            Ok(rows)
        };
        read().map_err(|error| refusal(&error, &self.path))
    }

    /// The last session of one axis that is not corrected: the last that gives lost motion, if any does, since that is what a
    /// machine is judged by.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn last_session(&self, machine: &str, axis: &str) -> Result<Option<Kept>, Refusal> {
        let found = self.query(
            &format!(
                "SELECT {COLUMNS} FROM entry e WHERE e.machine = ?1 AND e.axis = ?2 AND e.kind = 'session'
                 AND e.digest NOT IN
                 (SELECT json_extract(body, '$.corrects') FROM entry WHERE kind = 'correction' AND machine = ?1)
                 ORDER BY e.value_mm IS NULL, e.at DESC, e.id DESC LIMIT 1"
            ),
            params![machine, axis],
        )?;
        Ok(found.into_iter().next())
    }

    /// The last session of each kind of test of one axis that is not corrected, the latest first.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn last_of_each_kind(&self, machine: &str, axis: &str) -> Result<Vec<Kept>, Refusal> {
        self.query(
            &format!(
                "SELECT {COLUMNS} FROM entry e WHERE e.id IN (SELECT id FROM
                 (SELECT id, row_number() OVER
                 (PARTITION BY json_extract(body, '$.assessment.routine') ORDER BY at DESC, id DESC) AS age
                 FROM entry WHERE machine = ?1 AND axis = ?2 AND kind = 'session' AND digest NOT IN
                 (SELECT json_extract(body, '$.corrects') FROM entry WHERE kind = 'correction' AND machine = ?1))
                 WHERE age = 1) ORDER BY e.at DESC, e.id DESC"
            ),
            params![machine, axis],
        )
    }

    /// The compensation table in force on a machine: the bytes of the last one that is not corrected, and its entry.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn table_in_force(&self, machine: &str) -> Result<Option<(Kept, Vec<u8>)>, Refusal> {
        let events = self.query(
            &format!(
                "SELECT {COLUMNS} FROM entry e WHERE e.machine = ?1 AND e.kind = 'event'
                 AND json_extract(e.body, '$.event') = 'table' ORDER BY e.at DESC, e.id DESC"
            ),
            params![machine],
        )?;
        Ok(events
            .into_iter()
            .filter(|kept| kept.corrected_by.is_none())
            .find_map(|kept| kept.entry.table_bytes().map(|bytes| (kept, bytes))))
    }

    /// The session in the file with the same assessment as this one, if both were taken at the same stated time.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn same_session(&self, entry: &Entry) -> Result<Option<Entry>, Refusal> {
        let parts = |text: &str| {
            let body: serde_json::Value = serde_json::from_str(text).unwrap_or_default();
            (body["assessment"].clone(), body["taken"].clone())
        };
        let wanted = parts(&entry.body);
        let value =
            entry.assessment().and_then(|assessment| assessment.lost_motion_mm()).map(|lost| lost.value);
        let candidates = self.query(
            &format!(
                "SELECT {COLUMNS} FROM entry e WHERE e.machine = ?1 AND e.axis = ?2 AND e.kind = 'session'
                 AND (e.value_mm IS ?3 OR abs(e.value_mm - ?3) < 1e-9)"
            ),
            params![entry.machine, entry.axis, value],
        )?;
        Ok(candidates.into_iter().map(|kept| kept.entry).find(|found| parts(&found.body) == wanted))
    }

    /// Machines and axes with sessions.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn axes(&self) -> Result<Vec<(String, String)>, Refusal> {
        let read = || -> rusqlite::Result<Vec<(String, String)>> {
            self.db
                .prepare(
                    "SELECT DISTINCT machine, axis FROM entry WHERE kind = 'session' ORDER BY machine, axis",
                )?
                .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        };
        read().map_err(|error| refusal(&error, &self.path))
    }

    /// Machines of which there is anything.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn machines(&self) -> Result<Vec<String>, Refusal> {
        let read = || -> rusqlite::Result<Vec<String>> {
            self.db
                .prepare("SELECT DISTINCT machine FROM entry ORDER BY machine")?
                .query_map([], |row| row.get(0))?
                .collect()
        };
        read().map_err(|error| refusal(&error, &self.path))
    }

    /// Everything wrong with the file, in words; nothing if all is well. And the number of entries.
    ///
    /// # Errors
    /// When the file cannot be read at all.
    pub fn check(&self) -> Result<(usize, Vec<String>), Refusal> {
        let integrity = || -> rusqlite::Result<Vec<String>> {
            let mut faults: Vec<String> = self
                .db
                .prepare("PRAGMA integrity_check(20)")?
                .query_map([], |row| row.get::<_, String>(0))?
                .collect::<Result<_, _>>()?;
            faults.retain(|line| line != "ok");
            let guards: i64 = self.db.query_row(
                "SELECT COUNT(*) FROM sqlite_schema WHERE type = 'trigger' AND name IN ('entry_stays', 'entry_remains')",
                [],
                |row| row.get(0),
            )?;
            if guards != 2 {
                faults.push("what keeps entries from being changed is gone".into());
            }
            Ok(faults)
        };
        let mut faults = integrity().map_err(|error| refusal(&error, &self.path))?;
        let entries = self.entries(None, None)?;
        let digests: std::collections::HashSet<_> =
            entries.iter().map(|kept| kept.entry.digest.as_str()).collect();
        for kept in &entries {
            if let Some(fault) = kept.entry.fault() {
                faults.push(format!("entry {}: {fault}", kept.id));
            }
            let corrects = serde_json::from_str::<serde_json::Value>(&kept.entry.body)
                .ok()
                .and_then(|body| body["corrects"].as_str().map(str::to_owned));
            if let Some(wrong) = corrects.filter(|wrong| !digests.contains(wrong.as_str())) {
                faults.push(format!("entry {} corrects {wrong:.12}…, which is not in this log", kept.id));
            }
        }
        Ok((entries.len(), faults))
    }

    fn query(&self, sql: &str, values: &[&dyn rusqlite::ToSql]) -> Result<Vec<Kept>, Refusal> {
        let read = || -> rusqlite::Result<Vec<Kept>> {
            self.db
                .prepare(sql)?
                .query_map(values, |row| {
                    let kind: String = row.get(2)?;
                    Ok(Kept {
                        id: row.get(0)?,
                        entry: Entry {
                            digest: row.get(1)?,
                            kind: Kind::of(&kind).ok_or(rusqlite::Error::InvalidQuery)?,
                            machine: row.get(3)?,
                            axis: row.get(4)?,
                            at: row.get(5)?,
                            body: row.get(6)?,
                        },
                        corrected_by: row.get(7)?,
                    })
                })?
                .collect()
        };
        read().map_err(|error| refusal(&error, &self.path))
    }
}

/// A file that is no log of this version.
fn unfit(found: Found, path: &Path) -> Refusal {
    let ours = schema::VERSION;
    match found {
        Found::Older(version) => Refusal::new(
            format!("this log is of the older version {version}, version {ours} was expected"),
            "Copy the file, then bring it up to date with `takeup log migrate`.",
        ),
        Found::Newer(version) => Refusal::new(
            format!("this log is of the newer version {version}, this program knows versions up to {ours}"),
            "Use the newer program that wrote it.",
        ),
        Found::Empty | Found::Current | Found::Foreign => {
            Refusal::new("this is a database, but not a log of takeup", "Name another log with --log FILE.")
        }
    }
    .path(path)
}

/// What went wrong with the file, in the words of a person.
fn refusal(error: &rusqlite::Error, path: &Path) -> Refusal {
    let (reason, way_out) = match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            ("another program is using the log".to_owned(), "Close it, or try again when it is done.")
        }
        Some(ErrorCode::NotADatabase) => (
            "this is not a log, or it is damaged".to_owned(),
            "Name another log with --log FILE, or take the latest copy.",
        ),
        Some(ErrorCode::DatabaseCorrupt) => (
            "the log is damaged".to_owned(),
            "Keep the file as it is, and go on with the latest copy or bundle.",
        ),
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => {
            ("the log may not be written".to_owned(), "Check who may use the file and its folder.")
        }
        Some(ErrorCode::CannotOpen) => {
            ("the log cannot be opened".to_owned(), "Check the name, and who may use the folder.")
        }
        Some(ErrorCode::DiskFull) => {
            ("the disk is full; nothing was added".to_owned(), "Free some space on the disk.")
        }
        Some(ErrorCode::SystemIoFailure) => (
            "the disk does not take or give the data".to_owned(),
            "Check the disk or the stick the log is on, and its free space.",
        ),
        _ => (format!("the log cannot be used: {error}"), "Check it with `takeup log check`."),
    };
    Refusal::new(reason, way_out).path(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without the index every entry that is read goes through all others: minutes in a large log.
    #[test]
    fn corrections_are_found_by_their_index() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open_or_create(&folder.path().join("l.db")).unwrap();
        let mut plan =
            store.db.prepare(&format!("EXPLAIN QUERY PLAN SELECT {COLUMNS} FROM entry e")).unwrap();
        let steps: Vec<String> = plan.query_map([], |row| row.get(3)).unwrap().map(Result::unwrap).collect();
        assert!(steps.iter().any(|step| step.contains("USING INDEX correction_of")), "{steps:?}");
    }
}
