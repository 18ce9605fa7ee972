//! Records in a database: kept, listed, found again, walked through, checked.

use jiff::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;

use super::database::{Database, Row, StoreError, Value};
use super::filter::Filter;
use super::record::{Digest, RecordError, Sealed};
use super::sqlite::Access;
use super::upkeep::{self, COLUMNS};

/// How many records are read at once when all are walked through.
const PAGE: i64 = 500;

/// Columns before those that follow from the record: number, digest, link.
const OWN: usize = 3;

/// A store of records.
pub struct Store {
    pub(super) db: Box<dyn Database>,
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Store").field(&self.db.place()).finish()
    }
}

/// Where a record stands in its store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Its number in this store.
    pub number: i64,
    /// What it is.
    pub digest: Digest,
    /// The chain up to it.
    pub link: Digest,
    /// Whether it was there already.
    pub already: bool,
}

/// A record with its place in the store.
#[derive(Debug, Clone)]
pub struct Stored {
    /// Its number in this store.
    pub number: i64,
    /// The chain up to it.
    pub link: Digest,
    /// The record, checked against its seal.
    pub sealed: Sealed,
}

/// A line of the list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Line {
    /// Its number in this store.
    pub number: i64,
    /// SHA-256 of the record.
    pub digest: String,
    /// When it was taken: RFC 3339, UTC.
    pub taken: String,
    /// Whether harness or vehicle were simulated.
    pub simulated: bool,
    /// What was done: `ringout`, `live`, `wiggle`, `comeback` or `drain`.
    pub test: String,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// `bench` or `vehicle`.
    pub place: String,
    /// Who measured.
    pub who: Option<String>,
    /// The vehicle.
    pub vehicle: Option<String>,
    /// Serial number of the harness.
    pub unit: Option<String>,
    /// The batch.
    pub batch: Option<String>,
    /// The verdict.
    pub verdict: String,
    /// The faults found, in a line; empty where there are none.
    pub faults: String,
}

/// What a check found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Checked {
    /// How many records there are.
    pub records: i64,
    /// The chain up to the last one.
    pub head: String,
    /// What is wrong, in the order of the numbers.
    pub wrong: Vec<Wrong>,
}

/// A record that is not what was kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Wrong {
    /// Its number.
    pub number: i64,
    /// What is wrong with it.
    pub say: String,
}

