//! Which node and element of the circuit is which place of the plan.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::circuit::{ElementId, NodeId};
use loomproof_core::units::Ohms;

use crate::fault::Joint;
use crate::hookup::Point;
use crate::plan::model::{End, Side};

/// A connector cavity in the circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CavityNodes {
    /// What a back-probe touches: the crimp of the terminal in the cavity.
    pub wire_side: NodeId,
    /// What the mating half touches.
    pub mating_side: NodeId,
    /// The contact between the two; `None` while no terminal is planned there.
    pub contact: Option<ElementId>,
}

/// Something unknown of the vehicle that hangs behind a connector.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Behind {
    /// Where it joins the wiring when the connector is plugged.
    pub node: NodeId,
    /// Least resistance to chassis.
    pub least: Ohms,
    /// Greatest resistance to chassis.
    pub most: Ohms,
    /// It in the circuit; `None` while the connector is open.
    pub element: Option<ElementId>,
}

/// Places of the plan in the circuit.
#[derive(Debug, Clone, Default)]
pub struct Places {
    /// Cavities by connector and number.
    pub cavities: BTreeMap<(String, u16), CavityNodes>,
    /// Terminals of taps, splices, rings, plug ways and parts.
    pub terminals: BTreeMap<End, NodeId>,
    /// The half of a lead that ends at a joint, or the mating contact.
    pub joints: BTreeMap<Joint, Vec<ElementId>>,
    /// The middle of each lead.
    pub middles: BTreeMap<String, NodeId>,
    /// The bite of each tap: from the tap's terminal to its conductor.
    pub bites: BTreeMap<String, ElementId>,
    /// Each conductor, where taps bite.
    pub conductors: BTreeMap<String, NodeId>,
    /// The free end of each capped lead.
    pub caps: BTreeMap<String, NodeId>,
    /// The elements of each relay, diode, lamp and fuse.
    pub parts: BTreeMap<String, Vec<ElementId>>,
    /// What hangs behind each connector of which the plan says how its halves are.
    pub behind: BTreeMap<String, Vec<Behind>>,
    /// Connectors that the plan wants plugged.
    pub plugged: BTreeSet<String>,
    /// The clip of the probe lead on each test point.
    pub clips: BTreeMap<End, ElementId>,
}

impl Places {
    /// The node that a probe lead on this point touches.
    #[must_use]
    pub fn node(&self, point: &Point) -> Option<NodeId> {
        match point {
            Point::Cavity {
                connector,
                cavity,
                side,
            } => {
                let nodes = self.cavities.get(&(connector.clone(), *cavity))?;
                Some(match side {
                    Side::Wire => nodes.wire_side,
                    Side::Mating => nodes.mating_side,
                })
            }
            Point::Tap(name) => self.terminals.get(&End::Tap(name.clone())).copied(),
            Point::Ring(name) => self.terminals.get(&End::Ring(name.clone())).copied(),
            Point::Terminal(end) => self.terminals.get(end).copied(),
        }
    }
}
