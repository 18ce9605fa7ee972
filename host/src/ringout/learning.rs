//! Learning what plugged modules show, before the harness is joined to them.
//!
//! The vehicle is read without the harness: each point is driven alone, and once
//! more against its neighbours, each way round, so that both polarities between
//! inputs are seen. Of each reading it is worked out which resistances to chassis
//! it allows; what is kept spans them all.

use std::collections::BTreeSet;

use loomproof_core::circuit::{Edit, ElementId, GROUND, NodeId, Part};
use loomproof_core::expect::Quantity;
use loomproof_core::judge::{LIMIT, Value};
use loomproof_core::scan::pair;
use loomproof_core::units::{Ohms, Volts};
use loomproof_core::wire::{LeadId, Place, SenseMode, Step};

use super::learned::Loads;
use super::run::{RunError, one_more, run};
use super::{Outcome, Taken};
use crate::circuit::Model;
use crate::diagnosis::predict::Predictor;
use crate::hookup::{Clip, Hookup, Mated, Point, Within, needed};
use crate::link::Link;
use crate::plan::model::{Job, Load, Side};

/// Resistances that are looked at: below is a wire, and above nothing can be told
/// from an open lead (the probe measures to 300 kΩ and tells a few megohms from
/// nothing).
const LOOKED_AT: (f64, f64) = (0.5, 1e8);

/// The greatest resistance that the probe is sure to measure (docs/probe-hardware.md).
/// A point that must be above it, and may be without any, shows nothing.
const MEASURED: f64 = 300e3;

/// Halvings of the logarithm of a resistance: to a part in a million.
const HALVINGS: usize = 24;

/// The vehicle without the harness, and the point at which each load is read.
#[derive(Debug)]
pub struct Bare {
    /// The job without leads, taps and parts.
    pub job: Job,
    /// The clips.
    pub hookup: Hookup,
    /// Conductor or pin, with the probe lead on it.
    loads: Vec<(String, LeadId)>,
    /// Loads that no point within reach shows.
    pub out_of_reach: Vec<String>,
}

impl Bare {
    /// What of a vehicle can be learned within reach, plugged as it will be while
    /// the harness is rung out there.
    #[must_use]
    pub fn of(job: &Job, within: &Within, leads: u8) -> Self {
        let rung = needed(job, Place::Vehicle);
        let rung = rung.iter().filter(|point| within.reaches(point));
        let mated = Mated::of(job, Place::Vehicle, rung.map(Point::part));
        let point = |(connector, cavity): &(String, u16)| {
            let found = job.connectors.iter().find(|it| it.name == *connector)?;
            Some(Point::Cavity {
                connector: connector.clone(),
                cavity: *cavity,
                side: found.access,
            })
        };
        let mut read: Vec<(String, Option<Point>)> = Vec::new();
        for conductor in &job.conductors {
            let through = conductor.through.as_ref();
            let open = through.is_some_and(|connector| mated.open.contains(connector));
            if open || conductor.data_bus || !matches!(conductor.load, Load::Range { .. }) {
                continue;
            }
            let mut points = conductor.at.iter().filter_map(&point);
            let found = points.find(|point| within.reaches(point));
            read.push((conductor.name.clone(), found));
        }
        for pin in &job.electrics.pins {
            if mated.plugged.contains(&pin.at.0) && matches!(pin.load, Load::Range { .. }) {
                // From the wire side an empty cavity has nothing to touch.
                let through_half = |point: &Point| {
                    matches!(
                        point,
                        Point::Cavity {
                            side: Side::Mating,
                            ..
                        }
                    ) && within.reaches(point)
                };
                read.push((pin.name.clone(), point(&pin.at).filter(through_half)));
            }
        }
        let mut bare = Self {
            job: at_rest_without_harness(job),
            hookup: Hookup {
                place: Place::Vehicle,
                clips: Vec::new(),
                mated,
            },
            loads: Vec::new(),
            out_of_reach: Vec::new(),
        };
        let mut free = (0..leads).map(LeadId);
        for (name, point) in read {
            let Some(point) = point else {
                bare.out_of_reach.push(name);
                continue;
            };
            let Some(lead) = free.next() else {
                bare.out_of_reach.push(name);
                continue;
            };
            bare.hookup.clips.push(Clip { lead, point });
            bare.loads.push((name, lead));
        }
        bare
    }

