//! The standing drain: what the vehicle takes with everything asleep, after the job.
//!
//! The current is not broken: it is the voltage across a fuse that sits there anyway, or
//! a shunt, by the resistance that the plan states. Two probe leads stand on one point
//! first, which shows how far they read apart; then one goes to the other side. Modules
//! need minutes to fall asleep, so it is looked at until it has settled.
//!
//! [`budget`] says what the probe can know, [`measure`] reads, [`course`] finds where it
//! settled, [`report`] judges against the plan's limit, [`text`] says it.

pub mod budget;
pub mod course;
pub mod measure;
pub mod report;
pub mod text;

pub use report::Report;
