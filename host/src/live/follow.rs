//! Which function a wire of the vehicle follows: battery on, one probe lead on the
//! wire, the switches moved one after the other.
//!
//! Before a tap is closed, or the lead of an occupied cavity is capped, this proves
//! that the wire there is the one that the plan means: it has to change as the plan
//! says in every step, and the steps go on until no other wire that the plan knows
//! would have looked the same.

use std::collections::BTreeMap;

use loomproof_core::wire::{Hello, LeadId, Place};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::battery::Battery;
use super::causes::expected;
use super::judge::{Distance, alike, distance};
use super::observe::Observed;
use super::report::{StepReport, point_report, round, switch_states};
use super::steps::{Step, steps};
use crate::hookup::{Clip, Hookup, Mated, Point};
use crate::plan::model::{Behaviour, Function, Job, OtherEnd, States};
use crate::powered::{Powered, Shown};
use crate::review::elements::Compiled;
use crate::ringout::report::{ProbeReport, Verdict};

/// More combinations of the switches of two wires are not looked through.
const MOST_COMBINATIONS: usize = 4096;

/// What the probe saw of a wire while its switches were moved.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Report of a wire that was followed")]
pub struct Report {
    /// `pass`: it follows its switches as the plan says; `faults`: it does not;
    /// `undecided`: nothing of it changes, or the test was broken off.
    pub verdict: Verdict,
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// The probe that measured.
    pub probe: ProbeReport,
    /// The conductor that the plan says is there.
    pub wire: String,
    /// The test point.
    pub point: String,
    /// The lead that is capped because of it, where its cavity is occupied.
    pub lead: Option<String>,
    /// Battery voltage as found while the wire is fed, volts; the nominal one where it
    /// is not.
    pub battery_volts: f64,
    /// Other conductors and pins of the plan that would have looked the same as what
    /// was seen.
    pub like: Vec<String>,
    /// What was found.
    pub say: String,
    /// What to do now.
    #[serde(rename = "do")]
    pub act: String,
    /// How many steps the whole test has.
    pub planned_steps: usize,
    /// What was observed, step by step.
    pub steps: Vec<StepReport>,
}

/// A wire that is to be followed.
#[derive(Debug, Clone)]
pub struct Task {
    /// The vehicle without the harness.
    pub vehicle: Job,
    /// The conductor.
    pub wire: String,
    /// The lead that is capped because of it.
    pub lead: Option<String>,
    /// One probe lead on it.
    pub hookup: Hookup,
    /// The way through the states of the switches.
    pub steps: Vec<Step>,
}

/// Conductors and pins of which the plan says how they behave.
fn behaviours(job: &Job) -> impl Iterator<Item = (&str, &Behaviour)> {
    let conductors = job.electrics.behaviours.iter();
    let there = |name: &str| job.conductors.iter().any(|it| it.name == name);
    let conductors = conductors.filter(move |(name, _)| there(name));
    let pins = job.electrics.pins.iter();
    let pins = pins.map(|pin| (pin.name.as_str(), &pin.behaviour));
    conductors.map(|(name, it)| (name.as_str(), it)).chain(pins)
}

/// The vehicle as it would be if a wire were another one (a conductor or pin).
///
/// # Errors
/// A sentence where there is no such wire.
pub fn as_if(job: &Job, wire: &str, other: &str) -> Result<Job, String> {
    let mut changed = job.clone();
    let pin = job.electrics.pins.iter().find(|it| it.name == other);
    let conductor = job.conductors.iter().find(|it| it.name == other);
    let (load, through) = match (conductor, pin) {
        (Some(it), _) => (it.load, it.through.clone()),
        (_, Some(pin)) => (pin.load, None),
        _ => return Err(format!("the plan has no conductor or pin {other}")),
    };
    let known = behaviours(job).find(|(name, _)| *name == other);
    let mut behaviour = known.map_or(Behaviour::UNKNOWN, |(_, it)| it.clone());
    if behaviour.other_end == OtherEnd::Named(wire.to_owned()) {
        // Its consumer cannot lie between the wire and itself.
        behaviour.draws = None;
    }
    let mut conductors = changed.conductors.iter_mut();
    let own = conductors.find(|it| it.name == wire);
    let own = own.ok_or_else(|| format!("the plan has no conductor {wire}"))?;
    own.load = load;
    own.through = through;
    changed
        .electrics
        .behaviours
        .insert(wire.to_owned(), behaviour);
    Ok(changed)
}

