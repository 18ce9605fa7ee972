//! The expected circuit: nodes, elements, and the probe leads clipped to it.
//!
//! Capacities are fixed at compile time; nothing is allocated. Node 0 is
//! chassis, which is also the probe's 0 V.

use heapless::Vec;

use crate::instrument;
use crate::units::{Amperes, Ohms, Volts};
use crate::wire::{LeadId, MAX_LEADS};

/// A node of the circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NodeId(pub u16);

/// Chassis and the probe's 0 V.
pub const GROUND: NodeId = NodeId(0);

/// An element of the circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ElementId(pub u16);

/// A junction diode by the Shockley equation, `I = Is·(exp(V / (n·Vt)) − 1)`,
/// with the thermal voltage at 27 °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Junction {
    /// Saturation current Is.
    pub saturation: Amperes,
    /// Emission coefficient n.
    pub emission: f64,
    /// One standard deviation of the forward voltage from part to part.
    pub spread: Volts,
}

impl Junction {
    /// A small silicon rectifier: 0.7 V at 10 mA or so (`common practice`).
    pub const SILICON: Self = Self {
        saturation: Amperes(4e-9),
        emission: 1.9,
        spread: Volts(0.03),
    };
}

/// What an element is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Part {
    /// Metal: a lead, a joint, a closed contact. Its two ends are one net.
    Wire {
        /// Mean resistance.
        ohms: Ohms,
        /// One standard deviation.
        spread: Ohms,
    },
    /// A component with resistance: coil, filament, resistor. Its ends are two nets.
    Resistor {
        /// Mean resistance.
        ohms: Ohms,
        /// One standard deviation.
        spread: Ohms,
    },
    /// Something unknown between two resistances, such as a module input.
    Load {
        /// Least resistance.
        least: Ohms,
        /// Greatest resistance.
        most: Ohms,
    },
    /// A diode, anode at the element's first node.
    Diode(Junction),
}

/// Two nodes and what is between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Element {
    /// First node (a diode's anode).
    pub a: NodeId,
    /// Second node (a diode's cathode).
    pub b: NodeId,
    /// What it is.
    pub part: Part,
}

/// A change of the circuit that a fault makes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Edit {
    /// The element is gone.
    Remove(ElementId),
    /// The element has this much more resistance than before (wires and resistors).
    AddOhms(ElementId, Ohms),
    /// The element's ends are elsewhere.
    Move(ElementId, NodeId, NodeId),
    /// Two nodes touch.
    Join {
        /// One node.
        a: NodeId,
        /// The other node.
        b: NodeId,
        /// Mean resistance of the touch.
        ohms: Ohms,
        /// One standard deviation.
        spread: Ohms,
    },
    /// Two nodes touch, with a resistance that is unknown within limits.
    Touch {
        /// One node.
        a: NodeId,
        /// The other node.
        b: NodeId,
        /// Least resistance of the touch.
        least: Ohms,
        /// Greatest resistance of the touch.
        most: Ohms,
    },
    /// A probe lead is on another node.
    Clip(LeadId, NodeId),
}

impl Edit {
    /// The planned element that is changed, where it is named.
    #[must_use]
    pub const fn element(&self) -> Option<ElementId> {
        match *self {
            Self::Remove(id) | Self::AddOhms(id, _) | Self::Move(id, ..) => Some(id),
            Self::Join { .. } | Self::Touch { .. } | Self::Clip(..) => None,
        }
    }
}

/// Why something could not be added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CircuitError {
    /// More nodes than this circuit type can hold.
    TooManyNodes,
    /// More elements than this circuit type can hold.
    TooManyElements,
    /// The node was never made.
    NoSuchNode,
    /// A resistance is not a positive, finite number, or a range is reversed.
    BadValue,
    /// The probe lead is already clipped, or its number is too large.
    LeadTaken,
}

/// The expected circuit with at most `E` elements; nodes are numbered below
/// [`MAX_NODES`].
#[derive(Debug, Clone)]
pub struct Circuit<const E: usize> {
    nodes: u16,
    elements: Vec<Element, E>,
    clips: [Option<ElementId>; MAX_LEADS],
}

/// The most nodes of a circuit, chassis included.
pub const MAX_NODES: usize = 1536;

