//! The tables, and what is written with each record so that lists, yields and
//! drift are found at once in a hundred thousand.

use super::database::{Database, StoreError, Value};
use super::record::{Found, Record, RecordError, Sealed, Test};
use crate::ringout::report::Verdict;

/// The columns of a record in the list, in their order.
pub(super) const COLUMNS: &str = "seq, digest, link, taken_ms, simulated, test, title, \
     plan_digest, place, who, vehicle, unit, batch, verdict, faults";

/// Makes the tables where they are not there.
pub(super) fn tables(db: &mut dyn Database) -> Result<(), StoreError> {
    let bytes = db.bytes_type();
    let statements = [
        format!(
            "CREATE TABLE IF NOT EXISTS record (seq BIGINT PRIMARY KEY, digest TEXT NOT NULL UNIQUE, \
             link TEXT NOT NULL, taken_ms BIGINT NOT NULL, simulated BIGINT NOT NULL, \
             test TEXT NOT NULL, title TEXT NOT NULL, plan_digest TEXT NOT NULL, \
             place TEXT NOT NULL, who TEXT, vehicle TEXT, unit TEXT, batch TEXT, \
             verdict TEXT NOT NULL, faults TEXT NOT NULL, body {bytes} NOT NULL)"
        ),
        "CREATE INDEX IF NOT EXISTS record_taken ON record (taken_ms, seq)".to_owned(),
        "CREATE INDEX IF NOT EXISTS record_title ON record (title, taken_ms)".to_owned(),
        "CREATE INDEX IF NOT EXISTS record_unit ON record (unit, taken_ms)".to_owned(),
        "CREATE INDEX IF NOT EXISTS record_vehicle ON record (vehicle, taken_ms)".to_owned(),
        "CREATE INDEX IF NOT EXISTS record_batch ON record (batch, taken_ms)".to_owned(),
        "CREATE INDEX IF NOT EXISTS record_who ON record (who, taken_ms)".to_owned(),
        "CREATE INDEX IF NOT EXISTS record_verdict ON record (verdict, taken_ms)".to_owned(),
        // How often each verdict, per plan.
        "CREATE TABLE IF NOT EXISTS tally (simulated BIGINT NOT NULL, title TEXT NOT NULL, \
         verdict TEXT NOT NULL, runs BIGINT NOT NULL, PRIMARY KEY (simulated, title, verdict))"
            .to_owned(),
        // Of every harness or vehicle: its first run.
        "CREATE TABLE IF NOT EXISTS first_run (simulated BIGINT NOT NULL, title TEXT NOT NULL, \
         subject TEXT NOT NULL, at_ms BIGINT NOT NULL, digest TEXT NOT NULL, \
         verdict TEXT NOT NULL, runs BIGINT NOT NULL, PRIMARY KEY (simulated, title, subject))"
            .to_owned(),
        // Faults by kind and place, weighted by how sure they are.
        "CREATE TABLE IF NOT EXISTS fault (simulated BIGINT NOT NULL, title TEXT NOT NULL, \
         kind TEXT NOT NULL, place TEXT NOT NULL, permille BIGINT NOT NULL, runs BIGINT NOT NULL, \
         PRIMARY KEY (simulated, title, kind, place))"
            .to_owned(),
        // Of every path of every harness or vehicle: its first and last ohms.
        "CREATE TABLE IF NOT EXISTS drift (simulated BIGINT NOT NULL, title TEXT NOT NULL, \
         plan_digest TEXT NOT NULL, subject TEXT NOT NULL, path TEXT NOT NULL, \
         first_ms BIGINT NOT NULL, first_uohm BIGINT NOT NULL, last_ms BIGINT NOT NULL, \
         last_uohm BIGINT NOT NULL, sigma_uohm BIGINT NOT NULL, rise_uohm BIGINT NOT NULL, \
         runs BIGINT NOT NULL, PRIMARY KEY (simulated, subject, plan_digest, path))"
            .to_owned(),
        "CREATE INDEX IF NOT EXISTS drift_rise ON drift (simulated, rise_uohm)".to_owned(),
    ];
    for statement in statements {
        db.execute(&statement, &[])?;
    }
    Ok(())
}

/// The list's columns of a record, without number, digest and link.
fn columns(record: &Record) -> Result<Vec<Value>, RecordError> {
    let subject = &record.subject;
    Ok(vec![
        record.at()?.as_millisecond().into(),
        record.simulated.into(),
        record.test.word().into(),
        (&record.title).into(),
        (&record.plan_digest).into(),
        (&record.place).into(),
        subject.who.as_deref().into(),
        subject.vehicle.as_deref().into(),
        subject.unit.as_deref().into(),
        subject.batch.as_deref().into(),
        record.verdict.word().into(),
        faults(&record.found).as_str().into(),
    ])
}

/// The faults in a line: all that are sure, or the likeliest and how many
/// others it may be.
fn faults(found: &[Found]) -> String {
    let sure: Vec<String> = found
        .iter()
        .filter(|one| one.permille >= 990)
        .map(|one| format!("{}@{}", one.kind, one.place))
        .collect();
    match found {
        _ if !sure.is_empty() => sure.join(", "),
        [] => String::new(),
        [one] => format!("{}@{}", one.kind, one.place),
        [one, rest @ ..] => format!("{}@{} or one of {} others", one.kind, one.place, rest.len()),
    }
}

