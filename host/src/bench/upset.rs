//! What goes wrong in service and a test at rest does not see, spelled
//! `KIND@PLACE[,key=value…]` as faults are.

use super::error::BenchError;
use super::harness::{Fitted, Values, Who};
use super::scene::Wave;
use super::stored::Charge;
use crate::fault::Joint;
use crate::fault::catalogue::joints;
use crate::fault::spell::{Keys, Reader};
use crate::plan::model::{Behaviour, Job, Signal};
use loomproof_core::units::{Hertz, Ohms, PerMinute, Volts};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::time::Duration;

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

/// Why a spelling was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
#[error("upset \"{spelling}\": {reason}\n  spell it KIND@PLACE[,key=value], for example {example}")]
pub struct UpsetError {
    /// What was written.
    pub spelling: String,
    /// What is wrong with it.
    pub reason: String,
    /// An example of that kind.
    pub example: &'static str,
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

impl fmt::Display for Upset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.kind(), self.place())?;
        match self {
            Self::DeadFeed(_) | Self::NoGround(_) | Self::BulbOut(_) => Ok(()),
            Self::Stuck { state, .. } => write!(f, ",state={state}"),
            Self::WrongFlash(_, PerMinute(rate)) | Self::WrongDim(_, Hertz(rate)) => {
                write!(f, ",rate={rate}")
            }
            Self::Voltage(_, Volts(volts)) => write!(f, ",volts={volts}"),
            Self::Intermittent {
                joint,
                gap,
                every,
                ohms,
            } => {
                for (key, value) in joint.keys() {
                    write!(f, ",{key}={value}")?;
                }
                write!(f, ",gap={},every={}", time_text(*gap), time_text(*every))?;
                ohms.map_or(Ok(()), |Ohms(ohms)| write!(f, ",ohms={ohms}"))
            }
        }
    }
}

const TIMES: [(&str, u128); 4] = [
    ("s", 1_000_000_000),
    ("ms", 1_000_000),
    ("us", 1_000),
    ("ns", 1),
];

fn time_text(time: Duration) -> String {
    let nanoseconds = time.as_nanos();
    let whole = TIMES
        .iter()
        .find(|(_, unit)| nanoseconds.is_multiple_of(*unit));
    let (name, unit) = whole.copied().unwrap_or(("ns", 1));
    format!("{}{name}", nanoseconds / unit)
}

fn time(key: &str, keys: &mut Keys<'_>) -> Result<Duration, String> {
    let text = keys.need(key)?;
    let wrong = || format!("{key} is a time such as 300us, 2ms or 2s, not \"{text}\"");
    let unit_at = text
        .find(|c: char| c.is_ascii_alphabetic())
        .ok_or_else(wrong)?;
    let (number, unit) = text.split_at(unit_at);
    let number: f64 = number.parse().map_err(|_| wrong())?;
    let mut units = TIMES.iter();
    let (_, factor) = units.find(|(name, _)| *name == unit).ok_or_else(wrong)?;
    let nanoseconds = (number * *factor as f64).round();
    if !(0.0..=1e13).contains(&nanoseconds) {
        return Err(wrong());
    }
    Ok(Duration::from_nanos(nanoseconds as u64))
}

/// Whether a spelling names a kind of upset (rather than a fault of the wiring).
#[must_use]
pub fn is_kind(spelling: &str) -> bool {
    let kind = spelling.split(['@', ',']).next().unwrap_or_default();
    KINDS.iter().any(|(name, ..)| *name == kind)
}

/// Reads a spelling against a job, so that every name in it exists.
///
/// # Errors
/// [`UpsetError`] says what is wrong and how to spell that kind.
pub fn parse(spelling: &str, job: &Job) -> Result<Upset, UpsetError> {
    let (head, rest) = spelling.split_once(',').unwrap_or((spelling, ""));
    let (kind, place) = head.split_once('@').unwrap_or((head, ""));
    let known = KINDS.iter().find(|(name, ..)| *name == kind);
    let fail = |reason: String| UpsetError {
        spelling: spelling.to_owned(),
        reason,
        example: known.map_or(KINDS[0].1, |(_, example, _)| example),
    };
    if known.is_none() {
        let kinds: Vec<_> = KINDS.iter().map(|(name, ..)| *name).collect();
        let kinds = kinds.join(", ");
        return Err(fail(format!(
            "\"{kind}\" is not a kind of upset; kinds are {kinds}"
        )));
    }
    if place.is_empty() {
        return Err(fail("there is no place after the @".to_owned()));
    }
    let mut keys = Keys::read(rest).map_err(fail)?;
    let upset = read(kind, place, &mut keys, job).map_err(fail)?;
    if let Some(key) = keys.left() {
        return Err(fail(format!("\"{key}\" does not belong to this kind")));
    }
    upset.check(job).map_err(fail)?;
    Ok(upset)
}

