//! What a scenario can bear on.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use loomproof_core::circuit::{Element, ElementId, GROUND, NodeId};

use super::Solver;
use crate::powered::causes::Scenario;
use crate::powered::wiring::Powered;
use crate::review::elements::Gate;

/// Nets that can bear on each other, by the number of one of their nodes.
pub type Cluster = usize;

/// The part of the job that a scenario can bear on.
#[derive(Debug, Default)]
pub struct Scope {
    pub(super) elements: Vec<ElementId>,
    pub(super) nodes: Vec<NodeId>,
    pub(super) feeds: Vec<usize>,
    pub(super) coils: Vec<usize>,
    pub(super) fuses: Vec<usize>,
    /// Points in it, by their place in [`Powered::points`].
    pub points: Vec<usize>,
}

pub(super) fn root(forest: &mut [usize], mut at: usize) -> usize {
    while forest[at] != at {
        forest[at] = forest[forest[at]];
        at = forest[at];
    }
    at
}

impl<'p> Solver<'p> {
    /// The clusters that a scenario bears on; all of them where it holds a switch.
    #[must_use]
    pub fn touched(&self, scenario: &Scenario) -> BTreeSet<Cluster> {
        if !scenario.stuck.is_empty() {
            return self.everything();
        }
        let nodes = scenario.nodes(self.powered);
        let own = nodes.iter().filter_map(|node| self.clusters.get(node));
        own.copied().collect()
    }

    /// All clusters.
    #[must_use]
    pub fn everything(&self) -> BTreeSet<Cluster> {
        self.clusters.values().copied().collect()
    }

    /// The cluster of a node; `None` for chassis.
    #[must_use]
    pub fn cluster(&self, node: NodeId) -> Option<Cluster> {
        self.clusters.get(&node).copied()
    }

    /// What belongs to some clusters.
    pub fn scope(&mut self, clusters: &BTreeSet<Cluster>) -> Rc<Scope> {
        let key: Vec<Cluster> = clusters.iter().copied().collect();
        if let Some(scope) = self.scopes.get(&key) {
            return Rc::clone(scope);
        }
        let powered = self.powered;
        let within = |node: NodeId| {
            let own = self.clusters.get(&node);
            own.is_some_and(|own| clusters.contains(own))
        };
        let elements = powered.model.circuit.elements();
        let of = |id: ElementId| elements.get(usize::from(id.0));
        let inside = |id: ElementId| of(id).is_some_and(|e| within(e.a) || within(e.b));
        let ids = (0..=u16::MAX).map(ElementId).take(elements.len());
        let numbers = |list: Vec<bool>| -> Vec<usize> {
            let list = list.into_iter().enumerate();
            list.filter(|(_, own)| *own).map(|(at, _)| at).collect()
        };
        let scope = Rc::new(Scope {
            elements: ids.filter(|id| inside(*id)).collect(),
            nodes: self
                .clusters
                .keys()
                .copied()
                .filter(|node| within(*node))
                .collect(),
            feeds: numbers(powered.feeds.iter().map(|feed| within(feed.node)).collect()),
            coils: numbers(
                powered
                    .coils
                    .iter()
                    .map(|coil| inside(coil.element))
                    .collect(),
            ),
            fuses: numbers(
                powered
                    .fuses
                    .iter()
                    .map(|(fuse, _)| inside(*fuse))
                    .collect(),
            ),
            points: numbers(
                powered
                    .points
                    .iter()
                    .map(|point| within(point.tip))
                    .collect(),
            ),
        });
        self.scopes.insert(key, Rc::clone(&scope));
        scope
    }

    /// Which nets can ever bear on each other: through parts, switches and relays.
    pub(super) fn clusters(powered: &Powered) -> BTreeMap<NodeId, Cluster> {
        let circuit = &powered.model.circuit;
        let mut forest: Vec<usize> = (0..circuit.nodes()).collect();
        let join = |a: NodeId, b: NodeId, forest: &mut Vec<usize>| {
            if a != GROUND && b != GROUND {
                let (a, b) = (
                    root(forest, usize::from(a.0)),
                    root(forest, usize::from(b.0)),
                );
                forest[a.max(b)] = a.min(b);
            }
        };
        for element in circuit.elements() {
            join(element.a, element.b, &mut forest);
        }
        for (element, gate) in &powered.gates {
            let Gate::Relay(relay, _) = gate else {
                continue;
            };
            let coil = powered.coils.iter().find(|coil| coil.relay == *relay);
            let contact = circuit.elements().get(usize::from(element.0));
            let coil = coil.and_then(|coil| circuit.elements().get(usize::from(coil.element.0)));
            if let (Some(contact), Some(coil)) = (contact, coil) {
                let end = |e: &Element| if e.a == GROUND { e.b } else { e.a };
                join(end(contact), end(coil), &mut forest);
            }
        }
        (1..circuit.nodes())
            .map(|node| {
                let number = NodeId(u16::try_from(node).unwrap_or(u16::MAX));
                (number, root(&mut forest, node))
            })
            .collect()
    }
}
