//! Which probe leads belong together, by the plan.
//!
//! A *net* is what hangs together by metal ([`Part::Wire`]); an *island* is
//! what hangs together by any element, chassis excepted. The scan is planned
//! from these alone.

use crate::circuit::{Circuit, Edit, GROUND, MAX_NODES, NodeId, Part};
use crate::wire::{LeadId, LeadSet, MAX_LEADS};

/// Number of a net or island; equal numbers belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Group(pub u16);

/// How the clipped leads hang together.
#[derive(Debug, Clone)]
pub struct Layout {
    leads: LeadSet,
    net: [Group; MAX_LEADS],
    island: [Group; MAX_LEADS],
    chassis: LeadSet,
    active: LeadSet,
    diodes: LeadSet,
    loaded: LeadSet,
}

#[derive(Debug, Clone)]
struct Joined([u16; MAX_NODES]);

impl Joined {
    fn new() -> Self {
        let mut parents = [0; MAX_NODES];
        for (index, parent) in parents.iter_mut().enumerate() {
            *parent = index as u16;
        }
        Self(parents)
    }

    fn root(&self, node: NodeId) -> u16 {
        let mut at = node.0;
        while let Some(&parent) = self.0.get(usize::from(at)) {
            if parent == at {
                break;
            }
            at = parent;
        }
        at
    }

    /// Joins two nodes; the smaller root stays, so chains stay short for
    /// circuits built from one end.
    fn join(&mut self, a: NodeId, b: NodeId) {
        let (a, b) = (self.root(a), self.root(b));
        if let Some(parent) = self.0.get_mut(usize::from(a.max(b))) {
            *parent = a.min(b);
        }
    }
}

/// Which nodes hang together through elements other than chassis.
#[derive(Debug, Clone)]
pub struct Islands(Joined);

impl Islands {
    /// The islands of a circuit with edits applied.
    #[must_use]
    pub fn of<const E: usize>(circuit: &Circuit<E>, edits: &[Edit]) -> Self {
        let mut joined = Joined::new();
        for element in circuit.edited(edits) {
            if element.a != GROUND && element.b != GROUND {
                joined.join(element.a, element.b);
            }
        }
        Self(joined)
    }

    /// The island of a node; chassis is an island of its own.
    #[must_use]
    pub fn group(&self, node: NodeId) -> Group {
        Group(self.0.root(node))
    }
}

impl Layout {
    /// The layout of a circuit with edits applied.
    #[must_use]
    pub fn of<const E: usize>(circuit: &Circuit<E>, edits: &[Edit]) -> Self {
        let Islands(islands) = Islands::of(circuit, edits);
        let mut nets = Joined::new();
        for element in circuit.edited(edits) {
            if matches!(element.part, Part::Wire { .. }) {
                nets.join(element.a, element.b);
            }
        }
        let mut layout = Self {
            leads: circuit.leads().collect(),
            net: [Group(0); MAX_LEADS],
            island: [Group(0); MAX_LEADS],
            chassis: LeadSet::EMPTY,
            active: LeadSet::EMPTY,
            diodes: LeadSet::EMPTY,
            loaded: LeadSet::EMPTY,
        };
        for lead in circuit.leads() {
            let Some(tip) = circuit.tip(lead) else {
                continue;
            };
            let (net, island) = (nets.root(tip), islands.root(tip));
            if let Some(slot) = layout.net.get_mut(usize::from(lead.0)) {
                *slot = Group(net);
            }
            if let Some(slot) = layout.island.get_mut(usize::from(lead.0)) {
                *slot = Group(island);
            }
            if net == nets.root(GROUND) {
                layout.chassis.insert(lead);
            }
            for element in circuit.edited(edits) {
                let inside = [element.a, element.b]
                    .into_iter()
                    .any(|node| node != GROUND && islands.root(node) == island);
                if inside && matches!(element.part, Part::Diode(_)) {
                    layout.diodes.insert(lead);
                    layout.active.insert(lead);
                }
                if inside && matches!(element.part, Part::Load { .. }) {
                    layout.loaded.insert(lead);
                    layout.active.insert(lead);
                }
            }
        }
        layout
    }

    /// The clipped leads.
    #[must_use]
    pub fn leads(&self) -> &LeadSet {
        &self.leads
    }

    /// The net of a lead.
    #[must_use]
    pub fn net(&self, lead: LeadId) -> Option<Group> {
        self.leads
            .contains(lead)
            .then(|| self.net.get(usize::from(lead.0)).copied())?
    }

    /// The island of a lead.
    #[must_use]
    pub fn island(&self, lead: LeadId) -> Option<Group> {
        self.leads
            .contains(lead)
            .then(|| self.island.get(usize::from(lead.0)).copied())?
    }

    /// Whether the lead's net is chassis.
    #[must_use]
    pub fn on_chassis(&self, lead: LeadId) -> bool {
        self.chassis.contains(lead)
    }

    /// Whether the lead's island holds a diode or a module input, so that it
    /// is only ever driven alone.
    #[must_use]
    pub fn active(&self, lead: LeadId) -> bool {
        self.active.contains(lead)
    }

    /// Whether the lead's island holds a diode, so that polarity matters.
    #[must_use]
    pub fn polar(&self, lead: LeadId) -> bool {
        self.diodes.contains(lead)
    }

    /// Whether the lead's island holds a module input, which takes time to charge.
    #[must_use]
    pub fn loaded(&self, lead: LeadId) -> bool {
        self.loaded.contains(lead)
    }

    /// The first lead of the lead's net.
    #[must_use]
    pub fn first(&self, lead: LeadId) -> Option<LeadId> {
        let net = self.net(lead)?;
        self.leads
            .iter()
            .find(|other| self.net(*other) == Some(net))
    }

    /// Whether the lead is the first of its net.
    #[must_use]
    pub fn is_first(&self, lead: LeadId) -> bool {
        self.first(lead) == Some(lead)
    }
}
