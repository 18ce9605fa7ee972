//! How often each kind of fault is met, before any reading.
//!
//! These are working assumptions per place of a fresh installation and its
//! hook-up, so that the number of places counts too (`common practice`; nobody
//! publishes counts): among the wiring, terminals not home and taps that
//! missed lead the list; a clip that slipped off is commoner than any of them,
//! and a clip on a wrong point commoner than a terminal in a wrong cavity,
//! because a harness was looked at before and a hook-up is made in a hurry; a
//! whole connector miscounted is about as likely as one terminal in it; parts
//! that left the factory good fail seldom. Each kind states its own
//! ([`crate::fault::kinds`]); they only decide between explanations that fit
//! the readings equally well.

use crate::fault::Fault;

/// Probability that this fault is there in a fresh job.
#[must_use]
pub fn prior(fault: &Fault) -> f64 {
    fault.prior()
}
