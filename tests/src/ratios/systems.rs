//! Every drive pattern of a harness's first pass as a system to be solved.

use loomproof_core::circuit::{Element, GROUND, NodeId, Part};
use loomproof_core::expect::pull;
use loomproof_core::instrument;
use loomproof_core::solve::Attachment;
use loomproof_core::units::{Ohms, Volts};
use loomproof_core::wire::{LeadSet, SenseMode};

use crate::speed::subject::Subject;

/// What a diode counts as: all solvers are to do the same linear work.
const DIODE: Ohms = Ohms(1_000.0);

/// One drive pattern with one load of the sense bus.
#[derive(Debug, Clone)]
pub struct System {
    /// Sources and pulls.
    pub ties: Vec<Attachment>,
    /// Points that are read.
    pub read: Vec<NodeId>,
    /// What the islands of these points are made of.
    pub near: Vec<Element>,
}

/// A harness and its systems.
#[derive(Debug, Clone)]
pub struct Systems {
    /// Test points.
    pub points: usize,
    /// Nodes, chassis included.
    pub nodes: usize,
    /// All elements, all of them linear.
    pub elements: Vec<Element>,
    /// Tips of the probe leads.
    pub tips: Vec<NodeId>,
    /// The systems.
    pub all: Vec<System>,
}

impl Systems {
    /// Those of a generated harness on the bench.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn drawn(seed: u64, points: u16) -> Result<Self, String> {
        Ok(Self::of(&Subject::drawn(seed, points)?))
    }

    /// Those of a subject.
    #[must_use]
    pub fn of(subject: &Subject) -> Self {
        let circuit = &subject.model().circuit;
        let elements: Vec<Element> = circuit.edited(&[]).map(linear).collect();
        let tip = |lead| circuit.tip(lead);
        let mut found = Self {
            points: subject.points(),
            nodes: circuit.nodes(),
            tips: circuit.leads().filter_map(tip).collect(),
            elements,
            all: Vec::new(),
        };
        let island = islands(found.nodes, &found.elements);
        let at = |node: NodeId| island[usize::from(node.0)];
        for planned in &subject.loaded.first {
            let step = &planned.step;
            let side = |set: &LeadSet, volts: Volts| -> Vec<Attachment> {
                let tie = |node| Attachment {
                    node,
                    volts,
                    ohms: instrument::SOURCE,
                    spread: Ohms(0.0),
                };
                set.iter().filter_map(tip).map(tie).collect()
            };
            let mut driven = side(&step.high, instrument::REFERENCE);
            driven.extend(side(&step.low, Volts(0.0)));
            let mut plain = Vec::new();
            let mut systems = Vec::new();
            for sense in &step.senses {
                let Some(tip) = tip(sense.lead) else { continue };
                match pull(sense.mode, tip) {
                    Some(pulled) if sense.mode != SenseMode::Plain => {
                        let mut ties = driven.clone();
                        ties.push(pulled);
                        systems.push((ties, vec![tip]));
                    }
                    _ => plain.push(tip),
                }
            }
            systems.push((driven, plain));
            for (ties, mut read) in systems {
                // What nothing ties has no voltage to be found.
                read.retain(|node| {
                    let near = |e: &&Element| e.a == GROUND || e.b == GROUND;
                    let grounded = found.elements.iter().filter(near);
                    let mut grounded = grounded.map(|e| at(if e.a == GROUND { e.b } else { e.a }));
                    ties.iter().any(|tie| at(tie.node) == at(*node))
                        || grounded.any(|island| island == at(*node))
                });
                if read.is_empty() {
                    continue;
                }
                let here = |node: NodeId| node != GROUND && read.iter().any(|r| at(*r) == at(node));
                let near = |e: &&Element| here(e.a) || here(e.b);
                let near = found.elements.iter().filter(near).copied().collect();
                found.all.push(System { ties, read, near });
            }
        }
        found
    }

    /// Points read, over all systems.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.all.iter().map(|system| system.read.len()).sum()
    }
}

fn linear(element: Element) -> Element {
    let resistor = |ohms| Part::Resistor {
        ohms,
        spread: Ohms(0.0),
    };
    let part = match element.part {
        Part::Wire { ohms, .. } | Part::Resistor { ohms, .. } => resistor(ohms),
        Part::Load { least, .. } => resistor(least),
        Part::Diode(_) => resistor(DIODE),
    };
    Element { part, ..element }
}

/// The island of every node, by a search of its own.
fn islands(nodes: usize, elements: &[Element]) -> Vec<usize> {
    let mut island: Vec<usize> = (0..nodes).collect();
    let mut changed = true;
    while changed {
        changed = false;
        for element in elements {
            let (a, b) = (usize::from(element.a.0), usize::from(element.b.0));
            if element.a == GROUND || element.b == GROUND || island[a] == island[b] {
                continue;
            }
            let least = island[a].min(island[b]);
            (island[a], island[b]) = (least, least);
            changed = true;
        }
    }
    island
}
