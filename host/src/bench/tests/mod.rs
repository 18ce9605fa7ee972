//! Tests of the bench, part by part.

mod chips;
mod circuits;
mod faults;
mod interlock;
mod plans;
mod powered;
mod powered_plans;
mod powered_time;
mod time;
mod upsets;
mod watching;
