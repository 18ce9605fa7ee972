//! The plan: reading it, checking it, answering its options.
//!
//! [`read`] turns text into a checked [`Plan`]; [`Plan::resolve`] turns a plan
//! and the answers to its options into the [`model::Job`] that the rest of the
//! program works on. Both report everything that is wrong, each with its place.
//!
//! The grammar in words is `docs/plan-file.md`; its JSON Schema is
//! `schemas/plan.schema.json`.

mod bodies;
mod check;
pub mod colour;
mod connectors;
mod drains;
pub mod electrics;
mod end;
mod fields;
mod halves;
pub mod model;
mod names;
mod outside;
mod parts;
mod plan_type;
mod problem;
pub mod quantity;
mod read;
mod resolve;
#[cfg(test)]
mod tests;
mod variants;
pub(crate) mod when;
mod write;

pub use plan_type::{OptionQuestion, Plan, Rejected};
pub use problem::{Class, Place, Problem, Secondary, only_unsafe, render};
pub(crate) use problem::{Problems, Span, spoils};
pub use read::{MOST_BYTES, MOST_LEADS, read};

/// The smallest plan, as a start for a new one.
#[must_use]
pub fn starter() -> &'static str {
    include_str!("../../../fixtures/plans/smallest.toml")
}

/// A commented plan to start a new one from; it reads as it stands.
#[must_use]
pub fn outline() -> &'static str {
    include_str!("../../../fixtures/plans/outline.toml")
}
