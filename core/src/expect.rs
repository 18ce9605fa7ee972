//! What each reading of a step should be, and how far it may stray.
//!
//! A reading is the sense-bus voltage. Its band comes from the circuit, the
//! source resistors of the driven leads, and the pull of the sense bus:
//! `[low, high]` spans the unknown loads, and `sigma` is one standard
//! deviation of all that is random: parts to first order by
//! [`solve::Island::sensitivity`], converter noise,
//! offset, gain and leakage, added in quadrature.
//!
//! With one driven voltage every load lowers every voltage, so that a reading is lowest with
//! every load at its least resistance and highest with every load at its greatest. A
//! difference of two readings rises with the loads on one side and falls with those on the
//! other: it is highest and lowest with only the one or the other at their least.
//!
//! Two readings of one step share the spread of the source resistors, which is
//! by far the largest. Their *difference* does not, so low resistances are
//! judged on differences: see [`Quantity`].

use heapless::Vec;

use crate::circuit::{Circuit, Element, NodeId, Part};
use crate::instrument;
use crate::solve::{self, Attachment, Corner, SolveError, Sway, Workspace};
use crate::units::{Ohms, Volts};
use crate::wire::{LeadId, MAX_LEADS, Sense, SenseMode, Step};

/// Gain error of the converter chain, one standard deviation, as a fraction.
const GAIN_SPREAD: f64 = 2e-4;

/// Spread of a weak pull, as a fraction.
const PULL_SPREAD: f64 = 0.01;

/// By how much of a standard deviation a difference's band may be too narrow, because loads
/// on one side that conduct, and none on the other, are left out.
const LEFT_OUT: f64 = 0.5;

/// What is judged: one reading, or the difference of two readings of one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Quantity {
    /// The reading.
    pub plus: Sense,
    /// The reading that is taken off it (read in [`SenseMode::Plain`]).
    pub minus: Option<LeadId>,
}

/// Where a quantity should lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lowest mean, over the unknown loads.
    pub low: Volts,
    /// Highest mean, over the unknown loads.
    pub high: Volts,
    /// One standard deviation of what is random.
    pub sigma: Volts,
}

impl Band {
    /// How many standard deviations a value lies outside the means; 0 inside.
    #[must_use]
    pub fn excess(&self, value: Volts) -> f64 {
        let outside = if value < self.low {
            value.0 - self.low.0
        } else if value > self.high {
            value.0 - self.high.0
        } else if value.0.is_finite() && self.low <= value && value <= self.high {
            0.0
        } else {
            // No value, or no band: nothing lies within.
            f64::NAN
        };
        outside / self.sigma.0
    }
}

impl Band {
    /// The narrowest band that holds both, with the larger deviation.
    #[must_use]
    pub fn hull(&self, other: &Self) -> Self {
        Self {
            low: Volts(self.low.0.min(other.low.0)),
            high: Volts(self.high.0.max(other.high.0)),
            sigma: Volts(self.sigma.0.max(other.sigma.0)),
        }
    }
}

/// Why there is no band.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExpectError {
    /// The step names a lead that is not clipped in this circuit.
    NotClipped(LeadId),
    /// The circuit could not be solved.
    Solve(SolveError),
}

impl From<SolveError> for ExpectError {
    fn from(error: SolveError) -> Self {
        Self::Solve(error)
    }
}

/// The quantities that a step's readings are judged by: where a lead that is
/// driven low is read, every other plain reading is judged against it;
/// everything else by itself.
pub fn quantities(step: &Step) -> impl Iterator<Item = Quantity> + '_ {
    let reference = step
        .senses
        .iter()
        .find(|sense| sense.mode == SenseMode::Plain && step.low.contains(sense.lead))
        .map(|sense| sense.lead);
    step.senses.iter().map(move |&plus| Quantity {
        plus,
        minus: reference.filter(|lead| plus.mode == SenseMode::Plain && *lead != plus.lead),
    })
}

type Ties = Vec<Attachment, { MAX_LEADS + 2 }>;

/// What a network answers at one point, under one set of attachments.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Voltage of the point, against the other one where that hangs together with it.
    pub volts: Volts,
    /// Variance in V² by the spread of elements and attachments.
    pub variance: f64,
    /// Resistance seen from the point.
    pub seen: Ohms,
    /// Nothing ties the point to a voltage; the other answers mean nothing.
    pub floats: bool,
    /// An element of unknown resistance hangs together with the point.
    pub loads: bool,
    /// How the unknown loads move the voltage; holds at [`Corner::Most`].
    pub sway: Sway,
    /// The other point does not hang together with this one.
    pub apart: bool,
}

