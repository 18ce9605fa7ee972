//! Long runs on one probe that is never started anew: does anything grow, wrap round
//! or drift? A day of watching joints ([`watching`]), ring-outs one after the other
//! ([`ringing`]), and the memory of whoever takes part ([`memory`]).

pub mod drift;
mod loose;
pub mod memory;
pub mod ringing;
pub mod watching;
