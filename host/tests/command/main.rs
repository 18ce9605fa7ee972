//! The built command as a process: exit status, words, and what goes where.
#![cfg(unix)]

mod asked;
mod going_on;
mod plans;
mod ports;
mod probes;
mod rounds;
mod scans;
mod spoken;
mod support;
