//! Currents in the trees' branches, voltages at their nodes, and how far these stray.

use loomproof_core::solve::{Sensitivity, Sway};
use loomproof_core::units::Ohms;
use smallvec::smallvec;

use super::solution::Solution;
use super::{Chord, Column, Forest, Law, NONE};

impl Forest {
    /// Currents of all branches of the group, from what leaves at chords and
    /// at other points; `into` is indexed like the branches.
    pub(super) fn flow(
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
    pub(super) fn voltage(
        &self,
        solution: &Solution,
        unknown: &[f64],
        currents: &[f64],
        node: u32,
    ) -> f64 {
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

    /// What a voltage depends on, through the adjoint.
    pub(super) fn sensitivity(
        &self,
        solution: &Solution,
        plus: u32,
        minus: Option<u32>,
        flows: &mut Vec<f64>,
    ) -> Sensitivity {
        let mut adjoint: Column = smallvec![0.0; solution.unknown.len()];
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
        let sent = [(plus, -1.0), (seen_by.b, 1.0)];
        self.flow(solution, &adjoint, &sent, flows);
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
        let mut sway = Sway::default();
        let both = solution.unknown.iter().zip(&adjoint);
        for (row, (chord, (i, j))) in solution.chords.iter().zip(both).enumerate() {
            let shift = match chord.law {
                Law::Ohms(_, spread) => i * j * spread,
                Law::Load(least, most) => {
                    // ∂V/∂G = −R²·∂V/∂R.
                    sway.note(row, Ohms(least), Ohms(most), -most * most * i * j);
                    0.0
                }
                Law::Diode(junction) => j * junction.spread.0,
            };
            variance += shift * shift;
        }
        let volts = |node| self.voltage(solution, &adjoint, flows, node);
        let seen = Ohms(volts(plus) - minus.map_or(0.0, volts));
        Sensitivity {
            variance,
            seen,
            sway,
        }
    }
}
