//! Hypotheses per second, the product's way and by dense LU, and whether both
//! find the same volts.

use std::hint::black_box;
use std::time::Duration;

use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::predict::Predictor;
use loomproof::diagnosis::tree::Forest;
use loomproof_core::circuit::{Element, NodeId, Part};
use loomproof_core::expect::Network as _;
use loomproof_core::solve::Attachment;
use nalgebra::DMatrix;

use super::lu::{Nodal, condition};
use super::subject::{Hypothesis, Subject};
use super::{median, timed};

/// Points seen through more than this are left out of the comparison of volts:
/// what is behind blocking diodes only, where node equations lose their digits.
/// Ohms.
const LOOSE: f64 = 1e7;

/// What was found on one harness.
#[derive(Debug, Clone)]
pub struct Rates {
    /// Name of the harness.
    pub name: String,
    /// Test points touched.
    pub points: usize,
    /// Nodes of the whole circuit.
    pub nodes: usize,
    /// Diodes of the whole circuit.
    pub diodes: usize,
    /// Single hypotheses.
    pub hypotheses: usize,
    /// Systems of one hypothesis in the mean: drive patterns, both ends of loads.
    pub systems: f64,
    /// Points observed under them, in the mean.
    pub observed: f64,
    /// Nodes of the touched islands, in the mean.
    pub touched_nodes: f64,
    /// Seconds per hypothesis, the product's way, variances included.
    pub product: f64,
    /// Seconds per hypothesis with scoring: every affected reading's band and
    /// likelihood.
    pub scored: f64,
    /// Seconds per hypothesis, LU of the whole circuit.
    pub whole: f64,
    /// Seconds per hypothesis, LU of the touched islands.
    pub touched: f64,
    /// Matrices factored per system by LU of the whole circuit.
    pub iterations: f64,
    /// Greatest difference, in volts.
    pub apart: f64,
    /// Voltages compared, and left out because nothing ties them.
    pub compared: (usize, usize),
    /// Greatest condition number: LU's matrices, the product's, the product's
    /// with every row scaled to a greatest entry of one.
    pub condition: (f64, f64, f64),
    /// Greatest size of the product's systems that were looked at.
    pub unknowns: usize,
}

impl Rates {
    /// How many times faster than LU of the whole circuit.
    #[must_use]
    pub fn faster(&self) -> f64 {
        self.whole / self.product
    }

    /// How many times faster than LU of the touched islands only.
    #[must_use]
    pub fn faster_touched(&self) -> f64 {
        self.touched / self.product
    }
}

/// Which hypotheses are timed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// Every single one.
    All,
    /// Those whose touched islands have a diode in them.
    AtDiodes,
}

/// How much is timed.
#[derive(Debug, Clone, Copy)]
pub struct Effort {
    /// Systems solved by LU of the whole circuit.
    pub whole: usize,
    /// Systems solved by LU of the touched islands.
    pub touched: usize,
    /// How often the product goes through all hypotheses; the median counts.
    pub rounds: usize,
    /// Systems whose condition is looked at.
    pub conditions: usize,
}

/// One system of one hypothesis.
struct System<'h> {
    hypothesis: &'h Hypothesis,
    pattern: usize,
    corner: usize,
}

