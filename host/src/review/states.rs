//! The search over the states of switches and relays.
//!
//! Islands that share a relay, or a function that speaks of both, are one
//! cluster. In each cluster every combination of its switches is visited, and
//! every state of its relays that can be reached by moving one switch at a
//! time from rest: a relay pulls in at one voltage and lets go at a lower one,
//! so the same switches can find it in two states.

use std::collections::{HashMap, HashSet, VecDeque};

use loomproof_core::units::Volts;

use super::covering::{all, pairwise};
use super::islands::{Islands, Setting, bit};
use super::network::{Compiled, What};
use crate::plan::model::{Job, RelayRatings};

/// A 12 V coil operates at 8 V and releases at 1.5 V (mini ISO relay
/// datasheet, "similar to ISO 7588-1", read): as shares of the rated voltage.
const OPERATES: f64 = 8.0 / 12.0;
const RELEASES: f64 = 1.5 / 12.0;

/// The voltages of a relay's coil at 20 °C: rated, operates, releases.
#[must_use]
pub fn coil_volts(job: &Job, relay: usize) -> (Volts, Volts, Volts) {
    let name = &job.relays[relay].name;
    let stated = job.electrics.relays.get(name).copied();
    let ratings: RelayRatings = stated.unwrap_or_default();
    let rated = ratings.volts.unwrap_or(job.supply);
    let operates = ratings.operates.unwrap_or(rated * OPERATES);
    let releases = ratings.releases.unwrap_or(rated * RELEASES);
    (rated, operates, releases)
}

/// Most states of the relays for each combination of switches, on average.
const MEMORY: usize = 4;

/// What is searched together.
#[derive(Debug, Clone, Default)]
pub struct Cluster {
    /// Its islands.
    pub islands: Vec<usize>,
    /// Its switches.
    pub switches: Vec<usize>,
    /// Its relays.
    pub relays: Vec<usize>,
}

/// One state that the vehicle and the harness can be in.
#[derive(Debug, Clone)]
pub struct Visit {
    /// Switches and relays.
    pub setting: Setting,
    /// How many switches are away from rest.
    pub away: usize,
    /// Whether the relays get there when the switches are set from rest, one
    /// after the other in the plan's order; otherwise only by another way.
    pub straight: bool,
}

/// What a search found out.
#[derive(Debug, Clone, Default)]
pub struct Search {
    /// All states, nearest to rest first.
    pub visits: Vec<Visit>,
    /// A state in which a relay pulls in and lets go without end.
    pub chatter: Option<Setting>,
    /// How many combinations of switches there are.
    pub combinations: u128,
    /// Whether all of them were looked at.
    pub complete: bool,
}

/// Groups islands into clusters.
#[must_use]
pub fn clusters(
    islands: &Islands<'_>,
    job: &Job,
    wishes: &[(usize, Vec<Compiled>)],
) -> Vec<Cluster> {
    let coils: HashMap<usize, usize> = islands
        .network
        .branches
        .iter()
        .filter_map(|branch| match branch.what {
            What::Coil(relay) => Some((relay, islands.home(branch.a)?)),
            _ => None,
        })
        .collect();
    let count = islands.list.len();
    let mut home: Vec<usize> = (0..count).collect();
    for (number, island) in islands.list.iter().enumerate() {
        for relay in &island.relays {
            if let Some(&coil) = coils.get(relay) {
                let (from, to) = (home[number].max(home[coil]), home[number].min(home[coil]));
                home.iter_mut()
                    .filter(|h| **h == from)
                    .for_each(|h| *h = to);
            }
        }
    }
    let mut clusters: HashMap<usize, Cluster> = HashMap::new();
    for (number, island) in islands.list.iter().enumerate() {
        let cluster = clusters.entry(home[number]).or_default();
        cluster.islands.push(number);
        cluster.switches.extend(&island.switches);
        cluster.relays.extend(&island.relays);
    }
    for (relay, island) in &coils {
        if let Some(cluster) = clusters.get_mut(&home[*island]) {
            cluster.relays.push(*relay);
        }
    }
    // A function's wish is looked at where its consumers are.
    for (drawing, states) in wishes {
        let across = islands.network.drawing[*drawing].across;
        let at = islands.home_of(across);
        if let Some(cluster) = at.and_then(|at| clusters.get_mut(&home[at])) {
            states
                .iter()
                .for_each(|states| states.switches(&mut cluster.switches));
        }
    }
    let mut clusters: Vec<Cluster> = clusters.into_values().collect();
    for cluster in &mut clusters {
        cluster.switches.sort_unstable();
        cluster.switches.dedup();
        cluster
            .switches
            .retain(|&at| at < job.electrics.switches.len());
        cluster.relays.sort_unstable();
        cluster.relays.dedup();
    }
    clusters.sort_by_key(|cluster| cluster.islands.first().copied());
    clusters
}

