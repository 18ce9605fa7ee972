//! Nodal solve of the expected circuit, island by island.
//!
//! An island is what hangs together through elements other than chassis. Its
//! equations are solved by eliminating one node after the other and putting
//! the equivalent mesh in its place (star–mesh transform), which is Gaussian
//! elimination without a single subtraction: every conductance keeps its full
//! relative precision, from a milliohm joint to a blocking diode. (The same
//! idea as the algorithm of Grassmann, Taksar and Heyman for Markov chains,
//! 1985; `from memory`.) Diodes are solved by Newton iteration on their
//! companion model, junction steps limited as circuit simulators do.
//!
//! The caller lends the memory ([`Workspace`]); nothing is allocated.

mod diode;
mod loads;
mod members;
mod mesh;

use heapless::Vec;

use crate::circuit::{Element, GROUND, MAX_NODES, NodeId, Part};
use crate::units::{Ohms, Volts};

pub use diode::{DIODE_SHUNT, THERMAL, companion, limit};
pub use loads::{Corner, Loads, Sway};
pub use mesh::room;
use mesh::{add, eliminate, substitute};

/// Newton iterations before giving up.
pub const MAX_ITERATIONS: usize = 200;

/// Newton stops when no node moves by more than this, in volts.
pub const TOLERANCE: f64 = 1e-9;

/// A voltage source behind a resistance, from a node to chassis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attachment {
    /// Where it is attached.
    pub node: NodeId,
    /// Open-circuit voltage.
    pub volts: Volts,
    /// Resistance in series.
    pub ohms: Ohms,
    /// One standard deviation of the resistance.
    pub spread: Ohms,
}

/// Why an island could not be solved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SolveError {
    /// The island has more nodes than the workspace has room for.
    TooLarge,
    /// More elements or attachments in one island than can be held.
    TooManyElements,
    /// The diodes did not come to rest.
    NoConvergence,
    /// The island's equations are singular to working precision.
    Singular,
}

/// What a voltage depends on, to first order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensitivity {
    /// Variance in V² that the spreads of elements and attachments cause: `Σ (∂V/∂R·σR)²`.
    pub variance: f64,
    /// Resistance seen from the point, against the other one.
    pub seen: Ohms,
    /// How the unknown loads move it; holds where they are at [`Corner::Most`].
    pub sway: Sway,
}

/// Memory for the solver. The matrix is the caller's (a slice or a vector of
/// numbers); everything else has a fixed size.
#[derive(Debug)]
pub struct Workspace<M> {
    /// Packed lower triangle: `n·(n+1)/2` numbers solve an island of `n` nodes.
    matrix: M,
    /// Row of each member of the island; [`ABSENT`] for every other node.
    local: [u16; MAX_NODES],
    members: Vec<NodeId, MAX_NODES>,
    elements: Vec<(Element, f64), MAX_ISLAND_ELEMENTS>,
    junctions: Vec<f64, MAX_ISLAND_ELEMENTS>,
    volts: Vec<f64, MAX_NODES>,
    inverse: Vec<f64, MAX_NODES>,
    scratch: Vec<f64, MAX_NODES>,
    column: Vec<f64, MAX_NODES>,
}

const ABSENT: u16 = u16::MAX;

impl<M: AsRef<[f64]> + AsMut<[f64]>> Workspace<M> {
    /// A workspace over `matrix`; see [`room`].
    #[must_use]
    pub const fn new(matrix: M) -> Self {
        Self {
            matrix,
            local: [ABSENT; MAX_NODES],
            members: Vec::new(),
            elements: Vec::new(),
            junctions: Vec::new(),
            volts: Vec::new(),
            inverse: Vec::new(),
            scratch: Vec::new(),
            column: Vec::new(),
        }
    }
}

/// The most elements of one island.
pub const MAX_ISLAND_ELEMENTS: usize = 2048;

/// One island, solved under one set of attachments.
///
/// Holds the eliminated equations, so that sensitivities cost one more
/// substitution each.
#[derive(Debug)]
pub struct Island<'w, M> {
    work: &'w mut Workspace<M>,
    anchored: bool,
    /// The one thing that ties the island to a voltage: no current flows.
    lone: Option<Attachment>,
}

