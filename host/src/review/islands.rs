//! The network's islands, solved for each state that matters to them.

use std::collections::HashMap;

use loomproof_core::circuit::{Element, GROUND, MAX_NODES, NodeId, Part};
use loomproof_core::solve::{Attachment, Corner, SolveError, Workspace, island, room};
use loomproof_core::units::{Amperes, Ohms, Volts};

use super::network::{Across, Gate, Network, through};

/// What hangs together, chassis and battery plus aside.
#[derive(Debug, Default)]
pub struct Island {
    /// Its nodes.
    pub nodes: Vec<NodeId>,
    /// Its branches.
    pub branches: Vec<usize>,
    /// Its feeds.
    pub feeds: Vec<usize>,
    /// Switches that change it.
    pub switches: Vec<usize>,
    /// Relays whose contacts change it.
    pub relays: Vec<usize>,
    known: HashMap<(Vec<u8>, u128), usize>,
    solved: Vec<Vec<f64>>,
}

/// A network with its islands and what is known of them.
pub struct Islands<'n> {
    /// The network.
    pub network: &'n Network,
    /// Nominal supply.
    pub supply: Volts,
    /// The islands.
    pub list: Vec<Island>,
    /// Island of each node.
    pub of_node: Vec<usize>,
    /// Place of each node in its island.
    slot: Vec<usize>,
    work: Box<Workspace<Vec<f64>>>,
    /// How many times equations were solved.
    pub solves: usize,
    /// Why a state could not be solved, if any.
    pub trouble: Option<SolveError>,
}

/// A state of the switches (all of the job) and the relays (a bit each).
#[derive(Debug, Default, Clone, PartialEq, Eq, Hash)]
pub struct Setting {
    /// State of each switch.
    pub switches: Vec<u8>,
    /// Pulled-in relays; see [`bit`].
    pub relays: u128,
}

impl Setting {
    /// Whether a gate is open in this setting.
    #[must_use]
    pub fn lets(&self, gate: &Gate) -> bool {
        match gate {
            Gate::Open => true,
            Gate::States(states) => {
                states.holds(&|switch| self.switches.get(switch).copied().unwrap_or(0))
            }
            Gate::Relay(relay, pulled) => (self.relays & bit(*relay) != 0) == *pulled,
        }
    }
}

/// The bit of a relay. Relays past the 128th of one part of a plan are taken
/// as let go.
#[must_use]
pub fn bit(relay: usize) -> u128 {
    u32::try_from(relay)
        .ok()
        .and_then(|by| 1_u128.checked_shl(by))
        .unwrap_or(0)
}

fn root(forest: &mut [usize], mut at: usize) -> usize {
    while forest[at] != at {
        forest[at] = forest[forest[at]];
        at = forest[at];
    }
    at
}

impl<'n> Islands<'n> {
    /// Finds the islands.
    #[must_use]
    pub fn new(network: &'n Network, supply: Volts) -> Self {
        let count = usize::from(network.nodes);
        let mut forest: Vec<usize> = (0..count).collect();
        for branch in &network.branches {
            if branch.a != GROUND && branch.b != GROUND {
                let a = root(&mut forest, usize::from(branch.a.0));
                let b = root(&mut forest, usize::from(branch.b.0));
                forest[a.max(b)] = a.min(b);
            }
        }
        let mut list: Vec<Island> = Vec::new();
        let mut number = vec![usize::MAX; count];
        let mut of_node = vec![usize::MAX; count];
        let mut slot = vec![0; count];
        for node in 1..count {
            let home = root(&mut forest, node);
            if number[home] == usize::MAX {
                number[home] = list.len();
                list.push(Island::default());
            }
            of_node[node] = number[home];
            let island = &mut list[number[home]];
            slot[node] = island.nodes.len();
            island
                .nodes
                .push(NodeId(u16::try_from(node).unwrap_or(u16::MAX)));
        }
        let mut islands = Self {
            network,
            supply,
            list,
            of_node,
            slot,
            work: Box::new(Workspace::new(Vec::new())),
            solves: 0,
            trouble: None,
        };
        for (number, branch) in network.branches.iter().enumerate() {
            let inner = if branch.a == GROUND {
                branch.b
            } else {
                branch.a
            };
            if let Some(island) = islands.home_mut(inner) {
                island.branches.push(number);
                note(&branch.gate, island);
            }
        }
        for (number, feed) in network.feeds.iter().enumerate() {
            if let Some(island) = islands.home_mut(feed.node) {
                island.feeds.push(number);
                note(&feed.gate, island);
            }
        }
        let most = islands.list.iter().map(|island| island.nodes.len()).max();
        islands.work = Box::new(Workspace::new(vec![
            0.0;
            room(most.unwrap_or(0).min(MAX_NODES))
        ]));
        islands
    }

    fn home_mut(&mut self, node: NodeId) -> Option<&mut Island> {
        let number = *self.of_node.get(usize::from(node.0))?;
        self.list.get_mut(number)
    }

    /// The island of a node; `None` for chassis.
    #[must_use]
    pub fn home(&self, node: NodeId) -> Option<usize> {
        let number = *self.of_node.get(usize::from(node.0))?;
        (number < self.list.len()).then_some(number)
    }

