//! How often each kind of fault is met, before any reading.
//!
//! These are working assumptions per place of a fresh installation (`common
//! practice`: terminals not home and taps that missed lead the list; nobody
//! publishes counts). They only decide between explanations that fit the
//! readings equally well.

use crate::fault::{Fault, Joint};

/// Probability that this fault is there in a fresh job.
#[must_use]
pub fn prior(fault: &Fault) -> f64 {
    match fault {
        Fault::Unseated(..) => 3e-3,
        Fault::TapMissed(_) => 3e-3,
        Fault::TapNeighbour(..) => 1e-3,
        Fault::Exchanged(..) => 5e-4,
        Fault::WrongCavity(..) => 4e-4,
        Fault::Open(Joint::Along(_)) => 2e-4,
        Fault::Open(Joint::Mating(_)) => 2e-3,
        Fault::Open(_) => 1e-3,
        Fault::HighResistance(..) => 3e-4,
        Fault::Short(..) => 1e-5,
        Fault::CapTouching(..) => 2e-5,
        Fault::Live(..) => 1e-3,
    }
}
