//! The campaign: many healthy harnesses, then every fault that a plan allows,
//! each rung out through the real firmware library and its frames.
//!
//! [`Site`] is a plan at a place; [`Site::load`] makes everything that does not
//! change from run to run; [`healthy`] and [`faulty`] carry out the runs on two
//! threads; [`table`] counts them.

pub mod table;

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::{Model, build};
use loomproof::diagnosis::coverage::coverage;
use loomproof::fault::{Fault, catalogue};
use loomproof::hookup::{Hookup, propose};
use loomproof::link::{Link, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::ringout::report::{Report, Verdict};
use loomproof::ringout::verdict::{place_word, report};
use loomproof::ringout::{Outcome, run};
use loomproof_core::wire::{Hello, Place};

use crate::skip::top;

/// Runs that go on at the same time.
const THREADS: usize = 2;

/// The first seed of the faulty runs; healthy runs count from 1.
const FAULT_SEEDS: u64 = 1_000_001;

/// A fixture plan at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Site {
    /// File name of the plan, without its ending.
    pub plan: &'static str,
    /// Bench or vehicle.
    pub place: Place,
}

/// Every site of the campaign.
pub const SITES: &[Site] = &[
    Site::new("bench-64", Place::Bench),
    Site::new("socket-13-pin", Place::Bench),
    Site::new("bakery-van", Place::Bench),
    Site::new("bakery-van", Place::Vehicle),
    Site::new("socket-13-pin", Place::Vehicle),
    Site::new("smallest", Place::Vehicle),
];

impl Site {
    const fn new(plan: &'static str, place: Place) -> Self {
        Self { plan, place }
    }

    /// How the site is called in tables.
    #[must_use]
    pub fn name(self) -> String {
        format!("{} {}", self.plan, place_word(self.place))
    }

    /// Reads the plan with its options at their defaults, and computes what
    /// the hook-up can see.
    ///
    /// # Errors
    /// What is wrong with the plan.
    pub fn load(self) -> Result<Loaded, String> {
        let path = top().join(format!("fixtures/plans/{}.toml", self.plan));
        let plan = Plan::load(&path).map_err(|rejected| rejected.render(false))?;
        let job = plan
            .resolve(&BTreeMap::new())
            .map_err(|problems| plan.render(&problems, false))?;
        let leads = Settings::default().leads;
        let hookup =
            propose(&job, self.place, usize::from(leads)).map_err(|error| error.to_string())?;
        let model = build(&job, &hookup).map_err(|error| error.to_string())?;
        let faults = coverage(&model, &catalogue::all(&job, &hookup))?
            .into_iter()
            .map(|covered| (covered.fault, covered.covered))
            .collect();
        Ok(Loaded {
            site: self,
            job,
            hookup,
            model,
            faults,
        })
    }
}

/// A site, ready to be rung out.
#[derive(Debug)]
pub struct Loaded {
    /// The site.
    pub site: Site,
    /// The plan with its options settled.
    pub job: Job,
    /// Which probe lead sits where.
    pub hookup: Hookup,
    /// The expected circuit.
    pub model: Model,
    /// Every fault that the plan allows, and whether it is said beforehand
    /// that this hook-up shows it.
    pub faults: Vec<(Fault, bool)>,
}

impl Loaded {
    /// Scans a bench with these faults.
    ///
    /// # Errors
    /// What went wrong on the bench or on the way to it.
    pub fn scan(&self, faults: &[Fault], seed: u64) -> Result<(Hello, Outcome), String> {
        let settings = Settings {
            seed,
            ..Settings::default()
        };
        let bench = Bench::new(&self.job, &self.hookup, faults, &settings)
            .map_err(|error| error.to_string())?;
        let mut link = VirtualProbe::new(bench)
            .session()
            .map_err(|error| error.to_string())?;
        let outcome = run::run(&mut link, &self.model, self.site.place, &mut |_| {})
            .map_err(|error| error.to_string())?;
        if let Some(trouble) = link.transport().probe().bench().0.borrow().trouble() {
            return Err(format!("the bench failed: {trouble}"));
        }
        Ok((link.hello().clone(), outcome))
    }

