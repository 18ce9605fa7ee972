//! Tests of the bench, part by part.

mod chips;
mod circuits;
mod faults;
mod interlock;
mod plans;
mod time;
mod watching;
