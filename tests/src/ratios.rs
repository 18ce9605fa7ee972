//! How fast core's nodal solve is, beside general-purpose solvers on the same
//! questions.
//!
//! [`systems`] is a harness with every drive pattern of its first pass; [`ways`]
//! solves them by core, by dense LU and sparse Cholesky of two libraries and by ngspice, and times
//! that; [`document`] writes `docs/speed.md`, [`growth`] draws it.

pub mod document;
pub mod growth;
#[path = "../../core/examples/instructions/replies.rs"]
pub mod replies;
pub mod systems;
pub mod ways;
