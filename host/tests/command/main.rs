//! The built command as a process: exit status, words, and what goes where.
#![cfg(unix)]

mod asked;
mod broken_off;
mod comeback;
mod drain;
mod first_power;
mod going_on;
mod helped;
mod hostile;
mod jigs;
mod kept;
mod live;
mod occupied;
mod own;
mod plans;
mod ports;
mod probes;
mod recorded;
mod rounds;
mod scans;
mod spoken;
mod stages;
mod support;
mod touch;