impl Task {
    /// How a wire is followed.
    ///
    /// # Errors
    /// A sentence where the plan does not have it, or does not say what it does.
    pub fn new(job: &Job, wire: &str) -> Result<Self, String> {
        let known = || {
            let names: Vec<&str> = job.conductors.iter().map(|it| it.name.as_str()).collect();
            names.join(", ")
        };
        let conductor = job.conductors.iter().find(|it| it.name == wire);
        let conductor = conductor.ok_or_else(|| {
            format!(
                "there is no conductor {wire} in this variant; there are {} (an occupied cavity's is \
                 there once its option is answered so)",
                known()
            )
        })?;
        if conductor.data_bus {
            return Err(format!(
                "{wire} is part of a data bus, and no probe is put on it; find it by the vehicle \
                 maker's service information"
            ));
        }
        let states = job.electrics.behaviours.get(wire).and_then(states);
        let states = states.ok_or_else(|| {
            format!(
                "the plan does not say what {wire} does (plus_when, chassis_when), so no reading can \
                 prove it; ask the plan's author, or vouch for it by hand (ringout --attest)"
            )
        })?;
        let mut occupied = job.electrics.occupied.iter();
        let occupied = occupied.find(|it| it.conductor == wire);
        let at = occupied.map(|it| &it.at).or_else(|| conductor.at.first());
        let at = at.ok_or_else(|| format!("the plan does not say where {wire} is reached"))?;
        let connector = job.connectors.iter().find(|it| it.name == at.0);
        let side = connector.map(|it| it.access);
        let point = Point::Cavity {
            connector: at.0.clone(),
            cavity: at.1,
            side: side.ok_or_else(|| format!("{} is not reached in this variant", at.0))?,
        };
        let mut vehicle = job.without_harness();
        vehicle.functions.clear();
        vehicle.electrics.on_when.clear();
        vehicle.electrics.tap_reasons.clear();
        vehicle.functions.push(Function {
            name: wire.to_owned(),
            switch_on: conductor.function.clone().unwrap_or_default(),
            seen_at: Vec::new(),
        });
        vehicle.electrics.on_when.insert(wire.to_owned(), states);
        let steps = way(&vehicle, wire);
        Ok(Self {
            vehicle,
            wire: wire.to_owned(),
            lead: occupied.map(|it| it.lead.clone()),
            hookup: Hookup {
                place: Place::Vehicle,
                clips: vec![Clip {
                    lead: LeadId(0),
                    point,
                }],
                mated: Mated::default(),
            },
            steps,
        })
    }

    /// The test point.
    #[must_use]
    pub fn point(&self) -> Option<&Point> {
        self.hookup.clips.first().map(|clip| &clip.point)
    }

    /// What the wire should show in some steps if the vehicle were so.
    fn course(&self, vehicle: &Job, seen: &[Vec<Observed>]) -> Result<(Vec<Shown>, f64), String> {
        let powered = Powered::new(vehicle, &self.hookup).map_err(|error| error.to_string())?;
        let steps = self.steps.get(..seen.len()).unwrap_or(&self.steps);
        let nominal = expected(&powered, steps, vehicle.supply)?;
        let battery = Battery::of(&nominal, seen, vehicle.supply).middle;
        let course = expected(&powered, steps, battery)?;
        let own = course
            .into_iter()
            .filter_map(|step| step.into_iter().next());
        Ok((own.collect(), battery.0))
    }

    /// Judges what was seen; fewer steps than planned where it was broken off.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn report(&self, seen: &[Vec<Observed>], hello: &Hello) -> Result<Report, String> {
        let job = &self.vehicle;
        let own: Vec<&Observed> = seen.iter().filter_map(|step| step.first()).collect();
        // What else hangs on a wire that is fed is not what it follows: another bulb, a
        // trailer. Only a way to chassis is seen by the weak pulls alone.
        let known = job.electrics.behaviours.get(&self.wire);
        let by_pull = known.is_some_and(|it| it.chassis_when.is_some());
        let pulled = |seen: &Observed| seen.pulled.filter(|_| by_pull);
        let apart = |course: &[Shown]| -> Vec<Distance> {
            let pairs = own.iter().zip(course);
            let each = pairs.map(|(seen, shown)| {
                let pulled = pulled(seen);
                distance(&Observed { pulled, ..**seen }, shown)
            });
            each.collect()
        };
        let (course, battery) = self.course(job, seen)?;
        let off = apart(&course);
        let mut like = Vec::new();
        for (name, _) in behaviours(job).filter(|(name, it)| *name != self.wire && says(it)) {
            let (other, _) = self.course(&as_if(job, &self.wire, name)?, seen)?;
            let fits = !apart(&other).iter().any(Distance::off);
            if fits && changes(&other) {
                like.push(name.to_owned());
            }
        }
        let broken_off = seen.len() < self.steps.len();
        let verdict = if off.iter().any(Distance::off) {
            Verdict::Faults
        } else if broken_off || !changes(&course) {
            Verdict::Undecided
        } else {
            Verdict::Pass
        };
        let point = self.point().map(ToString::to_string).unwrap_or_default();
        let floats = !own.is_empty() && own.iter().all(|it| it.floats());
        let (say, act) = self.words(verdict, (broken_off, floats), &like);
        let steps = self.steps.iter().zip(&own).zip(course.iter().zip(&off));
        let steps = steps.map(|((step, seen), (shown, apart))| StepReport {
            switches: switch_states(job, step),
            on: Vec::new(),
            points: vec![point_report(point.clone(), seen, Some(shown), Some(apart))],
        });
        Ok(Report {
            verdict,
            title: job.title.clone(),
            plan_digest: job.digest.clone(),
            answers: job.answers.clone(),
            probe: ProbeReport::of(hello),
            wire: self.wire.clone(),
            lead: self.lead.clone(),
            battery_volts: round(battery),
            like,
            say,
            act,
            planned_steps: self.steps.len(),
            steps: steps.collect(),
            point,
        })
    }
}

