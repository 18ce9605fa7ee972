//! Records in an SQLite file: write-ahead log, every commit flushed to disk, so
//! that a power cut loses at most the run in progress.

use std::path::Path;
use std::time::{Duration, Instant};

use rusqlite::types::{ToSql, ToSqlOutput, ValueRef};
use rusqlite::{Connection, ErrorCode, OpenFlags, params_from_iter};

use super::database::{Database, Row, StoreError, Value};

/// How long another writer is waited for.
const PATIENCE: Duration = Duration::from_secs(30);

/// How long before a store that is being made is opened once more.
const AGAIN: Duration = Duration::from_millis(20);

/// Marks the file as a store of records ("LOOM"; `PRAGMA application_id`).
const APPLICATION: i32 = 0x4c4f_4f4d;

/// Version of the tables.
const LAYOUT: i32 = 1;

/// What a store is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// It must be there.
    Read,
    /// It is made where it is not there.
    Write,
}

/// A file that may be written to.
enum Ours {
    /// It holds nothing yet.
    Empty,
    /// It is a store of records.
    Marked,
}

/// An SQLite file.
#[derive(Debug)]
pub struct Sqlite {
    connection: Connection,
    place: String,
}

impl Sqlite {
    /// Opens the file; to write, it and its folder are made where they are not
    /// there.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn open(path: &Path, access: Access) -> Result<Self, StoreError> {
        let place = path.display().to_string();
        let there = path.exists();
        if !there && access == Access::Read {
            return Err(StoreError::Nothing(place));
        }
        if path.is_dir() {
            return Err(StoreError::Open {
                place,
                reason: "this is a folder; give the name of a file in it".to_owned(),
            });
        }
        if !there
            && let Some(folder) = path.parent()
            && let Err(error) = std::fs::create_dir_all(folder)
        {
            return Err(StoreError::Open {
                place,
                reason: format!(
                    "its folder cannot be made ({error}); check the rights, or give another place \
                     with --store"
                ),
            });
        }
        match Self::patiently(path, &place, access) {
            // SQLite says the same of a file that is not there.
            Err(StoreError::Open { .. })
                if access == Access::Write
                    && there
                    && std::fs::OpenOptions::new().append(true).open(path).is_err() =>
            {
                Err(StoreError::ReadOnly(place))
            }
            Err(error) if access == Access::Read && there => Self::frozen(path, &place, error),
            other => other,
        }
    }

    /// Where another command makes the store just now, SQLite does not wait for
    /// it by itself (switching to the log wants the file alone).
    fn patiently(path: &Path, place: &str, access: Access) -> Result<Self, StoreError> {
        let start = Instant::now();
        loop {
            match Self::read_write(path, place, access) {
                Err(StoreError::Busy(_)) if start.elapsed() < PATIENCE => {
                    std::thread::sleep(AGAIN);
                }
                done => return done,
            }
        }
    }

    fn read_write(path: &Path, place: &str, access: Access) -> Result<Self, StoreError> {
        let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        if access == Access::Write {
            flags |= OpenFlags::SQLITE_OPEN_CREATE;
        }
        let fail = |error| failure(place, &error);
        let connection = Connection::open_with_flags(path, flags).map_err(fail)?;
        let store = Self {
            connection,
            place: place.to_owned(),
        };
        let db = &store.connection;
        db.busy_timeout(PATIENCE).map_err(fail)?;
        store.is_ours()?;
        if access == Access::Write {
            let mode: String = db
                .query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))
                .map_err(fail)?;
            if mode != "wal" {
                return Err(StoreError::ReadOnly(place.to_owned()));
            }
        }
        db.execute_batch("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")
            .map_err(fail)?;
        Ok(store)
    }

    /// From a medium that cannot be written to; only where no log of another
    /// writer lies beside the file, which could not be read then.
    fn frozen(path: &Path, place: &str, error: StoreError) -> Result<Self, StoreError> {
        let log = Path::new(&format!("{place}-wal")).to_owned();
        let empty = std::fs::metadata(&log).map_or(true, |log| log.len() == 0);
        let may_help = matches!(error, StoreError::ReadOnly(_) | StoreError::Open { .. });
        let Ok(text) = path.canonicalize() else {
            return Err(error);
        };
        if !empty || !may_help {
            return Err(error);
        }
        let mut uri = String::from("file:");
        for byte in text.to_string_lossy().bytes() {
            if byte.is_ascii_alphanumeric() || b"/._-".contains(&byte) {
                uri.push(char::from(byte));
            } else {
                uri.push_str(&format!("%{byte:02X}"));
            }
        }
        uri.push_str("?immutable=1");
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
        let connection =
            Connection::open_with_flags(uri, flags).map_err(|error| failure(place, &error))?;
        let store = Self {
            connection,
            place: place.to_owned(),
        };
        store.is_ours()?;
        Ok(store)
    }

    /// Whether the file is a store of records of a layout that is known; an
    /// empty one is marked as such when the tables are made. Within one
    /// transaction: another command may be making them just now.
    fn is_ours(&self) -> Result<Ours, StoreError> {
        if !self.connection.is_autocommit() {
            return self.marks();
        }
        let run = |sql| {
            let done = self.connection.execute_batch(sql);
            done.map_err(|error| failure(&self.place, &error))
        };
        run("BEGIN")?;
        let ours = self.marks();
        run("COMMIT")?;
        ours
    }

    fn marks(&self) -> Result<Ours, StoreError> {
        let number = |sql: &str| -> Result<i32, StoreError> {
            self.connection
                .query_row(sql, [], |row| row.get(0))
                .map_err(|error| failure(&self.place, &error))
        };
        let (application, layout) = (
            number("PRAGMA application_id")?,
            number("PRAGMA user_version")?,
        );
        let tables = number("SELECT COUNT(*) FROM sqlite_master")?;
        match (application, layout, tables) {
            (0, 0, 0) => Ok(Ours::Empty),
            (APPLICATION, layout, _) if layout > LAYOUT => {
                Err(StoreError::Later(self.place.clone()))
            }
            (APPLICATION, ..) => Ok(Ours::Marked),
            _ => Err(StoreError::Foreign(self.place.clone())),
        }
    }

    fn fail(&self, error: &rusqlite::Error) -> StoreError {
        failure(&self.place, error)
    }
}

