//! Runs of a record store, put together by harness and vehicle.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::{Fitted, Part, Runs, Seen, Unit};
use crate::records::database::Row;
use crate::records::record::{Test, taken_text};

/// The columns that a run is read from, in their order; whether it was simulated last.
pub(super) const COLUMNS: &str =
    "seq, taken_ms, test, title, place, vehicle, unit, batch, verdict, faults, simulated";

/// A row, read.
#[derive(Debug, Clone)]
pub(super) struct Run {
    pub(super) seen: Seen,
    pub(super) title: String,
    pub(super) bench: bool,
    pub(super) vehicle: Option<String>,
    pub(super) unit: Option<String>,
    pub(super) batch: Option<String>,
}

impl Run {
    pub(super) fn of(row: &Row) -> Self {
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

pub(super) fn count(number: usize) -> i64 {
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
pub(super) fn fitted(all: &[Run]) -> Vec<Fitted> {
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

pub(super) fn unit_of(unit: String, all: &[Run], others: BTreeSet<String>) -> Option<Unit> {
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
pub(super) fn part(unit: Option<String>, here: &[Run], all: &[Run]) -> Option<Part> {
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
