//! Shared helpers of the end-to-end and outside-reference tests.

pub mod bound;
pub mod campaign;
pub mod comebacks;
pub mod commit;
pub mod figures;
#[cfg(unix)]
pub mod firmware_instructions;
pub mod generator;
pub mod jobs;
pub mod live_sweep;
#[path = "../outside/mod.rs"]
pub mod outside;
#[cfg(unix)]
pub mod postgres;
pub mod presser;
#[cfg(unix)]
pub mod qemu;
pub mod ratios;
pub mod records;
pub mod schemas;
pub mod schematic;
pub mod skip;
pub mod soak;
pub mod solvers;
pub mod speed;
pub mod spice;
pub mod spread;
pub mod thumb;
pub mod tunnel;
pub mod unruly_link;
