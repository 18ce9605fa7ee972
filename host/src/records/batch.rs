//! From a batch to every vehicle that its harnesses went into, and back from a
//! vehicle to its harnesses and their batches.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;

use super::database::{Row, StoreError, Value};
use super::record::{Test, taken_text};
use super::store::Store;

/// The columns that are read here, in their order.
const COLUMNS: &str =
    "seq, taken_ms, test, title, place, vehicle, unit, batch, verdict, faults, simulated";

/// One run, in a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Seen {
    /// Number of its record in this store.
    pub number: i64,
    /// When it was taken: RFC 3339, UTC.
    pub taken: String,
    /// What was done: `ringout`, `live`, `wiggle`, `comeback` or `drain`.
    pub test: String,
    /// The verdict.
    pub verdict: String,
    /// The faults found, in a line; empty where there are none.
    pub faults: String,
}

/// Several runs: how many, the first and the last.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Runs {
    /// How many.
    pub runs: i64,
    /// The first.
    pub first: Seen,
    /// The last.
    pub last: Seen,
}

/// A harness in a vehicle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Fitted {
    /// The vehicle.
    pub vehicle: String,
    /// Whether any of the runs was in the vehicle; otherwise its number was only
    /// given on the bench.
    pub in_vehicle: bool,
    /// The runs that name harness and vehicle.
    pub runs: Runs,
}

/// A harness of a batch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Unit {
    /// Its number.
    pub unit: String,
    /// Titles of the plans that it was tested by.
    pub titles: Vec<String>,
    /// Ring-outs on the bench; null where there is none.
    pub bench: Option<Runs>,
    /// The vehicles that it went into, in the order of their first run.
    pub vehicles: Vec<Fitted>,
    /// Its runs in a vehicle whose number nobody gave; null where there is none.
    pub unnamed_vehicle: Option<Runs>,
    /// The last run of all.
    pub last: Seen,
    /// Other batches that records of the same unit number name; those records are
    /// taken for another harness and are not counted here.
    pub other_batches: Vec<String>,
}

impl Unit {
    /// Whether any run saw it in a vehicle, named or not.
    #[must_use]
    pub fn in_vehicle(&self) -> bool {
        self.unnamed_vehicle.is_some() || self.vehicles.iter().any(|fitted| fitted.in_vehicle)
    }
}

/// A vehicle with its comebacks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Comebacks {
    /// The vehicle.
    pub vehicle: String,
    /// Its comebacks, the first first.
    pub comebacks: Vec<Seen>,
}

/// Where the harnesses of a batch are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Batch {
    /// The batch.
    pub batch: String,
    /// Whether simulated runs were looked at instead of real ones.
    pub simulated: bool,
    /// Runs of the other sort that name this batch and are not counted here.
    pub not_counted: i64,
    /// Its harnesses, by their number.
    pub units: Vec<Unit>,
    /// Numbers of those that no run saw in a vehicle.
    pub never_fitted: Vec<String>,
    /// Runs that name the batch and no harness.
    pub without_unit: i64,
    /// The vehicles that such runs name: a harness of this batch is there, which one
    /// is not known.
    pub without_unit_vehicles: Vec<Fitted>,
    /// Every vehicle that a harness of this batch went into, with its comebacks.
    pub vehicles: Vec<Comebacks>,
}

/// A harness that a vehicle has.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Part {
    /// Its number; null for the runs that name none.
    pub unit: Option<String>,
    /// Titles of the plans that it was tested by.
    pub titles: Vec<String>,
    /// Its batches: those that its runs with this vehicle name, or else any of its
    /// runs.
    pub batches: Vec<String>,
    /// Its ring-outs on the bench; null where there is none.
    pub bench: Option<Runs>,
    /// Its runs with this vehicle.
    pub fitted: Fitted,
    /// Other vehicles that its runs name.
    pub other_vehicles: Vec<String>,
}

/// What a vehicle has.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Vehicle {
    /// The vehicle.
    pub vehicle: String,
    /// Whether simulated runs were looked at instead of real ones.
    pub simulated: bool,
    /// Runs of the other sort that name this vehicle and are not counted here.
    pub not_counted: i64,
    /// Its harnesses, by their number; last the runs that name none.
    pub units: Vec<Part>,
    /// Its comebacks, the first first.
    pub comebacks: Vec<Seen>,
}

/// A row, read.
#[derive(Debug, Clone)]
struct Run {
    seen: Seen,
    title: String,
    bench: bool,
    vehicle: Option<String>,
    unit: Option<String>,
    batch: Option<String>,
}

