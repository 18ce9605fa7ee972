//! What opens and closes in the wiring: switches of the vehicle, relays, fuses,
//! flashing and dimmed outputs, joints that open now and then.
//!
//! The wiring is a network of parts that are always there and of [`Contact`]s.
//! Each state of all contacts is one network, reduced to islands once and then
//! kept, so that a dimmed lamp swaps between two of them at exact times of the
//! virtual clock. Whenever something changes, fuses and relays are brought to
//! rest first, from the state they are in, on a solution of their own that
//! knows nothing of the probe.
//!
//! Simplifications: a fuse blows at once above twice its rating and never below
//! (a real one blows at 1.35 times after minutes to an hour); a relay acts at once,
//! does not follow a dimmed output or a gap shorter than [`RELAY_FOLLOWS`], and its
//! coil has no inductance; a lamp has its hot resistance whatever it carries.

mod power;
mod wave;

use super::error::BenchError;
use super::island::{Driven, islands, targets};
use super::network::{Element, Netlist};
use super::plant::Wired;
use crate::plan::model::States;
pub(super) use power::{By, Coil, Contact, Knob, Link, Power, Source, To};
use std::collections::{BTreeSet, HashMap};
use std::rc::Rc;
pub(super) use wave::Wave;

/// A fuse blows above this multiple of its rating.
const BLOWS: f64 = 2.0;
/// What is shorter does not let a relay go, ns (common practice: a relay lets go
/// within 2 to 10 ms).
const RELAY_FOLLOWS: f64 = 5e6;
/// From the nodes that fuses and relays are judged by to 0 V, Ω: enough to hold
/// what hangs free, too little to matter.
const HELD: f64 = 1e9;
/// Between the tips of an ordinary multimeter, Ω (common practice).
const METER: f64 = 1e7;
/// States of the contacts that are kept.
const KEPT: usize = 400;

/// How a contact stands.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Stands {
    Open,
    Closed,
    /// A joint in its gap.
    Gap,
}

/// The wiring with all that opens and closes.
pub(super) struct Scene {
    base: Netlist,
    channels: Vec<usize>,
    power: Power,
    /// Nodes that decide on fuses and relays.
    judged: Vec<usize>,
    wired: HashMap<Vec<Stands>, Rc<Wired>>,
    rests: HashMap<Vec<Stands>, Rc<HashMap<usize, f64>>>,
    count: u32,
}

impl Scene {
    pub(super) fn new(base: Netlist, channels: Vec<usize>, power: Power) -> Self {
        let mut judged = BTreeSet::new();
        for contact in power.contacts.iter().filter(|it| it.fuse.is_some()) {
            judged.insert(contact.at);
            if let To::Node(node) = contact.to {
                judged.insert(node);
            }
        }
        for coil in &power.coils {
            judged.extend([coil.ends.0, coil.ends.1]);
        }
        judged.remove(&0);
        Self {
            base,
            channels,
            power,
            judged: judged.into_iter().collect(),
            wired: HashMap::new(),
            rests: HashMap::new(),
            count: 0,
        }
    }

    /// Whether the battery is on.
    pub(super) fn powered(&self) -> bool {
        self.power.on
    }

    /// Brings everything to rest at `now` and gives the islands of that state.
    ///
    /// # Errors
    /// [`BenchError::Chatters`] if a relay does not come to rest,
    /// [`BenchError::NotSolved`].
    pub(super) fn settle(&mut self, now: u64) -> Result<Rc<Wired>, BenchError> {
        self.join(now);
        // Every relay may move once and once more for each other that has moved.
        let most = 2 + self.power.coils.len() * (self.power.coils.len() + 1);
        let mut moves = 0;
        loop {
            let slow = self.stands(now, false);
            let rest = self.rest(&slow)?;
            if let Some(link) = self.overloaded(&slow, &rest) {
                self.power.links[link].blown = true;
                continue;
            }
            let volts = |node: usize| rest.get(&node).copied().unwrap_or(0.0);
            let mut moved = None;
            for coil in &mut self.power.coils {
                let across = (volts(coil.ends.0) - volts(coil.ends.1)).abs();
                let limit = if coil.pulled {
                    coil.releases
                } else {
                    coil.operates
                };
                let pulled = across >= limit;
                if pulled != coil.pulled {
                    coil.pulled = pulled;
                    moved = Some(coil.name.clone());
                }
            }
            let Some(relay) = moved else {
                break;
            };
            moves += 1;
            if moves > most {
                return Err(BenchError::Chatters(relay));
            }
        }
        let stands = self.stands(now, true);
        self.islands(stands)
    }

