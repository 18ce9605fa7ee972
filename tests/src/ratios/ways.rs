//! The same systems solved in several ways: by core, nalgebra and ngspice here, by
//! faer in its own file.

mod faer;

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use loomproof_core::circuit::{Element, GROUND, NodeId, Part};
use loomproof_core::solve::{self, Attachment, Corner, Workspace};
use nalgebra::{DMatrix, DVector, Dyn, LU};
use nalgebra_sparse::factorization::{CscCholesky, CscSymbolicCholesky};
use nalgebra_sparse::{CooMatrix, CscMatrix};

use super::systems::{System, Systems};
use crate::solvers::{Device, Net};
use crate::speed::timed;
use crate::spice;

/// From chassis to what nothing ties to it, so that its equations can be solved.
const REFERENCE: f64 = 1.0;

/// Volts of every reading, and the processor time that they took.
pub type Answer = (Vec<f64>, Duration);

/// What is prepared before the clock starts.
#[derive(Debug)]
pub struct Ways<'s> {
    systems: &'s Systems,
    work: Box<Workspace<Vec<f64>>>,
    /// Row of each node, chassis has none.
    fixed: DMatrix<f64>,
    /// A row of each piece that chassis does not tie, and every row's piece.
    pieces: Vec<usize>,
    grounded: Vec<bool>,
}

impl<'s> Ways<'s> {
    /// Prepares them.
    #[must_use]
    pub fn new(systems: &'s Systems) -> Self {
        let size = systems.nodes - 1;
        let mut fixed = DMatrix::zeros(size, size);
        for element in &systems.elements {
            stamp(&mut fixed, element.a, element.b, 1.0 / ohms(element));
        }
        // A node without any element would have an empty row.
        let mut pieces: Vec<usize> = (0..size).collect();
        let mut grounded = vec![false; size];
        let mut changed = true;
        while changed {
            changed = false;
            for element in &systems.elements {
                if let (Some(a), Some(b)) = (row(element.a), row(element.b)) {
                    let least = pieces[a].min(pieces[b]);
                    changed |= pieces[a] != pieces[b];
                    (pieces[a], pieces[b]) = (least, least);
                }
            }
        }
        for element in &systems.elements {
            match (row(element.a), row(element.b)) {
                (Some(at), None) | (None, Some(at)) => grounded[pieces[at]] = true,
                _ => {}
            }
        }
        Self {
            work: Box::new(Workspace::new(vec![0.0; solve::room(size)])),
            systems,
            fixed,
            pieces,
            grounded,
        }
    }

    /// Core's: the islands that are read, one after the other; looked for among all
    /// elements, or among those of the islands that are read alone.
    ///
    /// # Panics
    /// When core does not solve one.
    pub fn core(&mut self, told: bool) -> Answer {
        let systems = self.systems;
        let work = &mut *self.work;
        timed(|| {
            let mut volts = Vec::with_capacity(systems.readings());
            for system in &systems.all {
                let elements = if told {
                    &system.near
                } else {
                    &systems.elements
                };
                let mut known: Vec<Option<f64>> = vec![None; system.read.len()];
                while let Some(next) = known.iter().position(Option::is_none) {
                    let start = system.read[next];
                    let island = solve::island(work, elements, &system.ties, start, Corner::Least)
                        .expect("core solves it");
                    for (slot, node) in known.iter_mut().zip(&system.read) {
                        if slot.is_none() && island.contains(*node) {
                            *slot = Some(island.volts(*node).0);
                        }
                    }
                }
                volts.extend(known.into_iter().flatten());
            }
            volts
        })
    }

    /// Right-hand side of a system, and what its ties add to the diagonal.
    fn tied(&self, ties: &[Attachment]) -> (DVector<f64>, Vec<(usize, f64)>) {
        let mut sources = DVector::zeros(self.pieces.len());
        let mut diagonal = Vec::with_capacity(ties.len());
        let mut tied = self.grounded.clone();
        for tie in ties {
            if let Some(at) = row(tie.node) {
                diagonal.push((at, 1.0 / tie.ohms.0));
                sources[at] += tie.volts.0 / tie.ohms.0;
                tied[self.pieces[at]] = true;
            }
        }
        for (at, tied) in tied.iter().enumerate() {
            if self.pieces[at] == at && !tied {
                diagonal.push((at, REFERENCE));
            }
        }
        (sources, diagonal)
    }

