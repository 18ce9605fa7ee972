//! The emulated board: UARTs, a memory, and the tunnel to the virtual bench.
//!
//! What the probe does is in the firmware library; here is only what this
//! machine (QEMU's mps2-an385) adds to it.
#![no_std]

pub mod count;
pub mod flash;
pub mod letgo;
pub mod tunnel;
pub mod uart;