    /// The next time after `now` at which something opens or closes by itself, ns.
    pub(super) fn next(&self, now: u64) -> Option<u64> {
        let sources = self.power.sources.iter().filter_map(Source::wave);
        let waves = sources.chain(self.power.gaps.iter().copied());
        waves.map(|wave| wave.next(now)).min()
    }

    /// Puts a switch into a state.
    ///
    /// # Errors
    /// [`BenchError::NoSwitch`], [`BenchError::NoState`].
    pub(super) fn set(&mut self, name: &str, state: &str) -> Result<(), BenchError> {
        let known: Vec<&str> = self.power.knobs.iter().map(|it| it.name.as_str()).collect();
        let known = known.join(", ");
        let Some(knob) = self.power.knobs.iter_mut().find(|it| it.name == name) else {
            return Err(BenchError::NoSwitch {
                name: name.to_owned(),
                known,
            });
        };
        if !knob.states.iter().any(|known| known == state) {
            return Err(BenchError::NoState {
                switch: name.to_owned(),
                state: state.to_owned(),
                known: knob.states.join(", "),
            });
        }
        state.clone_into(&mut knob.set);
        Ok(())
    }

    /// Each switch and the state it has been set to.
    pub(super) fn switches(&self) -> impl Iterator<Item = (&str, &str)> {
        let knobs = self.power.knobs.iter();
        knobs.map(|knob| (knob.name.as_str(), knob.set.as_str()))
    }

    /// The fuses that have blown.
    pub(super) fn blown(&self) -> impl Iterator<Item = &str> {
        let blown = self.power.links.iter().filter(|link| link.blown);
        blown.map(|link| link.name.as_str())
    }

    /// Puts a new fuse in.
    pub(super) fn renew(&mut self, name: &str) -> bool {
        let mut found = false;
        for link in self.power.links.iter_mut().filter(|it| it.name == name) {
            link.blown = false;
            found = true;
        }
        found
    }

    /// Whether a relay has pulled in.
    pub(super) fn pulled(&self, relay: &str) -> Option<bool> {
        let mut coils = self.power.coils.iter();
        coils.find(|it| it.name == relay).map(|it| it.pulled)
    }

    /// The node of a place.
    pub(super) fn node(&self, place: &str) -> Option<usize> {
        self.power.places.get(place).copied()
    }

    /// The network as it stands at `now`.
    pub(super) fn present(&self, now: u64) -> Netlist {
        self.netlist(&self.stands(now, true))
    }

    /// What stands on a node with nothing of the probe driven, V.
    ///
    /// # Errors
    /// [`BenchError::NotSolved`].
    pub(super) fn volts(&self, node: usize, now: u64) -> Result<f64, BenchError> {
        let rest = at_rest(self.present(now), &[node])?;
        Ok(rest.get(&node).copied().unwrap_or(0.0))
    }

    /// As [`Scene::volts`], with a multimeter on the node.
    ///
    /// # Errors
    /// [`BenchError::NotSolved`].
    pub(super) fn metered(&self, node: usize, now: u64) -> Result<f64, BenchError> {
        let mut netlist = self.present(now);
        netlist.resistor(node, 0, METER);
        let rest = at_rest(netlist, &[node])?;
        Ok(rest.get(&node).copied().unwrap_or(0.0))
    }

    /// Notes which sources have been joined or let go.
    fn join(&mut self, now: u64) {
        let knobs = &self.power.knobs;
        let is = |name: &str, state: &str| {
            let mut knobs = knobs.iter();
            knobs.any(|knob| knob.name == name && knob.state() == state)
        };
        for source in &mut self.power.sources {
            let mut states = source.plus.iter().chain(&source.chassis);
            if states.any(|states| states.holds(&is)) {
                source.since.get_or_insert(now);
            } else {
                source.since = None;
            }
        }
    }

