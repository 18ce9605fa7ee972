//! Star–mesh elimination in a packed lower triangle, without a subtraction.

use heapless::Vec;

use super::SolveError;
use crate::circuit::MAX_NODES;

/// How many numbers the matrix of an island of `nodes` nodes has.
#[must_use]
pub const fn room(nodes: usize) -> usize {
    nodes * (nodes + 1) / 2
}

const fn place(row: usize, column: usize) -> usize {
    row * (row + 1) / 2 + column
}

/// Adds to an entry of the packed lower triangle.
pub(super) fn add(matrix: &mut [f64], row: usize, column: usize, value: f64) {
    if let Some(entry) = matrix.get_mut(place(row, column)) {
        *entry += value;
    }
}

/// Eliminates node after node, in place.
///
/// On entry `matrix` holds, below the diagonal, the conductances between
/// nodes and, on it, those to chassis. On return the entries below the
/// diagonal are the shares in which an eliminated node's voltage follows its
/// later neighbours, and `inverse` the reciprocal of each node's total
/// conductance when its turn came. `column` is scratch.
pub(super) fn eliminate(
    matrix: &mut [f64],
    inverse: &mut Vec<f64, MAX_NODES>,
    column: &mut Vec<f64, MAX_NODES>,
    n: usize,
) -> Result<(), SolveError> {
    inverse.clear();
    for k in 0..n {
        let to_chassis = entry(matrix, k, k);
        column.clear();
        for i in k + 1..n {
            column
                .push(entry(matrix, i, k))
                .map_err(|_| SolveError::TooLarge)?;
        }
        let total = to_chassis + column.iter().sum::<f64>();
        if !total.is_finite() || total <= 0.0 {
            return Err(SolveError::Singular);
        }
        inverse
            .push(1.0 / total)
            .map_err(|_| SolveError::TooLarge)?;
        for (offset, &conductance) in column.iter().enumerate() {
            if conductance == 0.0 {
                continue;
            }
            let i = k + 1 + offset;
            let share = conductance / total;
            let Some(row) = matrix.get_mut(place(i, k)..=place(i, i)) else {
                return Err(SolveError::TooLarge);
            };
            // row[0] is (i, k), row[1..] are (i, k+1)…(i, i).
            let Some((first, rest)) = row.split_first_mut() else {
                return Err(SolveError::TooLarge);
            };
            *first = share;
            let Some((own, between)) = rest.split_last_mut() else {
                return Err(SolveError::TooLarge);
            };
            for (mesh, other) in between.iter_mut().zip(column.iter()) {
                *mesh += share * other;
            }
            *own += share * to_chassis;
        }
    }
    Ok(())
}

pub(super) fn entry(matrix: &[f64], row: usize, column: usize) -> f64 {
    matrix.get(place(row, column)).copied().unwrap_or(0.0)
}

/// Node voltages from injected currents, in place, after [`eliminate`].
pub(super) fn substitute(matrix: &[f64], inverse: &[f64], x: &mut [f64]) {
    let n = x.len();
    for row in 0..n {
        let Some(shares) = matrix.get(place(row, 0)..place(row, row)) else {
            return;
        };
        let (done, todo) = x.split_at_mut(row);
        let sum: f64 = shares
            .iter()
            .zip(done.iter())
            .map(|(share, x)| share * x)
            .sum();
        if let Some(entry) = todo.first_mut() {
            *entry += sum;
        }
    }
    for (entry, d) in x.iter_mut().zip(inverse) {
        *entry *= d;
    }
    for row in (0..n).rev() {
        let Some(shares) = matrix.get(place(row, 0)..place(row, row)) else {
            return;
        };
        let (before, rest) = x.split_at_mut(row);
        let Some(&value) = rest.first() else { return };
        for (entry, share) in before.iter_mut().zip(shares) {
            *entry += share * value;
        }
    }
}
