//! The circuit of a hypothesis, solved as a tree and a few branches beside it.
//!
//! A harness is metal that branches, with a handful of parts between its nets.
//! Its wires are put into spanning trees; what is not in a tree (parts, loops,
//! the probe's own source resistors and pulls) are *chords*. Only the currents
//! of chords and the voltages of the trees' roots are unknown, whatever the
//! number of nodes: a low-rank system
//!
//! ```text
//! [ D + Y   −B ] [ i ]   [ −e ]      D  resistance of each chord
//! [ −Bᵀ      0 ] [ V ] = [  0 ]      Y  resistance that two chords share in the trees
//! ```
//!
//! (loop and cut-set equations of a spanning tree: the standard text-book
//! method, `from memory`). The current of a tree branch is the sum of what
//! leaves below it, so a milliohm joint is known as well as the current through
//! it: nothing is found as a small difference of voltages. Diodes are chords
//! with the companion model of core's solver and its step limits.
//!
//! Spreads go through the adjoint: with `I` the current of a branch and `J` its
//! current when 1 A is sent through the point that is read, its share of the
//! variance is `(I·J·σR)²`.

mod flow;
mod grow;
mod solution;

use loomproof_core::circuit::{Element, GROUND, Junction, NodeId};
use loomproof_core::expect::{Network, Point};
use loomproof_core::solve::{Attachment, Corner, SolveError, Sway};
use loomproof_core::units::{Ohms, Volts};
use smallvec::smallvec;

use super::dense::{Column, Factors, Square};
use solution::{Solution, Solved};

/// No node, no tree: chassis, or outside.
const NONE: u32 = u32::MAX;

/// What a chord obeys.
#[derive(Debug, Clone, Copy)]
enum Law {
    /// A resistance with its standard deviation.
    Ohms(f64, f64),
    /// Something between two resistances.
    Load(f64, f64),
    Diode(Junction),
}

#[derive(Debug, Clone, Copy)]
struct Chord {
    a: u32,
    b: u32,
    law: Law,
}

/// A branch to the parent (or, at a grounded root, to chassis).
#[derive(Debug, Clone, Copy)]
struct Branch {
    parent: u32,
    depth: u32,
    tree: u32,
    ohms: f64,
    spread: f64,
    /// Resistance from here to the root, the root's own way to chassis included.
    to_root: f64,
}

#[derive(Debug, Clone)]
struct Tree {
    nodes: std::ops::Range<usize>,
    grounded: bool,
    group: u32,
}

/// Trees that hang together through chords.
#[derive(Debug, Clone, Default)]
struct Group {
    trees: Vec<u32>,
    chords: Vec<Chord>,
    /// `Y` among the chords, row by row.
    shared: Vec<f64>,
    anchored: bool,
    loads: bool,
}

/// A circuit, ready to be solved under any attachments.
#[derive(Debug)]
pub struct Forest {
    local: Vec<u32>,
    branches: Vec<Branch>,
    trees: Vec<Tree>,
    groups: Vec<Group>,
    /// What was solved already.
    solved: Solved,
    /// Memory for the attachments of one group.
    ties: Column<Attachment>,
    /// Memory for the branch currents of an adjoint solution.
    flows: Vec<f64>,
}

impl Forest {
    /// Trees over `elements`; `alone` are nodes that may have lost all theirs.
    #[must_use]
    pub fn new(nodes: usize, elements: &[Element], alone: &[NodeId]) -> Self {
        let mut forest = Self {
            local: vec![NONE; nodes],
            branches: Vec::with_capacity(elements.len() + alone.len()),
            trees: Vec::new(),
            groups: Vec::new(),
            solved: Solved::default(),
            ties: Column::new(),
            flows: Vec::new(),
        };
        let loops = forest.plant(elements, alone);
        forest.bind(elements, loops);
        forest
    }

    /// The system that was solved last, as size and cells row by row, its rows
    /// in some order: for who wants to see how well it is conditioned.
    #[must_use]
    pub fn reduced(&self) -> Option<(usize, Vec<f64>)> {
        self.solved.last().map(|last| last.factors.product())
    }

    fn index(&self, node: NodeId) -> u32 {
        if node == GROUND {
            return NONE;
        }
        self.local.get(usize::from(node.0)).copied().unwrap_or(NONE)
    }

    fn branch(&self, at: u32) -> Option<&Branch> {
        self.branches.get(at as usize)
    }

    fn tree(&self, at: u32) -> Option<u32> {
        self.branch(at).map(|branch| branch.tree)
    }

    fn group_of(&self, at: u32) -> u32 {
        let tree = self.tree(at).and_then(|tree| self.trees.get(tree as usize));
        tree.map_or(NONE, |tree| tree.group)
    }

    /// Resistance of the way to the root that two nodes have in common.
    fn common(&self, mut a: u32, mut b: u32) -> f64 {
        let (Some(mut x), Some(mut y)) = (self.branch(a), self.branch(b)) else {
            return 0.0;
        };
        if x.tree != y.tree {
            return 0.0;
        }
        while a != b {
            if x.depth >= y.depth {
                a = x.parent;
            } else {
                b = y.parent;
            }
            let (Some(p), Some(q)) = (self.branch(a), self.branch(b)) else {
                return 0.0;
            };
            (x, y) = (p, q);
        }
        x.to_root
    }

