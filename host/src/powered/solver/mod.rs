//! Brings relays and fuses to rest and says what the probe reads.

mod now;
mod rest;
mod scope;

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::rc::Rc;

use foldhash::fast::FixedState;
use loomproof_core::circuit::{GROUND, MAX_NODES, NodeId};
use loomproof_core::instrument::{PROTECTION, PULL, REFERENCE, WIDE_LEG};
use loomproof_core::solve::{Attachment, Corner, SolveError, Workspace, island, room};
use loomproof_core::units::{Ohms, Volts};

use super::causes::Scenario;
use super::wiring::Powered;
use super::{HIGH, LOW};
use crate::plan::model::Signal;
use crate::review::elements::Gate;
use now::Now;
pub use rest::Settled;
pub use scope::{Cluster, Scope};

/// The least and the most that a reading can be, by what is not known of loads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Least voltage.
    pub least: Volts,
    /// Greatest voltage.
    pub most: Volts,
    /// One standard deviation, by the spreads of the parts.
    pub sigma: Volts,
}

impl Level {
    /// The middle of it.
    #[must_use]
    pub fn middle(&self) -> Volts {
        (self.least + self.most) * 0.5
    }

    /// What lies in this level, in another, or in between.
    fn or(&self, other: &Self) -> Self {
        Self {
            least: Volts(self.least.0.min(other.least.0)),
            most: Volts(self.most.0.max(other.most.0)),
            sigma: Volts(self.sigma.0.max(other.sigma.0)),
        }
    }
}

/// What the probe would read at a test point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shown {
    /// The plan does not say what a conductor of this net does.
    Unknown,
    /// This.
    Known {
        /// While everything that flashes or is dimmed is on.
        on: Level,
        /// While it is off; the same where nothing flashes.
        off: Level,
        /// Behind the weak pull to 3.3 V, where the other readings are low enough
        /// for it: 3.3 V where nothing holds the point.
        pulled: Option<Level>,
        /// How it changes by itself.
        signal: Signal,
    },
}

/// Levels that are farther apart than this are two.
const CHANGES: Volts = Volts(0.5);

/// Below this the weak pull is tried (`docs/wire-format.md`, Feel).
const PULLABLE: f64 = 2.8;

/// What an ordinary multimeter puts between its tips (common practice).
pub const METER: Ohms = Ohms(1e7);

/// On a net with diodes more than this seen from a point is no straight line under the
/// weak pull: 33 µA through it are 0.3 V.
const BENT: Ohms = Ohms(10_000.0);

/// Solved islands by digest and corner.
type Known = HashMap<(u64, bool), HashMap<NodeId, Spot>>;

/// So many solved islands are remembered, and as many of those before them: a search
/// meets hundreds of thousands, few of them twice.
const MOST_KNOWN: usize = 8_192;

/// Solves the powered job, and remembers what was solved.
pub struct Solver<'p> {
    powered: &'p Powered,
    clusters: BTreeMap<NodeId, Cluster>,
    scopes: HashMap<Vec<Cluster>, Rc<Scope>>,
    battery: Volts,
    work: Box<Workspace<Vec<f64>>>,
    hasher: FixedState,
    /// The points of the probe.
    tips: BTreeSet<NodeId>,
    known: Known,
    /// What was known before that became too much.
    older: Known,
    /// How many times equations were solved.
    pub solves: usize,
}

/// A node with nothing of the probe on it.
#[derive(Debug, Clone, Copy)]
struct Spot {
    volts: f64,
    /// One standard deviation, by the spreads of the parts.
    sigma: f64,
    /// The resistance that is seen from there.
    seen: Ohms,
}

impl Spot {
    const CHASSIS: Self = Self {
        volts: 0.0,
        sigma: 0.0,
        seen: Ohms(0.0),
    };

    /// The voltage with a source behind a resistance hung on it.
    fn with(&self, volts: Volts, ohms: Ohms) -> f64 {
        if self.seen.0.is_infinite() {
            return volts.0;
        }
        self.volts + (volts.0 - self.volts) * self.seen.0 / (self.seen.0 + ohms.0)
    }
}

impl<'p> Solver<'p> {
    /// A solver for a battery of this voltage.
    #[must_use]
    pub fn new(powered: &'p Powered, battery: Volts) -> Self {
        let nodes = powered.model.circuit.nodes().min(MAX_NODES);
        Self {
            clusters: Self::clusters(powered),
            scopes: HashMap::new(),
            powered,
            battery,
            work: Box::new(Workspace::new(vec![0.0; room(nodes)])),
            tips: powered.points.iter().map(|point| point.tip).collect(),
            hasher: FixedState::with_seed(17),
            known: Known::new(),
            older: Known::new(),
            solves: 0,
        }
    }