fn read(kind: &str, place: &str, keys: &mut Keys<'_>, job: &Job) -> Result<Upset, String> {
    let name = place.to_owned();
    Ok(match kind {
        "dead-feed" => Upset::DeadFeed(name),
        "no-ground" => Upset::NoGround(name),
        "stuck" => Upset::Stuck {
            switch: name,
            state: keys.need("state")?.to_owned(),
        },
        "bulb-out" => Upset::BulbOut(name),
        "intermittent" => Upset::Intermittent {
            joint: Reader { job }.joint(place, keys)?,
            gap: time("gap", keys)?,
            every: time("every", keys)?,
            ohms: match keys.has("ohms") {
                true => Some(Ohms(keys.number("ohms", 0.01, 1e9)?)),
                false => None,
            },
        },
        "wrong-rate" => {
            let rate = keys.number("rate", 1.0, 100_000.0)?;
            let known = behaviour(job, place).flatten().map(|known| known.signal);
            match known {
                Some(Signal::Dimmed { .. }) => Upset::WrongDim(name, Hertz(rate)),
                _ => Upset::WrongFlash(name, PerMinute(rate)),
            }
        }
        _ => Upset::Voltage(name, Volts(keys.number("volts", 0.0, 36.0)?)),
    })
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

/// Upsets sorted by what they act on.
#[derive(Debug, Clone, Default)]
pub(super) struct Upsets {
    list: Vec<Upset>,
    /// Capacitors that still hold a charge.
    pub(super) charges: Vec<Charge>,
    pub(super) dead: BTreeSet<String>,
    pub(super) no_ground: BTreeSet<String>,
    pub(super) stuck: BTreeMap<String, String>,
    pub(super) out: BTreeSet<String>,
    /// A minute or Hz, as the signal is.
    pub(super) rates: BTreeMap<String, f64>,
    /// V.
    pub(super) volts: BTreeMap<String, f64>,
}

impl Upsets {
    pub(super) fn charged(charges: &[Charge]) -> Self {
        Self {
            charges: charges.to_vec(),
            ..Self::default()
        }
    }

    pub(super) fn of(upsets: &[Upset]) -> Self {
        let mut sorted = Self {
            list: upsets.to_vec(),
            ..Self::default()
        };
        for upset in upsets.iter().cloned() {
            match upset {
                Upset::DeadFeed(name) => {
                    sorted.dead.insert(name);
                }
                Upset::NoGround(name) => {
                    sorted.no_ground.insert(name);
                }
                Upset::Stuck { switch, state } => {
                    sorted.stuck.insert(switch, state);
                }
                Upset::BulbOut(name) => {
                    sorted.out.insert(name);
                }
                Upset::WrongFlash(name, PerMinute(rate)) | Upset::WrongDim(name, Hertz(rate)) => {
                    sorted.rates.insert(name, rate);
                }
                Upset::Voltage(name, Volts(volts)) => {
                    sorted.volts.insert(name, volts);
                }
                Upset::Intermittent { .. } => {}
            }
        }
        sorted
    }

    /// Does what shows without the battery to the harness, and says when joints
    /// open.
    pub(super) fn fit(
        &self,
        fitted: &mut Fitted<'_>,
        values: &Values<'_>,
    ) -> Result<Vec<Wave>, BenchError> {
        let mut waves = Vec::new();
        for upset in &self.list {
            let who = Who::new(upset.to_string());
            if let Err(why) = upset.check(fitted.job) {
                return who.senseless(why);
            }
            match upset {
                Upset::BulbOut(name) if upset.shows_dead(fitted.job) => {
                    fitted.take_out(name, &who)?;
                }
                Upset::Intermittent {
                    joint,
                    gap,
                    every,
                    ohms,
                } => {
                    fitted.check_joint(joint, &who)?;
                    let more = ohms.map_or(f64::INFINITY, Ohms::value);
                    if fitted
                        .gaps
                        .insert(joint.clone(), (waves.len(), more))
                        .is_some()
                    {
                        return who.senseless("that joint opens already; name each joint once");
                    }
                    let label = format!("intermittent {} {:?}", joint.place(), joint.keys());
                    let first = values.first_gap(&label, every.as_secs_f64());
                    waves.push(Wave {
                        first: (first * 1e9).round() as u64,
                        period: every.as_nanos() as f64,
                        on: gap.as_nanos() as f64,
                    });
                }
                _ => {}
            }
        }
        Ok(waves)
    }
}
