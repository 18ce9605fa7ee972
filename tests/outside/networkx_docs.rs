//! The example of networkx's documentation of `resistance_distance` (*read*, and
//! *ran*): edges 12 13 14 34 35 45 of 1 Ω.

use super::check::{Check, Status};
use super::networks::exact;
use crate::solvers::Graph;

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let edges = [(1, 2), (1, 3), (1, 4), (3, 4), (3, 5), (4, 5)].map(|(a, b)| (a - 1, b - 1));
    let found = move || Graph::of_ones(5, edges).resistance(0, 2).to_vec();
    let what = "edges 12 13 14 34 35 45 of 1 Ω, from 1 to 3, Ω".to_owned();
    let source = "networkx documentation, resistance_distance";
    vec![Check {
        status: Status::Read,
        ..exact(what, source, 0.625, "five_vertices", found)
    }]
}

crate::checked!(five_vertices);
