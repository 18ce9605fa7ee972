//! Records: the same tests on an SQLite file and on a PostgreSQL server that
//! the test starts itself, and what only a file must stand.
#![cfg(unix)]

mod altered;
mod batches;
mod both;
mod encrypted;
mod file;
mod plots;
mod scale;
mod sorts;
mod stores;
