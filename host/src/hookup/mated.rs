//! Which connectors of the vehicle are pulled apart and which are plugged while
//! a hook-up is rung out.

use std::collections::BTreeSet;

use loomproof_core::wire::Place;

use super::Within;
use crate::diagnosis::words::Speaker;
use crate::plan::model::{Halves, Job};

/// The connectors of which the plan says how their halves are; of others it
/// takes for granted that what is said to hang on conductors hangs there.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Mated {
    /// Pulled apart: what is behind them is not there.
    pub open: BTreeSet<String>,
    /// Plugged: what is behind them is there.
    pub plugged: BTreeSet<String>,
}

impl Mated {
    /// By the plan, while these are rung out: connectors, taps, rings, plugs or
    /// parts, by name. On the bench the vehicle is not there.
    ///
    /// What the plan says of a place by name counts before what it says of all.
    /// Where one of the places needs a connector open, it is open for them all:
    /// what hangs behind it could hide something there.
    #[must_use]
    pub fn of<'n>(job: &Job, place: Place, rung: impl IntoIterator<Item = &'n str>) -> Self {
        let mut mated = Self::default();
        if place == Place::Bench {
            return mated;
        }
        let rung: BTreeSet<&str> = rung.into_iter().collect();
        for connector in &job.connectors {
            let halves = &connector.halves;
            if *halves == Halves::default() {
                continue;
            }
            let open = Named::of(job, &halves.open_for);
            let plugged = Named::of(job, &halves.plugged_for);
            let one = |name: &&str| match () {
                () if open.names.contains(*name) => Some(true),
                () if plugged.names.contains(*name) => Some(false),
                () if open.all => Some(true),
                () if plugged.all => Some(false),
                () => None,
            };
            let said: Vec<bool> = rung.iter().filter_map(one).collect();
            if said.contains(&true) {
                mated.open.insert(connector.name.clone());
            } else if !said.is_empty() {
                mated.plugged.insert(connector.name.clone());
            }
        }
        mated
    }

    /// What to see to before the test, a sentence for each state.
    #[must_use]
    pub fn to_do(&self, job: &Job) -> Vec<String> {
        let speaker = Speaker::new(job);
        let list = |names: &BTreeSet<String>| -> String {
            let each: Vec<String> = names.iter().map(|name| speaker.connector(name)).collect();
            each.join(", ")
        };
        let open = format!("Has to be open (pull it apart): {}.", list(&self.open));
        let plugged = format!("Has to be plugged: {}.", list(&self.plugged));
        let both = [(&self.open, open), (&self.plugged, plugged)];
        let said = both.into_iter().filter(|(names, _)| !names.is_empty());
        said.map(|(_, say)| say).collect()
    }

    /// Whether the plan says nothing of any connector.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.open.is_empty() && self.plugged.is_empty()
    }
}

/// What some entries of [`Halves`] name.
struct Named {
    all: bool,
    names: BTreeSet<String>,
}

impl Named {
    fn of(job: &Job, places: &[String]) -> Self {
        let mut named = Self {
            all: false,
            names: BTreeSet::new(),
        };
        for place in places {
            if place == Halves::ALL {
                named.all = true;
            } else if let Ok(Within::Only(names)) = Within::of(job, std::slice::from_ref(place)) {
                // A place that is not there in this variant is not rung out.
                named.names.extend(names);
            }
        }
        named
    }
}
