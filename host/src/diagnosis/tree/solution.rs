//! The few unknowns of a group, under some attachments.

use std::hash::{BuildHasher, Hasher};

use foldhash::fast::FixedState;
use loomproof_core::solve::{
    Attachment, Corner, MAX_ITERATIONS, SolveError, TOLERANCE, companion, limit,
};
use loomproof_core::units::Ohms;
use smallvec::smallvec;

use super::super::dense::{Column, Factors, Square};
use super::{Chord, Law};

/// Residual of a solved system, in volts round a chord or amperes at a root,
/// above which it is not trusted.
const RESIDUAL: f64 = 1e-11;

/// Newton iterations from a warm start before it is given up for a cold one.
const COLD: usize = 20;

/// A junction that moves by less than this changes nothing, in amperes: what
/// rounding leaves of currents of milliamperes moves a junction without current
/// to and fro for ever. Through the 122 kΩ of a weak pull it is 1.2 nV.
const NOISE: f64 = 1e-14;

/// A group solved under some attachments.
#[derive(Debug)]
pub(super) struct Solution {
    pub(super) group: u32,
    pub(super) corner: Corner,
    pub(super) ties: Column<Attachment>,
    pub(super) chords: Column<Chord>,
    pub(super) factors: Factors,
    /// Chord currents, then root voltages.
    pub(super) unknown: Column,
    /// Voltage of each chord's junction, where it has one.
    pub(super) junctions: Column,
    /// Currents of all branches; see [`Forest::flow`].
    pub(super) currents: Vec<f64>,
    /// Row of each tree's root voltage; [`NONE`] for grounded trees.
    pub(super) roots: Column<u32>,
}

/// Solutions under attachments that were met, in the order they were worked out.
#[derive(Debug, Default)]
pub(super) struct Solved {
    /// What each one's attachments hash to: most that are looked for are told apart by it.
    hashes: Vec<u64>,
    solutions: Vec<Solution>,
}

impl Solved {
    fn hash(ties: &[Attachment]) -> u64 {
        let mut hasher = FixedState::default().build_hasher();
        for tie in ties {
            hasher.write_u16(tie.node.0);
            hasher.write_u64(tie.volts.0.to_bits());
            hasher.write_u64(tie.ohms.0.to_bits());
        }
        hasher.finish()
    }

    /// The place of the solution of a group under some attachments, where it is known.
    pub(super) fn find(&self, group: u32, corner: Corner, ties: &[Attachment]) -> Option<usize> {
        let hash = Self::hash(ties);
        let mut all = self.hashes.iter().zip(&self.solutions);
        all.rposition(|(other, known)| {
            *other == hash && known.group == group && known.corner == corner && *known.ties == *ties
        })
    }

    /// The solution at a place.
    pub(super) fn get(&self, at: usize) -> Option<&Solution> {
        self.solutions.get(at)
    }

    /// Adds one; its place.
    pub(super) fn put(&mut self, solution: Solution) -> usize {
        self.hashes.push(Self::hash(&solution.ties));
        self.solutions.push(solution);
        self.solutions.len() - 1
    }

    /// The last.
    pub(super) fn last(&self) -> Option<&Solution> {
        self.solutions.last()
    }

    /// The last of a group, whatever was attached.
    pub(super) fn last_of(&self, group: u32, corner: Corner) -> Option<&Solution> {
        let like = |known: &&Solution| known.group == group && known.corner == corner;
        self.solutions.iter().rev().find(like)
    }
}

impl Solution {
    /// Newton iteration over the diodes; one pass without.
    pub(super) fn settle(&mut self, mut matrix: Square) -> Result<(), SolveError> {
        let bare: Column = matrix.diagonal().collect();
        let kept = self.chords.len() - self.ties.len();
        self.junctions.resize(self.chords.len(), 0.0);
        let nonlinear = self.chords.iter().any(|c| matches!(c.law, Law::Diode(_)));
        let mut right: Column = smallvec![0.0; self.unknown.len()];
        for pass in 0..2 * MAX_ITERATIONS {
            let rows = self.chords.iter().zip(&self.junctions).zip(&bare);
            for (row, ((chord, volts), bare)) in rows.enumerate() {
                let (ohms, emf) = match chord.law {
                    Law::Ohms(ohms, _) => (ohms, 0.0),
                    Law::Load(least, most) => {
                        (self.corner.ohms(row, Ohms(least), Ohms(most)).0, 0.0)
                    }
                    Law::Diode(junction) => {
                        // i = g·w + j, so i/g − w = j/g.
                        let (g, j) = companion(&junction, *volts);
                        (1.0 / g, -j / g)
                    }
                };
                matrix.set_diagonal(row, bare + ohms);
                let source = row.checked_sub(kept).and_then(|k| self.ties.get(k));
                if let Some(slot) = right.get_mut(row) {
                    *slot = -emf - source.map_or(0.0, |tie| tie.volts.0);
                }
            }
            self.factors = Factors::of(matrix.clone()).ok_or(SolveError::Singular)?;
            self.unknown.copy_from_slice(&right);
            self.factors.solve(&mut self.unknown);
            if matrix.residual(&self.unknown, &right) > RESIDUAL {
                return Err(SolveError::Singular);
            }
            if !nonlinear || self.steady() {
                return Ok(());
            }
            if pass == COLD {
                // A start from elsewhere may have led astray.
                self.junctions.fill(0.0);
            }
        }
        Err(SolveError::NoConvergence)
    }

    /// Moves the junctions to where the solution wants them; true when they
    /// were there.
    fn steady(&mut self) -> bool {
        let mut steady = true;
        for ((chord, volts), current) in self
            .chords
            .iter()
            .zip(self.junctions.iter_mut())
            .zip(&self.unknown)
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
}
