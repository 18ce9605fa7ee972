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

use std::cell::RefCell;
use std::collections::HashMap;

use loomproof_core::circuit::{Element, GROUND, Junction, NodeId, Part};
use loomproof_core::expect::{Network, Point};
use loomproof_core::solve::{
    Attachment, Corner, MAX_ITERATIONS, SolveError, TOLERANCE, companion, limit,
};
use loomproof_core::units::{Ohms, Volts};

use super::dense::{Factors, Square};

/// No node, no tree: chassis, or outside.
const NONE: u32 = u32::MAX;

/// Residual of a solved system, in volts round a chord or amperes at a root,
/// above which it is not trusted.
const RESIDUAL: f64 = 1e-11;

/// Newton iterations from a warm start before it is given up for a cold one.
const COLD: usize = 20;

/// A junction that moves by less than this changes nothing, in amperes: what
/// rounding leaves of currents of milliamperes moves a junction without current
/// to and fro for ever. Through the 122 kΩ of a weak pull it is 1.2 nV.
const NOISE: f64 = 1e-14;

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
    diodes: bool,
}

/// A circuit, ready to be solved under any attachments.
#[derive(Debug)]
pub struct Forest {
    local: Vec<u32>,
    branches: Vec<Branch>,
    trees: Vec<Tree>,
    groups: Vec<Group>,
    /// What was solved already, the last used at the end.
    solved: Vec<Solution>,
    /// Junction voltages of the last solution of each group and corner, to
    /// start the next from.
    junctions: RefCell<HashMap<(u32, Corner), Vec<f64>>>,
    /// Memory for the attachments of one group.
    ties: Vec<Attachment>,
    /// Branch currents of an adjoint solution.
    scratch: Vec<f64>,
}

/// A group solved under some attachments.
#[derive(Debug)]
struct Solution {
    group: u32,
    corner: Corner,
    ties: Vec<Attachment>,
    chords: Vec<Chord>,
    factors: Factors,
    /// Chord currents, then root voltages.
    unknown: Vec<f64>,
    /// Currents of all branches; see [`Forest::flow`].
    currents: Vec<f64>,
    /// Row of each tree's root voltage; [`NONE`] for grounded trees.
    roots: Vec<u32>,
}

