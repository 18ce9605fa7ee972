//! The circuit in one state, island by island.

use std::collections::BTreeSet;
use std::hash::{BuildHasher, Hasher};

use loomproof_core::circuit::{Element, GROUND, NodeId, Part};
use loomproof_core::solve::Attachment;
use loomproof_core::units::{Ohms, Volts};

use super::scope::{Scope, root};
use super::{Settled, Solver};
use crate::plan::model::Signal;
use crate::powered::causes::Scenario;

/// Insulation of a net to all around it (`common practice`: wires in dry looms have
/// more).
const INSULATION: Ohms = Ohms(1e9);

/// A circuit in one state: what is there, island by island.
pub(super) struct Now {
    pub(super) elements: Vec<Vec<Element>>,
    pub(super) ties: Vec<Vec<Attachment>>,
    /// Nothing that the plan knows may be wrong here.
    pub(super) unknown: Vec<bool>,
    pub(super) ranged: Vec<bool>,
    pub(super) diodes: Vec<bool>,
    pub(super) digest: Vec<u64>,
    pub(super) home: Vec<usize>,
}

impl Solver<'_> {
    /// The circuit in a state, in the phase in which what flashes is on or off.
    pub(super) fn now(
        &self,
        scope: &Scope,
        scenario: &Scenario,
        settled: &Settled,
        on: bool,
    ) -> Now {
        let circuit = &self.powered.model.circuit;
        let count = circuit.nodes();
        let mut forest: Vec<usize> = (0..count).collect();
        let mut there: Vec<Element> = Vec::with_capacity(scope.elements.len());
        for id in scope.elements.iter().copied() {
            let shut = self.powered.gates.get(&id);
            let away = !on && self.powered.modulated.contains_key(&id);
            if away
                || shut.is_some_and(|gate| !Self::lets(settled, gate))
                || settled.burnt.contains(&id)
            {
                continue;
            }
            if let Some(mut element) = circuit.edited_element(id, &scenario.edits) {
                if let Some(warm) = self.powered.warm.get(&id) {
                    element.part = *warm;
                }
                there.push(element);
            }
        }
        there.extend(circuit.joins(&scenario.edits));
        for element in &there {
            if element.a != GROUND && element.b != GROUND {
                let a = root(&mut forest, usize::from(element.a.0));
                let b = root(&mut forest, usize::from(element.b.0));
                forest[a.max(b)] = a.min(b);
            }
        }
        let mut number = vec![usize::MAX; count];
        let mut home = vec![usize::MAX; count];
        let mut islands = 0;
        for node in scope.nodes.iter().map(|node| usize::from(node.0)) {
            let own = root(&mut forest, node);
            if number[own] == usize::MAX {
                number[own] = islands;
                islands += 1;
            }
            home[node] = number[own];
        }
        let mut now = Now {
            elements: vec![Vec::new(); islands],
            ties: vec![Vec::new(); islands],
            unknown: vec![false; islands],
            ranged: vec![false; islands],
            diodes: vec![false; islands],
            digest: Vec::new(),
            home,
        };
        for element in there {
            let inner = if element.a == GROUND {
                element.b
            } else {
                element.a
            };
            if let Some(place) = now.island(inner) {
                now.ranged[place] |= matches!(element.part, Part::Load { .. });
                now.diodes[place] |= matches!(element.part, Part::Diode(_));
                now.elements[place].push(element);
            }
        }
        for at in scope.feeds.iter().copied() {
            let Some(feed) = self.powered.feeds.get(at) else {
                continue;
            };
            let gives = on || feed.signal == Signal::Steady;
            if !gives
                || scenario.dead.contains(&at)
                || settled.blown.contains(&at)
                || !Self::lets(settled, &feed.gate)
            {
                continue;
            }
            if let Some(place) = now.island(feed.node) {
                let mut other = scenario.volts.iter();
                let other = other.find(|(feed, _)| *feed == at);
                now.ties[place].push(Attachment {
                    node: feed.node,
                    volts: other.map_or(self.battery, |(_, volts)| *volts),
                    ohms: feed.ohms,
                    spread: feed.spread,
                });
            }
        }
        // With one tie and no way to chassis no current flows, and what is behind a
        // diode would seem to be held as firmly as what is before it.
        for ties in &mut now.ties {
            if let [only] = ties.as_slice() {
                let leak = Attachment {
                    volts: Volts(0.0),
                    ohms: INSULATION,
                    ..*only
                };
                ties.push(leak);
            }
        }
        for node in &self.powered.unknown {
            if let Some(place) = now.island(*node) {
                now.unknown[place] = true;
            }
        }
        now.digest = (0..islands).map(|place| self.digest(&now, place)).collect();
        now
    }

    pub(super) fn digest(&self, now: &Now, place: usize) -> u64 {
        let mut hasher = self.hasher.build_hasher();
        for element in &now.elements[place] {
            hasher.write_u16(element.a.0);
            hasher.write_u16(element.b.0);
            let (sort, one, two) = match element.part {
                Part::Wire { ohms, .. } => (0, ohms.0, 0.0),
                Part::Resistor { ohms, .. } => (1, ohms.0, 0.0),
                Part::Load { least, most } => (2, least.0, most.0),
                Part::Diode(junction) => (3, junction.saturation.0, junction.emission),
            };
            hasher.write_u8(sort);
            hasher.write_u64(one.to_bits());
            hasher.write_u64(two.to_bits());
        }
        for tie in &now.ties[place] {
            hasher.write_u16(tie.node.0);
            hasher.write_u64(tie.ohms.0.to_bits());
            hasher.write_u64(tie.volts.0.to_bits());
        }
        hasher.finish()
    }
}

impl Now {
    /// Of each node, whether anything but a diode ties it to chassis or to a feed.
    pub(super) fn held(&self) -> Vec<bool> {
        let mut forest: Vec<usize> = (0..self.home.len()).collect();
        let mut tied: Vec<usize> = Vec::new();
        let metal = self.elements.iter().flatten();
        for element in metal.filter(|element| !matches!(element.part, Part::Diode(_))) {
            let (a, b) = (usize::from(element.a.0), usize::from(element.b.0));
            if element.a == GROUND {
                tied.push(b);
            } else if element.b == GROUND {
                tied.push(a);
            } else {
                let (a, b) = (root(&mut forest, a), root(&mut forest, b));
                forest[a.max(b)] = a.min(b);
            }
        }
        tied.extend(
            self.ties
                .iter()
                .flatten()
                .map(|tie| usize::from(tie.node.0)),
        );
        let roots: BTreeSet<usize> = tied.into_iter().map(|at| root(&mut forest, at)).collect();
        (0..self.home.len())
            .map(|at| roots.contains(&root(&mut forest, at)))
            .collect()
    }

    pub(super) fn island(&self, node: NodeId) -> Option<usize> {
        let place = *self.home.get(usize::from(node.0))?;
        (place < self.elements.len()).then_some(place)
    }
}
