//! The built command as a process: exit status, words, and what goes where.
#![cfg(unix)]

mod asked;
mod comeback;
mod going_on;
mod helped;
mod hostile;
mod live;
mod plans;
mod ports;
mod probes;
mod recorded;
mod rounds;
mod scans;
mod spoken;
mod stages;
mod support;
