//! Networks of resistors, diodes and sources, and their static solution.
//!
//! Nodal analysis with nalgebra's Cholesky factorisation; diodes by a damped
//! Newton iteration on the network's content (the integral of the node
//! equations), which is convex for resistors and diodes, so that the
//! iteration cannot run away. Node 0 is 0 V.

use super::error::BenchError;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Conductance across every diode, S: 10 GΩ of surface leakage keep a blocked
/// node from hanging in the air (`common practice` in solvers).
pub(super) const DIODE_SHUNT: f64 = 1e-10;

/// A diode by Shockley's law: I = saturation · (exp(V / slope) − 1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Law {
    /// Saturation current, A.
    pub(super) saturation: f64,
    /// Emission coefficient times thermal voltage, V.
    pub(super) slope: f64,
}

impl Law {
    /// From this current on the curve goes on as its tangent: far above any
    /// current here, and nothing overflows. In amperes; a diode of 4 nA is there
    /// at 30 times its slope.
    const TANGENT: f64 = 43e3;

    /// A silicon diode at this absolute temperature. 4 nA and 1.9 give 0.62 V
    /// at 1 mA and 0.70 V at 5 mA at room temperature, as small-signal silicon
    /// does (`common practice`). The saturation current is held constant.
    /// `stray` volts are added to the forward voltage of this part.
    pub(super) fn silicon(kelvin: f64, stray: f64) -> Self {
        // Boltzmann constant / elementary charge, exact in the SI since 2019.
        let thermal = 1.380_649e-23 / 1.602_176_634e-19 * kelvin;
        let slope = 1.9 * thermal;
        Self {
            saturation: 4e-9 * (-stray / slope).exp(),
            slope,
        }
    }

    /// Current (A), its slope (S) and its integral from 0 V (W) at this voltage.
    fn at(self, volts: f64) -> (f64, f64, f64) {
        let tangent = (Self::TANGENT / self.saturation).ln();
        let over = (volts / self.slope - tangent).max(0.0);
        let exp = (volts / self.slope).min(tangent).exp();
        let current = self.saturation * (exp * (1.0 + over) - 1.0);
        let conductance = self.saturation * exp / self.slope;
        let content = self.saturation
            * (self.slope * (exp - 1.0) - volts + self.slope * exp * (over + over * over / 2.0));
        (current, conductance, content)
    }
}

/// A diode between two unknowns; `None` is 0 V.
#[derive(Debug, Clone, Copy)]
pub(super) struct Junction {
    /// Anode.
    pub(super) anode: Option<usize>,
    /// Cathode.
    pub(super) cathode: Option<usize>,
    /// Its curve.
    pub(super) law: Law,
}

impl Junction {
    fn volts(&self, v: &DVector<f64>) -> f64 {
        self.anode.map_or(0.0, |node| v[node]) - self.cathode.map_or(0.0, |node| v[node])
    }
}

/// Node equations: `conductance · v + junction currents = injected`.
#[derive(Debug, Clone)]
pub(super) struct Equations {
    /// Conductance matrix, S.
    pub(super) conductance: DMatrix<f64>,
    /// Currents into the nodes, A.
    pub(super) injected: DVector<f64>,
    /// Diodes.
    pub(super) junctions: Vec<Junction>,
}

/// A solved network.
pub(super) struct Operating {
    /// Node voltages, V.
    pub(super) volts: DVector<f64>,
    /// The factorised conductance matrix, linear about this point.
    pub(super) slope: Cholesky<f64, Dyn>,
}

/// What a step promises less than, W, after more than [`SOON`] rounds, is rounding and
/// nothing else: 14 µV at a gigohm.
const ROUNDING: f64 = 1e-19;

/// Rounds in which every other iteration has come to rest.
const SOON: usize = 50;

impl Equations {
    /// `count` nodes with nothing between them.
    pub(super) fn new(count: usize) -> Self {
        Self {
            conductance: DMatrix::zeros(count, count),
            injected: DVector::zeros(count),
            junctions: Vec::new(),
        }
    }

    /// A conductance (S) between two nodes, `None` being 0 V.
    pub(super) fn conduct(&mut self, a: Option<usize>, b: Option<usize>, siemens: f64) {
        for node in [a, b].into_iter().flatten() {
            self.conductance[(node, node)] += siemens;
        }
        if let (Some(a), Some(b)) = (a, b) {
            self.conductance[(a, b)] -= siemens;
            self.conductance[(b, a)] -= siemens;
        }
    }

    /// A source of `volts` behind `ohms` at a node.
    pub(super) fn drive(&mut self, node: usize, volts: f64, ohms: f64) {
        self.conductance[(node, node)] += 1.0 / ohms;
        self.injected[node] += volts / ohms;
    }

    /// What the diodes add to the content, W.
    fn stored(&self, v: &DVector<f64>) -> f64 {
        self.junctions.iter().map(|d| d.law.at(d.volts(v)).2).sum()
    }

    /// Whether the currents cancel at every node as well as rounding lets
    /// them. (A floating node next to milliohms has a conductance to 0 V of
    /// 10⁻¹² of its others, so its voltage cannot come to rest within 1 nV.)
    fn at_rounding(&self, residual: &DVector<f64>, v: &DVector<f64>) -> bool {
        let flow = self.conductance.abs() * v.abs() + self.injected.abs();
        residual
            .iter()
            .zip(&flow)
            .all(|(left, flow)| left.abs() <= 16.0 * f64::EPSILON * flow)
    }

