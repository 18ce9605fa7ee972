//! Where the harnesses of a batch are, and what a vehicle has, in plain words.

use std::fmt::Write as _;

use super::words::here;
use crate::records::batch::{Batch, Fitted, Part, Runs, Seen, Unit, Vehicle};

/// Where the harnesses of a batch are.
pub(super) fn batch(batch: &Batch) -> String {
    let fitted = batch.units.len() - batch.never_fitted.len();
    let mut out = format!(
        "Batch {}: {} with a number, {fitted} of them seen in a vehicle, {} not; {} in all{}\n",
        batch.batch,
        many(batch.units.len(), "harness", "harnesses"),
        batch.never_fitted.len(),
        many(batch.vehicles.len(), "vehicle", "vehicles"),
        simulated(batch.simulated),
    );
    for unit in &batch.units {
        out.push_str(&of_unit(unit));
    }
    if batch.without_unit > 0 {
        let _ = writeln!(
            out,
            "\nWithout a unit number: {} of this batch{}",
            many_runs(batch.without_unit),
            if batch.without_unit_vehicles.is_empty() {
                ", no vehicle named"
            } else {
                "; a harness of it is in these vehicles, which one is not known:"
            }
        );
        for fitted in &batch.without_unit_vehicles {
            let _ = writeln!(out, "    {}", in_vehicle(fitted));
        }
    }
    if !batch.never_fitted.is_empty() {
        let _ = writeln!(
            out,
            "\nNever seen in a vehicle: {}",
            batch.never_fitted.join(", ")
        );
    }
    let somewhere: Vec<&str> = batch
        .units
        .iter()
        .filter(|unit| unit.unnamed_vehicle.is_some())
        .map(|unit| unit.unit.as_str())
        .collect();
    if !somewhere.is_empty() {
        let _ = writeln!(
            out,
            "\nSeen in a vehicle whose number nobody gave: {}",
            somewhere.join(", ")
        );
    }
    if !batch.vehicles.is_empty() {
        let names: Vec<&str> = batch
            .vehicles
            .iter()
            .map(|one| one.vehicle.as_str())
            .collect();
        let _ = writeln!(out, "\nEvery vehicle: {}", names.join(", "));
        let back: Vec<(&str, &Seen)> = batch
            .vehicles
            .iter()
            .flat_map(|one| {
                one.comebacks
                    .iter()
                    .map(|seen| (one.vehicle.as_str(), seen))
            })
            .collect();
        out.push_str(if back.is_empty() {
            "Comebacks of these vehicles: none\n"
        } else {
            "Comebacks of these vehicles:\n"
        });
        for (vehicle, seen) in back {
            let _ = writeln!(out, "    {vehicle}: {}", run(seen));
        }
    }
    out.push_str(&not_counted(batch.not_counted, batch.simulated));
    out
}

/// What a vehicle has.
pub(super) fn vehicle(vehicle: &Vehicle) -> String {
    let named = vehicle.units.iter().filter(|part| part.unit.is_some());
    let mut out = format!(
        "Vehicle {}: {} with a number{}\n",
        vehicle.vehicle,
        many(named.count(), "harness", "harnesses"),
        simulated(vehicle.simulated),
    );
    for part in &vehicle.units {
        out.push_str(&of_part(part));
    }
    out.push_str(if vehicle.comebacks.is_empty() {
        "\nComebacks: none\n"
    } else {
        "\nComebacks:\n"
    });
    for seen in &vehicle.comebacks {
        let _ = writeln!(out, "    {}", run(seen));
    }
    out.push_str(&not_counted(vehicle.not_counted, vehicle.simulated));
    out
}

fn of_unit(unit: &Unit) -> String {
    let mut out = format!("\n  Unit {} ({})\n", unit.unit, unit.titles.join("; "));
    let _ = writeln!(out, "    {}", on_bench(unit.bench.as_ref()));
    for fitted in &unit.vehicles {
        let _ = writeln!(out, "    {}", in_vehicle(fitted));
    }
    if let Some(runs) = &unit.unnamed_vehicle {
        let _ = writeln!(
            out,
            "    a vehicle whose number nobody gave: {}",
            several(runs)
        );
    } else if unit.vehicles.is_empty() {
        out.push_str("    never seen in a vehicle\n");
    }
    let _ = writeln!(out, "    last of all: {}", run(&unit.last));
    if !unit.other_batches.is_empty() {
        let _ = writeln!(
            out,
            "    note: other runs with this unit number name batch {} and are not counted here; \
             those that name no batch may be of either",
            unit.other_batches.join(", ")
        );
    }
    out
}

fn of_part(part: &Part) -> String {
    let batches = match part.batches.as_slice() {
        [] => "batch not named".to_owned(),
        [one] => format!("batch {one}"),
        several => format!("batches {}: look which is right", several.join(", ")),
    };
    let unit = part.unit.as_deref();
    let mut out = format!(
        "\n  {}, {batches} ({})\n    {}\n    {}\n",
        unit.map_or("Runs without a unit number".to_owned(), |unit| format!(
            "Unit {unit}"
        )),
        part.titles.join("; "),
        on_bench(part.bench.as_ref()),
        in_vehicle(&part.fitted),
    );
    if !part.other_vehicles.is_empty() {
        let _ = writeln!(
            out,
            "    note: its runs also name vehicle {}",
            part.other_vehicles.join(", ")
        );
    }
    out
}

fn on_bench(bench: Option<&Runs>) -> String {
    bench.map_or("bench: not rung out".to_owned(), |bench| {
        format!("bench: {}", several(bench))
    })
}

fn in_vehicle(fitted: &Fitted) -> String {
    let named = if fitted.in_vehicle {
        ""
    } else {
        " (named on the bench only, no run in the vehicle yet)"
    };
    format!(
        "vehicle {}{named}: {}",
        fitted.vehicle,
        several(&fitted.runs)
    )
}

/// The first and the last of some runs.
fn several(runs: &Runs) -> String {
    if runs.runs == 1 {
        return run(&runs.last);
    }
    format!(
        "{}, first {}; last {}",
        many_runs(runs.runs),
        run(&runs.first),
        run(&runs.last)
    )
}

/// One run: when, verdict, where to look.
fn run(seen: &Seen) -> String {
    let faults = if seen.faults.is_empty() {
        String::new()
    } else {
        format!(" {}", seen.faults)
    };
    format!(
        "{} {} {}{faults} (record {})",
        here(&seen.taken),
        seen.test,
        seen.verdict.to_uppercase(),
        seen.number
    )
}

fn many(number: usize, one: &str, several: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { several })
}

fn many_runs(number: i64) -> String {
    format!("{number} {}", if number == 1 { "run" } else { "runs" })
}

fn simulated(simulated: bool) -> &'static str {
    if simulated {
        " (simulated runs only; no real wire was measured)"
    } else {
        ""
    }
}

fn not_counted(runs: i64, simulated: bool) -> String {
    match (runs, simulated) {
        (0, _) => String::new(),
        (_, true) => format!("\n{} of real wires not looked at.\n", many_runs(runs)),
        (_, false) => format!(
            "\n{} of simulated wires not looked at (--simulated shows them).\n",
            many_runs(runs)
        ),
    }
}
