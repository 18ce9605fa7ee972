//! What the store knows of a batch and of a vehicle.

use std::collections::{BTreeMap, BTreeSet};

use super::run::{COLUMNS, Run, count, fitted, part, unit_of};
use super::{Batch, Comebacks, Part, Seen, Unit, Vehicle};
use crate::records::database::{StoreError, Value};
use crate::records::record::Test;
use crate::records::store::Store;

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
