//! Records out to other programs and machines, and in from them.

use std::io::{Read, Write};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use super::database::StoreError;
use super::filter::Filter;
use super::record::{Digest, RecordError, Sealed};
use super::store::{Store, Stored};

/// The largest file that is imported, bytes.
const MOST_BYTES: u64 = 4 << 30;

/// How many records are kept in one transaction: all of a file or none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Imported {
    /// Records that were new.
    pub new: usize,
    /// Records that were there already.
    pub already: usize,
}

/// Why a file cannot be imported, or records cannot be exported.
#[derive(Debug, thiserror::Error)]
pub enum TransferError {
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Reading or writing.
    #[error("{0}")]
    File(#[from] std::io::Error),
    /// The table cannot be written.
    #[error("{0}")]
    Table(#[from] csv::Error),
    /// Not an export.
    #[error("this is not an export of records ({0}); make one with `loomproof records export`")]
    NotAnExport(String),
    /// A record in the file is not what was kept.
    #[error("record {at} of the file: {error}; nothing was imported")]
    Record {
        /// Its place in the file, from 1.
        at: usize,
        /// What is wrong.
        error: RecordError,
    },
}

/// One record of an export. The record is written exactly as it is sealed, so
/// that its digest can be checked with any SHA-256 program.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Item<'r> {
    digest: String,
    #[serde(borrow)]
    record: &'r RawValue,
}

/// A whole export.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Export<'r> {
    loomproof_records: u32,
    #[serde(borrow)]
    records: Vec<Item<'r>>,
}

/// Writes records as JSON. Altered ones are left out and returned.
///
/// # Errors
/// [`TransferError`].
pub fn to_json(
    store: &mut Store,
    filter: &Filter,
    out: &mut dyn Write,
) -> Result<Vec<(i64, RecordError)>, TransferError> {
    let mut altered = Vec::new();
    let mut between = "";
    write!(out, "{{\"loomproof_records\":1,\"records\":[")?;
    store.walk::<TransferError>(filter, &mut |number, stored| {
        match stored {
            Ok(stored) => {
                let sealed = &stored.sealed;
                let text = String::from_utf8_lossy(sealed.bytes());
                write!(
                    out,
                    "{between}\n{{\"digest\":\"{}\",\"record\":{text}}}",
                    sealed.digest
                )?;
                between = ",";
            }
            Err(error) => altered.push((number, error)),
        }
        Ok(())
    })?;
    writeln!(out, "\n]}}")?;
    Ok(altered)
}

/// What a table has a line for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    /// A run.
    Runs,
    /// A metal path of a run.
    Paths,
}

/// Writes records as CSV (RFC 4180). Altered ones are left out and returned.
///
/// # Errors
/// [`TransferError`].
pub fn to_csv(
    store: &mut Store,
    filter: &Filter,
    table: Table,
    out: &mut dyn Write,
) -> Result<Vec<(i64, RecordError)>, TransferError> {
    let mut altered = Vec::new();
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(out);
    let mut heads = vec![
        "digest", "taken", "test", "title", "place", "who", "vehicle", "unit", "batch", "verdict",
    ];
    match table {
        Table::Runs => heads.extend([
            "found",
            "answers",
            "plan_digest",
            "probe",
            "firmware",
            "program",
            "simulated",
            "broken_off",
        ]),
        Table::Paths => heads.extend(["from", "to", "microohms", "sigma_microohms"]),
    }
    writer.write_record(&heads)?;
    store.walk::<TransferError>(filter, &mut |number, stored| {
        match stored {
            Ok(stored) => lines(&stored, table, &mut writer)?,
            Err(error) => altered.push((number, error)),
        }
        Ok(())
    })?;
    writer.flush()?;
    Ok(altered)
}