/// Times both ways.
///
/// # Errors
/// What cannot be computed, or a voltage that one way finds and the other does not.
pub fn rates(subject: &Subject, which: Which, effort: Effort) -> Result<Rates, String> {
    let model = subject.model();
    let evidence = Evidence::new(model, &subject.simulated())?;
    let predictor = Predictor::new(model);
    let mut hypotheses = subject.hypotheses(&evidence);
    let mut name = subject.name.clone();
    if which == Which::AtDiodes {
        name.push_str(", hypotheses that touch a diode's islands");
        hypotheses.retain(|h| {
            let elements = predictor.elements(&h.reach, &h.edits);
            elements.iter().any(|e| matches!(e.part, Part::Diode(_)))
        });
    }
    let count = hypotheses.len() as f64;
    let bare = Nodal::new(
        model.circuit.nodes(),
        model.circuit.elements(),
        &[],
        loomproof_core::solve::Corner::Least,
    );
    let mut out = Rates {
        name,
        points: subject.points(),
        nodes: bare.nodes(),
        diodes: subject.diodes(),
        hypotheses: hypotheses.len(),
        systems: 0.0,
        observed: 0.0,
        touched_nodes: 0.0,
        product: 0.0,
        scored: 0.0,
        whole: 0.0,
        touched: 0.0,
        iterations: 0.0,
        apart: 0.0,
        compared: (0, 0),
        condition: (0.0, 0.0, 0.0),
        unknowns: 0,
    };
    let mut systems = Vec::new();
    for hypothesis in &hypotheses {
        let asked = &hypothesis.asked;
        out.systems += asked.systems() as f64 / count;
        let points: usize = asked.patterns.iter().map(|(_, points)| points.len()).sum();
        out.observed += points as f64 / count;
        let elements = predictor.elements(&hypothesis.reach, &hypothesis.edits);
        out.touched_nodes += nodal(subject, hypothesis, &elements, 0).nodes() as f64 / count;
        for pattern in 0..asked.patterns.len() {
            for corner in 0..asked.corners.len() {
                systems.push(System {
                    hypothesis,
                    pattern,
                    corner,
                });
            }
        }
    }
    // The product: all hypotheses, over and over.
    let mut rounds = Vec::new();
    let mut scored = Vec::new();
    for _ in 0..effort.rounds {
        let (result, took) = timed(|| {
            hypotheses.iter().try_for_each(|hypothesis| {
                let elements = predictor.elements(&hypothesis.reach, &hypothesis.edits);
                solve_product(subject, hypothesis, &elements).map(|volts| {
                    black_box(volts);
                })
            })
        });
        result?;
        rounds.push(took.as_secs_f64() / count);
        let (result, took) = timed(|| {
            hypotheses.iter().try_for_each(|h| {
                evidence.gain(&h.changes, f64::NEG_INFINITY).map(|gain| {
                    black_box(gain);
                })
            })
        });
        result?;
        scored.push(took.as_secs_f64() / count);
    }
    out.product = median(&rounds);
    out.scored = median(&scored);
    // LU: a sample of the systems, spread evenly over all.
    let elements_whole =
        |h: &Hypothesis| -> Vec<Element> { model.circuit.edited(&h.edits).collect() };
    let elements_touched = |h: &Hypothesis| predictor.elements(&h.reach, &h.edits);
    let (per_system, iterations) = sample(
        subject,
        &systems,
        effort.whole,
        &elements_whole,
        &predictor,
        &mut out,
    )?;
    out.whole = per_system * out.systems;
    out.iterations = iterations;
    let (per_system, _) = sample(
        subject,
        &systems,
        effort.touched,
        &elements_touched,
        &predictor,
        &mut out,
    )?;
    out.touched = per_system * out.systems;
    look_at_conditions(subject, &systems, effort.conditions, &predictor, &mut out)?;
    Ok(out)
}

