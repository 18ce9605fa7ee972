//! The language between host and probe.
//!
//! [`message`] holds what is said, [`frame`] how it crosses a byte stream
//! (postcard, CRC, COBS). The format is written down in words, with golden
//! bytes, in `docs/wire-format.md`.

pub mod frame;
pub mod message;
mod stuffing;
pub mod usb;

pub use message::*;