/// Where the relays come to rest from a state; `None` when they do not.
fn settle(
    islands: &mut Islands<'_>,
    cluster: &Cluster,
    job: &Job,
    mut setting: Setting,
) -> Result<Setting, Setting> {
    let mut seen = HashSet::new();
    loop {
        let mut relays = setting.relays;
        let network = islands.network;
        for drawing in &network.drawing {
            let What::Coil(relay) = drawing.what else {
                continue;
            };
            if !cluster.relays.contains(&relay) {
                continue;
            }
            let Some(home) = islands.home_of(drawing.across) else {
                continue;
            };
            let solution = islands.solve(home, &setting);
            let volts = islands.across(islands.volts(home, solution), drawing.across);
            let (_, operates, releases) = coil_volts(job, relay);
            if volts.0.abs() >= operates.0 {
                relays |= bit(relay);
            } else if volts.0.abs() < releases.0 {
                relays &= !bit(relay);
            }
        }
        if relays == setting.relays {
            return Ok(setting);
        }
        if !seen.insert(relays) {
            return Err(setting);
        }
        setting.relays = relays;
    }
}

/// Searches the states of a cluster; at most `most` combinations of switches,
/// past that a covering set.
pub fn search(islands: &mut Islands<'_>, cluster: &Cluster, job: &Job, most: usize) -> Search {
    let levels: Vec<usize> = cluster
        .switches
        .iter()
        .map(|&at| job.electrics.switches[at].states.len())
        .collect();
    let rest = Setting {
        switches: vec![0; job.electrics.switches.len()],
        relays: 0,
    };
    let mut found = Search {
        combinations: levels.iter().map(|&level| level as u128).product(),
        ..Search::default()
    };
    let rows = all(&levels, most);
    found.complete = rows.is_some();
    let mut known: HashSet<Setting> = HashSet::new();
    let mut straight: HashSet<Setting> = HashSet::new();
    let mut queue = VecDeque::new();
    for row in rows.unwrap_or_else(|| pairwise(&levels)) {
        let mut setting = rest.clone();
        let mut state = settled(islands, cluster, job, setting.clone(), &mut found);
        for (&switch, &to) in cluster.switches.iter().zip(&row) {
            if to != 0 && !cluster.relays.is_empty() {
                setting.switches[switch] = u8::try_from(to).unwrap_or(0);
                setting.relays = state.relays;
                state = settled(islands, cluster, job, setting.clone(), &mut found);
            } else {
                setting.switches[switch] = u8::try_from(to).unwrap_or(0);
                state.switches[switch] = setting.switches[switch];
            }
        }
        straight.insert(state.clone());
        if known.insert(state.clone()) {
            queue.push_back(state);
        }
    }
    // Without relays nothing remembers: the combinations are the states.
    let room = if found.complete {
        most.saturating_mul(MEMORY)
    } else {
        most
    };
    while let Some(state) = queue.pop_front().filter(|_| !cluster.relays.is_empty()) {
        for (&switch, &level) in cluster.switches.iter().zip(&levels) {
            for to in (0..level).filter_map(|to| u8::try_from(to).ok()) {
                if to == state.switches[switch] {
                    continue;
                }
                let mut next = state.clone();
                next.switches[switch] = to;
                let next = settled(islands, cluster, job, next, &mut found);
                if known.contains(&next) {
                    continue;
                }
                if known.len() >= room {
                    found.complete = false;
                    continue;
                }
                known.insert(next.clone());
                queue.push_back(next);
            }
        }
    }
    found.visits = known
        .into_iter()
        .map(|setting| Visit {
            away: setting.switches.iter().filter(|state| **state != 0).count(),
            straight: straight.contains(&setting),
            setting,
        })
        .collect();
    let order = |visit: &Visit| {
        (
            visit.away,
            visit.setting.switches.clone(),
            !visit.straight,
            visit.setting.relays,
        )
    };
    found.visits.sort_by_cached_key(order);
    found
}

fn settled(
    islands: &mut Islands<'_>,
    cluster: &Cluster,
    job: &Job,
    setting: Setting,
    found: &mut Search,
) -> Setting {
    if cluster.relays.is_empty() {
        return setting;
    }
    settle(islands, cluster, job, setting).unwrap_or_else(|restless| {
        found.chatter.get_or_insert_with(|| restless.clone());
        restless
    })
}