fn failure(place: &str, error: &rusqlite::Error) -> StoreError {
    let place = place.to_owned();
    let reason = error.to_string();
    match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => StoreError::Busy(place),
        Some(ErrorCode::DiskFull) => StoreError::Full(place),
        Some(ErrorCode::ReadOnly) => StoreError::ReadOnly(place),
        Some(ErrorCode::NotADatabase) => StoreError::Foreign(place),
        Some(ErrorCode::DatabaseCorrupt) => StoreError::Damaged { place, reason },
        Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => StoreError::Open {
            place,
            reason: format!(
                "{reason}; check that its folder is there and the rights on it, or give another \
                 place with --store"
            ),
        },
        _ => StoreError::Failed { place, reason },
    }
}

impl ToSql for Value {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::Borrowed(match self {
            Self::Null => ValueRef::Null,
            Self::Int(value) => ValueRef::Integer(*value),
            Self::Text(value) => ValueRef::Text(value.as_bytes()),
            Self::Bytes(value) => ValueRef::Blob(value),
        }))
    }
}

impl Database for Sqlite {
    fn place(&self) -> &str {
        &self.place
    }

    fn bytes_type(&self) -> &'static str {
        "BLOB"
    }

    fn begin(&mut self, write: bool) -> Result<(), StoreError> {
        let sql = if write { "BEGIN IMMEDIATE" } else { "BEGIN" };
        self.connection
            .execute_batch(sql)
            .map_err(|error| self.fail(&error))?;
        if write {
            // Within the transaction, so that a file is ours or empty.
            let mark =
                format!("PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {LAYOUT};");
            let marked = self.is_ours().and_then(|ours| match ours {
                Ours::Marked => Ok(()),
                Ours::Empty => self
                    .connection
                    .execute_batch(&mark)
                    .map_err(|error| self.fail(&error)),
            });
            if marked.is_err() {
                self.roll_back();
            }
            return marked;
        }
        Ok(())
    }

    fn commit(&mut self) -> Result<(), StoreError> {
        let done = self.connection.execute_batch("COMMIT");
        done.map_err(|error| {
            let error = self.fail(&error);
            self.roll_back();
            error
        })
    }

    fn roll_back(&mut self) {
        // Where the database gave it up already, there is nothing to do.
        let _ = self.connection.execute_batch("ROLLBACK");
    }

    fn execute(&mut self, sql: &str, values: &[Value]) -> Result<u64, StoreError> {
        let run = || {
            let mut statement = self.connection.prepare_cached(sql)?;
            statement.execute(params_from_iter(values))
        };
        run()
            .map(|rows| rows as u64)
            .map_err(|error| self.fail(&error))
    }

    fn query(&mut self, sql: &str, values: &[Value]) -> Result<Vec<Row>, StoreError> {
        let run = || -> rusqlite::Result<Vec<Row>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let columns = statement.column_count();
            let mut found = Vec::new();
            let mut rows = statement.query(params_from_iter(values))?;
            while let Some(row) = rows.next()? {
                let value = |column| {
                    Ok(match row.get_ref(column)? {
                        ValueRef::Null => Value::Null,
                        ValueRef::Integer(value) => Value::Int(value),
                        #[allow(
                            clippy::cast_possible_truncation,
                            reason = "no column holds fractions; an altered one is told by its record"
                        )]
                        ValueRef::Real(value) => Value::Int(value as i64),
                        ValueRef::Text(text) => {
                            Value::Text(String::from_utf8_lossy(text).into_owned())
                        }
                        ValueRef::Blob(bytes) => Value::Bytes(bytes.to_vec()),
                    })
                };
                let row: rusqlite::Result<Vec<Value>> = (0..columns).map(value).collect();
                found.push(Row(row?));
            }
            Ok(found)
        };
        run().map_err(|error| self.fail(&error))
    }
}
