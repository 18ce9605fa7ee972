//! The bench's way of solving a network, by itself, so that it can be held
//! against other solvers on circuits that no plan has.

use super::error::BenchError;
use super::island::{Driven, islands, targets};
use super::network::{Element, Law, Netlist};
use loomproof_core::units::{Amperes, Ohms, Volts};

/// Something between two nodes; node 0 is 0 V.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Branch {
    /// A resistor.
    Resistor {
        /// One end.
        a: usize,
        /// The other end.
        b: usize,
        /// Its resistance.
        ohms: Ohms,
    },
    /// A diode by Shockley's law.
    Diode {
        /// Anode.
        anode: usize,
        /// Cathode.
        cathode: usize,
        /// Saturation current.
        saturation: Amperes,
        /// Emission coefficient times thermal voltage.
        slope: Volts,
    },
    /// A voltage behind a resistance, from node 0 to a node.
    Source {
        /// The node.
        node: usize,
        /// Open-circuit voltage.
        volts: Volts,
        /// Resistance in series.
        ohms: Ohms,
    },
}

/// Conductance across every diode of the bench, S.
pub const DIODE_SHUNT: f64 = super::network::DIODE_SHUNT;

fn netlist(nodes: usize, branches: &[Branch]) -> Netlist {
    let mut netlist = Netlist {
        nodes,
        elements: Vec::new(),
    };
    for branch in branches {
        match *branch {
            Branch::Resistor { a, b, ohms } => netlist.resistor(a, b, ohms.value()),
            Branch::Diode {
                anode,
                cathode,
                saturation,
                slope,
            } => {
                let law = Law {
                    saturation: saturation.value(),
                    slope: slope.value(),
                };
                netlist.add(Element::Diode(anode, cathode, law));
            }
            Branch::Source { node, volts, ohms } => {
                netlist.add(Element::Source(node, volts.value(), ohms.value()));
            }
        }
    }
    netlist
}

/// A current source as a voltage behind this, Ω.
const CURRENT_BEHIND: f64 = 1e15;

/// A network without its capacitors.
pub(super) fn branches(netlist: &Netlist) -> Vec<Branch> {
    let branch = |element: &Element| match *element {
        Element::Resistor(a, b, ohms) => Some(Branch::Resistor {
            a,
            b,
            ohms: Ohms(ohms),
        }),
        Element::Diode(anode, cathode, law) => Some(Branch::Diode {
            anode,
            cathode,
            saturation: Amperes(law.saturation),
            slope: Volts(law.slope),
        }),
        Element::Source(node, volts, ohms) => Some(Branch::Source {
            node,
            volts: Volts(volts),
            ohms: Ohms(ohms),
        }),
        Element::Current(node, amperes) => Some(Branch::Source {
            node,
            volts: Volts(amperes * CURRENT_BEHIND),
            ohms: Ohms(CURRENT_BEHIND),
        }),
        Element::Capacitor(..) => None,
    };
    netlist.elements.iter().filter_map(branch).collect()
}

/// The voltage of every node from 1 to `nodes`, all node equations at once.
///
/// # Errors
/// [`BenchError::NotSolved`] if a node hangs in the air or the iteration does
/// not come to rest.
pub fn solve(nodes: usize, branches: &[Branch]) -> Result<Vec<Volts>, BenchError> {
    let row = |node: usize| node.checked_sub(1);
    let point = netlist(nodes, branches).equations(nodes, &row).solve()?;
    Ok(point.volts.iter().copied().map(Volts).collect())
}

/// The voltage of some nodes, as the bench gets it: island by island, each
/// reduced to these nodes and the terminals of diodes before it is solved.
///
/// # Errors
/// As [`solve`].
pub fn solve_at(
    nodes: usize,
    branches: &[Branch],
    wanted: &[usize],
) -> Result<Vec<Volts>, BenchError> {
    let mut volts = vec![Volts(0.0); wanted.len()];
    for island in islands(&netlist(nodes, branches), wanted)? {
        let ports = island.ports.len();
        let driven = Driven {
            island: &island,
            drives: vec![None; ports],
            sensed: vec![None; ports],
            held: true,
        };
        let target = targets(&[driven], None)?;
        for (channel, value) in island
            .ports
            .iter()
            .zip(target.iter().flat_map(|t| &t.volts))
        {
            if let Some(slot) = channel.and_then(|channel| volts.get_mut(channel)) {
                *slot = Volts(*value);
            }
        }
    }
    Ok(volts)
}
