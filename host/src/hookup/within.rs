//! What is within reach.

use std::collections::BTreeSet;

use super::Point;
use crate::plan::model::{End, Job};

/// The part of a job that can be reached now, before the next panel comes off
/// or goes back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Within {
    /// All of it.
    Everything,
    /// What these names of the plan belong to: connectors, taps, rings, plugs,
    /// parts.
    Only(BTreeSet<String>),
}

impl Within {
    /// What some places hold, each in words that the plan has for it (`kick panel`
    /// is the left one and the right), or by a connector, tap, ring, plug or part
    /// that is there (`X1`); everything where none is named.
    ///
    /// # Errors
    /// A sentence that lists the places there are.
    pub fn of(job: &Job, places: &[String]) -> Result<Self, String> {
        if places.is_empty() {
            return Ok(Self::Everything);
        }
        let known = names(job);
        let mut within = BTreeSet::new();
        for place in places {
            let wanted = place.to_lowercase();
            let there = |name: &String| job.place_of(name).unwrap_or_default().to_lowercase();
            let by_name: Vec<&String> = known.iter().filter(|name| *name == place).collect();
            let mut found = by_name;
            if found.is_empty() && !wanted.trim().is_empty() {
                found = known
                    .iter()
                    .filter(|name| there(name).contains(wanted.trim()))
                    .collect();
            }
            within.extend(found.iter().copied().cloned());
            if found.is_empty() {
                let there: BTreeSet<&str> = known.iter().filter_map(|n| job.place_of(n)).collect();
                let there: Vec<&str> = there.into_iter().collect();
                return Err(format!(
                    "nothing of this plan is at \"{place}\"; give a place of the plan ({}) or the \
                     name of something there ({})",
                    there.join(", "),
                    known.join(", ")
                ));
            }
        }
        Ok(Self::Only(within))
    }

    /// The names within reach; `None` for everything.
    #[must_use]
    pub fn names(&self) -> Option<Vec<&str>> {
        match self {
            Self::Everything => None,
            Self::Only(names) => Some(names.iter().map(String::as_str).collect()),
        }
    }

    /// Whether a point can be reached.
    #[must_use]
    pub fn reaches(&self, point: &Point) -> bool {
        match self {
            Self::Everything => true,
            Self::Only(names) => names.contains(point.part()),
        }
    }
}

impl Point {
    /// What of the plan the point belongs to: a connector, tap, ring, plug or part.
    #[must_use]
    pub fn part(&self) -> &str {
        match self {
            Self::Cavity { connector, .. } => connector,
            Self::Tap(name) | Self::Ring(name) => name,
            Self::Terminal(end) => match end {
                End::Cavity(name, _)
                | End::Tap(name)
                | End::Splice(name)
                | End::Ring(name)
                | End::Plug(name, _, _)
                | End::Part(name, _) => name,
                End::Cap => "",
            },
        }
    }
}

/// Everything that a point can belong to, in the order of the plan.
fn names(job: &Job) -> Vec<String> {
    let connectors = job.connectors.iter().map(|it| &it.name);
    let taps = job.taps.iter().map(|it| &it.name);
    let rings = job.rings.iter().map(|it| &it.name);
    let plugs = job.plugs.iter().map(|it| &it.name);
    let relays = job.relays.iter().map(|it| &it.name);
    let diodes = job.diodes.iter().map(|it| &it.name);
    let lamps = job.lamps.iter().map(|it| &it.name);
    let fuses = job.fuses.iter().map(|it| &it.name);
    let joints = connectors.chain(taps).chain(rings).chain(plugs);
    let parts = relays.chain(diodes).chain(lamps).chain(fuses);
    joints.chain(parts).cloned().collect()
}