    /// The island that a consumer belongs to.
    #[must_use]
    pub fn home_of(&self, across: Across) -> Option<usize> {
        match across {
            Across::Branch(branch) => {
                let branch = &self.network.branches[branch];
                self.home(branch.a).or_else(|| self.home(branch.b))
            }
            Across::Feed(feed) => self.home(self.network.feeds[feed].node),
        }
    }

    /// Solves an island in a setting, unless that was done before.
    pub fn solve(&mut self, number: usize, setting: &Setting) -> usize {
        let island = &self.list[number];
        let switches = island
            .switches
            .iter()
            .map(|&at| setting.switches[at])
            .collect();
        let relays = island
            .relays
            .iter()
            .fold(0, |bits, &at| bits | setting.relays & bit(at));
        let key = (switches, relays);
        if let Some(known) = island.known.get(&key) {
            return *known;
        }
        let volts = self.fresh(number, setting, &|_, part| part);
        let island = &mut self.list[number];
        island.solved.push(volts);
        island.known.insert(key, island.solved.len() - 1);
        island.solved.len() - 1
    }

    /// Solves an island with its parts changed by `change`; node voltages in
    /// the order of its nodes.
    pub fn fresh(
        &mut self,
        number: usize,
        setting: &Setting,
        change: &dyn Fn(usize, Part) -> Part,
    ) -> Vec<f64> {
        self.solves += 1;
        let island_here = &self.list[number];
        let network = self.network;
        let elements: Vec<Element> = island_here
            .branches
            .iter()
            .map(|&at| (at, &network.branches[at]))
            .filter(|(_, branch)| setting.lets(&branch.gate))
            .map(|(at, branch)| Element {
                a: self.own(branch.a),
                b: self.own(branch.b),
                part: change(at, branch.part),
            })
            .collect();
        let attachments: Vec<Attachment> = island_here
            .feeds
            .iter()
            .map(|&at| &network.feeds[at])
            .filter(|feed| setting.lets(&feed.gate))
            .map(|feed| Attachment {
                node: self.own(feed.node),
                volts: self.supply,
                ohms: feed.ohms,
                spread: Ohms(0.0),
            })
            .collect();
        let mut volts = vec![f64::NAN; island_here.nodes.len()];
        for at in 0..volts.len() {
            if !volts[at].is_nan() {
                continue;
            }
            let start = self.own(island_here.nodes[at]);
            match island(
                &mut *self.work,
                &elements,
                &attachments,
                start,
                Corner::Least,
            ) {
                Ok(part) => {
                    for (number, slot) in (1..).zip(volts.iter_mut()) {
                        if part.contains(NodeId(number)) {
                            *slot = part.volts(NodeId(number)).0;
                        }
                    }
                }
                Err(error) => {
                    self.trouble = Some(error);
                    volts[at] = 0.0;
                }
            }
        }
        volts
    }

    /// A node by its number in its island: core's solver takes fewer nodes than
    /// a whole plan may have.
    fn own(&self, node: NodeId) -> NodeId {
        if node == GROUND {
            return GROUND;
        }
        let slot = self.slot.get(usize::from(node.0)).copied().unwrap_or(0);
        NodeId(u16::try_from(slot + 1).unwrap_or(u16::MAX))
    }

    /// Voltage of a node in a solution of its island.
    #[must_use]
    pub fn voltage(&self, volts: &[f64], node: NodeId) -> f64 {
        if node == GROUND {
            return 0.0;
        }
        let slot = self.slot.get(usize::from(node.0));
        slot.and_then(|slot| volts.get(*slot))
            .copied()
            .unwrap_or(0.0)
    }

    /// Node voltages of a solution.
    #[must_use]
    pub fn volts(&self, number: usize, solution: usize) -> &[f64] {
        &self.list[number].solved[solution]
    }

    /// Voltage across a consumer: positive from its first side to its second.
    #[must_use]
    pub fn across(&self, volts: &[f64], across: Across) -> Volts {
        Volts(match across {
            Across::Branch(branch) => {
                let branch = &self.network.branches[branch];
                self.voltage(volts, branch.a) - self.voltage(volts, branch.b)
            }
            Across::Feed(feed) => {
                self.supply.0 - self.voltage(volts, self.network.feeds[feed].node)
            }
        })
    }

    /// Current through a branch from its first node to its second.
    #[must_use]
    pub fn current(&self, volts: &[f64], branch: usize) -> Amperes {
        let branch = &self.network.branches[branch];
        let across = self.voltage(volts, branch.a) - self.voltage(volts, branch.b);
        through(&branch.part, Volts(across))
    }

    /// Current out of a feed into the network.
    #[must_use]
    pub fn fed(&self, volts: &[f64], feed: usize) -> Amperes {
        let feed = &self.network.feeds[feed];
        Amperes((self.supply.0 - self.voltage(volts, feed.node)) / feed.ohms.0)
    }
}

/// Notes what changes an island.
fn note(gate: &Gate, island: &mut Island) {
    match gate {
        Gate::Open => {}
        Gate::States(states) => {
            let mut switches = Vec::new();
            states.switches(&mut switches);
            for switch in switches {
                if !island.switches.contains(&switch) {
                    island.switches.push(switch);
                }
            }
        }
        Gate::Relay(relay, _) => {
            if !island.relays.contains(relay) {
                island.relays.push(*relay);
            }
        }
    }
}