impl Run {
    fn of(row: &Row) -> Self {
        let taken = Timestamp::from_millisecond(row.int(1)).map(taken_text);
        let maybe = |column| row.maybe(column).map(str::to_owned);
        Self {
            seen: Seen {
                number: row.int(0),
                taken: taken.unwrap_or_default(),
                test: row.text(2).to_owned(),
                verdict: row.text(8).to_owned(),
                faults: row.text(9).to_owned(),
            },
            title: row.text(3).to_owned(),
            bench: row.text(4) == "bench",
            vehicle: maybe(5),
            unit: maybe(6),
            batch: maybe(7),
        }
    }
}

/// What a batch or vehicle begins with.
struct Named {
    /// The runs that name it, each with whether it was simulated.
    named: Vec<(Run, bool)>,
    /// Runs that name it and are of the other sort.
    not_counted: i64,
    /// All runs of the harnesses of these.
    runs: Vec<(Run, bool)>,
}

impl Store {
    /// Where the harnesses of a batch are; `None` where no run names it.
    ///
    /// A run in the vehicle need not name the batch again: a harness's runs are those
    /// with its number that name this batch or none.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn batch(&mut self, batch: &str, simulated: bool) -> Result<Option<Batch>, StoreError> {
        let key = [Value::from(simulated), batch.into()];
        self.reading(|store| {
            let Some(Named {
                named,
                not_counted,
                runs,
            }) = store.named("batch", batch, simulated)?
            else {
                return Ok(None);
            };
            let mut units: BTreeMap<String, (Vec<Run>, BTreeSet<String>)> = BTreeMap::new();
            for (run, _) in runs {
                let Some(unit) = run.unit.clone() else {
                    continue;
                };
                let (own, others) = units.entry(unit).or_default();
                match &run.batch {
                    Some(other) if other != batch => {
                        others.insert(other.clone());
                    }
                    _ => own.push(run),
                }
            }
            let units: Vec<Unit> = units
                .into_iter()
                .filter_map(|(unit, (runs, others))| unit_of(unit, &runs, others))
                .collect();
            let unnamed: Vec<Run> = named
                .into_iter()
                .map(|(run, _)| run)
                .filter(|run| run.unit.is_none())
                .collect();
            let without_unit_vehicles = fitted(&unnamed);
            let mut vehicles: BTreeMap<&String, Vec<Seen>> = units
                .iter()
                .flat_map(|unit| &unit.vehicles)
                .chain(&without_unit_vehicles)
                .map(|fitted| (&fitted.vehicle, Vec::new()))
                .collect();
            let comebacks = store.runs(
                "simulated = $1 AND test = 'comeback' AND vehicle IN (SELECT vehicle FROM record \
                 WHERE batch = $2 UNION SELECT vehicle FROM record WHERE unit IN \
                 (SELECT unit FROM record WHERE batch = $2))",
                &key,
            )?;
            for (run, _) in comebacks {
                // Vehicles of another harness of the same number are none of these.
                let own = run.vehicle.and_then(|vehicle| vehicles.get_mut(&vehicle));
                if let Some(own) = own {
                    own.push(run.seen);
                }
            }
            let vehicles = vehicles
                .into_iter()
                .map(|(vehicle, comebacks)| Comebacks {
                    vehicle: vehicle.clone(),
                    comebacks,
                })
                .collect();
            Ok(Some(Batch {
                batch: batch.to_owned(),
                simulated,
                not_counted,
                never_fitted: units
                    .iter()
                    .filter(|unit| !unit.in_vehicle())
                    .map(|unit| unit.unit.clone())
                    .collect(),
                units,
                without_unit: count(unnamed.len()),
                without_unit_vehicles,
                vehicles,
            }))
        })
    }

    /// What a vehicle has; `None` where no run names it.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn vehicle(
        &mut self,
        vehicle: &str,
        simulated: bool,
    ) -> Result<Option<Vehicle>, StoreError> {
        self.reading(|store| {
            let Some(Named {
                named,
                not_counted,
                runs,
            }) = store.named("vehicle", vehicle, simulated)?
            else {
                return Ok(None);
            };
            let mut here: BTreeMap<Option<String>, Vec<Run>> = BTreeMap::new();
            let mut comebacks = Vec::new();
            for (run, _) in named {
                if run.seen.test == Test::Comeback.word() {
                    comebacks.push(run.seen.clone());
                    // A comeback without a unit number says nothing of harnesses.
                    if run.unit.is_none() && run.batch.is_none() {
                        continue;
                    }
                }
                here.entry(run.unit.clone()).or_default().push(run);
            }
            let mut whole: BTreeMap<String, Vec<Run>> = BTreeMap::new();
            for (run, _) in runs {
                if let Some(unit) = run.unit.clone() {
                    whole.entry(unit).or_default().push(run);
                }
            }
            let mut units: Vec<Part> = here
                .into_iter()
                .filter_map(|(unit, runs)| {
                    let all = unit.as_ref().and_then(|unit| whole.get(unit));
                    part(unit, &runs, all.map_or(&[], Vec::as_slice))
                })
                .collect();
            units.sort_by_key(|part| part.unit.is_none());
            Ok(Some(Vehicle {
                vehicle: vehicle.to_owned(),
                simulated,
                not_counted,
                units,
                comebacks,
            }))
        })
    }

    /// The runs with this in a column, and those of their harnesses; `None` where no
    /// run has it, simulated or not.
    fn named(
        &mut self,
        column: &str,
        value: &str,
        simulated: bool,
    ) -> Result<Option<Named>, StoreError> {
        let mut named = self.runs(&format!("{column} = $1"), &[value.into()])?;
        if named.is_empty() {
            return Ok(None);
        }
        let all = named.len();
        named.retain(|(_, own)| *own == simulated);
        let condition = format!(
            "simulated = $1 AND unit IN (SELECT unit FROM record WHERE simulated = $1 \
             AND {column} = $2)"
        );
        Ok(Some(Named {
            not_counted: count(all - named.len()),
            runs: self.runs(&condition, &[Value::from(simulated), value.into()])?,
            named,
        }))
    }

    /// All within one view of the store, whatever others write meanwhile.
    fn reading<T>(
        &mut self,
        work: impl FnOnce(&mut Self) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.db.begin(false)?;
        let done = work(self);
        self.db.roll_back();
        done
    }

    /// The runs that fit a condition, the first first, each with whether it was
    /// simulated.
    fn runs(&mut self, condition: &str, values: &[Value]) -> Result<Vec<(Run, bool)>, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM record WHERE {condition} ORDER BY taken_ms, seq");
        let rows = self.db.query(&sql, values)?;
        Ok(rows
            .iter()
            .map(|row| (Run::of(row), row.int(10) != 0))
            .collect())
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// Several runs, the first first; `None` of none.
fn runs<'r>(some: impl IntoIterator<Item = &'r Run>) -> Option<Runs> {
    let some: Vec<&Run> = some.into_iter().collect();
    Some(Runs {
        runs: count(some.len()),
        first: some.first()?.seen.clone(),
        last: some.last()?.seen.clone(),
    })
}