    /// `Y` of two chords: voltage along one by a current in the other.
    fn shared(&self, p: &Chord, q: &Chord) -> f64 {
        self.common(p.a, q.a) - self.common(p.a, q.b) - self.common(p.b, q.a)
            + self.common(p.b, q.b)
    }

    fn solve(
        &self,
        group: u32,
        ties: &[Attachment],
        corner: Corner,
    ) -> Result<Solution, SolveError> {
        let Some(found) = self.groups.get(group as usize) else {
            return Err(SolveError::Singular);
        };
        let mut chords = Column::from_slice(&found.chords);
        chords.extend(ties.iter().map(|tie| Chord {
            a: self.index(tie.node),
            b: NONE,
            law: Law::Ohms(tie.ohms.0, tie.spread.0),
        }));
        let mut roots: Column<u32> = smallvec![NONE; found.trees.len()];
        let mut size = chords.len();
        for (slot, tree) in roots.iter_mut().zip(&found.trees) {
            if self.trees.get(*tree as usize).is_some_and(|t| !t.grounded) {
                *slot = size as u32;
                size += 1;
            }
        }
        let mut matrix = Square::zero(size);
        for (row, p) in chords.iter().enumerate() {
            for (column, q) in chords.iter().enumerate().take(row + 1) {
                let kept = found.chords.len();
                let y = if row < kept {
                    found.shared.get(row * kept + column).copied()
                } else {
                    None
                };
                let y = y.unwrap_or_else(|| self.shared(p, q));
                matrix.add(row, column, y);
                if row != column {
                    matrix.add(column, row, y);
                }
            }
            for (end, sign) in [(p.a, -1.0), (p.b, 1.0)] {
                let at = self.root_row(found, &roots, end);
                if at != NONE {
                    matrix.add(row, at as usize, sign);
                    matrix.add(at as usize, row, sign);
                }
            }
        }
        let mut solution = Solution {
            group,
            corner,
            ties: Column::from_slice(ties),
            chords,
            factors: Factors::default(),
            unknown: smallvec![0.0; size],
            junctions: self.start(group, corner, found.chords.len()),
            currents: Vec::new(),
            roots,
        };
        solution.settle(matrix)?;
        let mut currents = Vec::with_capacity(self.branches.len());
        self.flow(&solution, &solution.unknown, &[], &mut currents);
        solution.currents = currents;
        Ok(solution)
    }

    fn root_row(&self, group: &Group, roots: &[u32], end: u32) -> u32 {
        let Some(tree) = self.tree(end) else {
            return NONE;
        };
        let at = group.trees.iter().position(|t| *t == tree);
        at.and_then(|at| roots.get(at)).copied().unwrap_or(NONE)
    }

    /// Junction voltages to start from: those of the last solution of the same
    /// chords, whatever was attached.
    fn start(&self, group: u32, corner: Corner, chords: usize) -> Column {
        let last = self.solved.last_of(group, corner);
        let junctions = last.and_then(|known| known.junctions.get(..chords));
        junctions.map_or_else(|| smallvec![0.0; chords], Column::from_slice)
    }
}

impl Network for Forest {
    fn point(
        &mut self,
        ties: &[Attachment],
        plus: NodeId,
        minus: Option<NodeId>,
        corner: Corner,
    ) -> Result<Point, SolveError> {
        let (at, other) = (self.index(plus), minus.map(|node| self.index(node)));
        let group = self.group_of(at);
        let Some(found) = self.groups.get(group as usize) else {
            return Err(SolveError::Singular);
        };
        let minus_here = other.filter(|node| self.group_of(*node) == group);
        let mut point = Point {
            volts: Volts(0.0),
            variance: 0.0,
            seen: Ohms(f64::INFINITY),
            floats: false,
            loads: found.loads,
            sway: Sway::default(),
            apart: minus.is_some() && minus_here.is_none(),
        };
        let mut here = std::mem::take(&mut self.ties);
        here.clear();
        let ties = ties.iter().copied();
        here.extend(ties.filter(|tie| self.group_of(self.index(tie.node)) == group));
        if !found.anchored && here.is_empty() {
            self.ties = here;
            point.floats = true;
            return Ok(point);
        }
        let place = match self.solved.find(group, corner, &here) {
            Some(place) => place,
            None => {
                let solution = self.solve(group, &here, corner)?;
                self.solved.put(solution)
            }
        };
        self.ties = here;
        let mut flows = std::mem::take(&mut self.flows);
        if let Some(solution) = self.solved.get(place) {
            let volts = |node| self.voltage(solution, &solution.unknown, &solution.currents, node);
            point.volts = Volts(volts(at) - minus_here.map_or(0.0, volts));
            let depends = self.sensitivity(solution, at, minus_here, &mut flows);
            (point.variance, point.seen, point.sway) =
                (depends.variance, depends.seen, depends.sway);
        }
        self.flows = flows;
        Ok(point)
    }
}
