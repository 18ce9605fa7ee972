//! From a batch to every vehicle that its harnesses went into, and back from a
//! vehicle to its harnesses and their batches.

mod run;
mod trace;

use schemars::JsonSchema;
use serde::Serialize;

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
