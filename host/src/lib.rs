//! The host side of loomproof.
//!
//! Data runs straight through: [`plan`] → [`circuit`] → [`hookup`] → scan over
//! a [`link`] → judgement → [`diagnosis`] → [`commands`].
#![forbid(unsafe_code)]

pub mod alone;
pub mod bench;
pub mod circuit;
pub mod comeback;
pub mod commands;
pub mod diagnosis;
pub mod drain;
pub mod fault;
pub mod first_power;
pub mod hookup;
pub mod jig;
mod kept;
pub mod link;
pub mod live;
pub mod own;
pub mod plan;
pub mod powered;
pub mod probe;
pub mod records;
pub mod review;
pub mod ringout;
pub mod sheet;
pub mod stage;
pub mod touch;
mod whole_file;
pub mod wiggle;
