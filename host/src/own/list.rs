//! Which functions a vehicle has of its own, and how each can be tried.

use loomproof_core::wire::{LeadId, Place};

use crate::hookup::{Clip, Hookup, Mated, Point, Within};
use crate::plan::model::{Behaviour, Conductor, Function, Job, OtherEnd, Side, States};

/// One function of the vehicle: what one of its conductors feeds or switches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Own {
    /// The conductor.
    pub name: String,
    /// What it does, in the plan's words.
    pub what: Option<String>,
    /// Where it can be touched, in the plan's words.
    pub place: Option<String>,
    /// The state of the switches in which it is on; `None` where the plan does not say,
    /// so that the probe sees nothing by which it could judge.
    pub on: Option<States>,
    /// Where the probe touches it: from the wire side, as nothing is opened.
    pub point: Option<Point>,
}

impl Own {
    /// Name and what it does: `K2, ignition feed`.
    #[must_use]
    pub fn title(&self) -> String {
        match &self.what {
            Some(what) => format!("{}, {what}", self.name),
            None => self.name.clone(),
        }
    }
}

/// The vehicle's own functions, in the order of the plan. Data buses are nobody's
/// function by themselves: what they carry is tried with the function it is for.
#[must_use]
pub fn list(job: &Job) -> Vec<Own> {
    let conductors = job.conductors.iter();
    let known = conductors.filter(|it| !it.data_bus);
    known
        .map(|conductor| Own {
            name: conductor.name.clone(),
            what: conductor.function.clone(),
            place: conductor
                .at
                .first()
                .and_then(|(connector, _)| job.place_of(connector))
                .map(str::to_owned),
            on: on(job, conductor),
            point: point(job, conductor),
        })
        .collect()
}

/// Where it can be touched while everything is plugged.
fn point(job: &Job, conductor: &Conductor) -> Option<Point> {
    let there = |name: &str| job.connectors.iter().any(|it| it.name == name);
    let (connector, cavity) = conductor.at.iter().find(|(name, _)| there(name))?;
    Some(Point::Cavity {
        connector: connector.clone(),
        cavity: *cavity,
        side: Side::Wire,
    })
}

/// When a conductor is on. Where the vehicle joins it to chassis, that shows only while
/// the other side of what hangs on it has its plus.
fn on(job: &Job, conductor: &Conductor) -> Option<States> {
    let behaviour = job.electrics.behaviours.get(&conductor.name)?;
    if let Some(plus) = &behaviour.plus_when {
        return Some(plus.clone());
    }
    let chassis = behaviour.chassis_when.clone()?;
    match plus_beyond(job, behaviour) {
        Some(States::Always) => Some(chassis),
        Some(plus) => Some(States::All(vec![plus, chassis])),
        None => None,
    }
}

/// When the other side of a consumer has plus.
fn plus_beyond(job: &Job, behaviour: &Behaviour) -> Option<States> {
    behaviour.draws?;
    match &behaviour.other_end {
        OtherEnd::BatteryPlus => Some(States::Always),
        OtherEnd::Chassis => None,
        OtherEnd::Named(name) => {
            let pins = job.electrics.pins.iter();
            let pin = pins.map(|pin| (&pin.name, &pin.behaviour));
            let mut all = job.electrics.behaviours.iter().chain(pin);
            let (_, other) = all.find(|(own, _)| *own == name)?;
            other.plus_when.clone()
        }
    }
}

/// Probe leads that any probe has at most.
const MOST: u8 = 128;

/// A round through the functions that the probe can see.
#[derive(Debug, Clone)]
pub struct Round {
    /// The job with these functions in the place of its own.
    pub job: Job,
    /// Where the probe leads are.
    pub hookup: Hookup,
}

impl Round {
    /// The round, with the harness in or not; only what is within reach.
    #[must_use]
    pub fn of(job: &Job, own: &[Own], within: &Within, fitted: bool) -> Self {
        let mut job = if fitted {
            job.clone()
        } else {
            job.without_harness()
        };
        job.functions.clear();
        job.electrics.on_when.clear();
        let mut clips = Vec::new();
        let mut free = (0..MOST).map(LeadId);
        for own in own {
            let (Some(on), Some(point)) = (&own.on, &own.point) else {
                continue;
            };
            if !within.reaches(point) {
                continue;
            }
            let Some(lead) = free.next() else { break };
            let point = point.clone();
            job.functions.push(Function {
                name: own.name.clone(),
                switch_on: own.what.clone().unwrap_or_default(),
                seen_at: vec![point.to_string()],
            });
            job.electrics.on_when.insert(own.name.clone(), on.clone());
            clips.push(Clip { lead, point });
        }
        Self {
            job,
            hookup: Hookup {
                place: Place::Vehicle,
                clips,
                mated: Mated::default(),
            },
        }
    }
}
