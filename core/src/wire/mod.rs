//! The language between host and probe.
//!
//! [`message`], [`proof`], [`watch`] and [`carried`] hold what is said, [`frame`] how it crosses a byte stream
//! (postcard, CRC, COBS). The format is written down in words, with golden
//! bytes, in `docs/wire-format.md`.

pub mod carried;
pub mod frame;
pub mod message;
pub mod proof;
mod stuffing;
pub mod usb;
pub mod watch;

pub use carried::*;
pub use message::*;
pub use proof::*;
pub use watch::*;