    /// Rings a bench with these faults out, to the report.
    ///
    /// # Errors
    /// What keeps it from a report.
    pub fn ring_out(&self, faults: &[Fault], seed: u64) -> Result<Report, String> {
        let (hello, outcome) = self.scan(faults, seed)?;
        report(&self.job, &self.hookup, &self.model, &hello, &outcome)
    }
}

/// A healthy harness that did not pass.
#[derive(Debug, Clone)]
pub struct FalseAlarm {
    /// Seed of the bench.
    pub seed: u64,
    /// What was said instead.
    pub said: String,
}

/// The outcome of the healthy runs of one site.
#[derive(Debug, Clone)]
pub struct Healthy {
    /// How many there were.
    pub runs: usize,
    /// Those that did not pass.
    pub alarms: Vec<FalseAlarm>,
    /// Wall time.
    pub took: Duration,
}

/// Rings out `runs` healthy harnesses with the seeds 1, 2, 3 …
#[must_use]
pub fn healthy(site: &Loaded, runs: usize) -> Healthy {
    let start = Instant::now();
    let alarms = each(runs, |at| {
        let seed = at as u64 + 1;
        let said = match site.ring_out(&[], seed) {
            Ok(report) if report.verdict == Verdict::Pass => return None,
            Ok(report) => summary(&report),
            Err(error) => error,
        };
        Some(FalseAlarm { seed, said })
    });
    Healthy {
        runs,
        alarms: alarms.into_iter().flatten().collect(),
        took: start.elapsed(),
    }
}

/// What became of one injected fault.
#[derive(Debug, Clone)]
pub struct Tried {
    /// Kind of the fault.
    pub kind: &'static str,
    /// Its spelling.
    pub fault: String,
    /// Seed of the bench.
    pub seed: u64,
    /// Whether it was said beforehand that the hook-up shows it.
    pub covered: bool,
    /// The verdict; `None` when there was none.
    pub verdict: Option<Verdict>,
    /// Whether the best group holds a set of exactly this fault. A live lead:
    /// whether the refusal names its place among those of one level.
    pub named: bool,
    /// Position of the first group that holds it, 0 for the best.
    pub rank: Option<usize>,
    /// Sets in the best group.
    pub group: usize,
    /// What was said.
    pub said: String,
    /// Wall time of scan and diagnosis.
    pub took: Duration,
}

impl Tried {
    /// Whether the verdict is "faults", or for a live lead "refused".
    #[must_use]
    pub fn detected(&self) -> bool {
        let wanted = match self.kind {
            "live" => Verdict::Refused,
            _ => Verdict::Faults,
        };
        self.verdict == Some(wanted)
    }

    /// What is wrong with this try; `None` where it went as it should.
    #[must_use]
    pub fn miss(&self) -> Option<&'static str> {
        match self {
            _ if self.verdict.is_none() => Some("ERROR"),
            _ if self.escaped() => Some("ESCAPE"),
            _ if self.covered && !self.detected() => Some("UNCLEAR"),
            _ if !self.detected() || self.named => None,
            _ if self.kind == "live" => Some("refused with another place"),
            _ if self.rank.is_some() => Some("in a later group"),
            _ => Some("in no group"),
        }
    }

    /// Whether it was to be seen and was passed.
    #[must_use]
    pub fn escaped(&self) -> bool {
        self.covered && self.verdict == Some(Verdict::Pass)
    }
}

/// The outcome of the faulty runs of one site.
#[derive(Debug, Clone)]
pub struct Faulty {
    /// One entry per fault, in the order of the catalogue.
    pub tried: Vec<Tried>,
    /// Wall time.
    pub took: Duration,
}

