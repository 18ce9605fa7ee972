//! What goes wrong in service and a test at rest does not see, spelled
//! `KIND@PLACE[,key=value…]` as faults are.

mod sorted;
mod spell;

use crate::fault::Joint;
use crate::fault::catalogue::joints;
use crate::plan::model::{Behaviour, Job, Signal};
use loomproof_core::units::{Hertz, Ohms, PerMinute, Volts};
use std::time::Duration;

pub(super) use sorted::Upsets;
pub use spell::{UpsetError, is_kind, parse};

/// Kind, example and meaning of every upset.
pub const KINDS: [(&str, &str, &str); 7] = [
    (
        "dead-feed",
        "dead-feed@K2",
        "the vehicle never joins that conductor or pin to plus",
    ),
    (
        "no-ground",
        "no-ground@K5",
        "the vehicle never joins that conductor or pin to chassis",
    ),
    (
        "stuck",
        "stuck@door-left,state=open",
        "a switch that stays in one state",
    ),
    (
        "bulb-out",
        "bulb-out@LAMP-L",
        "a load or lamp that is broken inside",
    ),
    (
        "intermittent",
        "intermittent@X1:4,gap=300us,every=2s",
        "a joint that opens now and then; with ohms=, one that gets so much worse",
    ),
    (
        "wrong-rate",
        "wrong-rate@K3,rate=150",
        "a flashing (a minute) or dimmed (Hz) signal at another rate",
    ),
    (
        "voltage",
        "voltage@K2,volts=7",
        "that conductor or pin is fed with another voltage",
    ),
];

/// The longest time between two openings.
const LONGEST: Duration = Duration::from_secs(3600);

/// Something that is wrong in service.
#[derive(Debug, Clone, PartialEq)]
pub enum Upset {
    /// A conductor or pin, by name, gets no supply.
    DeadFeed(String),
    /// A conductor or pin, by name, never goes to chassis.
    NoGround(String),
    /// A switch stays in one state.
    Stuck {
        /// The switch.
        switch: String,
        /// The state.
        state: String,
    },
    /// A load or lamp, by name, is open inside.
    BulbOut(String),
    /// A joint opens now and then.
    Intermittent {
        /// The joint.
        joint: Joint,
        /// For how long.
        gap: Duration,
        /// From one opening to the next.
        every: Duration,
        /// What is added meanwhile; `None`: it opens.
        ohms: Option<Ohms>,
    },
    /// A flashing signal has another rate.
    WrongFlash(String, PerMinute),
    /// A dimmed signal has another rate.
    WrongDim(String, Hertz),
    /// A conductor or pin, by name, is fed with another voltage.
    Voltage(String, Volts),
}

impl Upset {
    /// The word before the `@`.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        let place = match self {
            Self::DeadFeed(_) => 0,
            Self::NoGround(_) => 1,
            Self::Stuck { .. } => 2,
            Self::BulbOut(_) => 3,
            Self::Intermittent { .. } => 4,
            Self::WrongFlash(..) | Self::WrongDim(..) => 5,
            Self::Voltage(..) => 6,
        };
        KINDS[place].0
    }

    /// The place behind it.
    #[must_use]
    pub fn place(&self) -> String {
        match self {
            Self::DeadFeed(name)
            | Self::NoGround(name)
            | Self::BulbOut(name)
            | Self::WrongFlash(name, _)
            | Self::WrongDim(name, _)
            | Self::Voltage(name, _) => name.clone(),
            Self::Stuck { switch, .. } => switch.clone(),
            Self::Intermittent { joint, .. } => joint.place(),
        }
    }

    /// Whether it shows with the battery off as well.
    #[must_use]
    pub fn shows_dead(&self, job: &Job) -> bool {
        match self {
            Self::Intermittent { .. } => true,
            Self::BulbOut(name) => job.lamps.iter().any(|lamp| lamp.name == *name),
            _ => false,
        }
    }

    /// What keeps it from being in this job, in a sentence without capital.
    fn check(&self, job: &Job) -> Result<(), String> {
        let body = |name: &str| {
            behaviour(job, name).ok_or_else(|| format!("there is no conductor or pin {name}"))
        };
        let fed = |name: &str| match body(name)? {
            Some(known) if known.plus_when.is_some() => Ok(()),
            _ => Err(format!("the plan never joins {name} to plus (plus_when)")),
        };
        match self {
            Self::DeadFeed(name) => fed(name),
            Self::Voltage(name, volts) => {
                span("volts", volts.value(), 0.0, 36.0)?;
                fed(name)
            }
            Self::NoGround(name) => match body(name)? {
                Some(known) if known.chassis_when.is_some() => Ok(()),
                _ => Err(format!(
                    "the plan never joins {name} to chassis (chassis_when)"
                )),
            },
            Self::Stuck { switch, state } => {
                let mut switches = job.electrics.switches.iter();
                let Some(found) = switches.find(|it| it.name == *switch) else {
                    return Err(format!("there is no switch {switch} in this plan"));
                };
                if found.states.contains(state) {
                    return Ok(());
                }
                let known = found.states.join(", ");
                Err(format!("{switch} has no state {state}; it has {known}"))
            }
            Self::BulbOut(name) if consumers(job).any(|known| known == name) => Ok(()),
            Self::BulbOut(name) => Err(format!("there is no load or lamp {name} in this plan")),
            Self::Intermittent {
                gap, every, ohms, ..
            } => {
                if gap.is_zero() || gap >= every || *every > LONGEST {
                    return Err(
                        "gap is above 0 and shorter than every, and every at most an hour".into(),
                    );
                }
                ohms.map_or(Ok(()), |ohms| span("ohms", ohms.value(), 0.01, 1e9))
            }
            Self::WrongFlash(name, rate) => match body(name)?.map(|known| known.signal) {
                Some(Signal::Flashing { .. }) => span("rate", rate.value(), 1.0, 6000.0),
                _ => Err(format!("{name} does not flash in this plan")),
            },
            Self::WrongDim(name, rate) => match body(name)?.map(|known| known.signal) {
                Some(Signal::Dimmed { .. }) => span("rate", rate.value(), 1.0, 100_000.0),
                _ => Err(format!("{name} is not dimmed in this plan")),
            },
        }
    }
}

