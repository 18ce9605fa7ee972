//! The strongest current through everything, over all states.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use loomproof_core::circuit::{NodeId, Part as Element};
use loomproof_core::units::Ohms;

use super::islands::Setting;
use super::network::What;
use super::part::{Part, WORKS};
use crate::plan::model::{Draw, Sort};

/// A current, and the setting in which it flows.
#[derive(Debug, Clone, Default)]
pub struct Peak {
    /// In amperes, without its direction.
    pub amperes: f64,
    /// When.
    pub setting: Option<Setting>,
}

/// Currents that differ by less are told for the state nearer to rest.
const CLOSE: f64 = 1.01;

impl Peak {
    fn see(&mut self, amperes: f64, setting: &Setting) {
        // A state nearer to rest is kept unless another is worth telling.
        if amperes.abs() > self.amperes * CLOSE + 1e-9 {
            self.amperes = amperes.abs();
            self.setting = Some(setting.clone());
        }
    }
}

/// Peaks of a part.
#[derive(Debug, Clone, Default)]
pub struct Peaks {
    /// Of each branch.
    pub branches: Vec<Peak>,
    /// Of each feed.
    pub feeds: Vec<Peak>,
    /// Inrush of each branch with all filaments cold.
    pub cold: Vec<f64>,
    /// Least voltage across each load that is to be on, by consumer: the
    /// setting, the voltage, and the drop in metal on its route.
    pub served: BTreeMap<usize, (Setting, f64, f64)>,
    /// Islands with a short: what else flows there means nothing.
    pub shorted: BTreeSet<usize>,
}

impl Peaks {
    /// Whether one of two nodes is in an island with a short.
    #[must_use]
    pub fn in_short(&self, part: &Part<'_>, a: NodeId, b: NodeId) -> bool {
        let home = part.with.home(a).or_else(|| part.with.home(b));
        home.is_some_and(|home| self.shorted.contains(&home))
    }
}

/// Times that a load's resistance is matched to its stated current.
const MATCHES: usize = 8;

/// Finds the peaks: first in every state with loads as resistances, then once
/// more in the states that matter with stated currents held.
pub fn peaks(part: &mut Part<'_>) -> Peaks {
    let mut rough = empty(part);
    let searches = std::mem::take(&mut part.searches);
    let mut seen: HashSet<(usize, usize)> = HashSet::new();
    for (cluster, search) in &searches {
        for visit in &search.visits {
            for &home in &cluster.islands {
                let solution = part.with.solve(home, &visit.setting);
                if seen.insert((home, solution)) {
                    let volts = part.with.volts(home, solution).to_vec();
                    add(part, &mut rough, home, &visit.setting, &volts);
                }
            }
        }
    }
    let mut fine = empty(part);
    for home in 0..part.with.list.len() {
        let mut settings: BTreeSet<(Vec<u8>, u128)> = BTreeSet::new();
        let island = &part.with.list[home];
        let branches = island.branches.iter().map(|&at| &rough.branches[at]);
        let feeds = island.feeds.iter().map(|&at| &rough.feeds[at]);
        for setting in branches
            .chain(feeds)
            .filter_map(|peak| peak.setting.as_ref())
        {
            settings.insert((setting.switches.clone(), setting.relays));
        }
        for (switches, relays) in settings {
            let setting = Setting { switches, relays };
            let volts = matched(part, home, &setting, 1.0);
            add(part, &mut fine, home, &setting, &volts);
            let cold = matched(part, home, &setting, 0.1);
            for &at in &part.with.list[home].branches {
                if !setting.lets(&part.with.network.branches[at].gate) {
                    continue;
                }
                let amperes = part.with.current(&cold, at).0.abs();
                fine.cold[at] = fine.cold[at].max(amperes);
            }
        }
    }
    part.searches = searches;
    fine
}

fn empty(part: &Part<'_>) -> Peaks {
    let network = part.with.network;
    Peaks {
        branches: vec![Peak::default(); network.branches.len()],
        feeds: vec![Peak::default(); network.feeds.len()],
        cold: vec![0.0; network.branches.len()],
        served: BTreeMap::new(),
        shorted: BTreeSet::new(),
    }
}

fn add(part: &Part<'_>, peaks: &mut Peaks, home: usize, setting: &Setting, volts: &[f64]) {
    let network = part.with.network;
    let island = &part.with.list[home];
    for &at in &island.branches {
        if setting.lets(&network.branches[at].gate) {
            peaks.branches[at].see(part.with.current(volts, at).0, setting);
        }
    }
    for &at in &island.feeds {
        if setting.lets(&network.feeds[at].gate) {
            peaks.feeds[at].see(part.with.fed(volts, at).0, setting);
        }
    }
    for (number, drawing) in network.drawing.iter().enumerate() {
        let ours = matches!(drawing.what, What::Load(_) | What::Lamp(_));
        if !ours || part.with.home_of(drawing.across) != Some(home) {
            continue;
        }
        let across = part.with.across(volts, drawing.across).0.abs();
        // Where nothing is stated: when it works at all.
        let on = part.wishes[number].on(setting).unwrap_or(true);
        if !on || across < WORKS * part.with.supply.0 {
            continue;
        }
        let route = super::route::through_consumer(&part.with, volts, setting, drawing.across);
        let dropped = super::route::dropped(&route, &part.with, volts);
        let known = peaks.served.get(&number);
        if known.is_none_or(|(_, least, _)| across < *least) {
            peaks
                .served
                .insert(number, (setting.clone(), across, dropped));
        }
    }
}

/// Node voltages with loads of a stated current drawing that current, and
/// filaments at `filament` of their hot resistance.
fn matched(part: &mut Part<'_>, home: usize, setting: &Setting, filament: f64) -> Vec<f64> {
    let job = part.job;
    let network = part.with.network;
    let mut ohms: BTreeMap<usize, f64> = BTreeMap::new();
    let mut currents: BTreeMap<usize, f64> = BTreeMap::new();
    for &at in &part.with.list[home].branches {
        let branch = &network.branches[at];
        let Element::Resistor { ohms: own, .. } = branch.part else {
            continue;
        };
        match branch.what {
            What::Lamp(_) => {
                ohms.insert(at, own.0 * filament);
            }
            What::Load(load) => {
                let load = &job.electrics.loads[load];
                match load.draws {
                    _ if load.sort == Sort::Lamp => {
                        ohms.insert(at, own.0 * filament);
                    }
                    Draw::Current(amperes) => {
                        currents.insert(at, amperes.0);
                    }
                    _ => {}
                }
            }
            _ => {}
        }
    }
    let changed = |ohms: &BTreeMap<usize, f64>, at: usize, own: Element| match ohms.get(&at) {
        Some(&ohms) => Element::Resistor {
            ohms: Ohms(ohms),
            spread: Ohms(0.0),
        },
        None => own,
    };
    let mut volts = part
        .with
        .fresh(home, setting, &|at, own| changed(&ohms, at, own));
    for _ in 0..MATCHES {
        let mut moved = false;
        for (&at, &amperes) in &currents {
            let branch = &network.branches[at];
            let across =
                (part.with.voltage(&volts, branch.a) - part.with.voltage(&volts, branch.b)).abs();
            // A load that gets less than half its voltage is not running.
            if across > WORKS * part.with.supply.0 {
                let wanted = across / amperes;
                moved |= ohms
                    .insert(at, wanted)
                    .is_none_or(|old| (old / wanted - 1.0).abs() > 1e-6);
            }
        }
        if !moved {
            break;
        }
        volts = part
            .with
            .fresh(home, setting, &|at, own| changed(&ohms, at, own));
    }
    volts
}
