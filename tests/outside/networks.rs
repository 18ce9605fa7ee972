//! Helpers of the network sources: a value as core, the bench and the bench with
//! its network reduced find it, whichever is farthest from theirs.

use loomproof_core::units::{Ohms, Volts};

use super::check::{Check, Limit, Ours, Status};
use crate::solvers::{Device, Graph, Net};

/// The limit on every closed form: they are exact.
pub const EXACT: f64 = 1e-10;

/// The one of several that is farthest from `theirs`.
#[must_use]
pub fn farthest(found: impl IntoIterator<Item = f64>, theirs: f64) -> f64 {
    let off = |v: &f64| (v - theirs).abs();
    // What is not a number is farther than any number.
    let worst = found.into_iter().max_by(|a, b| off(a).total_cmp(&off(b)));
    worst.unwrap_or(f64::NAN)
}

/// A check of a resistance, by all three solvers.
#[must_use]
pub fn exact(
    what: String,
    source: &'static str,
    theirs: f64,
    test: &'static str,
    found: impl Fn() -> Vec<f64> + 'static,
) -> Check {
    let ours: Ours = Box::new(move || farthest(found(), theirs).into());
    Check {
        what,
        source,
        status: Status::Ran,
        theirs: theirs.into(),
        limit: Limit::Share(EXACT),
        ours,
        test,
    }
}

/// A graph of unequal edges.
#[must_use]
pub fn graph(vertices: usize, edges: &[(usize, usize, f64)]) -> Graph {
    let edges = edges.iter().map(|&(a, b, ohms)| (a, b, Ohms(ohms)));
    Graph {
        vertices,
        edges: edges.collect(),
    }
}

/// A source of so many volts, stiff for any network of ohms.
#[must_use]
pub fn stiff(node: usize, volts: f64) -> Device {
    Device::Source(node, Volts(volts), Ohms(1e-9))
}

/// The voltage of a node by core and by the bench.
#[must_use]
pub fn volts(net: &Net, node: usize) -> Vec<f64> {
    [net.core(), net.bench()]
        .iter()
        .filter_map(|volts| volts.get(node - 1).copied())
        .collect()
}
