//! A line to the probe on which everything goes wrong that can: for ring-outs
//! by the seed, with the product's own session at one end and its firmware at
//! the other.
//!
//! Time is simulated ([`mod@line`]), so that the product's own waiting times are
//! tested and a second of waiting costs nothing. What goes wrong is drawn from a
//! seed ([`trouble`]). A ring-out over it ([`ring`]) must end with the readings that
//! a good line gives, or with an error; both are counted ([`tally`]).

pub mod line;
pub mod ring;
pub mod tally;
pub mod trouble;
