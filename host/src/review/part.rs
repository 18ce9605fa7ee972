//! A job, or a part of one, with its powered network searched: what the rules
//! look at.

use std::collections::BTreeMap;

use super::islands::{Islands, Setting};
use super::network::{Compiled, Drawing, Network, What};
use super::peaks::Peak;
use super::states::{Cluster, Search, clusters, search};
use crate::plan::model::{End, Job, Terminal};

/// A consumer counts as fed above this share of the supply: 1 V of 12 V
/// (common practice: filaments do not glow, relays have let go).
pub const FED: f64 = 1.0 / 12.0;

/// A consumer counts as working above this share of the supply (common
/// practice; the plan's `needs` is looked at apart).
pub const WORKS: f64 = 0.5;

/// When a consumer is to be on.
#[derive(Debug, Clone, Default)]
pub struct Wish {
    /// The functions that it belongs to.
    pub functions: Vec<String>,
    /// Their states; `None` where one of them states none.
    pub on: Option<Vec<Compiled>>,
}

impl Wish {
    /// Whether it is to be on in a setting; `None` where nothing is stated.
    #[must_use]
    pub fn on(&self, setting: &Setting) -> Option<bool> {
        let state = |switch: usize| setting.switches.get(switch).copied().unwrap_or(0);
        let on = self.on.as_ref()?;
        Some(on.iter().any(|states| states.holds(&state)))
    }
}

/// What the rules look at.
pub struct Part<'j> {
    /// The job.
    pub job: &'j Job,
    /// The vehicle with the harness.
    pub with: Islands<'j>,
    /// The vehicle as it was.
    pub without: Islands<'j>,
    /// Clusters of islands and their states.
    pub searches: Vec<(Cluster, Search)>,
    /// One for each thing that draws.
    pub wishes: Vec<Wish>,
}

/// Both networks of a job.
pub struct Networks {
    with: Network,
    without: Network,
}

impl Networks {
    /// Builds them.
    #[must_use]
    pub fn new(job: &Job) -> Self {
        Self {
            with: Network::new(job, true),
            without: Network::new(job, false),
        }
    }
}

/// Whether a function's place is this consumer.
fn belongs(place: &str, drawing: &Drawing, job: &Job) -> bool {
    let at = |terminal: &Terminal| matches!(terminal, Terminal::At(end) if written(end, place));
    match &drawing.what {
        What::Load(load) => {
            let load = &job.electrics.loads[*load];
            load.name == place || at(&load.between.0) || at(&load.between.1)
        }
        What::Lamp(lamp) => {
            let name = &job.lamps[*lamp].name;
            let rest = place.strip_prefix(name.as_str());
            rest.is_some_and(|rest| matches!(rest, "" | ":1" | ":2"))
        }
        What::Own(name) => name == place,
        _ => false,
    }
}

fn written(end: &End, place: &str) -> bool {
    let full = end.to_string();
    full == place || (matches!(end, End::Plug(_, _, 1)) && full.strip_suffix(":1") == Some(place))
}

impl<'j> Part<'j> {
    /// Searches a job's networks; `most` combinations of switches a cluster.
    #[must_use]
    pub fn new(job: &'j Job, networks: &'j Networks, most: usize) -> Self {
        let mut with = Islands::new(&networks.with, job.supply);
        let without = Islands::new(&networks.without, job.supply);
        let drawing = &networks.with.drawing;
        let wishes: Vec<Wish> = drawing.iter().map(|it| wish(it, job)).collect();
        let stated: Vec<(usize, Vec<Compiled>)> = wishes
            .iter()
            .enumerate()
            .filter_map(|(number, wish)| Some((number, wish.on.clone()?)))
            .collect();
        let searches = clusters(&with, job, &stated)
            .into_iter()
            .filter(|cluster| {
                let fed = |&island: &usize| !with.list[island].feeds.is_empty();
                cluster.islands.iter().any(fed) || wished(&with, cluster, &stated)
            })
            .collect::<Vec<_>>();
        let searches = searches
            .into_iter()
            .map(|cluster| {
                let found = search(&mut with, &cluster, job, most);
                (cluster, found)
            })
            .collect();
        Self {
            job,
            with,
            without,
            searches,
            wishes,
        }
    }

    /// The consumers in a cluster.
    #[must_use]
    pub fn drawing_in(&self, cluster: &Cluster) -> Vec<usize> {
        let drawing = self.with.network.drawing.iter().enumerate();
        drawing
            .filter(|(_, it)| {
                let home = self.with.home_of(it.across);
                home.is_some_and(|home| cluster.islands.contains(&home))
            })
            .map(|(number, _)| number)
            .collect()
    }

    /// Voltage across a consumer in a setting, in volts, positive from its
    /// plus side to its minus side.
    pub fn across(&mut self, drawing: usize, setting: &Setting) -> f64 {
        let across = self.with.network.drawing[drawing].across;
        let Some(home) = self.with.home_of(across) else {
            return 0.0;
        };
        let solution = self.with.solve(home, setting);
        self.with.across(self.with.volts(home, solution), across).0
    }

    /// The state in which a current was highest; that at rest where none flows.
    #[must_use]
    pub fn state_at(&self, peak: &Peak) -> BTreeMap<String, String> {
        let setting = peak.setting.as_ref();
        setting
            .map(|setting| self.state(setting))
            .unwrap_or_default()
    }

    /// The switches that are away from rest, in words.
    #[must_use]
    pub fn state(&self, setting: &Setting) -> BTreeMap<String, String> {
        let switches = self.job.electrics.switches.iter().zip(&setting.switches);
        switches
            .filter(|(_, state)| **state != 0)
            .filter_map(|(switch, state)| {
                Some((
                    switch.name.clone(),
                    switch.states.get(usize::from(*state))?.clone(),
                ))
            })
            .collect()
    }
}

fn wished(islands: &Islands<'_>, cluster: &Cluster, stated: &[(usize, Vec<Compiled>)]) -> bool {
    stated.iter().any(|(drawing, _)| {
        let home = islands.home_of(islands.network.drawing[*drawing].across);
        home.is_some_and(|home| cluster.islands.contains(&home))
    })
}

fn wish(drawing: &Drawing, job: &Job) -> Wish {
    let owners = job.functions.iter().filter(|function| {
        function
            .seen_at
            .iter()
            .any(|place| belongs(place, drawing, job))
    });
    let mut wish = Wish::default();
    let mut on = Some(Vec::new());
    for function in owners {
        wish.functions.push(function.name.clone());
        let states = job.electrics.on_when.get(&function.name);
        match (states, &mut on) {
            (Some(states), Some(all)) => all.push(Compiled::new(states, job)),
            _ => on = None,
        }
    }
    wish.on = on.filter(|all| !all.is_empty());
    wish
}

/// "with ignition = on, brake = off", or "with every switch at rest".
#[must_use]
pub fn state_words(state: &BTreeMap<String, String>) -> String {
    if state.is_empty() {
        return "with every switch at rest".to_owned();
    }
    let parts: Vec<String> = state.iter().map(|(k, v)| format!("{k} = {v}")).collect();
    format!("with {}", parts.join(", "))
}