/// Anything that can solve a circuit for a point: see [`Meshed`].
pub trait Network {
    /// The voltage at `plus` (against `minus`, where that hangs together with it).
    ///
    /// # Errors
    /// [`SolveError`] when there is no solution.
    fn point(
        &mut self,
        ties: &[Attachment],
        plus: NodeId,
        minus: Option<NodeId>,
        corner: Corner,
    ) -> Result<Point, SolveError>;
}

/// Elements, solved anew for every point by [`solve::island`].
///
/// `elements` are the circuit's, edited or not (see [`Circuit::edited`]); those
/// of islands that are neither read nor joined to one that is may be left out.
#[derive(Debug)]
pub struct Meshed<'w, M> {
    /// Memory to solve in.
    pub work: &'w mut Workspace<M>,
    /// What the circuit consists of.
    pub elements: &'w [Element],
}

impl<M: AsRef<[f64]> + AsMut<[f64]>> Network for Meshed<'_, M> {
    fn point(
        &mut self,
        ties: &[Attachment],
        plus: NodeId,
        minus: Option<NodeId>,
        corner: Corner,
    ) -> Result<Point, SolveError> {
        let mut island = solve::island(self.work, self.elements, ties, plus, corner)?;
        let minus_here = minus.filter(|node| island.contains(*node));
        let against = minus_here.map_or(Volts(0.0), |node| island.volts(node));
        let volts = island.volts(plus) - against;
        let floats = island.floats();
        let depends = island.sensitivity(ties, plus, minus_here);
        Ok(Point {
            volts,
            variance: depends.variance,
            seen: depends.seen,
            sway: depends.sway,
            floats,
            loads: island
                .elements()
                .any(|e| matches!(e.part, Part::Load { .. })),
            apart: minus.is_some() && minus_here.is_none(),
        })
    }
}

/// The band of one quantity of a step.
///
/// # Errors
/// [`ExpectError`] when a lead is not clipped or the circuit cannot be solved.
pub fn expect<const E: usize>(
    network: &mut impl Network,
    circuit: &Circuit<E>,
    step: &Step,
    quantity: Quantity,
) -> Result<Band, ExpectError> {
    let plus = tip(circuit, quantity.plus.lead)?;
    let minus = quantity.minus.map(|lead| tip(circuit, lead)).transpose()?;
    let mut ties = Ties::new();
    drive(circuit, step, &mut ties)?;
    let pulled = pull(quantity.plus.mode, plus);
    if let Some(tie) = pulled {
        let _ = ties.push(tie);
    }
    let mut range = (f64::INFINITY, f64::NEG_INFINITY);
    let mut variance = 0.0_f64;
    let mut corners = Vec::<Corner, 4>::from_array([Corner::Least, Corner::Most]);
    let mut next = 0;
    while let Some(&corner) = corners.get(next) {
        next += 1;
        let mut solved = solved(network, &ties, plus, minus, corner)?;
        if let Some(minus) = minus
            && solved.apart
        {
            let other = self::solved(network, &ties, minus, None, corner)?;
            solved.volts -= other.volts;
            solved.variance += other.variance;
            solved.loads |= other.loads;
        }
        if let Some(tie) = pulled {
            let share = instrument::PULL.0 / (instrument::PROTECTION.0 + instrument::PULL.0);
            let across = solved.volts - tie.volts.0;
            // The divider of protection resistor and pull strays as well.
            let stray = across * share * (1.0 - share) * PULL_SPREAD;
            solved.volts = tie.volts.0 + across * share;
            solved.variance = solved.variance * share * share + stray * stray;
        }
        range = (range.0.min(solved.volts), range.1.max(solved.volts));
        variance = variance.max(solved.variance);
        if !solved.loads {
            break;
        }
        if corner == Corner::Most && minus.is_some() {
            let sway = solved.sway;
            let sigma = libm::sqrt(variance + instrument_variance(step, quantity));
            if sway.up.min(sway.down) > LEFT_OUT * sigma {
                let both = [sway.raising, sway.lowering].map(Corner::LeastOf);
                let _ = corners.extend_from_slice(&both);
            }
        }
    }
    let gain = GAIN_SPREAD * range.0.abs().max(range.1.abs());
    variance += instrument_variance(step, quantity) + gain * gain;
    Ok(Band {
        low: Volts(range.0),
        high: Volts(range.1),
        sigma: Volts(libm::sqrt(variance)),
    })
}

