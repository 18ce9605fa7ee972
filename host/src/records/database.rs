//! The little that a store asks of a database, so that SQLite and PostgreSQL
//! serve alike: statements with `$1`, `$2` … in this order, integers, texts and
//! byte strings, and a transaction that only one writer has at a time.

use super::record::RecordError;

/// A value in a statement or a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Value {
    /// Nothing.
    Null,
    /// An integer.
    Int(i64),
    /// A text.
    Text(String),
    /// Bytes.
    Bytes(Vec<u8>),
}

impl From<i64> for Value {
    fn from(value: i64) -> Self {
        Self::Int(value)
    }
}

impl From<bool> for Value {
    fn from(value: bool) -> Self {
        Self::Int(i64::from(value))
    }
}

impl From<&str> for Value {
    /// Without NUL, which PostgreSQL's texts cannot hold.
    fn from(value: &str) -> Self {
        Self::Text(value.replace('\0', "\u{fffd}"))
    }
}

impl From<&String> for Value {
    fn from(value: &String) -> Self {
        Self::from(value.as_str())
    }
}

impl From<Option<&str>> for Value {
    fn from(value: Option<&str>) -> Self {
        value.map_or(Self::Null, Self::from)
    }
}

impl From<Vec<u8>> for Value {
    fn from(value: Vec<u8>) -> Self {
        Self::Bytes(value)
    }
}

/// A row, read column by column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row(pub Vec<Value>);

impl Row {
    /// The integer in a column; 0 where there is none.
    #[must_use]
    pub fn int(&self, column: usize) -> i64 {
        match self.0.get(column) {
            Some(Value::Int(value)) => *value,
            _ => 0,
        }
    }

    /// The text in a column; empty where there is none.
    #[must_use]
    pub fn text(&self, column: usize) -> &str {
        self.maybe(column).unwrap_or_default()
    }

    /// The text in a column, if there is one.
    #[must_use]
    pub fn maybe(&self, column: usize) -> Option<&str> {
        match self.0.get(column) {
            Some(Value::Text(value)) => Some(value),
            _ => None,
        }
    }

    /// The bytes in a column; none where there are none.
    #[must_use]
    pub fn bytes(&self, column: usize) -> &[u8] {
        match self.0.get(column) {
            Some(Value::Bytes(value)) => value,
            _ => &[],
        }
    }
}

/// Why a store cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Nothing is there yet.
    #[error(
        "{0}: there are no records yet; `loomproof ringout` keeps every run, or give another place \
         with --store"
    )]
    Nothing(String),
    /// It cannot be opened.
    #[error("{place}: the records cannot be opened: {reason}")]
    Open {
        /// Where the store is.
        place: String,
        /// Why, and what to do.
        reason: String,
    },
    /// Somebody else writes, for long.
    #[error(
        "{0}: another program has been writing to these records for half a minute; wait for it, or \
         end it, and try again"
    )]
    Busy(String),
    /// The disk is full.
    #[error("{0}: the disk is full, nothing was written; make room and try again")]
    Full(String),
    /// It cannot be written to.
    #[error(
        "{0}: these records can be read but not written; set the rights on the file and its \
         folder, or give another place with --store"
    )]
    ReadOnly(String),
    /// It is something else.
    #[error("{0}: this is not a store of records; give another place with --store")]
    Foreign(String),
    /// A later version of the program wrote it.
    #[error("{0}: these records were laid out by a later version of this program; use that one")]
    Later(String),
    /// It is damaged.
    #[error(
        "{place}: the records are damaged ({reason}); copy the file away, then take what is whole \
         with `loomproof records export --format json` and import it into a new store"
    )]
    Damaged {
        /// Where the store is.
        place: String,
        /// What the database said.
        reason: String,
    },
    /// The database refused or went away.
    #[error("{place}: the database failed: {reason}; nothing of this run of the command was kept")]
    Failed {
        /// Where the store is.
        place: String,
        /// What the database said.
        reason: String,
    },
    /// A record is not what was kept.
    #[error("record {number}: {error}")]
    Record {
        /// Its number.
        number: i64,
        /// What is wrong.
        error: RecordError,
    },
    /// No such record.
    #[error("there is no record {0}; `loomproof records list` shows all")]
    NoSuch(String),
    /// A shortened digest fits several records.
    #[error("several records begin with {0}; give more digits, or the number")]
    Several(String),
    /// Something cannot be written down.
    #[error("{0}")]
    Content(String),
}

/// A connection to a database.
pub trait Database {
    /// Where it is, for people; without password.
    fn place(&self) -> &str;

    /// The type of a column of bytes.
    fn bytes_type(&self) -> &'static str;

    /// Begins a transaction; for writing, no other may write meanwhile.
    ///
    /// # Errors
    /// [`StoreError`].
    fn begin(&mut self, write: bool) -> Result<(), StoreError>;

    /// Ends a transaction; when this returns, it is on the disk.
    ///
    /// # Errors
    /// [`StoreError`]; nothing of it was kept then.
    fn commit(&mut self) -> Result<(), StoreError>;

    /// Gives a transaction up.
    fn roll_back(&mut self);

    /// Runs a statement and gives the number of rows that it changed.
    ///
    /// # Errors
    /// [`StoreError`].
    fn execute(&mut self, sql: &str, values: &[Value]) -> Result<u64, StoreError>;

    /// Asks for rows.
    ///
    /// # Errors
    /// [`StoreError`].
    fn query(&mut self, sql: &str, values: &[Value]) -> Result<Vec<Row>, StoreError>;
}
