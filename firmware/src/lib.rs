//! The probe application and its chip drivers, over embedded-hal traits.
//!
//! A board gives the [`Parts`] and passes bytes to [`Probe::receive`]; the
//! same code runs in the emulated board, on hardware and inside the host
//! program against the virtual bench. Reading order: [`app`] (what is asked) →
//! [`instrument`] (survey, arm, step, watch, proof of itself) → [`interlock`] and [`settling`]
//! (the judgements) → [`front_end`] and [`route`] → the chips, [`mcp23s17`] and [`ads8866`].
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]

pub mod ads8866;
pub mod alone;
pub mod app;
pub mod carried;
pub mod cost;
pub mod front_end;
pub mod guard;
pub mod instrument;
pub mod interlock;
pub mod mcp23s17;
pub mod memory;
pub mod panel;
pub mod route;
pub mod sectors;
pub mod seen;
pub mod settling;

pub use app::Probe;
use loomproof_core::units::Micros;

/// The probe's clock.
pub trait Clock {
    /// Microseconds, monotonic, wrapping.
    fn now(&mut self) -> Micros;
}

/// The hardware that the probe runs on (`docs/probe-hardware.md`).
#[derive(Debug)]
pub struct Parts<D, G, S, A, T, R, W, C> {
    /// Drive expanders: an `SpiDevice`.
    pub drive: D,
    /// Disconnect expanders: an `SpiDevice`.
    pub gate: G,
    /// Sense select expanders: an `SpiDevice`.
    pub select: S,
    /// Converter: an `SpiDevice`.
    pub adc: A,
    /// Trip latch: an `InputPin`, high = tripped.
    pub trip: T,
    /// Trip latch reset: an `OutputPin`, a high pulse clears it.
    pub rearm: R,
    /// Waits: a `DelayNs`.
    pub delay: W,
    /// The clock.
    pub clock: C,
}

/// Who this probe is, as said in the hello; at most 32 bytes each are sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Identity {
    /// Board name.
    pub board: &'static str,
    /// Serial number.
    pub serial: &'static str,
    /// Firmware version and build.
    pub build: &'static str,
}