/// The least standard deviation that any band around a value can have: that of
/// the converter itself, whatever the circuit.
#[must_use]
pub fn least_sigma(step: &Step, quantity: Quantity, value: Volts) -> Volts {
    let gain = GAIN_SPREAD * value.0.abs();
    Volts(libm::sqrt(
        instrument_variance(step, quantity) + gain * gain,
    ))
}

/// Variance of noise, quantisation and offset, in V².
fn instrument_variance(step: &Step, quantity: Quantity) -> f64 {
    let span = if quantity.minus.is_some() { 2.0 } else { 1.0 };
    let noise = instrument::NOISE.0 * instrument::NOISE.0 / f64::from(step.samples.max(1));
    let offset = if quantity.minus.is_some() {
        0.0
    } else {
        instrument::OFFSET.0
    };
    let steps = instrument::REFERENCE.0 / 65536.0;
    let quantisation = steps * steps / 12.0;
    span * (noise + quantisation) + offset * offset
}

struct Solved {
    volts: f64,
    variance: f64,
    loads: bool,
    sway: Sway,
    apart: bool,
}

fn solved(
    network: &mut impl Network,
    ties: &Ties,
    plus: NodeId,
    minus: Option<NodeId>,
    corner: Corner,
) -> Result<Solved, SolveError> {
    let point = network.point(ties, plus, minus, corner)?;
    if point.floats {
        // Nothing ties it: it reads whatever charge is left on it.
        let sigma = instrument::REFERENCE.0;
        return Ok(Solved {
            volts: 0.0,
            variance: sigma * sigma,
            loads: false,
            sway: Sway::default(),
            apart: minus.is_some(),
        });
    }
    // Leakage is a bound, not a deviation: uniform in ±limit has variance limit²/3.
    let leak = point.seen.0 * instrument::LEAKAGE;
    Ok(Solved {
        volts: point.volts.0,
        variance: point.variance + leak * leak / 3.0,
        loads: point.loads,
        sway: point.sway,
        apart: point.apart,
    })
}

fn tip<const E: usize>(circuit: &Circuit<E>, lead: LeadId) -> Result<NodeId, ExpectError> {
    circuit.tip(lead).ok_or(ExpectError::NotClipped(lead))
}

/// The source resistors of a step's driven leads.
fn drive<const E: usize>(
    circuit: &Circuit<E>,
    step: &Step,
    ties: &mut Ties,
) -> Result<(), ExpectError> {
    for (set, volts) in [(&step.high, instrument::REFERENCE), (&step.low, Volts(0.0))] {
        for lead in set.iter() {
            let tie = Attachment {
                node: tip(circuit, lead)?,
                volts,
                ohms: instrument::SOURCE,
                spread: instrument::SOURCE * instrument::SOURCE_SPREAD,
            };
            let _ = ties.push(tie);
        }
    }
    Ok(())
}

