//! The same by faer: another dense LU, and a sparse Cholesky that orders for itself.

use ::faer::linalg::solvers::Solve;
use ::faer::sparse::linalg::solvers::{Llt, SymbolicLlt};
use ::faer::sparse::{SparseColMat, Triplet};
use ::faer::{Mat, Side};

use super::{Answer, Ways, row};
use crate::speed::timed;

impl Ways<'_> {
    /// Dense LU of the whole circuit by faer, factored once for each system.
    #[must_use]
    pub fn faer_dense(&self) -> Answer {
        let size = self.pieces.len();
        let fixed = Mat::from_fn(size, size, |row, column| self.fixed[(row, column)]);
        timed(|| {
            let mut volts = Vec::new();
            for system in &self.systems.all {
                let (sources, diagonal) = self.tied(&system.ties);
                let mut matrix = fixed.clone();
                for (at, conductance) in diagonal {
                    matrix[(at, at)] += conductance;
                }
                let right = Mat::from_fn(size, 1, |row, _| sources[row]);
                let solved = matrix.partial_piv_lu().solve(&right);
                let read = system.read.iter().filter_map(|node| row(*node));
                volts.extend(read.map(|at| solved[(at, 0)]));
            }
            volts
        })
    }

    /// Sparse Cholesky of the whole circuit by faer: ordered for few new entries
    /// (approximate minimum degree) and analysed before the clock starts, factored
    /// anew for each system.
    ///
    /// # Panics
    /// When a matrix is not positive definite.
    #[must_use]
    pub fn faer_sparse(&self) -> Answer {
        let size = self.pieces.len();
        let mut lower = Vec::new();
        for column in 0..size {
            for row in column..size {
                let value = self.fixed[(row, column)];
                if value != 0.0 || row == column {
                    lower.push(Triplet::new(row, column, value));
                }
            }
        }
        let base = SparseColMat::<usize, f64>::try_new_from_triplets(size, size, &lower)
            .expect("rows and columns within the matrix");
        // Of the lower triangle a column's first entry is that on the diagonal.
        let diagonals = base.col_ptr()[..size].to_vec();
        let symbolic =
            SymbolicLlt::try_new(base.symbolic(), Side::Lower).expect("room for the factors");
        let mut matrix = base.clone();
        timed(|| {
            let mut volts = Vec::new();
            for system in &self.systems.all {
                let (sources, diagonal) = self.tied(&system.ties);
                matrix.val_mut().copy_from_slice(base.val());
                for (at, conductance) in diagonal {
                    matrix.val_mut()[diagonals[at]] += conductance;
                }
                let factors =
                    Llt::try_new_with_symbolic(symbolic.clone(), matrix.as_ref(), Side::Lower)
                        .expect("a positive matrix");
                let right = Mat::from_fn(size, 1, |row, _| sources[row]);
                let solved = factors.solve(&right);
                let read = system.read.iter().filter_map(|node| row(*node));
                volts.extend(read.map(|at| solved[(at, 0)]));
            }
            volts
        })
    }
}