/// Whether the plan says anything of it that a probe could follow.
fn says(behaviour: &Behaviour) -> bool {
    behaviour.plus_when.is_some() || behaviour.chassis_when.is_some()
}

/// The states in which a wire is joined to something.
fn states(behaviour: &Behaviour) -> Option<States> {
    match (&behaviour.plus_when, &behaviour.chassis_when) {
        (Some(plus), Some(chassis)) => Some(States::Any(vec![plus.clone(), chassis.clone()])),
        (one, other) => one.clone().or_else(|| other.clone()),
    }
}

/// Whether any two steps show something else.
fn changes(course: &[Shown]) -> bool {
    let first = course.first();
    first.is_some_and(|first| course.iter().any(|other| !alike(first, other)))
}

/// Whether a wire is joined to plus, and whether to chassis.
fn joined(job: &Job, behaviour: &Behaviour, switches: &[u8]) -> (bool, bool) {
    let holds = |states: &Option<States>| {
        let compiled = states.as_ref().map(|states| Compiled::new(states, job));
        compiled.is_some_and(|it| it.holds(&|at| switches.get(at).copied().unwrap_or(0)))
    };
    (holds(&behaviour.plus_when), holds(&behaviour.chassis_when))
}

/// The steps that show the wire joined and not, and one more for each other wire that
/// would look the same in all of them and differs in another state.
fn way(job: &Job, wire: &str) -> Vec<Step> {
    let mut way = steps(job);
    let Some(own) = job.electrics.behaviours.get(wire) else {
        return way;
    };
    for (_, other) in behaviours(job).filter(|(name, it)| *name != wire && says(it)) {
        let differ = |switches: &[u8]| joined(job, own, switches) != joined(job, other, switches);
        if way.iter().any(|step| differ(&step.switches)) {
            continue;
        }
        let Some(switches) = settings(job, [own, other])
            .into_iter()
            .find(|it| differ(it))
        else {
            continue;
        };
        let before = way.last().map(|step| step.switches.as_slice());
        let both = switches.iter().zip(before.unwrap_or_default()).enumerate();
        let moves = both.filter(|(_, (now, was))| now != was);
        way.push(Step {
            moves: moves.map(|(at, (now, _))| (at, *now)).collect(),
            shows: Vec::new(),
            on: vec![None; job.functions.len()],
            switches,
        });
    }
    way
}

/// The settings of the switches that two wires speak of, the others at rest, nearest
/// to rest first.
fn settings(job: &Job, wires: [&Behaviour; 2]) -> Vec<Vec<u8>> {
    let mut named: Vec<&str> = Vec::new();
    for states in wires
        .iter()
        .flat_map(|it| [&it.plus_when, &it.chassis_when])
    {
        states.iter().for_each(|states| states.switches(&mut named));
    }
    let switches = job.electrics.switches.iter();
    let levels: Vec<usize> = switches
        .map(|it| {
            if named.contains(&it.name.as_str()) {
                it.states.len()
            } else {
                1
            }
        })
        .collect();
    let all = levels
        .iter()
        .fold(1_usize, |all, level| all.saturating_mul(*level));
    let mut list: Vec<Vec<u8>> = (0..all.min(MOST_COMBINATIONS))
        .map(|mut number| {
            let each = levels.iter().map(|level| {
                let state = u8::try_from(number % level).unwrap_or(0);
                number /= level;
                state
            });
            each.collect()
        })
        .collect();
    list.sort_by_key(|setting: &Vec<u8>| setting.iter().filter(|state| **state != 0).count());
    list
}
