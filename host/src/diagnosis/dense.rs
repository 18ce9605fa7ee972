//! Small dense systems: the few unknowns that are left of a circuit.

use smallvec::{SmallVec, smallvec};

/// Unknowns for which a system needs no memory of its own: most have fewer, and thousands are
/// solved for one scan.
pub const FEW: usize = 6;

/// A value for each unknown.
pub type Column<T = f64> = SmallVec<[T; FEW]>;

/// A square matrix, row by row.
#[derive(Debug, Clone, Default)]
pub struct Square {
    size: usize,
    cells: SmallVec<[f64; FEW * FEW]>,
}

impl Square {
    /// All zero.
    #[must_use]
    pub fn zero(size: usize) -> Self {
        Self {
            size,
            cells: smallvec![0.0; size * size],
        }
    }

    /// Adds to one cell; outside the matrix nothing happens.
    pub fn add(&mut self, row: usize, column: usize, value: f64) {
        if column < self.size
            && let Some(cell) = self.cells.get_mut(row * self.size + column)
        {
            *cell += value;
        }
    }

    /// The cells of the diagonal.
    pub fn diagonal(&self) -> impl Iterator<Item = f64> {
        self.cells.iter().step_by(self.size + 1).copied()
    }

    /// Sets one cell of the diagonal; outside the matrix nothing happens.
    pub fn set_diagonal(&mut self, at: usize, value: f64) {
        if let Some(cell) = self.cells.get_mut(at * (self.size + 1)) {
            *cell = value;
        }
    }

    fn rows(&self) -> impl Iterator<Item = &[f64]> {
        self.cells.chunks(self.size.max(1))
    }

    /// How far `matrix · x` is from `right` in the worst row.
    #[must_use]
    pub fn residual(&self, x: &[f64], right: &[f64]) -> f64 {
        let mut worst = 0.0_f64;
        for (row, wanted) in self.rows().zip(right) {
            let sum: f64 = row.iter().zip(x).map(|(a, x)| a * x).sum();
            let here = (sum - wanted).abs();
            // A sum that is no number is as bad as can be.
            worst = if here.is_nan() {
                f64::INFINITY
            } else {
                worst.max(here)
            };
        }
        worst
    }
}

/// A matrix factored by Gaussian elimination with partial pivoting.
#[derive(Debug, Clone, Default)]
pub struct Factors {
    size: usize,
    cells: SmallVec<[f64; FEW * FEW]>,
    /// With which row each one changed places, in that order.
    swaps: Column<u32>,
}

impl Factors {
    /// Factors a matrix; `None` where it is singular.
    #[must_use]
    pub fn of(matrix: Square) -> Option<Self> {
        let Square { size, mut cells } = matrix;
        let mut swaps = Column::with_capacity(size);
        for k in 0..size {
            let size_of = |row: usize| cells.get(row * size + k).map_or(0.0, |v| v.abs());
            let pivot = (k..size).max_by(|a, b| size_of(*a).total_cmp(&size_of(*b)))?;
            if pivot != k {
                let (upper, lower) = cells.split_at_mut(pivot * size);
                upper
                    .get_mut(k * size..(k + 1) * size)?
                    .swap_with_slice(lower.get_mut(..size)?);
            }
            swaps.push(pivot as u32);
            let (upper, lower) = cells.split_at_mut((k + 1) * size);
            let own = upper.get(k * size..)?;
            let head = *own.get(k)?;
            if !head.is_finite() || head == 0.0 {
                return None;
            }
            for row in lower.chunks_mut(size) {
                let share = *row.get(k)? / head;
                if share == 0.0 {
                    continue;
                }
                *row.get_mut(k)? = share;
                for (cell, above) in row.get_mut(k + 1..)?.iter_mut().zip(own.get(k + 1..)?) {
                    *cell -= share * above;
                }
            }
        }
        Some(Self { size, cells, swaps })
    }

    /// The factored matrix, row by row, its rows in the order of the pivots.
    #[must_use]
    pub fn product(&self) -> (usize, Vec<f64>) {
        let n = self.size;
        let at = |row: usize, column: usize| self.cells.get(row * n + column).copied();
        let cell = |row: usize, column: usize| -> f64 {
            let lower = |k: usize| if k == row { Some(1.0) } else { at(row, k) };
            let terms = (0..=row.min(column)).filter_map(|k| Some(lower(k)? * at(k, column)?));
            terms.sum()
        };
        let cells = (0..n).flat_map(|row| (0..n).map(move |column| (row, column)));
        (n, cells.map(|(row, column)| cell(row, column)).collect())
    }

    /// Solves for one right side, in place; its length is the size of the matrix.
    pub fn solve(&self, y: &mut [f64]) {
        let n = self.size;
        if y.len() != n {
            return;
        }
        for (row, other) in self.swaps.iter().enumerate() {
            y.swap(row, *other as usize);
        }
        for (row, cells) in self.cells.chunks(n.max(1)).enumerate() {
            let (done, todo) = y.split_at_mut(row);
            let sum: f64 = cells.iter().zip(done.iter()).map(|(a, y)| a * y).sum();
            if let Some(entry) = todo.first_mut() {
                *entry -= sum;
            }
        }
        for (row, cells) in self.cells.chunks(n.max(1)).enumerate().rev() {
            let (head, tail) = y.split_at_mut(row + 1);
            let after = cells.get(row + 1..).unwrap_or_default();
            let sum: f64 = after.iter().zip(tail.iter()).map(|(a, y)| a * y).sum();
            if let (Some(entry), Some(pivot)) = (head.last_mut(), cells.get(row)) {
                *entry = (*entry - sum) / pivot;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_with_zeros_on_its_diagonal_is_solved() {
        // x + y = 3, x − y = 1 in saddle form with a zero pivot first.
        let mut matrix = Square::zero(3);
        for (row, column, value) in [
            (0, 1, 1.0),
            (1, 0, 1.0),
            (1, 1, 2.0),
            (0, 2, -1.0),
            (2, 0, -1.0),
            (2, 2, 4.0),
        ] {
            matrix.add(row, column, value);
        }
        let right = vec![1.0, 2.0, 3.0];
        let factors = Factors::of(matrix.clone()).unwrap();
        let mut x = right.clone();
        factors.solve(&mut x);
        assert!(matrix.residual(&x, &right) < 1e-15, "{x:?}");
        // The rows as they were, but for their order.
        let (size, cells) = factors.product();
        let mut back: Vec<Vec<f64>> = cells.chunks(size).map(<[f64]>::to_vec).collect();
        let mut rows: Vec<Vec<f64>> = matrix.rows().map(<[f64]>::to_vec).collect();
        back.sort_by(|a, b| a.partial_cmp(b).unwrap());
        rows.sort_by(|a, b| a.partial_cmp(b).unwrap());
        assert_eq!(back, rows);
    }

    #[test]
    fn singular_is_said() {
        let mut matrix = Square::zero(2);
        matrix.add(0, 0, 1.0);
        matrix.add(1, 0, 1.0);
        assert!(Factors::of(matrix).is_none());
    }
}
