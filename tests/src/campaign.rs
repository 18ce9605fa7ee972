//! The campaign: healthy harnesses, every single fault, random pairs and
//! triples, and faults drawn from the stated priors, each rung out through the
//! real firmware library and its frames.
//!
//! [`site`] is a harness at a place; [`draw`] picks what is wrong with it;
//! [`trial`] rings it out; [`journal`] keeps what is over; [`same`] asks the bench's solver whether what was
//! said can be told from what was injected; [`stats`] and [`results`] count,
//! [`goals`] and [`document`] hold the counts against the goals and write them
//! down, [`plot`] draws the calibration.

pub mod document;
pub mod draw;
pub mod goals;
pub mod journal;
pub mod plot;
pub mod results;
pub mod same;
pub mod site;
pub mod stats;
pub mod trial;

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use draw::{from_priors, together};
use journal::{Journal, Key};
use loomproof::fault::Fault;
use results::{Healthy, Judged, SiteResults};
use site::Loaded;
use trial::{Class, Tried, healthy, judged, tried};

/// Runs that go on at the same time.
const THREADS: usize = 2;

/// How much of everything is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scale {
    /// Healthy runs, over all harnesses.
    pub healthy: usize,
    /// Random pairs, over all harnesses.
    pub pairs: usize,
    /// Random triples, over all harnesses.
    pub triples: usize,
    /// Runs with faults drawn from the stated priors, over all harnesses.
    pub drawn: usize,
    /// How-manyth single fault is tried; 0 for none.
    pub every: usize,
    /// The most single faults of one harness; its stride grows until they are
    /// no more.
    pub most: usize,
    /// How-manyth of the covered single faults between is rung out up to the
    /// verdict.
    pub verdicts: usize,
    /// Where all chance starts.
    pub seed: u64,
}

impl Scale {
    /// The `at`th of `of` harnesses' share of a total.
    fn share(total: usize, at: usize, of: usize) -> usize {
        total * (at + 1) / of.max(1) - total * at / of.max(1)
    }

    /// The options of the command that give this scale.
    #[must_use]
    pub fn options(&self) -> String {
        let mut options = format!(
            "--healthy {} --pairs {} --triples {} --drawn {} --singles-every {}",
            self.healthy, self.pairs, self.triples, self.drawn, self.every
        );
        if self.most < usize::MAX {
            options.push_str(&format!(" --singles-most {}", self.most));
        }
        if self.verdicts > 1 {
            options.push_str(&format!(" --verdicts-every {}", self.verdicts));
        }
        if self.seed > 0 {
            options.push_str(&format!(" --seed {}", self.seed));
        }
        options
    }

    /// The stride over a catalogue of so many single faults.
    #[must_use]
    pub fn stride(&self, faults: usize) -> usize {
        self.every.max(faults.div_ceil(self.most.max(1)))
    }
}

/// Runs everything on one harness, the `at`th of `of`, but for what `journal`
/// has kept; tells `done` of each run that is over.
pub fn run_site(
    site: &Loaded,
    scale: &Scale,
    journal: &Journal,
    (at, of): (usize, usize),
    done: impl Fn(&Tried) + Sync,
) -> SiteResults {
    let stride = scale.stride(site.covered.len());
    let singles: Vec<usize> = if scale.every == 0 {
        Vec::new()
    } else {
        (0..site.covered.len()).step_by(stride).collect()
    };
    let key = |kind: &str, seed| Key {
        site: site.site.name(),
        kind: kind.to_owned(),
        seed,
    };
    let caused = |class: Class, faults: &[Fault], covered, seed| {
        let tried = || tried(site, class, faults, covered, seed);
        told(journal.run(key(class.word(), seed), tried), &done)
    };
    let mut runs = each(singles.len(), |k| {
        let covered = &site.covered[singles[k]];
        let class = Class::of_single(&covered.fault);
        let seed = scale.seed.wrapping_add(1_000_001 + singles[k] as u64);
        let one = std::slice::from_ref(&covered.fault);
        Some(caused(class, one, covered.covered, seed))
    });
    let rest: Vec<usize> = (0..site.covered.len())
        .filter(|at| scale.every > 0 && !at.is_multiple_of(stride) && site.covered[*at].covered)
        .step_by(scale.verdicts.max(1))
        .collect();
    let unseen = each(rest.len(), |k| {
        let seed = scale.seed.wrapping_add(1_000_001 + rest[k] as u64);
        let fault = &site.covered[rest[k]].fault;
        journal.run(key("verdict", seed), || judged(site, fault, seed))
    });
    let judged = Judged {
        runs: rest.len(),
        unseen: unseen.into_iter().flatten().collect(),
    };
    let random = |class: Class, total: usize| {
        let draw = |seed: u64| -> Option<Vec<Fault>> {
            match class {
                Class::Pair => together(site, 2, seed),
                Class::Triple => together(site, 3, seed),
                _ => from_priors(site, seed),
            }
        };
        each(Scale::share(total, at, of), |k| {
            let seed = scale.seed.wrapping_add(class.first_seed() + k as u64);
            let faults = draw(seed)?;
            Some(caused(class, &faults, false, seed))
        })
    };
    runs.extend(random(Class::Pair, scale.pairs));
    runs.extend(random(Class::Triple, scale.triples));
    runs.extend(random(Class::Drawn, scale.drawn));
    let count = Scale::share(scale.healthy, at, of);
    let alarms = each(count, |k| {
        let seed = scale.seed.wrapping_add(k as u64);
        journal.run(key("healthy", seed), || healthy(site, seed))
    });
    SiteResults {
        site: site.name(),
        points: site.hookup.clips.len(),
        leads: site.probe_leads,
        wires: site.job.leads.len(),
        catalogue: site.covered.len(),
        covered: site.covered.iter().filter(|c| c.covered).count(),
        stride,
        tried: runs.into_iter().flatten().collect(),
        judged,
        healthy: Healthy {
            runs: count,
            alarms: alarms.into_iter().flatten().collect(),
        },
    }
}

fn told(tried: Tried, done: &(impl Fn(&Tried) + Sync)) -> Tried {
    done(&tried);
    tried
}

/// Runs `work` for 0 to `count` on [`THREADS`] threads; the results come in
/// order, whoever was first.
fn each<T: Send>(count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let results = Mutex::new(BTreeMap::new());
    std::thread::scope(|scope| {
        for _ in 0..THREADS {
            scope.spawn(|| {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    if at >= count {
                        break;
                    }
                    let result = work(at);
                    if let Ok(mut results) = results.lock() {
                        results.insert(at, result);
                    }
                }
            });
        }
    });
    results
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
        .into_values()
        .collect()
}
