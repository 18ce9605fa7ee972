//! What a powered network is made of.

use loomproof_core::circuit::{NodeId, Part};
use loomproof_core::units::{Amperes, Celsius, Ohms, Volts};

use crate::plan::model::{Job, States};

/// What a branch of the network is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// A lead, by its place in the job.
    Lead(usize),
    /// A tap's bite.
    Tap(String),
    /// Two contacts that mate, at a cavity.
    Mating(String),
    /// A way of an in-line plug.
    Way(String),
    /// A fuse, by its place in the job.
    Fuse(usize),
    /// A relay's coil, by its place in the job.
    Coil(usize),
    /// The part across a relay's coil.
    Suppression(usize),
    /// A contact of a relay: make (`true`) or break.
    Contact(usize, bool),
    /// A diode.
    Diode(String),
    /// A lamp of the harness, by its place in the job.
    Lamp(usize),
    /// A load plugged to the harness, by its place in the job.
    Load(usize),
    /// A switch's contact, by its place in the job.
    Switch(usize),
    /// A stretch of a conductor.
    Stretch(String),
    /// The vehicle's own consumer on a conductor or pin.
    Own(String),
    /// The vehicle's way to chassis on a conductor or pin.
    ToChassis(String),
    /// A ring on chassis.
    Ring(String),
}

/// When a branch or feed is there.
#[derive(Debug, Clone, PartialEq)]
pub enum Gate {
    /// Always.
    Open,
    /// In some states of the switches.
    States(Compiled),
    /// While a relay is pulled in (`true`) or let go.
    Relay(usize, bool),
}

/// [`States`] with numbers in the place of names.
#[derive(Debug, Clone, PartialEq)]
pub enum Compiled {
    /// Always so, or never.
    Fixed(bool),
    /// A switch is in a state.
    Is(usize, u8),
    /// The contrary.
    Not(Box<Compiled>),
    /// All of them.
    All(Vec<Compiled>),
    /// Any of them.
    Any(Vec<Compiled>),
}

impl Compiled {
    /// From names to numbers; what is not there in this variant is in no state.
    #[must_use]
    pub fn new(states: &States, job: &Job) -> Self {
        let all = |parts: &[States]| parts.iter().map(|part| Self::new(part, job)).collect();
        match states {
            States::Always => Self::Fixed(true),
            States::Is(name, state) => {
                let switches = &job.electrics.switches;
                let found = switches.iter().position(|switch| switch.name == *name);
                let place = found.and_then(|at| {
                    let mut states = switches[at].states.iter();
                    Some((at, states.position(|own| own == state)?))
                });
                place.map_or(Self::Fixed(false), |(at, state)| {
                    Self::Is(at, u8::try_from(state).unwrap_or(0))
                })
            }
            States::Not(inner) => Self::Not(Box::new(Self::new(inner, job))),
            States::All(parts) => Self::All(all(parts)),
            States::Any(parts) => Self::Any(all(parts)),
        }
    }

    /// Whether it holds; `state` gives the state of a switch.
    pub fn holds(&self, state: &dyn Fn(usize) -> u8) -> bool {
        match self {
            Self::Fixed(so) => *so,
            Self::Is(switch, wanted) => state(*switch) == *wanted,
            Self::Not(inner) => !inner.holds(state),
            Self::All(parts) => parts.iter().all(|part| part.holds(state)),
            Self::Any(parts) => parts.iter().any(|part| part.holds(state)),
        }
    }

    /// The switches that it speaks of.
    pub fn switches(&self, into: &mut Vec<usize>) {
        match self {
            Self::Fixed(_) => {}
            Self::Is(switch, _) => into.push(*switch),
            Self::Not(inner) => inner.switches(into),
            Self::All(parts) | Self::Any(parts) => {
                parts.iter().for_each(|part| part.switches(into));
            }
        }
    }
}

/// Something between two nodes.
#[derive(Debug, Clone)]
pub struct Branch {
    /// First node; a diode's anode.
    pub a: NodeId,
    /// Second node.
    pub b: NodeId,
    /// Its electrical part.
    pub part: Part,
    /// What it is in the plan.
    pub what: What,
    /// When it is there.
    pub gate: Gate,
}

/// A way from battery plus into the network.
#[derive(Debug, Clone)]
pub struct Feed {
    /// Where it comes in.
    pub node: NodeId,
    /// Resistance in series.
    pub ohms: Ohms,
    /// Name of the conductor, pin, ring, switch or load.
    pub name: String,
    /// The consumer that is in series, when the resistance is one.
    pub consumer: Option<What>,
    /// The fuse in front of it.
    pub fuse: Fused,
    /// The most that may be taken from it.
    pub most: Option<Amperes>,
    /// When it is there.
    pub gate: Gate,
}

/// What protects a feed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fused {
    /// A fuse or an output of this size.
    By(Amperes),
    /// The vehicle has a fuse, or not: the plan does not say.
    NotStated,
    /// Nothing.
    Bare,
}

/// Where the voltage across a consumer is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Across {
    /// Across a branch.
    Branch(usize),
    /// Across the resistance of a feed.
    Feed(usize),
}

/// Something that is on when it has voltage.
#[derive(Debug, Clone)]
pub struct Drawing {
    /// What it is.
    pub what: What,
    /// Where its voltage is.
    pub across: Across,
    /// Whether it belongs to the vehicle.
    pub of_vehicle: bool,
}

/// Temperature that coils and lamps are rated at.
pub const RATED: Celsius = Celsius(20.0);

/// Current through a resistive branch from its first node to its second.
#[must_use]
pub fn through(part: &Part, across: Volts) -> Amperes {
    Amperes(match part {
        Part::Wire { ohms, .. } | Part::Resistor { ohms, .. } => across.0 / ohms.0,
        Part::Load { least, .. } => across.0 / least.0,
        // Shockley, as core has it.
        Part::Diode(junction) => {
            let scale = junction.emission * loomproof_core::solve::THERMAL;
            junction.saturation.0 * ((across.0 / scale).min(80.0).exp() - 1.0)
        }
    })
}