/// Solves the island that `start` belongs to.
///
/// `elements` and `attachments` may name nodes of other islands; they are left
/// out. An island that nothing ties to chassis or to an attachment is said to
/// float; its voltages are reported as 0 V and [`Island::floats`] is true.
///
/// # Errors
/// [`SolveError`] when the island does not fit or does not come to rest.
pub fn island<'w, M: AsRef<[f64]> + AsMut<[f64]>>(
    work: &'w mut Workspace<M>,
    elements: &[Element],
    attachments: &[Attachment],
    start: NodeId,
    corner: Corner,
) -> Result<Island<'w, M>, SolveError> {
    let mut island = Island {
        work,
        anchored: false,
        lone: None,
    };
    island.collect(elements, start)?;
    let grounded = island
        .work
        .elements
        .iter()
        .any(|(e, _)| e.a == GROUND || e.b == GROUND);
    let mut ties = attachments
        .iter()
        .filter(|at| island.index(at.node).is_some());
    let (first, second) = (ties.next().copied(), ties.next());
    island.anchored = grounded || first.is_some();
    if !grounded && second.is_none() {
        island.lone = first;
    }
    let n = island.work.members.len();
    island.work.volts.clear();
    let filled = island
        .work
        .volts
        .resize(n, island.lone.map_or(0.0, |tie| tie.volts.0));
    if filled.is_err() || room(n) > island.work.matrix.as_ref().len() {
        return Err(SolveError::TooLarge);
    }
    if island.anchored && island.lone.is_none() {
        island.settle(attachments, corner)?;
    }
    Ok(island)
}

