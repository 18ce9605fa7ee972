//! What was measured, kept so that it can be found again, compared and checked.
//!
//! A [`Record`](record::Record) is one run of a test as a document; [`Store`](store::Store)
//! keeps records behind a small [`Database`](database::Database): an SQLite
//! file ([`sqlite`]) or a PostgreSQL server ([`postgres`]). The same statements
//! serve both.
//!
//! Each record is sealed by the SHA-256 of its bytes, which is also what it is:
//! the same record is never kept twice. Records form a chain: each row carries
//! the SHA-256 of the row before and of its own record, so that a byte that was
//! altered, a row that was taken out or put between is told by
//! [`Store::check`](store::Store::check). Whoever can write the whole store can
//! also write the whole chain anew; only the head of the chain, kept elsewhere
//! (it stands on every report), tells that.

pub mod batch;
pub mod compare;
pub mod course;
pub mod database;
pub mod encrypted;
pub mod filter;
pub mod paths;
pub mod plot;
pub mod postgres;
pub mod record;
pub mod reported;
pub mod seal;
pub mod shop;
pub mod sqlite;
pub mod store;
pub mod transfer;
mod upkeep;
pub mod whereabouts;
