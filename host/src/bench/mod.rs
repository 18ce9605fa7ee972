//! The virtual bench.