/// The sense bus as a load on the lead that is read; `None` for a plain reading.
#[must_use]
pub fn pull(mode: SenseMode, node: NodeId) -> Option<Attachment> {
    let volts = match mode {
        SenseMode::Plain => return None,
        SenseMode::PullDown => Volts(0.0),
        SenseMode::PullUp => instrument::REFERENCE,
    };
    let ohms = instrument::PROTECTION + instrument::PULL;
    Some(Attachment {
        node,
        volts,
        ohms,
        spread: Ohms(ohms.0 * PULL_SPREAD),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Edit, GROUND};
    use crate::units::Micros;
    use crate::wire::LeadSet;
    use std::vec;

    fn step(high: &[u8], low: &[u8], senses: &[(u8, SenseMode)]) -> Step {
        let set = |leads: &[u8]| leads.iter().map(|l| LeadId(*l)).collect::<LeadSet>();
        Step {
            high: set(high),
            low: set(low),
            settle: Micros(100),
            pulled: Micros(100),
            samples: 16,
            senses: senses
                .iter()
                .map(|&(lead, mode)| Sense {
                    lead: LeadId(lead),
                    mode,
                })
                .collect(),
        }
    }

    fn bands(circuit: &Circuit<16>, edits: &[Edit], step: &Step) -> std::vec::Vec<Band> {
        let mut work = Workspace::new(vec![0.0; solve::room(16)]);
        let elements: std::vec::Vec<_> = circuit.edited(edits).collect();
        quantities(step)
            .map(|q| {
                let mut meshed = Meshed {
                    work: &mut work,
                    elements: &elements,
                };
                expect(&mut meshed, circuit, step, q).unwrap()
            })
            .collect()
    }

    fn one_lead(ohms: f64) -> Circuit<16> {
        let mut circuit = Circuit::new();
        let a = circuit.node().unwrap();
        let b = circuit.node().unwrap();
        circuit.wire(a, b, Ohms(ohms), Ohms(ohms * 0.05)).unwrap();
        circuit.clip(LeadId(0), a).unwrap();
        circuit.clip(LeadId(1), b).unwrap();
        circuit
    }

    #[test]
    fn a_difference_resolves_a_third_of_an_ohm() {
        let circuit = one_lead(0.1);
        let step = step(&[0], &[1], &[(0, SenseMode::Plain), (1, SenseMode::Plain)]);
        let bands = bands(&circuit, &[], &step);
        let current = 3.3 / (2.0 * 725.0 + 0.3);
        assert!((bands[0].low.0 - current * 0.3).abs() < 1e-9);
        // 0.3 Ω more must stand at least 4 sigma out; the reading by itself could not show it.
        assert!(bands[0].sigma.0 * 4.0 < current * 0.3);
        assert!(bands[1].sigma.0 > current * 0.3);
    }

    #[test]
    fn an_open_lead_reads_zero_with_the_pull_down() {
        let circuit = one_lead(0.1);
        let clip_b = circuit.tip(LeadId(1)).unwrap();
        let open = [Edit::Remove(crate::circuit::ElementId(0))];
        let step = step(&[0], &[], &[(1, SenseMode::PullDown)]);
        assert!(bands(&circuit, &[], &step)[0].low.0 > 2.6);
        let off = bands(&circuit, &open, &step)[0];
        assert!(
            off.low.0.abs() < 1e-9 && off.sigma.0 < 2e-3,
            "{off:?} at {clip_b:?}"
        );
    }

    #[test]
    fn an_unknown_load_widens_the_band_and_nothing_else() {
        let mut circuit = one_lead(0.1);
        let node = circuit.elements()[0].b;
        let isolation = step(&[0], &[], &[(0, SenseMode::Plain)]);
        let before = bands(&circuit, &[], &isolation)[0];
        circuit
            .add(
                node,
                GROUND,
                Part::Load {
                    least: Ohms(1e3),
                    most: Ohms(1e7),
                },
            )
            .unwrap();
        let after = bands(&circuit, &[], &isolation)[0];
        assert!((before.low.0 - 3.3).abs() < 1e-6 && before.low == before.high);
        assert!((after.low.0 - 3.3 * 1e3 / 1725.0).abs() < 0.01 && after.high.0 > 3.299);
    }

    #[test]
    fn a_difference_spans_loads_that_conduct_on_one_side_alone() {
        let mut circuit = one_lead(10.0);
        let (least, most) = (Ohms(1e3), Ohms(1e6));
        for lead in [0, 1] {
            let load = Part::Load { least, most };
            let tip = circuit.tip(LeadId(lead)).unwrap();
            circuit.add(tip, GROUND, load).unwrap();
        }
        let step = step(&[0], &[1], &[(0, SenseMode::Plain), (1, SenseMode::Plain)]);
        let band = bands(&circuit, &[], &step)[0];
        // By hand: what drives and the load at its tip as one source, behind 10 Ω and two
        // clips the rest.
        let beside = |x: f64, y: f64| x * y / (x + y);
        let volts = |at_a: f64, at_b: f64| {
            let source = beside(725.0, at_a);
            10.2 * 3.3 * source / 725.0 / (source + 10.2 + beside(725.0, at_b))
        };
        let ends = [1e3, 1e4, 1e6];
        let all = ends.iter().flat_map(|a| ends.map(|b| volts(*a, b)));
        for volts in all {
            assert!(band.low.0 - 1e-9 < volts && volts < band.high.0 + 1e-9);
        }
        assert!((band.low.0 - volts(1e3, 1e6)).abs() < 1e-9, "{band:?}");
        assert!((band.high.0 - volts(1e6, 1e3)).abs() < 1e-9, "{band:?}");
        // With both at one end it would seem to be known closely.
        assert!((volts(1e3, 1e3) - volts(1e6, 1e6)).abs() < 0.2 * (band.high.0 - band.low.0));
    }

    #[test]
    fn unclipped_leads_are_named() {
        let circuit = one_lead(0.1);
        let step = step(&[7], &[], &[(0, SenseMode::Plain)]);
        let mut work = Workspace::new(vec![0.0; solve::room(16)]);
        let q = quantities(&step).next().unwrap();
        let mut meshed = Meshed {
            work: &mut work,
            elements: circuit.elements(),
        };
        let result = expect(&mut meshed, &circuit, &step, q);
        assert_eq!(result, Err(ExpectError::NotClipped(LeadId(7))));
    }
}