/// Solves an even sample of the systems by LU; mean seconds and factored
/// matrices of one. Every voltage is compared with the product's.
fn sample<'h>(
    subject: &Subject,
    systems: &[System<'h>],
    most: usize,
    elements: &dyn Fn(&'h Hypothesis) -> Vec<Element>,
    predictor: &Predictor<'_>,
    out: &mut Rates,
) -> Result<(f64, f64), String> {
    let chosen = evenly(systems.len(), most);
    let mut all = Duration::ZERO;
    let mut factored = 0;
    for at in &chosen {
        let system = &systems[*at];
        let hypothesis = system.hypothesis;
        let (ties, points) = &hypothesis.asked.patterns[system.pattern];
        let ((nodal, solved, volts), took) = timed(|| {
            let elements = elements(hypothesis);
            let nodal = nodal(subject, hypothesis, &elements, system.corner);
            let solved = nodal.solve(ties);
            let volts: Vec<f64> = solved
                .iter()
                .flat_map(|s| read(&nodal, s, points))
                .collect();
            (nodal, solved, volts)
        });
        all += took;
        let solved = solved.ok_or_else(|| format!("LU fails: {:?}", hypothesis.edits))?;
        black_box(nodal);
        factored += solved.factored;
        let elements = predictor.elements(&hypothesis.reach, &hypothesis.edits);
        let mut forest = forest(subject, hypothesis, &elements);
        for (point, lu) in points.iter().zip(volts) {
            match ask(&mut forest, hypothesis, ties, *point, system.corner)? {
                Some(own) => {
                    out.compared.0 += 1;
                    let apart = (own - lu).abs();
                    out.apart = if apart.is_nan() {
                        f64::INFINITY
                    } else {
                        out.apart.max(apart)
                    };
                }
                None => out.compared.1 += 1,
            }
        }
    }
    let n = chosen.len() as f64;
    Ok((all.as_secs_f64() / n, factored as f64 / n))
}

fn evenly(of: usize, most: usize) -> Vec<usize> {
    let count = most.min(of);
    (0..count).map(|k| (2 * k + 1) * of / (2 * count)).collect()
}

fn read(
    nodal: &Nodal,
    solved: &super::lu::Solved,
    points: &[(NodeId, Option<NodeId>)],
) -> Vec<f64> {
    let volts = |node| nodal.volts(solved, node);
    points
        .iter()
        .map(|(plus, minus)| volts(*plus) - minus.map_or(0.0, volts))
        .collect()
}

fn nodal(subject: &Subject, hypothesis: &Hypothesis, elements: &[Element], corner: usize) -> Nodal {
    let asked = &hypothesis.asked;
    let nodes = subject.model().circuit.nodes();
    Nodal::new(nodes, elements, &asked.tips, asked.corners[corner])
}

fn forest(subject: &Subject, hypothesis: &Hypothesis, elements: &[Element]) -> Forest {
    let nodes = subject.model().circuit.nodes();
    Forest::new(nodes, elements, &hypothesis.asked.tips)
}

/// Every voltage of a hypothesis, the product's way.
fn solve_product(
    subject: &Subject,
    hypothesis: &Hypothesis,
    elements: &[Element],
) -> Result<f64, String> {
    let mut forest = forest(subject, hypothesis, elements);
    let mut sum = 0.0;
    for corner in 0..hypothesis.asked.corners.len() {
        for (ties, points) in &hypothesis.asked.patterns {
            for point in points {
                sum += ask(&mut forest, hypothesis, ties, *point, corner)?.unwrap_or(0.0);
            }
        }
    }
    Ok(sum)
}

/// A voltage, the product's way; `None` where nothing ties it.
fn ask(
    forest: &mut Forest,
    hypothesis: &Hypothesis,
    ties: &[Attachment],
    (plus, minus): (NodeId, Option<NodeId>),
    corner: usize,
) -> Result<Option<f64>, String> {
    let corner = hypothesis.asked.corners[corner];
    let mut point = |plus, minus| {
        forest
            .point(ties, plus, minus, corner)
            .map_err(|error| format!("{error:?}: {:?}", hypothesis.edits))
    };
    let first = point(plus, minus)?;
    let mut tied = !first.floats && first.seen.0 < LOOSE;
    let mut volts = first.volts.0;
    if let Some(minus) = minus.filter(|_| first.apart || first.floats) {
        let other = point(minus, None)?;
        tied &= !other.floats && other.seen.0 < LOOSE;
        volts -= other.volts.0;
    }
    Ok(tied.then_some(volts))
}

/// Condition numbers of a few systems of both ways.
fn look_at_conditions(
    subject: &Subject,
    systems: &[System<'_>],
    most: usize,
    predictor: &Predictor<'_>,
    out: &mut Rates,
) -> Result<(), String> {
    for at in evenly(systems.len(), most) {
        let System {
            hypothesis,
            pattern,
            corner,
        } = systems[at];
        let (ties, points) = &hypothesis.asked.patterns[pattern];
        let circuit = &subject.model().circuit;
        let elements: Vec<Element> = circuit.edited(&hypothesis.edits).collect();
        let nodal = nodal(subject, hypothesis, &elements, corner);
        if let Some(solved) = nodal.solve(ties) {
            out.condition.0 = out.condition.0.max(condition(&solved.matrix));
        }
        let elements = predictor.elements(&hypothesis.reach, &hypothesis.edits);
        let mut forest = forest(subject, hypothesis, &elements);
        if let Some(point) = points.first() {
            ask(&mut forest, hypothesis, ties, *point, corner)?;
        }
        if let Some((size, cells)) = forest.reduced().filter(|(size, _)| *size > 0) {
            let mut matrix = DMatrix::from_row_slice(size, size, &cells);
            out.condition.1 = out.condition.1.max(condition(&matrix));
            for mut row in matrix.row_iter_mut() {
                let most = row.amax();
                row /= most;
            }
            out.condition.2 = out.condition.2.max(condition(&matrix));
            out.unknowns = out.unknowns.max(size);
        }
    }
    Ok(())
}