    /// The static solution.
    ///
    /// # Errors
    /// [`BenchError::NotSolved`] if a node hangs in the air or the iteration
    /// does not come to rest.
    pub(super) fn solve(&self) -> Result<Operating, BenchError> {
        if self.junctions.is_empty() {
            let slope = Cholesky::new(self.conductance.clone()).ok_or(BenchError::NotSolved)?;
            return Ok(Operating {
                volts: slope.solve(&self.injected),
                slope,
            });
        }
        let mut v = DVector::zeros(self.injected.len());
        for round in 0..300 {
            let mut residual = &self.conductance * &v - &self.injected;
            let linear = residual.clone();
            let mut jacobian = self.conductance.clone();
            for diode in &self.junctions {
                let (current, siemens, _) = diode.law.at(diode.volts(&v));
                for (node, sign) in [(diode.anode, 1.0), (diode.cathode, -1.0)] {
                    if let Some(node) = node {
                        residual[node] += sign * current;
                        jacobian[(node, node)] += siemens;
                    }
                }
                if let (Some(a), Some(k)) = (diode.anode, diode.cathode) {
                    jacobian[(a, k)] -= siemens;
                    jacobian[(k, a)] -= siemens;
                }
            }
            let slope = Cholesky::new(jacobian).ok_or(BenchError::NotSolved)?;
            let step = -slope.solve(&residual);
            // Twice what a full step promises to save, W.
            let promise = -residual.dot(&step);
            let goes_round = round > SOON && promise < ROUNDING;
            if step.amax() < 1e-9 || goes_round || self.at_rounding(&residual, &v) {
                return Ok(Operating {
                    volts: v + step,
                    slope,
                });
            }
            let before = self.stored(&v);
            let mut part = 1.0;
            // Rounding of the content hides savings below this.
            if promise > 1e-12 * (1.0 + before.abs()) {
                // What a part of the step changes in the content, W: the resistors'
                // share as a difference, or battery voltages across milliohms
                // would hide it.
                let (along, across) = (linear.dot(&step), step.dot(&(&self.conductance * &step)));
                let change = |part: f64| {
                    let resistors = part * along + 0.5 * part * part * across;
                    resistors + self.stored(&(&v + &step * part)) - before
                };
                while change(part) > -0.1 * part * promise {
                    part *= 0.5;
                    if part < 1e-9 {
                        return Err(BenchError::NotSolved);
                    }
                }
            }
            v += step * part;
        }
        Err(BenchError::NotSolved)
    }
}

/// A part of the network between two nodes.
#[derive(Debug, Clone, Copy)]
pub(super) enum Element {
    /// A resistor, Ω.
    Resistor(usize, usize, f64),
    /// A diode from anode to cathode.
    Diode(usize, usize, Law),
    /// A source of so many volts behind so many ohms from node 0.
    Source(usize, f64, f64),
    /// A current into a node, A.
    Current(usize, f64),
    /// A capacitor to node 0, F.
    Capacitor(usize, f64),
}

/// A network before it is solved; node 0 is 0 V.
#[derive(Debug, Clone, Default)]
pub(super) struct Netlist {
    /// Number of nodes beside node 0; they are numbered from 1.
    pub(super) nodes: usize,
    /// What is between them.
    pub(super) elements: Vec<Element>,
}

impl Netlist {
    /// A new node.
    pub(super) fn node(&mut self) -> usize {
        self.nodes += 1;
        self.nodes
    }

    /// A resistor; of infinite resistance it is left out.
    pub(super) fn resistor(&mut self, a: usize, b: usize, ohms: f64) {
        if ohms.is_finite() && a != b {
            self.elements.push(Element::Resistor(a, b, ohms));
        }
    }

    /// Any other element.
    pub(super) fn add(&mut self, element: Element) {
        self.elements.push(element);
    }

    /// The node equations of the nodes for which `place` gives a row. Node 0
    /// must have none; elements on other nodes without a row are left out.
    pub(super) fn equations(
        &self,
        count: usize,
        place: &dyn Fn(usize) -> Option<usize>,
    ) -> Equations {
        let mut equations = Equations::new(count);
        for element in &self.elements {
            match *element {
                Element::Resistor(a, b, ohms) if place(a).is_some() || place(b).is_some() => {
                    equations.conduct(place(a), place(b), 1.0 / ohms);
                }
                Element::Diode(a, k, law) if place(a).is_some() || place(k).is_some() => {
                    equations.conduct(place(a), place(k), DIODE_SHUNT);
                    equations.junctions.push(Junction {
                        anode: place(a),
                        cathode: place(k),
                        law,
                    });
                }
                Element::Source(node, volts, ohms) => {
                    if let Some(row) = place(node) {
                        equations.drive(row, volts, ohms);
                    }
                }
                Element::Current(node, amperes) => {
                    if let Some(row) = place(node) {
                        equations.injected[row] += amperes;
                    }
                }
                Element::Resistor(..) | Element::Diode(..) | Element::Capacitor(..) => {}
            }
        }
        equations
    }
}
