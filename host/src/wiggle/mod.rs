//! The wiggle test: joints are watched without a break while somebody pulls at
//! the harness.
//!
//! [`watchable`] finds from the circuit which joints the probe can watch dead, with
//! which leads, and why it cannot watch the others; [`powered`] does the same with
//! the battery on. [`round`] asks the probe for one window after the other;
//! [`which`] says of the leads that let go together which joint that is, [`tally`]
//! keeps count, [`view`] shows it, and [`report`] with [`text`] say what came of it.

pub mod powered;
pub mod report;
pub mod round;
pub mod spots;
pub mod tally;
pub mod text;
pub mod view;
pub mod watchable;
pub mod which;

pub use report::Report;
pub use spots::{Group, Sign, Spot, Watch, Why};
pub use tally::Tally;
