//! Finds the sets of faults that explain the readings best.

use loomproof_core::circuit::Edit;
use loomproof_core::units::Ohms;

use super::edits::edits;
use super::evidence::{Evidence, Fit};
use super::prior::prior;
use crate::fault::Fault;

/// The most faults that are looked for at once.
pub const MAX_FAULTS: usize = 4;

/// How many of the best sets of one size are grown to the next.
const BEAM: usize = 5;

/// Sets whose weight is less than this against the best are not kept, ln(1e-9).
const NEGLIGIBLE: f64 = -20.7;

/// Gain in log likelihood below which a set is not an explanation: the readings
/// would have to be e³ ≈ 20 times likelier.
const LEAST_GAIN: f64 = 3.0;

/// How many of the unexplained readings a candidate is first held against.
const SCREEN: usize = 10;

/// The least and greatest ohms that a bad joint is looked for at: the span that
/// the probe measures (`docs/probe-hardware.md`); beyond it a joint is open.
const OHMS: (f64, f64) = (0.3, 300e3);

/// Points of the sweep over [`OHMS`].
const SWEEP: u32 = 9;

/// How many candidates of a parent are held against all readings, and how far
/// behind the best on the screen (in log likelihood) more of them are.
const FITTED: usize = 16;
const NEAR: f64 = 60.0;

/// Halvings of the ohms' range after the sweep; 0.618¹⁴ of a decade is 0.3 %.
const REFINEMENTS: u32 = 14;

/// Faults that together might explain the readings.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// The faults.
    pub faults: Vec<Fault>,
    /// What they do to the circuit.
    pub edits: Vec<Edit>,
    /// How well they explain the readings.
    pub fit: Fit,
    /// Natural logarithm of prior times likelihood, less that of the healthy harness.
    pub weight: f64,
}

/// Sets of faults, best first; the sizes are tried in rising order until a set
/// explains every reading, one more fault makes nothing likelier, or
/// [`MAX_FAULTS`] is reached.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn search(evidence: &mut Evidence<'_>, catalogue: &[Fault]) -> Result<Vec<Candidate>, String> {
    let healthy = Candidate {
        faults: Vec::new(),
        edits: Vec::new(),
        fit: Fit {
            gain: 0.0,
            bands: Vec::new(),
            unexplained: evidence.off(),
        },
        weight: 0.0,
    };
    let mut kept: Vec<Candidate> = Vec::new();
    let mut beam = vec![healthy];
    for _ in 0..MAX_FAULTS {
        let mut grown: Vec<Candidate> = Vec::new();
        for parent in &beam {
            grow(evidence, catalogue, parent, &mut grown)?;
        }
        // What makes the readings no likelier explains nothing.
        grown.retain(|c| c.fit.gain > LEAST_GAIN);
        sort(&mut grown);
        drop_repeats(&mut grown);
        let better = grown.first().map(|c| c.weight) > kept.first().map(|c| c.weight);
        kept.extend(grown.iter().cloned());
        sort(&mut kept);
        let best = kept.first().map_or(0.0, |c| c.weight);
        kept.retain(|c| c.weight - best > NEGLIGIBLE);
        // One more fault that makes nothing likelier: two more will not either.
        if !better || kept.first().is_none_or(|c| c.fit.unexplained.is_empty()) {
            break;
        }
        grown.truncate(BEAM);
        beam = grown;
    }
    Ok(kept)
}

fn sort(candidates: &mut [Candidate]) {
    candidates.sort_by(|a, b| b.weight.total_cmp(&a.weight));
}

/// The same set found by two ways stays once.
fn drop_repeats(candidates: &mut Vec<Candidate>) {
    let mut seen = std::collections::BTreeSet::new();
    candidates.retain(|candidate| {
        let mut names: Vec<String> = candidate.faults.iter().map(ToString::to_string).collect();
        names.sort();
        seen.insert(names)
    });
}

/// Adds every set that has one fault more than `parent` and touches what
/// `parent` leaves unexplained.
fn grow(
    evidence: &mut Evidence<'_>,
    catalogue: &[Fault],
    parent: &Candidate,
    out: &mut Vec<Candidate>,
) -> Result<(), String> {
    let mut open = evidence.islands_of(&parent.fit.unexplained);
    // Islands that the parent's own edits reach count as well: a second fault
    // may sit where the first one leads.
    let reached = evidence.touched(&parent.edits);
    if reached.iter().any(|island| open.contains(island)) {
        open.extend(reached);
    }
    let screen = spread_out(&parent.fit.unexplained, SCREEN);
    let mut promising: Vec<(f64, Fault, Vec<Edit>)> = Vec::new();
    for fault in catalogue {
        let Some(more) = edits(evidence.model(), fault) else {
            continue;
        };
        if clash(&parent.edits, &more) || evidence.touched(&more).is_disjoint(&open) {
            continue;
        }
        let (gain, fault, more) = match fault.with_ohms(Ohms(1.0)) {
            Some(unknown) => {
                let make = |ohms| {
                    let known = unknown.with_ohms(Ohms(ohms));
                    known.unwrap_or_else(|| unknown.clone())
                };
                let (gain, fault) = fit_ohms(evidence, parent, &screen, make)?;
                let Some(more) = edits(evidence.model(), &fault) else {
                    continue;
                };
                (gain, fault, more)
            }
            None => (
                screened(evidence, parent, &screen, &more)?,
                fault.clone(),
                more,
            ),
        };
        // A fault that makes nothing likelier cannot be part of the explanation.
        if gain > 0.0 {
            promising.push((gain, fault, more));
        }
    }
    promising.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best = promising.first().map_or(0.0, |(gain, ..)| *gain);
    for (at, (gain, fault, more)) in promising.into_iter().enumerate() {
        if at < FITTED || gain > best - NEAR {
            out.push(extend(evidence, parent, fault, more)?);
        }
    }
    Ok(())
}