impl<M: AsRef<[f64]> + AsMut<[f64]>> Island<'_, M> {
    /// Whether nothing ties the island to a voltage.
    #[must_use]
    pub fn floats(&self) -> bool {
        !self.anchored
    }

    /// How many nodes the island has.
    #[must_use]
    pub fn len(&self) -> usize {
        self.work.members.len()
    }

    /// Whether the island has no node (never so after [`island`]).
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.work.members.is_empty()
    }

    /// Whether an element or attachment node belongs to the island.
    #[must_use]
    pub fn contains(&self, node: NodeId) -> bool {
        self.index(node).is_some()
    }

    /// The voltage of a node against chassis; 0 V for nodes outside.
    #[must_use]
    pub fn volts(&self, node: NodeId) -> Volts {
        Volts(self.voltage(node))
    }

    /// The elements of the island as solved.
    pub fn elements(&self) -> impl Iterator<Item = &Element> {
        self.work.elements.iter().map(|(element, _)| element)
    }

    /// What the voltage at `plus` against `minus` (chassis where `None`) depends on, with
    /// the derivatives from one adjoint solution (Tellegen: `∂V/∂G = −(Va−Vb)(Za−Zb)`).
    #[must_use]
    pub fn sensitivity(
        &mut self,
        attachments: &[Attachment],
        plus: NodeId,
        minus: Option<NodeId>,
    ) -> Sensitivity {
        let tied_by = |seen| Sensitivity {
            variance: 0.0,
            seen,
            sway: Sway::default(),
        };
        if !self.anchored {
            return tied_by(Ohms(f64::INFINITY));
        }
        if let Some(tie) = self.lone {
            let apart = minus.is_none_or(|node| self.index(node).is_none());
            return tied_by(if apart { tie.ohms } else { Ohms(0.0) });
        }
        let n = self.work.members.len();
        self.work.scratch.clear();
        if self.work.scratch.resize(n, 0.0).is_err() {
            return tied_by(Ohms(f64::INFINITY));
        }
        for (node, weight) in [(Some(plus), 1.0), (minus, -1.0)] {
            if let Some(i) = node.and_then(|node| self.index(node))
                && let Some(entry) = self.work.scratch.get_mut(i)
            {
                *entry += weight;
            }
        }
        substitute(
            self.work.matrix.as_ref(),
            &self.work.inverse,
            &mut self.work.scratch,
        );
        let z = |node: NodeId| self.at(&self.work.scratch, node);
        let v = |node: NodeId| self.at(&self.work.volts, node);
        let mut variance = 0.0;
        let mut sway = Sway::default();
        let mut loads = 0;
        for (element, conductance) in &self.work.elements {
            let across = z(element.a) - z(element.b);
            let shift = match element.part {
                Part::Wire { spread, .. } | Part::Resistor { spread, .. } => {
                    (v(element.a) - v(element.b)) * across * conductance * conductance * spread.0
                }
                Part::Diode(junction) => conductance * junction.spread.0 * across,
                Part::Load { least, most } => {
                    let slope = -(v(element.a) - v(element.b)) * across;
                    sway.note(loads, least, most, slope);
                    loads += 1;
                    0.0
                }
            };
            variance += shift * shift;
        }
        for at in attachments {
            if self.index(at.node).is_some() {
                let shift =
                    (at.volts.0 - v(at.node)) * z(at.node) / (at.ohms.0 * at.ohms.0) * at.spread.0;
                variance += shift * shift;
            }
        }
        let seen = z(plus) - minus.map_or(0.0, z);
        Sensitivity {
            variance,
            seen: Ohms(seen),
            sway,
        }
    }

    fn index(&self, node: NodeId) -> Option<usize> {
        match self.work.local.get(usize::from(node.0)) {
            Some(&ABSENT) | None => None,
            Some(&i) => Some(usize::from(i)),
        }
    }

    fn at(&self, vector: &[f64], node: NodeId) -> f64 {
        self.index(node)
            .and_then(|i| vector.get(i))
            .copied()
            .unwrap_or(0.0)
    }

    fn voltage(&self, node: NodeId) -> f64 {
        self.at(&self.work.volts, node)
    }

    /// Newton iteration; a linear island is done after one pass.
    fn settle(&mut self, attachments: &[Attachment], corner: Corner) -> Result<(), SolveError> {
        let nonlinear = self
            .work
            .elements
            .iter()
            .any(|(e, _)| matches!(e.part, Part::Diode(_)));
        let count = if nonlinear {
            self.work.elements.len()
        } else {
            0
        };
        self.work.junctions.clear();
        let _ = self.work.junctions.resize(count, 0.0);
        for _ in 0..MAX_ITERATIONS {
            self.assemble(attachments, corner);
            eliminate(
                self.work.matrix.as_mut(),
                &mut self.work.inverse,
                &mut self.work.column,
                self.work.members.len(),
            )?;
            substitute(
                self.work.matrix.as_ref(),
                &self.work.inverse,
                &mut self.work.scratch,
            );
            let mut moved = 0.0_f64;
            for (old, new) in self.work.volts.iter_mut().zip(&self.work.scratch) {
                if !new.is_finite() {
                    return Err(SolveError::Singular);
                }
                moved = moved.max((*old - *new).abs());
                *old = *new;
            }
            if !nonlinear {
                return Ok(());
            }
            let mut limited = false;
            for k in 0..self.work.elements.len() {
                let Some((element, _)) = self.work.elements.get(k) else {
                    break;
                };
                let Part::Diode(junction) = element.part else {
                    continue;
                };
                let wanted = self.voltage(element.a) - self.voltage(element.b);
                if let Some(held) = self.work.junctions.get_mut(k) {
                    let next = limit(wanted, *held, &junction);
                    limited |= (next - wanted).abs() > TOLERANCE;
                    *held = next;
                }
            }
            if moved < TOLERANCE && !limited {
                return Ok(());
            }
        }
        Err(SolveError::NoConvergence)
    }

    /// Writes conductances to the matrix and injected currents to `scratch`.
    fn assemble(&mut self, attachments: &[Attachment], corner: Corner) {
        let n = self.work.members.len();
        let room = room(n);
        if let Some(matrix) = self.work.matrix.as_mut().get_mut(..room) {
            matrix.fill(0.0);
        }
        self.work.scratch.clear();
        let _ = self.work.scratch.resize(n, 0.0);
        let mut loads = 0;
        for k in 0..self.work.elements.len() {
            let Some((element, _)) = self.work.elements.get(k).copied() else {
                break;
            };
            let (conductance, current) = match element.part {
                Part::Wire { ohms, .. } | Part::Resistor { ohms, .. } => (1.0 / ohms.0, 0.0),
                Part::Load { least, most } => {
                    let ohms = corner.ohms(loads, least, most);
                    loads += 1;
                    (1.0 / ohms.0, 0.0)
                }
                Part::Diode(junction) => companion(
                    &junction,
                    self.work.junctions.get(k).copied().unwrap_or(0.0),
                ),
            };
            if let Some((_, kept)) = self.work.elements.get_mut(k) {
                *kept = conductance;
            }
            self.stamp(element.a, element.b, conductance, current);
        }
        for at in attachments {
            self.stamp(at.node, GROUND, 1.0 / at.ohms.0, -at.volts.0 / at.ohms.0);
        }
    }

    /// A conductance with a current from `a` to `b` through it.
    fn stamp(&mut self, a: NodeId, b: NodeId, conductance: f64, current: f64) {
        let (i, j) = (self.index(a), self.index(b));
        for (end, sign) in [(i, -1.0), (j, 1.0)] {
            if let Some(entry) = end.and_then(|k| self.work.scratch.get_mut(k)) {
                *entry += sign * current;
            }
        }
        match (i, j) {
            (Some(i), Some(j)) => add(self.work.matrix.as_mut(), i.max(j), i.min(j), conductance),
            // The other end is chassis.
            (Some(k), None) | (None, Some(k)) => add(self.work.matrix.as_mut(), k, k, conductance),
            (None, None) => {}
        }
    }
}

#[cfg(test)]
mod tests;