    /// What the readings allow of each load.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn allows(&self, model: &Model, taken: &[Taken]) -> Result<Learnt, String> {
        let predictor = Predictor::new(model);
        let mut learnt = Learnt::default();
        for (name, lead) in &self.loads {
            let range = self.one(&predictor, model, (name, *lead), taken)?;
            match range {
                Some([least, most]) if least > MEASURED && most > LOOKED_AT.1 * 0.99 => {
                    learnt.nothing.insert(name.clone());
                }
                Some(range) => {
                    learnt.loads.insert(name.clone(), range);
                }
                None => {
                    learnt.unsettled.insert(name.clone());
                }
            }
        }
        Ok(learnt)
    }

    /// The resistances that the readings of one point allow, all of them together.
    fn one(
        &self,
        predictor: &Predictor<'_>,
        model: &Model,
        (name, lead): (&str, LeadId),
        taken: &[Taken],
    ) -> Result<Option<[f64; 2]>, String> {
        let Some((element, node)) = self.load(model, name) else {
            return Ok(None);
        };
        let mut range: Option<[f64; 2]> = None;
        for step in taken {
            for (quantity, value) in step.values() {
                let of_it = quantity.plus.lead == lead
                    && quantity.plus.mode == SenseMode::Plain
                    && quantity.minus.is_none()
                    && step.planned.step.high.contains(lead);
                if !of_it {
                    continue;
                }
                let Value::Volts(volts) = value else {
                    return Ok(None);
                };
                let read = (&step.planned.step, quantity, volts);
                let [least, most] = allowed(predictor, (element, node), read)?;
                let so_far = range.unwrap_or([least, most]);
                range = Some([so_far[0].min(least), so_far[1].max(most)]);
            }
        }
        Ok(range)
    }

    /// A load in the circuit, and where it hangs.
    fn load(&self, model: &Model, name: &str) -> Option<(ElementId, NodeId)> {
        let node = match model.places.conductors.get(name) {
            Some(node) => *node,
            None => {
                let pin = self.job.electrics.pins.iter().find(|it| it.name == name)?;
                model.places.cavities.get(&pin.at)?.mating_side
            }
        };
        let mut elements = model.circuit.elements().iter().zip(0..);
        let (_, id) = elements.find(|(element, _)| {
            element.a == node && element.b == GROUND && matches!(element.part, Part::Load { .. })
        })?;
        Some((ElementId(id), node))
    }
}

/// What came of it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Learnt {
    /// Ohms to chassis, by conductor or pin.
    pub loads: Loads,
    /// Points that show nothing: nothing is plugged there, or the clip is off.
    pub nothing: BTreeSet<String>,
    /// Points that did not come to rest, or could not be read.
    pub unsettled: BTreeSet<String>,
}

/// Takes the readings: each point alone, then each against the next, both ways.
///
/// # Errors
/// [`RunError`] when the link or the probe fails.
pub fn take(link: &mut dyn Link, bare: &Bare, model: &Model) -> Result<Outcome, RunError> {
    let place = bare.hookup.place;
    let mut taken = match run(link, model, place, &mut |_| {})? {
        Outcome::Complete(taken) => taken,
        refused => return Ok(refused),
    };
    let layout = model.layout();
    let leads: Vec<LeadId> = bare.loads.iter().map(|(_, lead)| *lead).collect();
    let next = leads.iter().cycle().skip(1);
    let pairs = leads.iter().zip(next).filter(|(a, b)| a != b);
    // A lead alone is driven against nothing: against itself it cannot be.
    for (a, b) in pairs.flat_map(|(a, b)| [(*a, *b), (*b, *a)]) {
        taken = match one_more(link, place, pair(&layout, a, b, &[]), taken, &mut |_| {})? {
            Outcome::Complete(taken) => taken,
            refused => return Ok(refused),
        };
    }
    Ok(Outcome::Complete(taken))
}

/// Least and greatest resistance of a load that a reading allows.
fn allowed(
    predictor: &Predictor<'_>,
    (element, node): (ElementId, NodeId),
    (step, quantity, volts): (&Step, Quantity, Volts),
) -> Result<[f64; 2], String> {
    // How far the reading is off, were the load so many ohms; falls as they rise.
    let off = |ohms: f64| {
        let edits = [
            Edit::Remove(element),
            Edit::Touch {
                a: node,
                b: GROUND,
                least: Ohms(ohms),
                most: Ohms(ohms),
            },
        ];
        let band = predictor.band(&edits, step, quantity)?;
        Ok::<f64, String>(band.excess(volts))
    };
    // Where it begins to hold, as the ohms rise.
    let edge = |holds: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (LOOKED_AT.0.ln(), LOOKED_AT.1.ln());
        for _ in 0..HALVINGS {
            let middle = (low + high) / 2.0;
            if holds(off(middle.exp())?) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Ok::<(f64, f64), String>((low.exp(), high.exp()))
    };
    // Below the first the reading is too high; above the second too low.
    let (least, _) = edge(&|off| off <= LIMIT)?;
    let (_, most) = edge(&|off| off < -LIMIT)?;
    Ok([least, most])
}

/// The job without what the harness brings, and without what is switched.
fn at_rest_without_harness(job: &Job) -> Job {
    let mut bare = job.without_harness();
    bare.functions.clear();
    bare.electrics.switches.clear();
    bare
}
