//! The probe as an instrument: does it work, what do its clips have.

pub mod nulls;
pub mod self_test;
pub mod words;