impl Store {
    /// A store in a database; to write, its tables are made where they are not
    /// there.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn new(db: Box<dyn Database>, access: Access) -> Result<Self, StoreError> {
        let mut store = Self { db };
        if access == Access::Write {
            store.writing(|db| upkeep::tables(db))?;
        }
        Ok(store)
    }

    /// Where it is, for people.
    #[must_use]
    pub fn place(&self) -> &str {
        self.db.place()
    }

    fn writing<T>(
        &mut self,
        work: impl FnOnce(&mut dyn Database) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.db.begin(true)?;
        match work(self.db.as_mut()) {
            Ok(done) => {
                self.db.commit()?;
                Ok(done)
            }
            Err(error) => {
                self.db.roll_back();
                Err(error)
            }
        }
    }

    /// Keeps a record; when this returns, it is on the disk. One that is there
    /// already is not kept again.
    ///
    /// # Errors
    /// [`StoreError`]; the store is then as it was.
    pub fn keep(&mut self, sealed: &Sealed) -> Result<Kept, StoreError> {
        let mut kept = self.keep_all(std::slice::from_ref(sealed))?;
        kept.pop()
            .ok_or_else(|| StoreError::Content("nothing was kept".to_owned()))
    }

    /// Keeps records, all or none.
    ///
    /// # Errors
    /// [`StoreError`]; the store is then as it was.
    pub fn keep_all(&mut self, all: &[Sealed]) -> Result<Vec<Kept>, StoreError> {
        self.writing(|db| {
            let (mut last, mut head) = head(db)?;
            let mut kept = Vec::with_capacity(all.len());
            for sealed in all {
                if let Some(there) = there(db, sealed.digest)? {
                    kept.push(there);
                    continue;
                }
                last += 1;
                head = Digest::link(head, sealed.digest);
                upkeep::write(db, sealed, last, &head.to_string())?;
                kept.push(Kept {
                    number: last,
                    digest: sealed.digest,
                    link: head,
                    already: false,
                });
            }
            Ok(kept)
        })
    }

    /// How many records a filter lets through.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn count(&mut self, filter: &Filter) -> Result<i64, StoreError> {
        let mut values = Vec::new();
        let conditions = filter.conditions(0, &mut values);
        let sql = format!("SELECT COUNT(*) FROM record WHERE {conditions}");
        let rows = self.db.query(&sql, &values)?;
        Ok(rows.first().map_or(0, |row| row.int(0)))
    }

    /// The latest records that a filter lets through, the latest first.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn list(&mut self, filter: &Filter, most: i64) -> Result<Vec<Line>, StoreError> {
        let mut values = Vec::new();
        let conditions = filter.conditions(0, &mut values);
        values.push(most.into());
        let sql = format!(
            "SELECT {COLUMNS} FROM record WHERE {conditions} ORDER BY taken_ms DESC, seq DESC \
             LIMIT ${}",
            values.len()
        );
        Ok(self.db.query(&sql, &values)?.iter().map(line).collect())
    }

    /// The record with this number, or whose digest begins so.
    ///
    /// # Errors
    /// [`StoreError`], also where it was altered since it was kept.
    pub fn get(&mut self, which: &str) -> Result<Stored, StoreError> {
        let select = format!("SELECT {COLUMNS}, body FROM record");
        let is_number = which.len() < 8 && which.bytes().all(|b| b.is_ascii_digit());
        let rows = if let (true, Ok(number)) = (is_number, which.parse::<i64>()) {
            self.db
                .query(&format!("{select} WHERE seq = $1"), &[number.into()])?
        } else if (6..=64).contains(&which.len()) && which.bytes().all(|b| b.is_ascii_hexdigit()) {
            let from = which.to_lowercase();
            // Behind every digit of a digest stands this one.
            let to = format!("{from}g");
            self.db.query(
                &format!("{select} WHERE digest >= $1 AND digest < $2 ORDER BY digest LIMIT 2"),
                &[(&from).into(), (&to).into()],
            )?
        } else {
            return Err(StoreError::NoSuch(which.to_owned()));
        };
        match rows.as_slice() {
            [] => Err(StoreError::NoSuch(which.to_owned())),
            [row] => stored(row).map_err(|error| StoreError::Record {
                number: row.int(0),
                error,
            }),
            _ => Err(StoreError::Several(which.to_owned())),
        }
    }

    /// Every record that a filter lets through, by number; altered ones as what
    /// is wrong with them.
    ///
    /// # Errors
    /// [`StoreError`], or what `each` gives.
    pub fn walk<E: From<StoreError>>(
        &mut self,
        filter: &Filter,
        each: &mut dyn FnMut(i64, Result<Stored, RecordError>) -> Result<(), E>,
    ) -> Result<(), E> {
        self.db.begin(false)?;
        let walked = self.pages(filter, each);
        self.db.roll_back();
        walked
    }

    fn pages<E: From<StoreError>>(
        &mut self,
        filter: &Filter,
        each: &mut dyn FnMut(i64, Result<Stored, RecordError>) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut last = i64::MIN;
        loop {
            let mut values = Vec::new();
            let conditions = filter.conditions(last, &mut values);
            let sql = format!(
                "SELECT {COLUMNS}, body FROM record WHERE {conditions} ORDER BY seq LIMIT {PAGE}"
            );
            let rows = self.db.query(&sql, &values)?;
            for row in &rows {
                last = row.int(0);
                each(last, stored(row))?;
            }
            if i64::try_from(rows.len()).unwrap_or(0) < PAGE {
                return Ok(());
            }
        }
    }

    /// Checks every record against its seal, the list against the records, and
    /// the chain.
    ///
    /// # Errors
    /// [`StoreError`] where it cannot be read; what is wrong with records is
    /// in [`Checked`].
    pub fn check(&mut self) -> Result<Checked, StoreError> {
        let mut checked = Checked {
            records: 0,
            head: Digest::START.to_string(),
            wrong: Vec::new(),
        };
        let mut head = Digest::START;
        self.walk::<StoreError>(&Filter::default(), &mut |number, stored| {
            checked.records += 1;
            let mut wrong = |error: &RecordError| {
                checked.wrong.push(Wrong {
                    number,
                    say: error.to_string(),
                });
            };
            if number != checked.records {
                wrong(&RecordError::Number(checked.records));
                checked.records = number;
            }
            match stored {
                Ok(stored) => {
                    if stored.link != Digest::link(head, stored.sealed.digest) {
                        wrong(&RecordError::Link);
                    }
                    head = stored.link;
                }
                Err(error) => wrong(&error),
            }
            Ok(())
        })?;
        checked.head = head.to_string();
        Ok(checked)
    }

    /// Whether the chain passes through this link: whether all that was kept
    /// when it was written down is still there.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn passes(&mut self, link: Digest) -> Result<bool, StoreError> {
        let text = link.to_string();
        let rows = self.db.query(
            "SELECT seq FROM record WHERE link = $1",
            &[Value::from(&text)],
        )?;
        Ok(!rows.is_empty())
    }
}