fn on_bench(all: &[Run]) -> Option<Runs> {
    let ringout = Test::Ringout.word();
    runs(
        all.iter()
            .filter(|run| run.bench && run.seen.test == ringout),
    )
}

/// The vehicles of some runs, in the order of their first run.
fn fitted(all: &[Run]) -> Vec<Fitted> {
    let mut order: Vec<&String> = Vec::new();
    let mut by: BTreeMap<&String, Vec<&Run>> = BTreeMap::new();
    for run in all {
        let Some(vehicle) = &run.vehicle else {
            continue;
        };
        let own = by.entry(vehicle).or_default();
        if own.is_empty() {
            order.push(vehicle);
        }
        own.push(run);
    }
    order
        .into_iter()
        .filter_map(|vehicle| {
            let own = by.get(vehicle)?;
            Some(Fitted {
                vehicle: vehicle.clone(),
                in_vehicle: own.iter().any(|run| !run.bench),
                runs: runs(own.iter().copied())?,
            })
        })
        .collect()
}

fn titles(all: &[Run]) -> Vec<String> {
    let titles: BTreeSet<&String> = all.iter().map(|run| &run.title).collect();
    titles.into_iter().cloned().collect()
}

fn unit_of(unit: String, all: &[Run], others: BTreeSet<String>) -> Option<Unit> {
    Some(Unit {
        unit,
        titles: titles(all),
        bench: on_bench(all),
        vehicles: fitted(all),
        unnamed_vehicle: runs(all.iter().filter(|run| !run.bench && run.vehicle.is_none())),
        last: all.last()?.seen.clone(),
        other_batches: others.into_iter().collect(),
    })
}

/// A harness of a vehicle by its runs there and, where it has a number, all its runs.
fn part(unit: Option<String>, here: &[Run], all: &[Run]) -> Option<Part> {
    let batches = |some: &[Run]| -> BTreeSet<String> {
        some.iter().filter_map(|run| run.batch.clone()).collect()
    };
    let mut own = batches(here);
    if own.is_empty() {
        own = batches(all);
    }
    // What names another batch is another harness of the same number.
    let same = |run: &Run| run.batch.as_ref().is_none_or(|batch| own.contains(batch));
    let all: Vec<Run> = all.iter().filter(|run| same(run)).cloned().collect();
    let fitted_here = fitted(here).pop()?;
    let others = fitted(&all)
        .into_iter()
        .map(|fitted| fitted.vehicle)
        .filter(|vehicle| *vehicle != fitted_here.vehicle)
        .collect();
    Some(Part {
        titles: titles(here),
        batches: own.into_iter().collect(),
        bench: on_bench(if unit.is_some() { &all } else { here }),
        fitted: fitted_here,
        other_vehicles: others,
        unit,
    })
}
