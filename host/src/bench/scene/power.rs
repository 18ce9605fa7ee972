//! The parts of a scene that open and close, and what decides it.

use super::wave::Wave;
use crate::plan::model::{Signal, States};
use std::collections::BTreeMap;

/// A connection that is there or not.
#[derive(Debug, Clone, Copy)]
pub(in crate::bench) struct Contact {
    /// Its one node.
    pub(in crate::bench) at: usize,
    /// Its other side.
    pub(in crate::bench) to: To,
    /// Its resistance, Ω.
    pub(in crate::bench) ohms: f64,
    /// What closes it.
    pub(in crate::bench) by: By,
    /// The fuse in it.
    pub(in crate::bench) fuse: Option<usize>,
}

/// The other side of a contact.
#[derive(Debug, Clone, Copy)]
pub(in crate::bench) enum To {
    /// A node.
    Node(usize),
    /// A supply of its own, V against the body.
    Volts(f64),
}

/// What closes a contact; numbers are places in the lists of [`Power`].
#[derive(Debug, Clone, Copy)]
pub(in crate::bench) enum By {
    /// Always closed, but for its fuse.
    Nothing,
    /// A source joins its conductor to plus.
    Plus(usize),
    /// A source joins its conductor to chassis.
    Chassis(usize),
    /// A switch is in a state that closes it.
    Switch(usize),
    /// A relay has pulled in.
    Make(usize),
    /// A relay is at rest.
    Break(usize),
    /// A joint: all the time but in its gaps, when it has so many ohms more
    /// (infinite: open).
    Joint(usize, f64),
}

/// A switch with its states.
#[derive(Debug, Clone)]
pub(in crate::bench) struct Knob {
    pub(in crate::bench) name: String,
    pub(in crate::bench) states: Vec<String>,
    /// In which of them its contact is closed.
    pub(in crate::bench) closed_in: Vec<String>,
    /// The state it has been set to.
    pub(in crate::bench) set: String,
    /// The state it stays in whatever it is set to.
    pub(in crate::bench) stuck: Option<String>,
}

impl Knob {
    /// The state that its contacts are in.
    pub(super) fn state(&self) -> &str {
        self.stuck.as_deref().unwrap_or(&self.set)
    }
}

/// A conductor or pin that the vehicle joins to plus or chassis.
#[derive(Debug, Clone)]
pub(in crate::bench) struct Source {
    pub(in crate::bench) plus: Option<States>,
    pub(in crate::bench) chassis: Option<States>,
    pub(in crate::bench) signal: Signal,
    /// Since when it has been joined, ns; `None` while it is not.
    pub(super) since: Option<u64>,
}

impl Source {
    pub(in crate::bench) fn new(
        plus: Option<States>,
        chassis: Option<States>,
        signal: Signal,
    ) -> Self {
        Self {
            plus,
            chassis,
            signal,
            since: None,
        }
    }

    /// What it does by the clock, while it is joined.
    pub(super) fn wave(&self) -> Option<Wave> {
        let (hertz, duty) = match self.signal {
            Signal::Steady => return None,
            Signal::Flashing { rate, duty } => (rate.value() / 60.0, duty),
            Signal::Dimmed { rate, duty } => (rate.value(), duty),
        };
        let period = 1e9 / hertz;
        Some(Wave {
            first: self.since?,
            period,
            on: period * duty.value() / 100.0,
        })
    }

    /// Whether a relay is too slow to follow it.
    pub(super) fn is_fast(&self) -> bool {
        matches!(self.signal, Signal::Dimmed { .. })
    }
}

/// A relay's coil.
#[derive(Debug, Clone)]
pub(in crate::bench) struct Coil {
    pub(in crate::bench) name: String,
    /// Its two nodes.
    pub(in crate::bench) ends: (usize, usize),
    /// It pulls in from this voltage, V.
    pub(in crate::bench) operates: f64,
    /// It lets go below this voltage, V.
    pub(in crate::bench) releases: f64,
    pub(in crate::bench) pulled: bool,
}

/// A fuse: the harness's own by its name, any other by the name of what it feeds.
#[derive(Debug, Clone)]
pub(in crate::bench) struct Link {
    pub(in crate::bench) name: String,
    /// Rated current, A.
    pub(in crate::bench) rating: f64,
    pub(in crate::bench) blown: bool,
}

/// All that opens and closes.
#[derive(Debug, Clone, Default)]
pub(in crate::bench) struct Power {
    pub(in crate::bench) contacts: Vec<Contact>,
    pub(in crate::bench) knobs: Vec<Knob>,
    pub(in crate::bench) sources: Vec<Source>,
    pub(in crate::bench) coils: Vec<Coil>,
    pub(in crate::bench) links: Vec<Link>,
    /// When joints open.
    pub(in crate::bench) gaps: Vec<Wave>,
    /// Where the places of the plan are in the network.
    pub(in crate::bench) places: BTreeMap<String, usize>,
    /// The battery is on.
    pub(in crate::bench) on: bool,
}
