//! The part of loomproof that knows what a harness should measure.
//!
//! `no_std`, no allocation, no panic on any input. Reading order:
//! [`units`] → [`instrument`] (the probe in numbers) → [`circuit`] → [`solve`]
//! → [`expect`] → [`scan`] → [`judge`]; [`self_test`] and [`null`] look at the
//! probe itself; [`wire`] is the language spoken
//! between host and probe; [`image`] is a plan that the probe carries along.
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]

pub mod check;
pub mod circuit;
pub mod copper;
pub mod expect;
pub mod image;
pub mod instrument;
pub mod judge;
pub mod layout;
pub mod null;
pub mod scan;
pub mod self_test;
pub mod solve;
pub mod units;
pub mod wire;
