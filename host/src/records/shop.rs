//! What a shop learns from its records: how many harnesses are right at once,
//! which faults come where, and which joints creep.

use jiff::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;

use super::database::{Row, StoreError, Value};
use super::paths::MicroOhms;
use super::store::Store;

/// A rise is spoken of from so many standard deviations on (as a reading is
/// judged: five).
pub const TELLING: f64 = 5.0;

/// Which records are counted.
#[derive(Debug, Clone, Default)]
pub struct Counted {
    /// Simulated harnesses instead of real ones.
    pub simulated: bool,
    /// Of this plan only, by its title.
    pub title: Option<String>,
    /// The most lines of each list.
    pub most: i64,
}

/// What a shop learns.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Shop {
    /// Whether simulated harnesses were counted.
    pub simulated: bool,
    /// How many records of the other sort are not counted here.
    pub not_counted: i64,
    /// Yield, plan by plan.
    pub plans: Vec<PlanYield>,
    /// Faults by kind and place, the most frequent first.
    pub faults: Vec<FaultCount>,
    /// Paths whose resistance rose, the largest rise first.
    pub drift: Vec<Drift>,
}

/// How many harnesses of one plan were right at their first run.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct PlanYield {
    /// Title of the plan.
    pub title: String,
    /// Runs of all sorts.
    pub runs: i64,
    /// Runs with the verdict pass.
    pub passed: i64,
    /// Runs whose harness or vehicle was not named: in no yield.
    pub unnamed: i64,
    /// Harnesses (or vehicles) with a name.
    pub subjects: i64,
    /// How many of them passed at their first run.
    pub first_pass: i64,
}

/// How often a fault was found.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct FaultCount {
    /// Title of the plan.
    pub title: String,
    /// Kind, as spelled in `--fault`.
    pub kind: String,
    /// Place, as spelled in `--fault`.
    pub place: String,
    /// Thousandths of faults: a run whose readings leave four places counts a
    /// quarter at each.
    pub permille: i64,
    /// Runs in which it is one of the explanations.
    pub runs: i64,
}

/// A path whose resistance rose.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Drift {
    /// Title of the plan.
    pub title: String,
    /// The harness or vehicle.
    pub subject: String,
    /// The path.
    pub path: String,
    /// First run: RFC 3339, UTC.
    pub first: String,
    /// Last run.
    pub last: String,
    /// Ohms at the first run, microohms.
    pub first_uohm: MicroOhms,
    /// Ohms at the last run, microohms.
    pub last_uohm: MicroOhms,
    /// One standard deviation of one reading, microohms.
    pub sigma_uohm: MicroOhms,
    /// Rise for every thirty days, microohms.
    pub per_month_uohm: Option<MicroOhms>,
    /// Runs that passed.
    pub runs: i64,
}

impl Store {
    /// What a shop learns from the records.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn shop(&mut self, counted: &Counted) -> Result<Shop, StoreError> {
        let mut values: Vec<Value> = vec![counted.simulated.into()];
        let mut of_plan = "simulated = $1".to_owned();
        if let Some(title) = &counted.title {
            values.push(title.into());
            of_plan.push_str(" AND title = $2");
        }
        let mut limited = values.clone();
        limited.push(counted.most.max(1).into());
        let most = limited.len();
        let others = self.db.query(
            "SELECT CAST(COALESCE(SUM(runs), 0) AS BIGINT) FROM tally WHERE simulated <> $1",
            &[counted.simulated.into()],
        )?;
        let runs = self.db.query(
            &format!(
                "SELECT title, CAST(SUM(runs) AS BIGINT), \
                 CAST(SUM(CASE WHEN verdict = 'pass' THEN runs ELSE 0 END) AS BIGINT) \
                 FROM tally WHERE {of_plan} GROUP BY title ORDER BY title"
            ),
            &values,
        )?;
        let firsts = self.db.query(
            &format!(
                "SELECT title, COUNT(*), \
                 CAST(SUM(CASE WHEN verdict = 'pass' THEN 1 ELSE 0 END) AS BIGINT), \
                 CAST(SUM(runs) AS BIGINT) FROM first_run WHERE {of_plan} GROUP BY title"
            ),
            &values,
        )?;
        let faults = self.db.query(
            &format!(
                "SELECT title, kind, place, permille, runs FROM fault WHERE {of_plan} \
                 ORDER BY permille DESC, title, kind, place LIMIT ${most}"
            ),
            &limited,
        )?;
        let drift = self.db.query(
            &format!(
                "SELECT title, subject, path, first_ms, last_ms, first_uohm, last_uohm, \
                 sigma_uohm, runs FROM drift WHERE {of_plan} AND rise_uohm > 0 \
                 ORDER BY rise_uohm DESC, subject, path LIMIT ${most}"
            ),
            &limited,
        )?;
        Ok(Shop {
            simulated: counted.simulated,
            not_counted: others.first().map_or(0, |row| row.int(0)),
            plans: runs.iter().map(|row| plan_yield(row, &firsts)).collect(),
            faults: faults.iter().map(fault_count).collect(),
            drift: drift.iter().filter_map(drifted).collect(),
        })
    }
}

fn plan_yield(runs: &Row, firsts: &[Row]) -> PlanYield {
    let title = runs.text(0).to_owned();
    let first = firsts.iter().find(|row| row.text(0) == title);
    let of = |column| first.map_or(0, |row| row.int(column));
    PlanYield {
        runs: runs.int(1),
        passed: runs.int(2),
        unnamed: runs.int(1) - of(3),
        subjects: of(1),
        first_pass: of(2),
        title,
    }
}

fn fault_count(row: &Row) -> FaultCount {
    FaultCount {
        title: row.text(0).to_owned(),
        kind: row.text(1).to_owned(),
        place: row.text(2).to_owned(),
        permille: row.int(3),
        runs: row.int(4),
    }
}

/// A rise beyond what clips and noise do.
fn drifted(row: &Row) -> Option<Drift> {
    let (first, last) = (MicroOhms(row.int(5)), MicroOhms(row.int(6)));
    let sigma = MicroOhms(row.int(7));
    let rise = last.ohms().0 - first.ohms().0;
    if rise < TELLING * std::f64::consts::SQRT_2 * sigma.ohms().0 {
        return None;
    }
    let at = |column| Timestamp::from_millisecond(row.int(column)).ok();
    let (from, to) = (at(3)?, at(4)?);
    let months = to.duration_since(from).as_secs_f64() / (30.0 * 86_400.0);
    let text = super::record::taken_text;
    Some(Drift {
        title: row.text(0).to_owned(),
        subject: row.text(1).to_owned(),
        path: row.text(2).to_owned(),
        first: text(from),
        last: text(to),
        first_uohm: first,
        last_uohm: last,
        sigma_uohm: sigma,
        per_month_uohm: (months > 0.03)
            .then(|| MicroOhms::of(loomproof_core::units::Ohms(rise / months))),
        runs: row.int(8),
    })
}