impl Forest {
    /// Trees over `elements`; `alone` are nodes that may have lost all theirs.
    #[must_use]
    pub fn new(nodes: usize, elements: &[Element], alone: &[NodeId]) -> Self {
        let mut forest = Self {
            local: vec![NONE; nodes],
            branches: Vec::new(),
            trees: Vec::new(),
            groups: Vec::new(),
            solved: Vec::new(),
            junctions: RefCell::default(),
            ties: Vec::new(),
            scratch: Vec::new(),
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

    /// Grows the trees; returns the wires that close a loop.
    fn plant(&mut self, elements: &[Element], alone: &[NodeId]) -> Vec<Element> {
        let wood = Wood::of(self.local.len(), elements, alone);
        let mut used = vec![false; elements.len()];
        // Trees that stand on chassis first, so that the way to chassis is a branch.
        let feet = elements.iter().enumerate().filter(|(_, e)| is_foot(e));
        for (at, foot) in feet {
            let node = if foot.a == GROUND { foot.b } else { foot.a };
            if self.index(node) == NONE
                && let Some(mark) = used.get_mut(at)
            {
                *mark = true;
                self.grow(elements, &wood, &mut used, node, wire(foot));
            }
        }
        for node in &wood.nodes {
            if self.index(*node) == NONE {
                self.grow(elements, &wood, &mut used, *node, None);
            }
        }
        let rest = elements.iter().zip(used);
        rest.filter(|(e, used)| !used && wire(e).is_some() && e.a != e.b)
            .map(|(e, _)| *e)
            .collect()
    }

    fn grow(
        &mut self,
        elements: &[Element],
        wood: &Wood,
        used: &mut [bool],
        root: NodeId,
        foot: Option<(f64, f64)>,
    ) {
        let tree = self.trees.len() as u32;
        let start = self.branches.len();
        let (ohms, spread) = foot.unwrap_or((0.0, 0.0));
        self.put(root, NONE, 0, tree, ohms, spread, ohms);
        let mut queue = vec![root];
        let mut next = 0;
        while let Some(&node) = queue.get(next) {
            next += 1;
            let at = self.index(node);
            let Some(from) = self.branches.get(at as usize).copied() else {
                continue;
            };
            for &wire_at in wood.at(node) {
                let wire_at = wire_at as usize;
                let (Some(element), Some(mark)) = (elements.get(wire_at), used.get_mut(wire_at))
                else {
                    continue;
                };
                let other = if element.a == node {
                    element.b
                } else {
                    element.a
                };
                if *mark || other == GROUND || self.index(other) != NONE {
                    continue;
                }
                if let Some((ohms, spread)) = wire(element) {
                    *mark = true;
                    let depth = from.depth + 1;
                    self.put(other, at, depth, tree, ohms, spread, from.to_root + ohms);
                    queue.push(other);
                }
            }
        }
        self.trees.push(Tree {
            nodes: start..self.branches.len(),
            grounded: foot.is_some(),
            group: NONE,
        });
    }

    #[allow(clippy::too_many_arguments, reason = "one branch has that many facts")]
    fn put(
        &mut self,
        node: NodeId,
        parent: u32,
        depth: u32,
        tree: u32,
        ohms: f64,
        spread: f64,
        to_root: f64,
    ) {
        if let Some(slot) = self.local.get_mut(usize::from(node.0)) {
            *slot = self.branches.len() as u32;
        }
        self.branches.push(Branch {
            parent,
            depth,
            tree,
            ohms,
            spread,
            to_root,
        });
    }

    /// Puts trees into groups by the chords between them.
    fn bind(&mut self, elements: &[Element], loops: Vec<Element>) {
        let parts = elements.iter().filter(|e| wire(e).is_none() && e.a != e.b);
        let chords: Vec<Chord> = parts
            .copied()
            .chain(loops)
            .map(|e| Chord {
                a: self.index(e.a),
                b: self.index(e.b),
                law: law(&e.part),
            })
            .collect();
        let mut home: Vec<u32> = (0..self.trees.len() as u32).collect();
        let root = |home: &[u32], mut at: u32| {
            while let Some(&up) = home.get(at as usize) {
                if up == at {
                    break;
                }
                at = up;
            }
            at
        };
        for chord in &chords {
            let (Some(a), Some(b)) = (self.tree(chord.a), self.tree(chord.b)) else {
                continue;
            };
            let (a, b) = (root(&home, a), root(&home, b));
            if let Some(up) = home.get_mut(a.max(b) as usize) {
                *up = a.min(b);
            }
        }
        let mut number = vec![NONE; self.trees.len()];
        for tree in 0..self.trees.len() as u32 {
            let top = root(&home, tree);
            if tree == top {
                if let Some(slot) = number.get_mut(tree as usize) {
                    *slot = self.groups.len() as u32;
                }
                self.groups.push(Group::default());
            }
            let group = number.get(top as usize).copied().unwrap_or(NONE);
            if let (Some(t), Some(g)) = (
                self.trees.get_mut(tree as usize),
                self.groups.get_mut(group as usize),
            ) {
                t.group = group;
                g.trees.push(tree);
                g.anchored |= t.grounded;
            }
        }
        for chord in chords {
            let end = if chord.a == NONE { chord.b } else { chord.a };
            let group = self.tree(end).and_then(|t| self.trees.get(t as usize));
            let Some(group) = group.and_then(|t| self.groups.get_mut(t.group as usize)) else {
                continue;
            };
            group.anchored |= chord.a == NONE || chord.b == NONE;
            group.loads |= matches!(chord.law, Law::Load(..));
            group.diodes |= matches!(chord.law, Law::Diode(_));
            group.chords.push(chord);
        }
        for at in 0..self.groups.len() {
            let chords = self.groups.get(at).map_or(Vec::new(), |g| g.chords.clone());
            let mut shared = Vec::with_capacity(chords.len() * chords.len());
            for p in &chords {
                shared.extend(chords.iter().map(|q| self.shared(p, q)));
            }
            if let Some(group) = self.groups.get_mut(at) {
                group.shared = shared;
            }
        }
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
        ties: Vec<Attachment>,
        corner: Corner,
    ) -> Result<Solution, SolveError> {
        let Some(found) = self.groups.get(group as usize) else {
            return Err(SolveError::Singular);
        };
        let mut chords = found.chords.clone();
        chords.extend(ties.iter().map(|tie| Chord {
            a: self.index(tie.node),
            b: NONE,
            law: Law::Ohms(tie.ohms.0, tie.spread.0),
        }));
        let mut roots = vec![NONE; found.trees.len()];
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
            ties,
            chords,
            factors: Factors::default(),
            unknown: vec![0.0; size],
            currents: Vec::new(),
            roots,
        };
        self.settle(&mut solution, matrix, corner)?;
        let mut currents = Vec::new();
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

    /// Newton iteration over the diodes; one pass without.
    fn settle(
        &self,
        solution: &mut Solution,
        mut matrix: Square,
        corner: Corner,
    ) -> Result<(), SolveError> {
        let bare: Vec<f64> = matrix.diagonal().collect();
        let kept = solution.chords.len() - solution.ties.len();
        let key = (solution.group, corner);
        let mut held = self.junctions.borrow_mut().remove(&key).unwrap_or_default();
        held.truncate(kept);
        held.resize(solution.chords.len(), 0.0);
        let nonlinear = solution
            .chords
            .iter()
            .any(|c| matches!(c.law, Law::Diode(_)));
        for pass in 0..2 * MAX_ITERATIONS {
            let mut right = vec![0.0; solution.unknown.len()];
            let rows = solution.chords.iter().zip(&held).zip(&bare);
            for (row, ((chord, volts), bare)) in rows.enumerate() {
                let (ohms, emf) = match chord.law {
                    Law::Ohms(ohms, _) => (ohms, 0.0),
                    Law::Load(least, most) => match corner {
                        Corner::Least => (least, 0.0),
                        Corner::Most => (most, 0.0),
                    },
                    Law::Diode(junction) => {
                        // i = g·w + j, so i/g − w = j/g.
                        let (g, j) = companion(&junction, *volts);
                        (1.0 / g, -j / g)
                    }
                };
                matrix.set_diagonal(row, bare + ohms);
                let source = row.checked_sub(kept).and_then(|k| solution.ties.get(k));
                if let Some(slot) = right.get_mut(row) {
                    *slot = -emf - source.map_or(0.0, |tie| tie.volts.0);
                }
            }
            solution.factors = Factors::of(matrix.clone()).ok_or(SolveError::Singular)?;
            let mut next = right.clone();
            solution.factors.solve(&mut next);
            if matrix.residual(&next, &right) > RESIDUAL {
                return Err(SolveError::Singular);
            }
            solution.unknown = next;
            if !nonlinear {
                return Ok(());
            }
            if self.steady(solution, &mut held) {
                self.junctions.borrow_mut().insert(key, held);
                return Ok(());
            }
            if pass == COLD {
                // A start from elsewhere may have led astray.
                held.fill(0.0);
            }
        }
        Err(SolveError::NoConvergence)
    }

    /// Moves the junctions to where the solution wants them; true when they
    /// were there.
    fn steady(&self, solution: &Solution, held: &mut [f64]) -> bool {
        let mut steady = true;
        for ((chord, volts), current) in solution
            .chords
            .iter()
            .zip(held.iter_mut())
            .zip(&solution.unknown)
        {
            if let Law::Diode(junction) = chord.law {
                let (g, j) = companion(&junction, *volts);
                let wanted = (current - j) / g;
                let next = limit(wanted, *volts, &junction);
                let step = (next - *volts).abs().max((next - wanted).abs());
                let conducts = g.max(companion(&junction, next).0);
                steady &= step < TOLERANCE || conducts * step < NOISE;
                *volts = next;
            }
        }
        steady
    }

    /// Currents of all branches of the group, from what leaves at chords and
    /// at other points; `into` is indexed like the branches.
    fn flow(
        &self,
        solution: &Solution,
        chord_currents: &[f64],
        more: &[(u32, f64)],
        into: &mut Vec<f64>,
    ) {
        into.resize(self.branches.len(), 0.0);
        let Some(group) = self.groups.get(solution.group as usize) else {
            return;
        };
        let ranges = || {
            group
                .trees
                .iter()
                .filter_map(|tree| self.trees.get(*tree as usize).map(|t| t.nodes.clone()))
        };
        for range in ranges() {
            if let Some(slice) = into.get_mut(range) {
                slice.fill(0.0);
            }
        }
        let chords = solution.chords.iter().zip(chord_currents);
        let ends = chords.flat_map(|(c, i)| [(c.a, *i), (c.b, -*i)]);
        for (end, current) in ends.chain(more.iter().copied()) {
            if let Some(slot) = into.get_mut(end as usize) {
                *slot += current;
            }
        }
        for range in ranges() {
            for at in range.rev() {
                let (Some(branch), Some(current)) = (self.branches.get(at), into.get(at).copied())
                else {
                    continue;
                };
                if let Some(up) = into.get_mut(branch.parent as usize) {
                    *up += current;
                }
            }
        }
    }

    /// Voltage of a node from branch currents and root voltages.
    fn voltage(&self, solution: &Solution, unknown: &[f64], currents: &[f64], node: u32) -> f64 {
        let mut drop = 0.0;
        let mut at = node;
        while let Some(branch) = self.branch(at) {
            drop += branch.ohms * currents.get(at as usize).copied().unwrap_or(0.0);
            at = branch.parent;
        }
        let root = self
            .groups
            .get(solution.group as usize)
            .map_or(NONE, |group| self.root_row(group, &solution.roots, node));
        unknown.get(root as usize).copied().unwrap_or(0.0) - drop
    }

    /// Variance by spreads, and resistance seen, through the adjoint.
    fn variance(&mut self, solution: &Solution, plus: u32, minus: Option<u32>) -> (f64, f64) {
        let mut adjoint = vec![0.0; solution.unknown.len()];
        let seen_by = Chord {
            a: plus,
            b: minus.unwrap_or(NONE),
            law: Law::Ohms(0.0, 0.0),
        };
        for (row, chord) in solution.chords.iter().enumerate() {
            if let Some(slot) = adjoint.get_mut(row) {
                *slot = self.shared(chord, &seen_by);
            }
        }
        if let Some(group) = self.groups.get(solution.group as usize) {
            for (end, sign) in [(seen_by.a, -1.0), (seen_by.b, 1.0)] {
                let root = self.root_row(group, &solution.roots, end);
                if let Some(slot) = adjoint.get_mut(root as usize) {
                    *slot += sign;
                }
            }
        }
        solution.factors.solve(&mut adjoint);
        let mut flows = std::mem::take(&mut self.scratch);
        let sent = [(plus, -1.0), (seen_by.b, 1.0)];
        self.flow(solution, &adjoint, &sent, &mut flows);
        let mut variance = 0.0;
        if let Some(group) = self.groups.get(solution.group as usize) {
            for tree in &group.trees {
                let Some(range) = self.trees.get(*tree as usize).map(|t| t.nodes.clone()) else {
                    continue;
                };
                let (Some(branches), Some(currents), Some(others)) = (
                    self.branches.get(range.clone()),
                    solution.currents.get(range.clone()),
                    flows.get(range),
                ) else {
                    continue;
                };
                for ((branch, i), j) in branches.iter().zip(currents).zip(others) {
                    let shift = i * j * branch.spread;
                    variance += shift * shift;
                }
            }
        }
        let both = solution.unknown.iter().zip(&adjoint);
        for (chord, (i, j)) in solution.chords.iter().zip(both) {
            let shift = match chord.law {
                Law::Ohms(_, spread) => i * j * spread,
                Law::Load(..) => 0.0,
                Law::Diode(junction) => j * junction.spread.0,
            };
            variance += shift * shift;
        }
        let volts = |node| self.voltage(solution, &adjoint, &flows, node);
        let seen = volts(plus) - minus.map_or(0.0, volts);
        self.scratch = flows;
        (variance, seen)
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
        let known = self.solved.iter().rposition(|known| {
            known.group == group && known.corner == corner && known.ties == here
        });
        let solution = match known {
            Some(at) => self.solved.swap_remove(at),
            None => self.solve(group, here.clone(), corner)?,
        };
        self.ties = here;
        let volts = |node| self.voltage(&solution, &solution.unknown, &solution.currents, node);
        point.volts = Volts(volts(at) - minus_here.map_or(0.0, volts));
        let (variance, seen) = self.variance(&solution, at, minus_here);
        (point.variance, point.seen) = (variance, Ohms(seen));
        self.solved.push(solution);
        Ok(point)
    }
}

/// Which wires meet at each node.
struct Wood {
    number: Vec<u32>,
    nodes: Vec<NodeId>,
    /// Where the wires of each numbered node end in `wires`; they start where
    /// those of the one before end.
    ends: Vec<u32>,
    wires: Vec<u32>,
}

impl Wood {
    fn of(nodes: usize, elements: &[Element], alone: &[NodeId]) -> Self {
        let mut wood = Self {
            number: vec![NONE; nodes],
            nodes: Vec::with_capacity(elements.len() + alone.len()),
            ends: Vec::with_capacity(elements.len() + alone.len()),
            wires: Vec::new(),
        };
        for element in elements {
            for node in [element.a, element.b] {
                let count = wood.note(node);
                if let (Some(count), Part::Wire { .. }) = (count, element.part) {
                    *count += 1;
                }
            }
        }
        for node in alone {
            wood.note(*node);
        }
        // From counts to where each node's wires start; filling them in moves
        // that to where they end.
        let mut total = 0;
        for slot in &mut wood.ends {
            total += std::mem::replace(slot, total);
        }
        wood.wires.resize(total as usize, NONE);
        let wires = elements.iter().zip(0..);
        for (element, at) in wires.filter(|(e, _)| wire(e).is_some()) {
            for node in [element.a, element.b] {
                let number = wood.number.get(usize::from(node.0)).copied();
                if let Some(end) = number.and_then(|number| wood.ends.get_mut(number as usize)) {
                    if let Some(slot) = wood.wires.get_mut(*end as usize) {
                        *slot = at;
                    }
                    *end += 1;
                }
            }
        }
        wood
    }

    /// Numbers a node; its entry in `ends`.
    fn note(&mut self, node: NodeId) -> Option<&mut u32> {
        let slot = self.number.get_mut(usize::from(node.0))?;
        if node != GROUND && *slot == NONE {
            *slot = self.nodes.len() as u32;
            self.nodes.push(node);
            self.ends.push(0);
        }
        self.ends.get_mut(*slot as usize)
    }

    fn at(&self, node: NodeId) -> &[u32] {
        let number = self.number.get(usize::from(node.0)).copied();
        let Some(number) = number.filter(|number| *number != NONE) else {
            return &[];
        };
        let number = number as usize;
        let before = number.checked_sub(1).and_then(|at| self.ends.get(at));
        let start = before.map_or(0, |end| *end as usize);
        let end = self.ends.get(number).map_or(start, |end| *end as usize);
        self.wires.get(start..end).unwrap_or_default()
    }
}

/// Resistance and spread of a wire.
fn wire(element: &Element) -> Option<(f64, f64)> {
    match element.part {
        Part::Wire { ohms, spread } => Some((ohms.0, spread.0)),
        _ => None,
    }
}

/// Whether a wire goes to chassis.
fn is_foot(element: &Element) -> bool {
    wire(element).is_some() && (element.a == GROUND) != (element.b == GROUND)
}

fn law(part: &Part) -> Law {
    match *part {
        Part::Wire { ohms, spread } | Part::Resistor { ohms, spread } => {
            Law::Ohms(ohms.0, spread.0)
        }
        Part::Load { least, most } => Law::Load(least.0, most.0),
        Part::Diode(junction) => Law::Diode(junction),
    }
}
