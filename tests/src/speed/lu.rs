//! Node equations of a circuit by a general-purpose dense LU (nalgebra's, with
//! partial pivoting), Newton iteration over the diodes with the companion model
//! and the step limits of core's solver.

use loomproof_core::circuit::{Element, GROUND, Junction, NodeId, Part};
use loomproof_core::solve::{Attachment, Corner, MAX_ITERATIONS, TOLERANCE, companion, limit};
use nalgebra::{DMatrix, DVector, Dyn, LU};

/// No row: chassis, or not in the circuit.
const NONE: usize = usize::MAX;

/// Conductance from one node to chassis of what nothing ties to a voltage, so
/// that its equations can be solved at all, in siemens.
const REFERENCE: f64 = 1.0;

/// A step of a junction that changes its current by less than this is noise, in
/// amperes: node equations lose so many digits that a junction without current
/// never rests to [`TOLERANCE`]. Through 122 kΩ, the most that a read point is
/// tied by, it is 10 nV.
const NOISE: f64 = 1e-13;

/// The node equations of a circuit, sources left out.
#[derive(Debug)]
pub struct Nodal {
    row: Vec<usize>,
    fixed: DMatrix<f64>,
    diodes: Vec<(usize, usize, Junction)>,
    /// Which piece each row belongs to.
    piece: Vec<usize>,
    /// Whether a piece is tied to chassis.
    tied: Vec<bool>,
}

/// Node voltages, and how they were found.
#[derive(Debug)]
pub struct Solved {
    volts: DVector<f64>,
    /// The last matrix that was factored.
    pub matrix: DMatrix<f64>,
    /// Matrices that were factored.
    pub factored: usize,
}

impl Nodal {
    /// The equations of `elements`; `alone` are nodes that may have none.
    #[must_use]
    pub fn new(nodes: usize, elements: &[Element], alone: &[NodeId], corner: Corner) -> Self {
        let mut row = vec![NONE; nodes];
        let mut size = 0;
        let ends = elements.iter().flat_map(|e| [e.a, e.b]);
        for node in ends.chain(alone.iter().copied()) {
            let slot = &mut row[usize::from(node.0)];
            if node != GROUND && *slot == NONE {
                *slot = size;
                size += 1;
            }
        }
        let mut nodal = Self {
            row,
            fixed: DMatrix::zeros(size, size),
            diodes: Vec::new(),
            piece: Vec::new(),
            tied: vec![false; size],
        };
        nodal.piece = nodal.pieces(elements, size);
        let mut loads = 0..;
        for element in elements {
            let (a, b) = (nodal.at(element.a), nodal.at(element.b));
            let ohms = match element.part {
                Part::Wire { ohms, .. } | Part::Resistor { ohms, .. } => ohms,
                Part::Load { least, most } => {
                    corner.ohms(loads.next().unwrap_or_default(), least, most)
                }
                Part::Diode(junction) => {
                    nodal.diodes.push((a, b, junction));
                    continue;
                }
            };
            stamp(&mut nodal.fixed, a, b, 1.0 / ohms.0);
        }
        nodal
    }

    /// How many nodes there are, chassis not counted.
    #[must_use]
    pub fn nodes(&self) -> usize {
        self.fixed.nrows()
    }

    fn at(&self, node: NodeId) -> usize {
        if node == GROUND {
            return NONE;
        }
        self.row[usize::from(node.0)]
    }

    /// Numbers what hangs together, and notes which of it is on chassis.
    fn pieces(&mut self, elements: &[Element], size: usize) -> Vec<usize> {
        let mut home: Vec<usize> = (0..size).collect();
        let top = |home: &[usize], mut at: usize| {
            while home[at] != at {
                at = home[at];
            }
            at
        };
        for element in elements {
            let (a, b) = (self.at(element.a), self.at(element.b));
            if a != NONE && b != NONE {
                let (a, b) = (top(&home, a), top(&home, b));
                home[a.max(b)] = a.min(b);
            }
        }
        let piece: Vec<usize> = (0..size).map(|at| top(&home, at)).collect();
        for element in elements {
            for (end, other) in [(element.a, element.b), (element.b, element.a)] {
                if end == GROUND && other != GROUND {
                    let row = self.at(other);
                    self.tied[piece[row]] = true;
                }
            }
        }
        piece
    }

    /// The voltages of all nodes under some sources; `None` where they cannot
    /// be found.
    #[must_use]
    pub fn solve(&self, ties: &[Attachment]) -> Option<Solved> {
        let size = self.nodes();
        let mut fixed = self.fixed.clone();
        let mut sources = DVector::zeros(size);
        let mut tied = self.tied.clone();
        for tie in ties {
            let at = self.at(tie.node);
            stamp(&mut fixed, at, NONE, 1.0 / tie.ohms.0);
            sources[at] += tie.volts.0 / tie.ohms.0;
            tied[self.piece[at]] = true;
        }
        for (at, tied) in tied.iter().enumerate() {
            if self.piece[at] == at && !tied {
                stamp(&mut fixed, at, NONE, REFERENCE);
            }
        }
        if self.diodes.is_empty() {
            let volts = factor(fixed.clone()).solve(&sources)?;
            return Some(Solved {
                volts,
                matrix: fixed,
                factored: 1,
            });
        }
        let mut held = vec![0.0; self.diodes.len()];
        for factored in 1..=MAX_ITERATIONS {
            let (mut matrix, mut right) = (fixed.clone(), sources.clone());
            for ((a, b, junction), volts) in self.diodes.iter().zip(&held) {
                let (conductance, current) = companion(junction, *volts);
                stamp(&mut matrix, *a, *b, conductance);
                for (end, sign) in [(*a, -1.0), (*b, 1.0)] {
                    if end != NONE {
                        right[end] += sign * current;
                    }
                }
            }
            let volts = factor(matrix.clone()).solve(&right)?;
            let mut steady = true;
            for ((a, b, junction), held) in self.diodes.iter().zip(&mut held) {
                let volt = |at: usize| if at == NONE { 0.0 } else { volts[at] };
                let wanted = volt(*a) - volt(*b);
                let next = limit(wanted, *held, junction);
                let step = (next - *held).abs().max((next - wanted).abs());
                let (conductance, _) = companion(junction, *held);
                steady &= step < TOLERANCE || conductance * step < NOISE;
                *held = next;
            }
            if steady {
                return Some(Solved {
                    volts,
                    matrix,
                    factored,
                });
            }
        }
        None
    }

    /// The voltage of a node; 0 at chassis.
    #[must_use]
    pub fn volts(&self, solved: &Solved, node: NodeId) -> f64 {
        match self.at(node) {
            NONE => 0.0,
            at => solved.volts[at],
        }
    }
}

fn factor(matrix: DMatrix<f64>) -> LU<f64, Dyn, Dyn> {
    LU::new(matrix)
}

fn stamp(matrix: &mut DMatrix<f64>, a: usize, b: usize, conductance: f64) {
    for (one, other) in [(a, b), (b, a)] {
        if one == NONE {
            continue;
        }
        matrix[(one, one)] += conductance;
        if other != NONE {
            matrix[(one, other)] -= conductance;
        }
    }
}

/// Greatest singular value over the least.
#[must_use]
pub fn condition(matrix: &DMatrix<f64>) -> f64 {
    let values = matrix.singular_values();
    values.max() / values.min()
}
