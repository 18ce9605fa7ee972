//! The plan: reading it, checking it, answering its options.

pub mod model;
