//! The unbalanced bridge of *Lessons in Electric Circuits* I, ch. 10: the example
//! from *memory*, its values computed with ngspice, networkx and lcapy (*ran*).

use loomproof_core::units::Ohms;

use super::check::{Check, Limit, Status};
use super::networks::{exact, farthest, graph, stiff, volts};
use crate::solvers::{Device, Net};

const SOURCE: &str = "Lessons in Electric Circuits I, ch. 10 (the example from memory), \
                      computed with ngspice, networkx and lcapy";

/// 10 V at node 1 over the bridge; nodes 2 and 3 are its middle.
fn bridge() -> Net {
    Net {
        nodes: 3,
        devices: vec![
            stiff(1, 10.0),
            Device::Resistor(1, 2, Ohms(12.0)),
            Device::Resistor(1, 3, Ohms(18.0)),
            Device::Resistor(2, 0, Ohms(18.0)),
            Device::Resistor(3, 0, Ohms(12.0)),
            Device::Resistor(2, 3, Ohms(6.0)),
        ],
    }
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let of = "bridge of 12 and 18 Ω above, 18 and 12 Ω below, 6 Ω across";
    let edges = [
        (0, 1, 12.0),
        (0, 2, 18.0),
        (1, 3, 18.0),
        (2, 3, 12.0),
        (1, 2, 6.0),
    ];
    let ohms = move || graph(4, &edges).resistance(0, 3).to_vec();
    let mut checks = vec![exact(
        format!("{of}, Ω"),
        SOURCE,
        102.0 / 7.0,
        "unbalanced_bridge",
        ohms,
    )];
    for (node, theirs) in [(2, 5.29412), (3, 4.70588)] {
        checks.push(Check {
            what: format!("{of}, 10 V: node {}, V", node - 1),
            source: SOURCE,
            status: Status::Ran,
            theirs: theirs.into(),
            limit: Limit::Off(5e-6),
            ours: Box::new(move || farthest(volts(&bridge(), node), theirs).into()),
            test: "unbalanced_bridge",
        });
    }
    checks
}

crate::checked!(unbalanced_bridge);