    fn matrix(&self, diagonal: &[(usize, f64)]) -> DMatrix<f64> {
        let mut matrix = self.fixed.clone();
        for (at, conductance) in diagonal {
            matrix[(*at, *at)] += conductance;
        }
        matrix
    }

    /// Dense LU of the whole circuit; factored once for each system, or anew for
    /// every point that is read.
    ///
    /// # Panics
    /// When a matrix is singular.
    #[must_use]
    pub fn dense(&self, every_reading: bool) -> Answer {
        timed(|| {
            let mut volts = Vec::new();
            for system in &self.systems.all {
                let (sources, diagonal) = self.tied(&system.ties);
                let solve = || {
                    let lu = self.matrix(&diagonal).lu();
                    lu.solve(&sources).expect("a regular matrix")
                };
                if every_reading {
                    volts.extend(system.read.iter().map(|node| at(&solve(), *node)));
                } else {
                    let solved = solve();
                    volts.extend(system.read.iter().map(|node| at(&solved, *node)));
                }
            }
            volts
        })
    }

    /// Dense LU whose factors are all there before the clock starts: forward and
    /// back substitution alone.
    ///
    /// # Panics
    /// When a matrix is singular.
    #[must_use]
    pub fn substituted(&self) -> Answer {
        let factor = |system: &System| -> (LU<f64, Dyn, Dyn>, DVector<f64>) {
            let (sources, diagonal) = self.tied(&system.ties);
            (self.matrix(&diagonal).lu(), sources)
        };
        let mut volts = Vec::new();
        let mut time = Duration::ZERO;
        // One at a time: all factors together would not fit any cache or more.
        for system in &self.systems.all {
            let (lu, sources) = factor(system);
            let (solved, took) = timed(|| lu.solve(&sources).expect("a regular matrix"));
            volts.extend(system.read.iter().map(|node| at(&solved, *node)));
            time += took;
        }
        (volts, time)
    }

    /// Dense LU that is told which islands to solve.
    ///
    /// # Panics
    /// When a matrix is singular.
    #[must_use]
    pub fn near(&self) -> Answer {
        timed(|| {
            let mut volts = Vec::new();
            let mut place = vec![None; self.systems.nodes];
            for system in &self.systems.all {
                place.fill(None);
                let mut size = 0;
                for node in system.near.iter().flat_map(|e| [e.a, e.b]) {
                    let slot = &mut place[usize::from(node.0)];
                    if node != GROUND && slot.is_none() {
                        *slot = Some(size);
                        size += 1;
                    }
                }
                let row = |node: NodeId| place[usize::from(node.0)];
                let mut matrix = DMatrix::zeros(size, size);
                for element in &system.near {
                    stamp_at(
                        &mut matrix,
                        row(element.a),
                        row(element.b),
                        1.0 / ohms(element),
                    );
                }
                let mut sources = DVector::zeros(size);
                for tie in &system.ties {
                    if let Some(at) = row(tie.node) {
                        matrix[(at, at)] += 1.0 / tie.ohms.0;
                        sources[at] += tie.volts.0 / tie.ohms.0;
                    }
                }
                let solved = matrix.lu().solve(&sources).expect("a regular matrix");
                let read = system.read.iter().filter_map(|node| row(*node));
                volts.extend(read.map(|at| solved[at]));
            }
            volts
        })
    }

    /// Sparse Cholesky of the whole circuit, its pattern analysed before the clock
    /// starts, factored anew for each system. The library has no ordering of its
    /// own: nodes are in the order of the plan.
    ///
    /// # Panics
    /// When a matrix is not positive definite.
    #[must_use]
    pub fn sparse(&self) -> Answer {
        let size = self.pieces.len();
        let mut entries = CooMatrix::new(size, size);
        for column in 0..size {
            for row in 0..size {
                let value = self.fixed[(row, column)];
                if value != 0.0 || row == column {
                    entries.push(row, column, value);
                }
            }
        }
        let base = CscMatrix::from(&entries);
        let mut diagonals = vec![0; size];
        for (place, (row, column, _)) in base.triplet_iter().enumerate() {
            if row == column {
                diagonals[row] = place;
            }
        }
        let symbolic = CscSymbolicCholesky::factor(base.pattern().clone());
        let mut first = base.values().to_vec();
        for place in &diagonals {
            first[*place] += 1.0;
        }
        let mut cholesky =
            CscCholesky::factor_numerical(symbolic, &first).expect("a positive matrix");
        timed(|| {
            let mut volts = Vec::new();
            let mut values = base.values().to_vec();
            for system in &self.systems.all {
                let (sources, diagonal) = self.tied(&system.ties);
                values.copy_from_slice(base.values());
                for (at, conductance) in &diagonal {
                    values[diagonals[*at]] += conductance;
                }
                cholesky.refactor(&values).expect("a positive matrix");
                let right = DMatrix::from_column_slice(size, 1, sources.as_slice());
                let solved = cholesky.solve(&right);
                let read = system.read.iter().filter_map(|node| row(*node));
                volts.extend(read.map(|at| solved[(at, 0)]));
            }
            volts
        })
    }