impl<const E: usize> Default for Circuit<E> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const E: usize> Circuit<E> {
    /// A circuit that holds chassis and nothing else.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            nodes: 1,
            elements: Vec::new(),
            clips: [None; MAX_LEADS],
        }
    }

    /// Makes a node.
    ///
    /// # Errors
    /// [`CircuitError::TooManyNodes`] when [`MAX_NODES`] are there.
    pub fn node(&mut self) -> Result<NodeId, CircuitError> {
        if usize::from(self.nodes) >= MAX_NODES {
            return Err(CircuitError::TooManyNodes);
        }
        let node = NodeId(self.nodes);
        self.nodes += 1;
        Ok(node)
    }

    /// Puts an element between two nodes.
    ///
    /// # Errors
    /// [`CircuitError`] when a node does not exist, a value makes no sense or
    /// the circuit is full.
    pub fn add(&mut self, a: NodeId, b: NodeId, part: Part) -> Result<ElementId, CircuitError> {
        if a.0 >= self.nodes || b.0 >= self.nodes {
            return Err(CircuitError::NoSuchNode);
        }
        if !sensible(&part) {
            return Err(CircuitError::BadValue);
        }
        let id = u16::try_from(self.elements.len()).map_err(|_| CircuitError::TooManyElements)?;
        self.elements
            .push(Element { a, b, part })
            .map_err(|_| CircuitError::TooManyElements)?;
        Ok(ElementId(id))
    }

    /// Puts a wire-like resistance between two nodes.
    ///
    /// # Errors
    /// As [`Self::add`].
    pub fn wire(
        &mut self,
        a: NodeId,
        b: NodeId,
        ohms: Ohms,
        spread: Ohms,
    ) -> Result<ElementId, CircuitError> {
        self.add(a, b, Part::Wire { ohms, spread })
    }

    /// Clips a probe lead to a node, through the clip's own resistance.
    ///
    /// # Errors
    /// [`CircuitError::LeadTaken`] when that lead is clipped already, else as [`Self::add`].
    pub fn clip(&mut self, lead: LeadId, node: NodeId) -> Result<NodeId, CircuitError> {
        match self.clips.get(usize::from(lead.0)) {
            Some(None) => {}
            _ => return Err(CircuitError::LeadTaken),
        }
        let tip = self.node()?;
        let element = self.wire(tip, node, instrument::CLIP, instrument::CLIP_SPREAD)?;
        if let Some(slot) = self.clips.get_mut(usize::from(lead.0)) {
            *slot = Some(element);
        }
        Ok(tip)
    }

    /// Gives a clipped lead the resistance that was measured of its clip, instead of
    /// the one of any clip. Nothing happens to a lead that is not clipped.
    pub fn null(&mut self, lead: LeadId, ohms: Ohms) {
        let element = self.clip_of(lead);
        if let Some(clip) = element.and_then(|id| self.elements.get_mut(usize::from(id.0))) {
            clip.part = Part::Wire {
                // A wire of no resistance would tie two nodes into one.
                ohms: Ohms(ohms.0.max(instrument::NULLED_SPREAD.0 / 4.0)),
                spread: instrument::NULLED_SPREAD,
            };
        }
    }

    /// Number of nodes, chassis included.
    #[must_use]
    pub fn nodes(&self) -> usize {
        usize::from(self.nodes)
    }

    /// The elements as planned.
    #[must_use]
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// The probe's side of a lead's clip; `None` when that lead is not clipped.
    #[must_use]
    pub fn tip(&self, lead: LeadId) -> Option<NodeId> {
        let id = self.clip_of(lead)?;
        self.elements.get(usize::from(id.0)).map(|clip| clip.a)
    }

    /// The clip of a lead: from its tip to the node it sits on. Moving or
    /// removing this element is what a clip on a wrong point, or on nothing, does.
    #[must_use]
    pub fn clip_of(&self, lead: LeadId) -> Option<ElementId> {
        *self.clips.get(usize::from(lead.0))?
    }

    /// The node that a lead's clip sits on; `None` when that lead is not clipped.
    #[must_use]
    pub fn clipped(&self, lead: LeadId) -> Option<NodeId> {
        let id = self.clip_of(lead)?;
        self.elements.get(usize::from(id.0)).map(|clip| clip.b)
    }

    /// The leads that are clipped, in rising order.
    pub fn leads(&self) -> impl Iterator<Item = LeadId> + '_ {
        (0..MAX_LEADS as u8)
            .map(LeadId)
            .filter(|lead| self.tip(*lead).is_some())
    }

    /// The elements with edits applied, in order, joins last.
    pub fn edited<'a>(&'a self, edits: &'a [Edit]) -> impl Iterator<Item = Element> + 'a {
        let planned = (0..self.elements.len())
            .filter_map(move |index| self.edited_element(ElementId(index as u16), edits));
        planned.chain(self.joins(edits))
    }

    /// One planned element with edits applied; `None` when they take it away
    /// or it does not exist.
    #[must_use]
    pub fn edited_element(&self, id: ElementId, edits: &[Edit]) -> Option<Element> {
        self.edit(id, *self.elements.get(usize::from(id.0))?, edits)
    }

    /// The elements that edits add.
    pub fn joins<'a>(&'a self, edits: &'a [Edit]) -> impl Iterator<Item = Element> + 'a {
        edits.iter().filter_map(|edit| match *edit {
            Edit::Join { a, b, ohms, spread } if self.has(a) && self.has(b) => Some(Element {
                a,
                b,
                part: Part::Wire { ohms, spread },
            }),
            Edit::Touch { a, b, least, most } if self.has(a) && self.has(b) => Some(Element {
                a,
                b,
                part: Part::Load { least, most },
            }),
            _ => None,
        })
    }

    fn has(&self, node: NodeId) -> bool {
        node.0 < self.nodes
    }

    fn edit(&self, id: ElementId, mut element: Element, edits: &[Edit]) -> Option<Element> {
        for edit in edits {
            match *edit {
                Edit::Remove(target) if target == id => return None,
                Edit::AddOhms(target, more) if target == id => {
                    element.part = match element.part {
                        Part::Wire { ohms, spread } => Part::Wire {
                            ohms: ohms + more,
                            spread,
                        },
                        Part::Resistor { ohms, spread } => Part::Resistor {
                            ohms: ohms + more,
                            spread,
                        },
                        other => other,
                    };
                }
                Edit::Move(target, a, b) if target == id && self.has(a) && self.has(b) => {
                    element.a = a;
                    element.b = b;
                }
                Edit::Clip(lead, node)
                    if self.has(node) && self.clips.get(usize::from(lead.0)) == Some(&Some(id)) =>
                {
                    element.b = node;
                }
                _ => {}
            }
        }
        Some(element)
    }
}