/// Up to `most` entries, evenly over the list.
fn spread_out(list: &[usize], most: usize) -> Vec<usize> {
    let stride = list.len().div_ceil(most).max(1);
    list.iter().step_by(stride).copied().collect()
}

/// How much likelier one more fault makes what is unexplained.
fn screened(
    evidence: &mut Evidence<'_>,
    parent: &Candidate,
    screen: &[usize],
    more: &[Edit],
) -> Result<f64, String> {
    let all: Vec<Edit> = parent.edits.iter().chain(more).copied().collect();
    evidence.gain_on(screen, &all, &parent.fit)
}

fn extend(
    evidence: &mut Evidence<'_>,
    parent: &Candidate,
    fault: Fault,
    more: Vec<Edit>,
) -> Result<Candidate, String> {
    let mut all = parent.edits.clone();
    all.extend(more);
    let fit = evidence.fit(&all)?;
    let mut faults = parent.faults.clone();
    faults.push(fault);
    let weight = fit.gain + faults.iter().map(|f| prior(f).ln()).sum::<f64>();
    Ok(Candidate {
        faults,
        edits: all,
        fit,
        weight,
    })
}

/// Two faults that change the same element say two different things of it
/// (though what sits elsewhere may be off as well), and two touches of the
/// same places are one.
fn clash(a: &[Edit], b: &[Edit]) -> bool {
    let same = |x: &Edit, y: &Edit| match (x, y) {
        (Edit::Join { a, b, .. }, Edit::Join { a: c, b: d, .. }) => {
            (a, b) == (c, d) || (a, b) == (d, c)
        }
        (Edit::Remove(_), Edit::Move(..)) | (Edit::Move(..), Edit::Remove(_)) => false,
        _ => x.element().is_some() && x.element() == y.element(),
    };
    a.iter().any(|x| b.iter().any(|y| same(x, y)))
}

/// The ohms that make the unexplained readings likeliest, with their gain: a
/// coarse sweep over decades, then golden-section search (Kiefer 1953, `from
/// memory`) around the best.
fn fit_ohms(
    evidence: &mut Evidence<'_>,
    parent: &Candidate,
    screen: &[usize],
    fault: impl Fn(f64) -> Fault,
) -> Result<(f64, Fault), String> {
    let at = |ln_ohms: f64| fault(three_digits(ln_ohms.exp()));
    let mut gain = |ln_ohms: f64| match edits(evidence.model(), &at(ln_ohms)) {
        Some(more) => screened(evidence, parent, screen, &more),
        None => Ok(f64::NEG_INFINITY),
    };
    let (low, high) = (OHMS.0.ln(), OHMS.1.ln());
    let stride = (high - low) / f64::from(SWEEP);
    let (mut centre, mut best) = (low, f64::NEG_INFINITY);
    for k in 0..=SWEEP {
        let x = low + stride * f64::from(k);
        let here = gain(x)?;
        if here > best {
            (centre, best) = (x, here);
        }
    }
    if best <= 0.0 {
        return Ok((best, at(centre)));
    }
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = ((centre - stride).max(low), (centre + stride).min(high));
    let (mut x1, mut x2) = (b - golden * (b - a), a + golden * (b - a));
    let (mut f1, mut f2) = (gain(x1)?, gain(x2)?);
    for _ in 0..REFINEMENTS {
        if f1 > f2 {
            (b, x2, f2) = (x2, x1, f1);
            x1 = b - golden * (b - a);
            f1 = gain(x1)?;
        } else {
            (a, x1, f1) = (x1, x2, f2);
            x2 = a + golden * (b - a);
            f2 = gain(x2)?;
        }
    }
    Ok(if f1 > f2 { (f1, at(x1)) } else { (f2, at(x2)) })
}

/// Rounded to three digits: more than any contact keeps.
fn three_digits(ohms: f64) -> f64 {
    format!("{ohms:.2e}").parse().unwrap_or(ohms)
}