fn lines(
    stored: &Stored,
    table: Table,
    writer: &mut csv::Writer<&mut dyn Write>,
) -> Result<(), TransferError> {
    let (record, digest) = (&stored.sealed.record, stored.sealed.digest.to_string());
    let subject = &record.subject;
    let name = |text: &Option<String>| cell(text.as_deref().unwrap_or_default());
    let start = vec![
        digest,
        record.taken.clone(),
        record.test.word().to_owned(),
        cell(&record.title),
        cell(&record.place),
        name(&subject.who),
        name(&subject.vehicle),
        name(&subject.unit),
        name(&subject.batch),
        record.verdict.word().to_owned(),
    ];
    match table {
        Table::Runs => {
            let found: Vec<String> = record
                .found
                .iter()
                .map(|one| format!("{}@{} ({} ‰)", one.kind, one.place, one.permille))
                .collect();
            let answers: Vec<String> = record
                .answers
                .iter()
                .map(|(option, value)| format!("{option}={value}"))
                .collect();
            let probe = record.probe.as_ref();
            let mut line = start;
            line.extend([
                cell(&found.join("; ")),
                cell(&answers.join("; ")),
                cell(&record.plan_digest),
                cell(&probe.map_or_else(String::new, |it| format!("{} {}", it.board, it.serial))),
                cell(probe.map_or("", |it| &it.build)),
                cell(&record.program),
                yes(record.simulated),
                yes(record.broken_off),
            ]);
            writer.write_record(&line)?;
        }
        Table::Paths => {
            for path in &record.paths {
                let mut line = start.clone();
                line.extend([
                    cell(&path.from),
                    cell(&path.to),
                    path.ohms.map(|ohms| ohms.0.to_string()).unwrap_or_default(),
                    path.sigma.0.to_string(),
                ]);
                writer.write_record(&line)?;
            }
        }
    }
    Ok(())
}

fn yes(is: bool) -> String {
    if is { "yes" } else { "no" }.to_owned()
}

/// A text that no table program takes for a formula: what begins like one gets
/// an apostrophe in front (common practice).
fn cell(text: &str) -> String {
    let first = text.trim_start_matches([' ', '\u{a0}']).chars().next();
    match first {
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠') => {
            format!("'{text}")
        }
        _ => text.to_owned(),
    }
}

/// Takes the records of an export in, all or none; what is there already is
/// not kept twice.
///
/// # Errors
/// [`TransferError`]; the store is then as it was.
pub fn from_json(store: &mut Store, from: &mut dyn Read) -> Result<Imported, TransferError> {
    let mut text = String::new();
    from.take(MOST_BYTES).read_to_string(&mut text)?;
    let export: Export<'_> = serde_json::from_str(&text)
        .map_err(|error| TransferError::NotAnExport(error.to_string()))?;
    if export.loomproof_records != 1 {
        return Err(TransferError::NotAnExport(format!(
            "its layout is {}, this program reads 1",
            export.loomproof_records
        )));
    }
    let mut all = Vec::with_capacity(export.records.len());
    for (at, item) in export.records.iter().enumerate() {
        let wrong = |error| TransferError::Record { at: at + 1, error };
        let digest = Digest::parse(&item.digest)
            .ok_or_else(|| wrong(RecordError::Unreadable("its digest is none".to_owned())))?;
        let bytes = item.record.get().as_bytes().to_vec();
        all.push(Sealed::open(bytes, digest).map_err(wrong)?);
    }
    let kept = store.keep_all(&all)?;
    let already = kept.iter().filter(|kept| kept.already).count();
    Ok(Imported {
        new: kept.len() - already,
        already,
    })
}

#[cfg(test)]
mod tests {
    use super::cell;

    #[test]
    fn nothing_is_taken_for_a_formula() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\r=1", " =1", "＝1"] {
            assert!(cell(text).starts_with('\''), "{text:?}");
        }
        for text in ["X1:3", "", "a=b", "left kick panel"] {
            assert_eq!(cell(text), text);
        }
    }
}