fn sensible(part: &Part) -> bool {
    let positive = |x: Ohms| x.0.is_finite() && x.0 > 0.0;
    match *part {
        Part::Wire { ohms, spread } | Part::Resistor { ohms, spread } => {
            positive(ohms) && spread.0.is_finite() && spread.0 >= 0.0
        }
        Part::Load { least, most } => positive(least) && positive(most) && least <= most,
        Part::Diode(junction) => {
            junction.saturation.0.is_finite()
                && junction.saturation.0 > 0.0
                && junction.emission.is_finite()
                && junction.emission > 0.0
                && junction.spread.0.is_finite()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edits_change_only_what_they_name() {
        let mut circuit: Circuit<8> = Circuit::new();
        let a = circuit.node().unwrap();
        let b = circuit.node().unwrap();
        let w = circuit.wire(a, b, Ohms(1.0), Ohms(0.1)).unwrap();
        let g = circuit.wire(b, GROUND, Ohms(2.0), Ohms(0.1)).unwrap();
        let with = |edits: &[Edit]| circuit.edited(edits).collect::<std::vec::Vec<_>>();
        assert_eq!(with(&[]).len(), 2);
        assert_eq!(with(&[Edit::Remove(w)])[0].a, b);
        let heavier = with(&[Edit::AddOhms(g, Ohms(8.0))]);
        assert_eq!(
            heavier[1].part,
            Part::Wire {
                ohms: Ohms(10.0),
                spread: Ohms(0.1)
            }
        );
        assert_eq!(heavier[0], circuit.elements()[0]);
        assert_eq!(with(&[Edit::Move(w, a, GROUND)])[0].b, GROUND);
        let join = Edit::Join {
            a,
            b: NodeId(99),
            ohms: Ohms(1.0),
            spread: Ohms(0.0),
        };
        assert_eq!(
            with(&[join]).len(),
            2,
            "a join to a node that is not there is ignored"
        );
    }

    #[test]
    fn a_clip_can_be_moved_and_taken_off() {
        let mut circuit: Circuit<4> = Circuit::new();
        let a = circuit.node().unwrap();
        let b = circuit.node().unwrap();
        let tip = circuit.clip(LeadId(2), a).unwrap();
        assert_eq!(circuit.clip_of(LeadId(1)), None);
        assert_eq!(circuit.clipped(LeadId(2)), Some(a));
        let clip = circuit.clip_of(LeadId(2)).unwrap();
        let with = |edits: &[Edit]| circuit.edited(edits).collect::<std::vec::Vec<_>>();
        let moved = with(&[Edit::Move(clip, tip, b)]);
        assert_eq!((moved.len(), moved[0].a, moved[0].b), (1, tip, b));
        assert_eq!(moved, with(&[Edit::Clip(LeadId(2), b)]));
        assert_eq!(with(&[Edit::Remove(clip)]), []);
        assert_eq!(circuit.tip(LeadId(2)), Some(tip), "the lead is still there");
    }

    #[test]
    fn limits_are_errors() {
        let mut circuit: Circuit<1> = Circuit::new();
        let a = circuit.node().unwrap();
        assert_eq!(
            circuit.wire(a, NodeId(7), Ohms(1.0), Ohms(0.0)),
            Err(CircuitError::NoSuchNode)
        );
        assert_eq!(
            circuit.wire(a, GROUND, Ohms(0.0), Ohms(0.0)),
            Err(CircuitError::BadValue)
        );
        assert_eq!(
            circuit.wire(a, GROUND, Ohms(f64::NAN), Ohms(0.0)),
            Err(CircuitError::BadValue)
        );
        assert!(circuit.clip(LeadId(3), a).is_ok());
        assert_eq!(circuit.clip(LeadId(3), a), Err(CircuitError::LeadTaken));
        assert_eq!(
            circuit.clip(LeadId(4), a),
            Err(CircuitError::TooManyElements)
        );
    }
}