    /// How the contacts stand at `now`; without `fast`, as relays and fuses feel it.
    fn stands(&self, now: u64, fast: bool) -> Vec<Stands> {
        let power = &self.power;
        let is = |name: &str, state: &str| {
            let mut knobs = power.knobs.iter();
            knobs.any(|knob| knob.name == name && knob.state() == state)
        };
        let lets = |source: &Source, states: &Option<States>| {
            let joined = states.as_ref().is_some_and(|states| states.holds(&is));
            let wave = source.wave().filter(|_| fast || !source.is_fast());
            joined && wave.is_none_or(|wave| wave.is_on(now))
        };
        let closed = |contact: &Contact| match contact.by {
            By::Nothing => true,
            By::Plus(number) => lets(&power.sources[number], &power.sources[number].plus),
            By::Chassis(number) => lets(&power.sources[number], &power.sources[number].chassis),
            By::Switch(number) => {
                let knob = &power.knobs[number];
                knob.closed_in.iter().any(|state| state == knob.state())
            }
            By::Make(number) => power.coils[number].pulled,
            By::Break(number) => !power.coils[number].pulled,
            By::Joint(..) => true,
        };
        let contacts = power.contacts.iter();
        contacts
            .map(|contact| {
                if let By::Joint(gap, _) = contact.by {
                    let wave = power.gaps[gap];
                    let felt = fast || wave.on >= RELAY_FOLLOWS;
                    if felt && wave.is_on(now) {
                        return Stands::Gap;
                    }
                }
                let whole = contact.fuse.is_none_or(|fuse| !power.links[fuse].blown);
                if whole && closed(contact) {
                    Stands::Closed
                } else {
                    Stands::Open
                }
            })
            .collect()
    }

    fn netlist(&self, stands: &[Stands]) -> Netlist {
        let mut netlist = self.base.clone();
        for (contact, stands) in self.power.contacts.iter().zip(stands) {
            let ohms = match (stands, contact.by) {
                (Stands::Closed, _) => contact.ohms,
                (Stands::Gap, By::Joint(_, more)) => contact.ohms + more,
                _ => continue,
            };
            match contact.to {
                To::Node(node) => netlist.resistor(contact.at, node, ohms),
                To::Volts(volts) => netlist.add(Element::Source(contact.at, volts, ohms)),
            }
        }
        netlist
    }

    fn islands(&mut self, stands: Vec<Stands>) -> Result<Rc<Wired>, BenchError> {
        if let Some(known) = self.wired.get(&stands) {
            return Ok(Rc::clone(known));
        }
        let content = islands(&self.netlist(&stands), &self.channels)?;
        let wired = Rc::new(Wired::new(self.count, content, self.channels.len()));
        self.count += 1;
        if self.wired.len() >= KEPT {
            self.wired.clear();
        }
        self.wired.insert(stands, Rc::clone(&wired));
        Ok(wired)
    }

    fn rest(&mut self, stands: &[Stands]) -> Result<Rc<HashMap<usize, f64>>, BenchError> {
        if let Some(known) = self.rests.get(stands) {
            return Ok(Rc::clone(known));
        }
        let rest = Rc::new(at_rest(self.netlist(stands), &self.judged)?);
        if self.rests.len() >= KEPT {
            self.rests.clear();
        }
        self.rests.insert(stands.to_vec(), Rc::clone(&rest));
        Ok(rest)
    }

    /// The fuse that carries most above what it bears.
    fn overloaded(&self, stands: &[Stands], rest: &HashMap<usize, f64>) -> Option<usize> {
        let volts = |node: usize| rest.get(&node).copied().unwrap_or(0.0);
        let contacts = self.power.contacts.iter().zip(stands);
        let carried = contacts.filter_map(|(contact, stands)| {
            let link = contact.fuse.filter(|_| *stands == Stands::Closed)?;
            let other = match contact.to {
                To::Node(node) => volts(node),
                To::Volts(volts) => volts,
            };
            let amperes = ((volts(contact.at) - other) / contact.ohms).abs();
            Some((link, amperes / self.power.links[link].rating))
        });
        let worst = carried.max_by(|a, b| a.1.total_cmp(&b.1))?;
        (worst.1 > BLOWS).then_some(worst.0)
    }
}

/// The static voltages of some nodes of a network.
fn at_rest(mut netlist: Netlist, nodes: &[usize]) -> Result<HashMap<usize, f64>, BenchError> {
    for node in nodes {
        netlist.resistor(*node, 0, HELD);
    }
    let mut rest = HashMap::new();
    for island in islands(&netlist, nodes)? {
        let count = island.ports.len();
        let driven = Driven {
            island: &island,
            drives: vec![None; count],
            sensed: vec![None; count],
            held: true,
        };
        for target in targets(&[driven], None)? {
            rest.extend(island.nodes.iter().copied().zip(target.volts));
        }
    }
    Ok(rest)
}