    /// All systems in one run of ngspice, each with the islands that are read; the
    /// time is the processor time of its process.
    ///
    /// # Errors
    /// What ngspice said.
    pub fn ngspice(&self, program: &Path, folder: &Path) -> Result<Answer, String> {
        let mut nets = Vec::new();
        let mut wanted = Vec::new();
        for system in &self.systems.all {
            let (net, read) = net(system);
            nets.push(net);
            wanted.push(read);
        }
        let asked: Vec<spice::Asked<'_>> = nets
            .iter()
            .map(|net| (net, solve::DIODE_SHUNT, spice::Diodes::Plain))
            .collect();
        let run = spice::write(folder, &asked).map_err(|error| error.to_string())?;
        // The shell says what its child used, in milliseconds.
        let output = Command::new("bash")
            .current_dir(folder)
            .env("PROGRAM", program)
            .env("RUN", &run)
            .args([
                "-c",
                "TIMEFORMAT='%3U %3S'; time \"$PROGRAM\" -b \"$RUN\" > said.txt 2> complained.txt",
            ])
            .output()
            .map_err(|error| error.to_string())?;
        let said = std::fs::read_to_string(folder.join("said.txt")).map_err(|e| e.to_string())?;
        let all = spice::volts(&said, &asked)?;
        let mut volts = Vec::new();
        for (all, read) in all.iter().zip(&wanted) {
            volts.extend(read.iter().filter_map(|node| all.get(node - 1)));
        }
        let times = String::from_utf8_lossy(&output.stderr);
        let parts = times.split_whitespace().map(str::parse::<f64>);
        let seconds: f64 = parts
            .sum::<Result<f64, _>>()
            .map_err(|error| format!("the shell gave no times: {error}: {times}"))?;
        Ok((volts, Duration::from_secs_f64(seconds)))
    }
}

/// A system as a plain net, and its numbers for the points that are read.
fn net(system: &System) -> (Net, Vec<usize>) {
    let mut net = Net::default();
    let mut numbers: std::collections::BTreeMap<NodeId, usize> = [(GROUND, 0)].into();
    for element in &system.near {
        let mut number = |node| {
            let next = numbers.len();
            *numbers.entry(node).or_insert(next)
        };
        let (a, b) = (number(element.a), number(element.b));
        let value = loomproof_core::units::Ohms(ohms(element));
        net.devices.push(Device::Resistor(a, b, value));
    }
    for tie in &system.ties {
        if let Some(number) = numbers.get(&tie.node) {
            net.devices
                .push(Device::Source(*number, tie.volts, tie.ohms));
        }
    }
    net.nodes = numbers.len() - 1;
    let read = system.read.iter().filter_map(|node| numbers.get(node));
    let read = read.copied().collect();
    (net, read)
}

fn ohms(element: &Element) -> f64 {
    match element.part {
        Part::Wire { ohms, .. } | Part::Resistor { ohms, .. } => ohms.0,
        // The systems are linear; what is not would be seen in the voltages.
        Part::Load { .. } | Part::Diode(_) => f64::NAN,
    }
}

fn row(node: NodeId) -> Option<usize> {
    usize::from(node.0).checked_sub(1)
}

fn at(volts: &DVector<f64>, node: NodeId) -> f64 {
    row(node).map_or(0.0, |at| volts[at])
}

fn stamp(matrix: &mut DMatrix<f64>, a: NodeId, b: NodeId, conductance: f64) {
    stamp_at(matrix, row(a), row(b), conductance);
}

fn stamp_at(matrix: &mut DMatrix<f64>, a: Option<usize>, b: Option<usize>, conductance: f64) {
    for end in [a, b].into_iter().flatten() {
        matrix[(end, end)] += conductance;
    }
    if let (Some(a), Some(b)) = (a, b) {
        matrix[(a, b)] -= conductance;
        matrix[(b, a)] -= conductance;
    }
}