/// Puts every `every`th fault of the catalogue on the bench, one at a time;
/// tells `done` of each.
pub fn faulty(site: &Loaded, every: usize, done: impl Fn(&Tried) + Sync) -> Faulty {
    let start = Instant::now();
    let chosen: Vec<usize> = (0..site.faults.len()).step_by(every.max(1)).collect();
    let tried = each(chosen.len(), |at| {
        let at = chosen.get(at)?;
        let (fault, covered) = site.faults.get(*at)?;
        let tried = try_fault(site, fault, *covered, FAULT_SEEDS + *at as u64);
        done(&tried);
        Some(tried)
    });
    Faulty {
        tried: tried.into_iter().flatten().collect(),
        took: start.elapsed(),
    }
}

/// Puts one fault on the bench and compares what is said with it.
#[must_use]
pub fn try_fault(site: &Loaded, fault: &Fault, covered: bool, seed: u64) -> Tried {
    let mut tried = Tried {
        kind: fault.kind(),
        fault: fault.to_string(),
        seed,
        covered,
        verdict: None,
        named: false,
        rank: None,
        group: 0,
        said: String::new(),
        took: Duration::ZERO,
    };
    let start = Instant::now();
    match site.ring_out(std::slice::from_ref(fault), seed) {
        Ok(report) => {
            tried.verdict = Some(report.verdict);
            tried.group = report.groups.first().map_or(0, |group| group.sets.len());
            tried.rank = if let Fault::Live(..) = fault {
                names_live(&report, &fault.place()).then_some(0)
            } else {
                let wanted = without_ohms(&tried.fault);
                report.groups.iter().position(|group| {
                    group.sets.iter().any(
                        |set| matches!(set.as_slice(), [one] if without_ohms(&one.fault) == wanted),
                    )
                })
            };
            tried.named = tried.rank == Some(0);
            tried.said = summary(&report);
        }
        Err(error) => tried.said = error,
    }
    tried.took = start.elapsed();
    tried
}

/// A spelling without its ohms: they are estimated, not known.
fn without_ohms(fault: &str) -> &str {
    fault.split(",ohms=").next().unwrap_or(fault)
}

/// Whether a refusal names this place among those that the voltage may come from.
fn names_live(report: &Report, place: &str) -> bool {
    let named = report.groups.first().is_some_and(|group| {
        group
            .sets
            .iter()
            .flatten()
            .any(|fault| fault.kind == "live" && fault.place == place)
    });
    named
        && report
            .refusal
            .as_ref()
            .is_some_and(|refusal| !refusal.say.is_empty())
}

/// Verdict and best group in one line.
#[must_use]
pub fn summary(report: &Report) -> String {
    let mut line = report.verdict.word().to_owned();
    if let Some(refusal) = &report.refusal {
        line.push_str(&format!(": {}", refusal.say));
    }
    for group in report.groups.iter().take(2) {
        let sets: Vec<String> = group
            .sets
            .iter()
            .take(3)
            .map(|set| {
                let names: Vec<&str> = set.iter().map(|fault| fault.fault.as_str()).collect();
                names.join(" + ")
            })
            .collect();
        line.push_str(&format!(
            "; {:.3} of {}{}: {}",
            group.probability,
            group.sets.len(),
            if group.explains_all {
                ""
            } else {
                " (not all explained)"
            },
            sets.join(" | ")
        ));
    }
    for undecided in report.undecided.iter().take(2) {
        line.push_str(&format!("; undecided {}", undecided.place));
    }
    if report.verdict != Verdict::Refused {
        let off: Vec<_> = report
            .readings
            .iter()
            .filter(|reading| reading.verdict != "within")
            .collect();
        line.push_str(&format!("; {} readings off", off.len()));
        for reading in off.iter().take(2) {
            line.push_str(&format!(
                ", {} {} {} {:?}..{:?} sigma {} uV, measured {:?}",
                reading.purpose,
                reading.point,
                reading.verdict,
                reading.expected_low_uv,
                reading.expected_high_uv,
                reading.sigma_uv,
                reading.measured_uv
            ));
        }
    }
    line
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
