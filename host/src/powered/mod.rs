//! The job with the battery on: what every test point should show in every
//! state of the switches, under any set of causes.
//!
//! [`wiring`] takes the expected circuit of the dead test, in which every joint
//! has a node on each side, and adds what the battery brings in: feeds, switch
//! and relay contacts, consumers. So each fault of the catalogue changes it by
//! the edits that it makes in the dead test. [`solver`] brings relays and fuses
//! to rest and says what the probe would read.
//!
//! The virtual bench does not use any of this.

pub mod causes;
pub mod solver;
pub mod wiring;

pub use causes::{Cause, Scenario};
pub use solver::{Cluster, Level, Scope, Settled, Shown, Solver};
pub use wiring::Powered;

/// A level that is off and one that is on, as parts of the supply: module inputs
/// take 0.3 and 0.7 of it (`common practice`); a lamp glows in between.
pub const LOW: f64 = 0.3;
/// See [`LOW`].
pub const HIGH: f64 = 0.6;
