//! What `records --format json` prints.

use schemars::JsonSchema;
use serde::Serialize;

use crate::records::batch::{Batch, Vehicle};
use crate::records::compare::Comparison;
use crate::records::record::Record;
use crate::records::shop::Shop;
use crate::records::store::{Checked, Line, Stored};

/// What `records --format json` prints; `shows` says which it is.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(tag = "shows", rename_all = "lowercase")]
#[schemars(title = "Records")]
pub enum Shown {
    /// The latest runs.
    List {
        /// Where the records are.
        place: String,
        /// How many the filter lets through.
        records: i64,
        /// The latest of them, the latest first.
        lines: Vec<Line>,
    },
    /// One run in full.
    Record {
        /// Its number in this store.
        number: i64,
        /// SHA-256 of the record.
        digest: String,
        /// The chain up to it.
        head: String,
        /// The record.
        record: Box<Record>,
    },
    /// Two runs beside each other.
    Compare(Box<Comparison>),
    /// What the shop learns.
    Shop(Shop),
    /// Where the harnesses of a batch are.
    Batch(Batch),
    /// What a vehicle has.
    Vehicle(Vehicle),
    /// Whether any record was altered.
    Check {
        /// Where the records are.
        place: String,
        /// What was found.
        #[serde(flatten)]
        checked: Checked,
        /// Whether the chain passes through the head that was given; null where
        /// none was.
        head_found: Option<bool>,
    },
}

impl Shown {
    /// One run in full.
    #[must_use]
    pub fn record(stored: &Stored) -> Self {
        Self::Record {
            number: stored.number,
            digest: stored.sealed.digest.to_string(),
            head: stored.link.to_string(),
            record: Box::new(stored.sealed.record.clone()),
        }
    }
}