    /// From now on the battery has this voltage.
    pub fn set_battery(&mut self, battery: Volts) {
        self.battery = battery;
    }

    /// The job that is solved.
    #[must_use]
    pub fn powered(&self) -> &'p Powered {
        self.powered
    }

    /// Whether a gate lets in a state.
    fn lets(settled: &Settled, gate: &Gate) -> bool {
        settled.setting.lets(gate)
    }

    /// A node of the circuit in one state.
    fn spot(&mut self, now: &Now, node: NodeId, corner: Corner) -> Result<Spot, SolveError> {
        let Some(place) = now.island(node) else {
            return Ok(Spot::CHASSIS);
        };
        let most = now.ranged[place] && corner == Corner::Most;
        let key = (now.digest[place], most);
        if let Some(spot) = self.remembered(key, node) {
            return Ok(spot);
        }
        self.solves += 1;
        let ties = &now.ties[place];
        let mut solved = island(&mut *self.work, &now.elements[place], ties, node, corner)?;
        let ends = now.elements[place].iter().flat_map(|e| [e.a, e.b]);
        let mut all = HashMap::new();
        for other in ends.chain([node]).filter(|node| *node != GROUND) {
            all.entry(other).or_insert_with(|| {
                let (variance, seen) = if self.tips.contains(&other) {
                    let depends = solved.sensitivity(ties, other, None);
                    (depends.variance, depends.seen)
                } else {
                    (0.0, Ohms(0.0))
                };
                Spot {
                    volts: solved.volts(other).0,
                    sigma: variance.sqrt(),
                    seen,
                }
            });
        }
        let spot = all.get(&node).copied().unwrap_or(Spot::CHASSIS);
        self.keep(key, all);
        Ok(spot)
    }

    /// A node of an island that was solved before.
    fn remembered(&mut self, key: (u64, bool), node: NodeId) -> Option<Spot> {
        if let Some(all) = self.known.get(&key) {
            return all.get(&node).copied();
        }
        let all = self.older.remove(&key)?;
        let spot = all.get(&node).copied();
        self.keep(key, all);
        spot
    }

    fn keep(&mut self, key: (u64, bool), island: HashMap<NodeId, Spot>) {
        if self.known.len() >= MOST_KNOWN {
            self.older = std::mem::take(&mut self.known);
        }
        self.known.insert(key, island);
    }

    fn voltage(&mut self, now: &Now, node: NodeId, corner: Corner) -> Result<f64, SolveError> {
        Ok(self.spot(now, node, corner)?.volts)
    }

    /// What the probe reads at every point of a scope, in the order of
    /// [`Scope::points`].
    ///
    /// # Errors
    /// [`SolveError`] when the circuit cannot be solved.
    pub fn shown(
        &mut self,
        scope: &Scope,
        scenario: &Scenario,
        settled: &Settled,
    ) -> Result<Vec<Shown>, SolveError> {
        let on = self.now(scope, scenario, settled, true);
        let modulated: Vec<(NodeId, Signal)> = self
            .powered
            .feeds
            .iter()
            .filter(|feed| feed.signal != Signal::Steady && Self::lets(settled, &feed.gate))
            .map(|feed| (feed.node, feed.signal))
            .chain(self.powered.modulated.iter().filter_map(|(id, signal)| {
                let there = self.powered.gates.get(id);
                let element = self
                    .powered
                    .model
                    .circuit
                    .edited_element(*id, &scenario.edits)?;
                there
                    .is_none_or(|gate| Self::lets(settled, gate))
                    .then_some((element.a, *signal))
            }))
            .collect();
        let off = (!modulated.is_empty()).then(|| self.now(scope, scenario, settled, false));
        let powered = self.powered;
        let mut all = Vec::with_capacity(scope.points.len());
        for touched in scope.points.iter().filter_map(|at| powered.points.get(*at)) {
            // A clip that was moved reads where it sits: from its own tip.
            let node = touched.tip;
            if on.island(node).is_some_and(|place| on.unknown[place]) {
                all.push(Shown::Unknown);
                continue;
            }
            let high = self.looked(&on, node)?;
            let low = match &off {
                Some(off) => self.looked(off, node)?,
                None => high,
            };
            let changes = (high.middle().0 - low.middle().0).abs() > CHANGES.0;
            let top = high.most.0.max(low.most.0);
            let bottom = high.least.0.min(low.least.0);
            // Nobody knows in which phase the pull is tried.
            let pulled = if top < PULLABLE && bottom > -0.3 && !changes {
                self.pulled(&on, node)?
            } else {
                None
            };
            let (high, low, signal) = if changes && self.counts(&high, &low) {
                let own = on.island(node);
                let mut sources = modulated.iter();
                let source = sources
                    .find(|(feed, _)| on.island(*feed) == own)
                    .or(modulated.first());
                (
                    high,
                    low,
                    source.map_or(Signal::Steady, |(_, signal)| *signal),
                )
            } else if changes {
                let either = high.or(&low);
                (either, either, Signal::Steady)
            } else {
                (high, low, Signal::Steady)
            };
            all.push(Shown::Known {
                on: high,
                off: low,
                pulled,
                signal,
            });
        }
        Ok(all)
    }

    /// Whether the probe counts a change between two levels as one from off to on and
    /// back; else it takes a point for steady, somewhere in between.
    fn counts(&self, one: &Level, other: &Level) -> bool {
        let (low, high) = (self.battery.0 * LOW, self.battery.0 * HIGH);
        let middles = [one.middle().0, other.middle().0];
        middles.iter().any(|it| *it < low) && middles.iter().any(|it| *it > high)
    }

    /// What a meter of 10 MΩ shows at nodes of a scope, while what flashes is on; `None`
    /// where the plan does not say what a conductor of that net does.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit cannot be solved.
    pub fn metered(
        &mut self,
        scope: &Scope,
        scenario: &Scenario,
        settled: &Settled,
        nodes: &[NodeId],
    ) -> Result<Vec<Option<Level>>, SolveError> {
        let mut now = self.now(scope, scenario, settled, true);
        let held = now.held();
        let mut all = Vec::with_capacity(nodes.len());
        for node in nodes.iter().copied() {
            if now.island(node).is_some_and(|place| now.unknown[place]) {
                all.push(None);
                continue;
            }
            let place = now.island(node);
            let loose = place.filter(|_| !held.get(usize::from(node.0)).is_some_and(|it| *it));
            // Only a node that hangs on blocked diodes feels the meter.
            let before = loose.map(|place| (place, now.digest[place]));
            if let Some((place, digest)) = before {
                now.ties[place].push(Attachment {
                    node,
                    volts: Volts(0.0),
                    ohms: METER,
                    spread: Ohms(0.0),
                });
                now.digest[place] = self.digest(&now, place) ^ digest.rotate_left(1);
            }
            let (least, most) = self.corners(&now, node)?;
            if let Some((place, digest)) = before {
                now.ties[place].pop();
                now.digest[place] = digest;
            }
            all.push(Some(Level {
                least: Volts(least.volts.min(most.volts)),
                most: Volts(least.volts.max(most.volts)),
                sigma: Volts(least.sigma.max(most.sigma)),
            }));
        }
        Ok(all)
    }

    /// What a look through the wide divider shows: between the voltage that the
    /// divider leaves and the one without it, since a look is short and wiring with a
    /// capacitor on it hardly moves in that time.
    fn looked(&mut self, now: &Now, node: NodeId) -> Result<Level, SolveError> {
        let (least, most) = self.corners(now, node)?;
        let wide = |spot: &Spot| spot.with(Volts(0.0), PROTECTION + WIDE_LEG);
        let all = [least.volts, most.volts, wide(&least), wide(&most)];
        Ok(Level {
            least: Volts(all.into_iter().fold(f64::INFINITY, f64::min)),
            most: Volts(all.into_iter().fold(f64::NEG_INFINITY, f64::max)),
            sigma: Volts(least.sigma.max(most.sigma)),
        })
    }

    /// What is read behind the weak pull up; `None` where diodes would bend it.
    fn pulled(&mut self, now: &Now, node: NodeId) -> Result<Option<Level>, SolveError> {
        let (least, most) = self.corners(now, node)?;
        let bent = now.island(node).is_some_and(|place| now.diodes[place]);
        if bent && most.seen.0 > BENT.0 {
            return Ok(None);
        }
        // The sense bus is read, between the pull and the protection resistor.
        let up = |spot: &Spot| {
            let lead = spot.with(REFERENCE, PROTECTION + PULL);
            lead + (REFERENCE.0 - lead) * PROTECTION.0 / (PROTECTION.0 + PULL.0)
        };
        let (one, other) = (up(&least), up(&most));
        Ok(Some(Level {
            least: Volts(one.min(other)),
            most: Volts(one.max(other)),
            sigma: Volts(least.sigma.max(most.sigma)),
        }))
    }

    fn corners(&mut self, now: &Now, node: NodeId) -> Result<(Spot, Spot), SolveError> {
        let least = self.spot(now, node, Corner::Least)?;
        let most = self.spot(now, node, Corner::Most)?;
        Ok((least, most))
    }
}
