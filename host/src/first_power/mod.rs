//! The first power: through a stated current limit, the harness's own fuses last.
//!
//! With its own fuses out nothing of the harness behind them can draw. [`look`] says what
//! their holders must show then, and after, and whether a short behind them would show;
//! [`course`] reads what the current did after switching on, in which the moment that
//! modules try their lamps is no fault; [`report`] puts it together, [`text`] says it.

pub mod course;
pub mod look;
pub mod report;
pub mod text;

pub use report::Report;
