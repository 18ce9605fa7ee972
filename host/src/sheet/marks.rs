//! Which cavities the findings of a report bear on, to be marked on the faces.

use std::collections::{BTreeMap, BTreeSet};

use crate::plan::model::{End, Job};
use crate::ringout::findings::Findings;
use crate::ringout::report::{FaultReport, Report};

/// Cavities with the numbers of the findings there.
#[derive(Debug, Default)]
pub(super) struct Marks {
    cavities: BTreeMap<(String, u16), BTreeSet<usize>>,
}

impl Marks {
    /// The marks of a report.
    pub(super) fn of(job: &Job, report: Option<&Report>) -> Self {
        let mut marks = Self::default();
        let best = report
            .filter(|report| !report.lost)
            .and_then(|report| report.groups.first());
        for (at, finding) in best
            .map(Findings::of)
            .unwrap_or_default()
            .list
            .iter()
            .enumerate()
        {
            for fault in &finding.either {
                for cavity in cavities(job, fault) {
                    marks.cavities.entry(cavity).or_default().insert(at + 1);
                }
            }
        }
        marks
    }

    /// The findings at a cavity.
    pub(super) fn at(&self, connector: &str, cavity: u16) -> Vec<usize> {
        let found = self.cavities.get(&(connector.to_owned(), cavity));
        found
            .map(|numbers| numbers.iter().copied().collect())
            .unwrap_or_default()
    }

    /// Whether anything is marked on a connector.
    pub(super) fn on(&self, connector: &str) -> bool {
        self.cavities.keys().any(|(own, _)| own == connector)
    }
}

/// The cavities that a fault is seen at: those that it names, those of the
/// leads, taps and connectors that it names.
fn cavities(job: &Job, fault: &FaultReport) -> BTreeSet<(String, u16)> {
    let mut found = BTreeSet::new();
    let spelling = fault.fault.split_once('@').map_or("", |(_, place)| place);
    for part in spelling.split(',') {
        let name = part.split_once('=').map_or(part, |(_, value)| value);
        if let Some((connector, cavity)) = name.split_once(':')
            && let Ok(cavity) = cavity.parse()
            && job.connectors.iter().any(|own| own.name == connector)
        {
            found.insert((connector.to_owned(), cavity));
            continue;
        }
        for lead in &job.leads {
            for end in [&lead.from, &lead.to] {
                if let End::Cavity(connector, cavity) = end
                    && (lead.name == name || connector == name)
                {
                    found.insert((connector.clone(), *cavity));
                }
            }
        }
        for tap in job.taps.iter().filter(|tap| tap.name == name) {
            let on = job.conductors.iter().find(|own| own.name == tap.on);
            found.extend(on.into_iter().flat_map(|conductor| conductor.at.clone()));
        }
    }
    found
}