fn span(key: &str, value: f64, least: f64, most: f64) -> Result<(), String> {
    if (least..=most).contains(&value) {
        Ok(())
    } else {
        Err(format!("{key} must be from {least} to {most}, not {value}"))
    }
}

/// How a conductor or pin behaves, if there is one of that name.
fn behaviour<'j>(job: &'j Job, name: &str) -> Option<Option<&'j Behaviour>> {
    if job.conductors.iter().any(|it| it.name == name) {
        return Some(job.electrics.behaviours.get(name));
    }
    let mut pins = job.electrics.pins.iter();
    pins.find(|pin| pin.name == name)
        .map(|pin| Some(&pin.behaviour))
}

fn consumers(job: &Job) -> impl Iterator<Item = &String> {
    let loads = job.electrics.loads.iter().map(|load| &load.name);
    loads.chain(job.lamps.iter().map(|lamp| &lamp.name))
}

/// Every upset that a job allows, kind by kind, with values that are met.
#[must_use]
pub fn all(job: &Job) -> Vec<Upset> {
    let conductors = job.conductors.iter().map(|it| &it.name);
    let bodies = conductors.chain(job.electrics.pins.iter().map(|it| &it.name));
    let bodies: Vec<(&String, &Behaviour)> = bodies
        .filter_map(|name| Some((name, behaviour(job, name)??)))
        .collect();
    let fed = || bodies.iter().filter(|(_, known)| known.plus_when.is_some());
    let grounded = bodies
        .iter()
        .filter(|(_, known)| known.chassis_when.is_some());
    let mut upsets: Vec<Upset> = fed()
        .map(|(name, _)| Upset::DeadFeed((*name).clone()))
        .collect();
    upsets.extend(grounded.map(|(name, _)| Upset::NoGround((*name).clone())));
    for switch in &job.electrics.switches {
        let states = switch.states.iter().map(|state| Upset::Stuck {
            switch: switch.name.clone(),
            state: state.clone(),
        });
        upsets.extend(states);
    }
    upsets.extend(consumers(job).cloned().map(Upset::BulbOut));
    upsets.extend(joints(job).into_iter().map(|joint| Upset::Intermittent {
        joint,
        gap: Duration::from_micros(300),
        every: Duration::from_secs(2),
        ohms: None,
    }));
    upsets.extend(bodies.iter().filter_map(|(name, known)| {
        let name = (*name).clone();
        match known.signal {
            Signal::Steady => None,
            // A flasher doubles its rate when a lamp is out (common practice).
            Signal::Flashing { rate, .. } => Some(Upset::WrongFlash(name, rate * 2.0)),
            Signal::Dimmed { rate, .. } => Some(Upset::WrongDim(name, rate * 0.5)),
        }
    }));
    upsets.extend(fed().map(|(name, _)| {
        let low = (job.supply * (2.0 / 3.0)).value().round();
        Upset::Voltage((*name).clone(), Volts(low))
    }));
    upsets
}
