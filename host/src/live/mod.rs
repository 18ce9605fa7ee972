//! The live check: battery on, everything plugged, the probe measures only.
//!
//! [`steps()`] makes the plan's functions a way through the states of the
//! switches; [`observe`] asks the probe what every test point does in one of
//! them, and [`moved`] sees that a switch was moved; [`battery`] says what the battery
//! had meanwhile; [`judge`] compares that with what [`crate::powered`] expects, and
//! [`causes`] looks for the causes that explain all differences best;
//! [`report`] puts it together and [`text`] into words.

pub mod battery;
pub mod causes;
pub mod follow;
pub mod follow_text;
pub mod judge;
pub mod moved;
pub mod observe;
pub mod report;
pub mod rhythm;
pub mod steps;
pub mod text;

pub use observe::Observed;
pub use report::Report;
pub use rhythm::Rhythm;
pub use steps::{Step, steps};
