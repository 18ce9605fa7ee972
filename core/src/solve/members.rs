//! Which nodes and elements make an island, and in which order its nodes are
//! eliminated.

use heapless::Vec;

use super::{ABSENT, Island, SolveError};
use crate::circuit::{Element, GROUND, MAX_NODES, NodeId};

impl<M: AsRef<[f64]> + AsMut<[f64]>> Island<'_, M> {
    /// Finds the nodes and elements that hang together with `start`.
    pub(super) fn collect(
        &mut self,
        elements: &[Element],
        start: NodeId,
    ) -> Result<(), SolveError> {
        // Only members of the island before this one have a row.
        for node in &self.work.members {
            if let Some(slot) = self.work.local.get_mut(usize::from(node.0)) {
                *slot = ABSENT;
            }
        }
        self.work.members.clear();
        self.work.elements.clear();
        // `local` first serves as the forest of a union–find.
        let forest = &mut self.work.local;
        let nodes = || elements.iter().flat_map(|e| [e.a, e.b]).chain([start]);
        for node in nodes() {
            if let Some(parent) = forest.get_mut(usize::from(node.0)) {
                *parent = node.0;
            }
        }
        for element in elements.iter().filter(|e| e.a != GROUND && e.b != GROUND) {
            let (a, b) = (root(forest, element.a), root(forest, element.b));
            if let Some(parent) = forest.get_mut(usize::from(a.max(b))) {
                *parent = a.min(b);
            }
        }
        let home = root(forest, start);
        let _ = self.work.members.push(start);
        for element in elements {
            let inside = |node: NodeId| node != GROUND && root(&self.work.local, node) == home;
            if element.a == element.b || !(inside(element.a) || inside(element.b)) {
                continue;
            }
            self.work
                .elements
                .push((*element, 0.0))
                .map_err(|_| SolveError::TooManyElements)?;
        }
        // Now `local` becomes each member's row.
        for node in nodes() {
            if let Some(slot) = self.work.local.get_mut(usize::from(node.0)) {
                *slot = ABSENT;
            }
        }
        self.number(start, 0);
        for k in 0..self.work.elements.len() {
            let Some((element, _)) = self.work.elements.get(k).copied() else {
                break;
            };
            for node in [element.a, element.b] {
                if node != GROUND && !self.contains(node) {
                    let row = self.work.members.len();
                    self.work
                        .members
                        .push(node)
                        .map_err(|_| SolveError::TooLarge)?;
                    self.number(node, row);
                }
            }
        }
        self.order();
        Ok(())
    }

    /// Numbers the members anew so that ends of branches are eliminated first:
    /// a harness is nearly a tree, and a tree eliminated from its leaves gets
    /// no new entries in its matrix.
    ///
    /// For a node with one neighbour left, the exclusive or of its neighbours'
    /// rows is that neighbour.
    fn order(&mut self) {
        const DONE: u16 = u16::MAX;
        let n = self.work.members.len();
        let (mut degree, mut neighbours) = ([0_u16; MAX_NODES], [0_u16; MAX_NODES]);
        for (element, _) in &self.work.elements {
            let (Some(a), Some(b)) = (self.index(element.a), self.index(element.b)) else {
                continue;
            };
            for (from, to) in [(a, b), (b, a)] {
                if let (Some(d), Some(x)) = (degree.get_mut(from), neighbours.get_mut(from)) {
                    *d = d.saturating_add(1);
                    *x ^= to as u16;
                }
            }
        }
        let mut order: Vec<u16, MAX_NODES> = Vec::new();
        for start in 0..n {
            let mut leaf = start;
            while degree.get(leaf) == Some(&1) {
                let Some(&next) = neighbours.get(leaf) else {
                    break;
                };
                let _ = order.push(leaf as u16);
                if let Some(d) = degree.get_mut(leaf) {
                    *d = DONE;
                }
                let next = usize::from(next);
                if let (Some(d), Some(x)) = (degree.get_mut(next), neighbours.get_mut(next)) {
                    *d = d.saturating_sub(1);
                    *x ^= leaf as u16;
                }
                leaf = next;
            }
        }
        for row in 0..n {
            if degree.get(row).is_some_and(|d| *d != DONE) {
                let _ = order.push(row as u16);
            }
        }
        let members = self.work.members.clone();
        for (row, old) in order.iter().enumerate() {
            if let Some(&node) = members.get(usize::from(*old)) {
                if let Some(slot) = self.work.members.get_mut(row) {
                    *slot = node;
                }
                self.number(node, row);
            }
        }
    }

    fn number(&mut self, node: NodeId, row: usize) {
        if node != GROUND
            && let Some(slot) = self.work.local.get_mut(usize::from(node.0))
        {
            *slot = row as u16;
        }
    }
}

/// The root of a node in a union–find forest.
fn root(forest: &[u16; MAX_NODES], node: NodeId) -> u16 {
    let mut at = node.0;
    while let Some(&parent) = forest.get(usize::from(at)) {
        if parent == at || parent == ABSENT {
            break;
        }
        at = parent;
    }
    at
}
