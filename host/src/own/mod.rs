//! The vehicle's own functions: gone through at arrival, before anything is touched,
//! and again after the job, so that nobody argues about what did not work already.
//!
//! [`list()`] takes them from the plan's conductors and says which of them the probe can
//! see; those are gone through as a live check goes through the job's. The others are
//! asked for. [`report`] puts both together, and beside what was noted at arrival;
//! [`text`] says it.

pub mod list;
pub mod report;
pub mod text;

pub use list::{Own, Round, list};
pub use report::Report;