/// Number and link of the last record.
fn head(db: &mut dyn Database) -> Result<(i64, Digest), StoreError> {
    let rows = db.query(
        "SELECT seq, link FROM record ORDER BY seq DESC LIMIT 1",
        &[],
    )?;
    let Some(row) = rows.first() else {
        return Ok((0, Digest::START));
    };
    let number = row.int(0);
    let link = Digest::parse(row.text(1)).ok_or(StoreError::Record {
        number,
        error: RecordError::Link,
    })?;
    Ok((number, link))
}

fn there(db: &mut dyn Database, digest: Digest) -> Result<Option<Kept>, StoreError> {
    let text = digest.to_string();
    let rows = db.query(
        "SELECT seq, link FROM record WHERE digest = $1",
        &[Value::from(&text)],
    )?;
    Ok(rows.first().and_then(|row| {
        Some(Kept {
            number: row.int(0),
            digest,
            link: Digest::parse(row.text(1))?,
            already: true,
        })
    }))
}

fn line(row: &Row) -> Line {
    let taken = Timestamp::from_millisecond(row.int(3)).map(super::record::taken_text);
    let maybe = |column| row.maybe(column).map(str::to_owned);
    Line {
        number: row.int(0),
        digest: row.text(1).to_owned(),
        taken: taken.unwrap_or_default(),
        simulated: row.int(4) != 0,
        test: row.text(5).to_owned(),
        title: row.text(6).to_owned(),
        plan_digest: row.text(7).to_owned(),
        place: row.text(8).to_owned(),
        who: maybe(9),
        vehicle: maybe(10),
        unit: maybe(11),
        batch: maybe(12),
        verdict: row.text(13).to_owned(),
        faults: row.text(14).to_owned(),
    }
}

fn stored(row: &Row) -> Result<Stored, RecordError> {
    let broken = || RecordError::Unreadable("its digest is none".to_owned());
    let digest = Digest::parse(row.text(1)).ok_or_else(broken)?;
    let link = Digest::parse(row.text(2)).ok_or(RecordError::Link)?;
    let body = row.bytes(row.0.len().saturating_sub(1));
    let sealed = Sealed::unpack(body, digest)?;
    upkeep::same_columns(row.0.get(OWN..).unwrap_or_default(), &sealed.record)?;
    Ok(Stored {
        number: row.int(0),
        link,
        sealed,
    })
}