/// Whether the list's columns are those of the record.
pub(super) fn same_columns(row: &[Value], record: &Record) -> Result<(), RecordError> {
    const NAMES: [&str; 12] = [
        "time", "probe", "test", "title", "plan", "place", "person", "vehicle", "unit", "batch",
        "verdict", "faults",
    ];
    let wanted = columns(record)?;
    let differs = wanted.iter().zip(row).position(|(a, b)| a != b);
    match differs {
        None if row.len() >= wanted.len() => Ok(()),
        at => Err(RecordError::Column(
            NAMES.get(at.unwrap_or(0)).copied().unwrap_or("line"),
        )),
    }
}

/// Writes one record, with all that follows from it.
pub(super) fn write(
    db: &mut dyn Database,
    sealed: &Sealed,
    seq: i64,
    link: &str,
) -> Result<(), StoreError> {
    let record = &sealed.record;
    let wrong = |error| StoreError::Record { number: seq, error };
    let mut values: Vec<Value> = vec![
        seq.into(),
        sealed.digest.to_string().as_str().into(),
        link.into(),
    ];
    values.extend(columns(record).map_err(wrong)?);
    values.push(sealed.packed().map_err(StoreError::Content)?.into());
    db.execute(
        &format!(
            "INSERT INTO record ({COLUMNS}, body) VALUES \
             ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)"
        ),
        &values,
    )?;
    // Yield, faults and drift are those of harnesses that were rung out: a comeback is
    // no second try at fitting.
    if record.test != Test::Ringout {
        return Ok(());
    }
    let (simulated, title) = (Value::from(record.simulated), Value::from(&record.title));
    db.execute(
        "INSERT INTO tally (simulated, title, verdict, runs) VALUES ($1, $2, $3, 1) \
         ON CONFLICT (simulated, title, verdict) DO UPDATE SET runs = tally.runs + 1",
        &[
            simulated.clone(),
            title.clone(),
            record.verdict.word().into(),
        ],
    )?;
    for found in &record.found {
        db.execute(
            "INSERT INTO fault (simulated, title, kind, place, permille, runs) \
             VALUES ($1, $2, $3, $4, $5, 1) ON CONFLICT (simulated, title, kind, place) \
             DO UPDATE SET permille = fault.permille + excluded.permille, runs = fault.runs + 1",
            &[
                simulated.clone(),
                title.clone(),
                (&found.kind).into(),
                (&found.place).into(),
                i64::from(found.permille).into(),
            ],
        )?;
    }
    let Some(subject) = record.subject.key() else {
        return Ok(());
    };
    let at = record.at().map_err(wrong)?.as_millisecond();
    first_run(db, sealed, subject, at)?;
    // A refusal broke off, and faults are no drift.
    if record.verdict == Verdict::Pass {
        drift(db, record, subject, at)?;
    }
    Ok(())
}

fn first_run(
    db: &mut dyn Database,
    sealed: &Sealed,
    subject: &str,
    at: i64,
) -> Result<(), StoreError> {
    let record = &sealed.record;
    // The earlier one stays, in whatever order they come; of two at once, the
    // smaller digest.
    const EARLIER: &str = "excluded.at_ms < first_run.at_ms OR (excluded.at_ms = first_run.at_ms \
                           AND excluded.digest < first_run.digest)";
    let sql = format!(
        "INSERT INTO first_run (simulated, title, subject, at_ms, digest, verdict, runs) \
         VALUES ($1, $2, $3, $4, $5, $6, 1) ON CONFLICT (simulated, title, subject) DO UPDATE SET \
         verdict = CASE WHEN {EARLIER} THEN excluded.verdict ELSE first_run.verdict END, \
         digest = CASE WHEN {EARLIER} THEN excluded.digest ELSE first_run.digest END, \
         at_ms = CASE WHEN {EARLIER} THEN excluded.at_ms ELSE first_run.at_ms END, \
         runs = first_run.runs + 1"
    );
    db.execute(
        &sql,
        &[
            record.simulated.into(),
            (&record.title).into(),
            subject.into(),
            at.into(),
            sealed.digest.to_string().as_str().into(),
            record.verdict.word().into(),
        ],
    )?;
    Ok(())
}

fn drift(db: &mut dyn Database, record: &Record, subject: &str, at: i64) -> Result<(), StoreError> {
    const FIRST: &str = "CASE WHEN excluded.first_ms < drift.first_ms THEN excluded.first_uohm \
                         ELSE drift.first_uohm END";
    const LAST: &str = "CASE WHEN excluded.last_ms >= drift.last_ms THEN excluded.last_uohm \
                        ELSE drift.last_uohm END";
    let sql = format!(
        "INSERT INTO drift (simulated, title, plan_digest, subject, path, first_ms, first_uohm, \
         last_ms, last_uohm, sigma_uohm, rise_uohm, runs) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, 0, 1) \
         ON CONFLICT (simulated, subject, plan_digest, path) DO UPDATE SET \
         rise_uohm = ({LAST}) - ({FIRST}), first_uohm = {FIRST}, last_uohm = {LAST}, \
         first_ms = CASE WHEN excluded.first_ms < drift.first_ms THEN excluded.first_ms \
         ELSE drift.first_ms END, \
         last_ms = CASE WHEN excluded.last_ms >= drift.last_ms THEN excluded.last_ms \
         ELSE drift.last_ms END, runs = drift.runs + 1"
    );
    for path in &record.paths {
        let Some(ohms) = path.ohms else { continue };
        db.execute(
            &sql,
            &[
                record.simulated.into(),
                (&record.title).into(),
                (&record.plan_digest).into(),
                subject.into(),
                path.name().as_str().into(),
                at.into(),
                ohms.0.into(),
                at.into(),
                ohms.0.into(),
                path.sigma.0.into(),
            ],
        )?;
    }
    Ok(())
}
