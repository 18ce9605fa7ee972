//! One run, and what became of it.

use std::time::{Duration, Instant};

use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::ringout::Outcome;
use loomproof::ringout::report::{FaultReport, Report, Verdict};
use loomproof_core::scan::Planned;
use loomproof_core::units::Ohms;
use serde::{Deserialize, Serialize};

use super::draw::WHOLE_CONNECTOR;
use super::same::{Gap, Referee, severity};
use super::site::Loaded;

/// What kind of run it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Class {
    /// One fault.
    Single,
    /// One mistake with a whole connector.
    Whole,
    /// A voltage before the test.
    Live,
    /// Two random faults.
    Pair,
    /// Three random faults.
    Triple,
    /// Faults drawn from the stated priors.
    Drawn,
}

impl Class {
    /// Every class, in the order of the tables.
    pub const ALL: [Self; 6] = [
        Self::Single,
        Self::Whole,
        Self::Live,
        Self::Pair,
        Self::Triple,
        Self::Drawn,
    ];

    /// The class of a single fault.
    #[must_use]
    pub fn of_single(fault: &Fault) -> Self {
        match fault.kind() {
            "live" => Self::Live,
            kind if WHOLE_CONNECTOR.contains(&kind) => Self::Whole,
            _ => Self::Single,
        }
    }

    /// The seed of the class's first run; healthy runs count from 0, single
    /// faults from 1,000,001 by their place in the catalogue.
    #[must_use]
    pub fn first_seed(self) -> u64 {
        match self {
            Self::Single | Self::Whole | Self::Live => 1_000_001,
            Self::Pair => 2_000_001,
            Self::Triple => 3_000_001,
            Self::Drawn => 4_000_001,
        }
    }

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Whole => "whole connector",
            Self::Live => "live",
            Self::Pair => "pair",
            Self::Triple => "triple",
            Self::Drawn => "drawn from the priors",
        }
    }
}

/// What the best group has to do with what was injected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Right {
    /// It holds exactly the injected set.
    Named,
    /// It holds a set that no reading tells from the injected one.
    Same,
    /// Neither.
    No,
}

/// The severity of a lead that carries a voltage, σ: beyond any reading.
const BEYOND: f64 = 1e9;

/// What became of a run with faults.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Tried {
    /// What kind of run it is.
    pub class: Class,
    /// Kinds of the faults.
    pub kinds: Vec<String>,
    /// Their spellings.
    pub spelled: Vec<String>,
    /// Seed of the bench.
    pub seed: u64,
    /// A single fault of which it was said beforehand that the hook-up shows it.
    pub covered: bool,
    /// [`severity`] of the set; 10⁹ for live leads.
    pub severity: f64,
    /// The verdict; `None` when there was none.
    pub verdict: Option<Verdict>,
    /// Whether the best group is right. A live lead: whether the refusal names
    /// its place among those of one level.
    pub right: Right,
    /// Sets in the best group.
    pub group: usize,
    /// Faults in the set of the best group that is right, or else in its first.
    pub findings: usize,
    /// Position of the first group that holds exactly the injected set.
    pub rank: Option<usize>,
    /// Probability stated for the best group.
    pub stated: Option<f64>,
    /// Injected and estimated ohms of bad joints that were named.
    pub ohms: Vec<(f64, f64)>,
    /// What was said, where something is amiss.
    pub said: String,
    /// The command that repeats the run.
    pub repeat: String,
    /// Wall time of scan, diagnosis and comparison.
    pub took: Duration,
}

impl Tried {
    /// Whether the verdict is "faults", or for a live lead "refused".
    #[must_use]
    pub fn detected(&self) -> bool {
        let wanted = match self.class {
            Class::Live => Verdict::Refused,
            _ => Verdict::Faults,
        };
        self.verdict == Some(wanted)
    }

    /// Whether it shows enough to be asked for: at least 3 σ outside the
    /// healthy band in some reading.
    #[must_use]
    pub fn severe(&self) -> bool {
        self.severity >= super::goals::SEVERE
    }

    /// Whether it was to be seen and was passed.
    #[must_use]
    pub fn escaped(&self) -> bool {
        self.covered && self.verdict == Some(Verdict::Pass)
    }

    /// Whether it is in the best group; a whole connector as one finding.
    #[must_use]
    pub fn met(&self) -> bool {
        let one = self.class != Class::Whole || self.findings == 1;
        self.detected() && self.right != Right::No && one
    }

    /// What is wrong with this run; `None` where it went as it should.
    #[must_use]
    pub fn miss(&self) -> Option<&'static str> {
        match self {
            _ if self.verdict.is_none() => Some("ERROR"),
            _ if self.escaped() => Some("ESCAPE"),
            _ if self.covered && !self.detected() => Some("UNCLEAR"),
            _ if !self.severe() || self.met() => None,
            _ if !self.detected() => Some("not seen"),
            _ if self.right != Right::No => Some("more than one finding"),
            _ if self.class == Class::Live => Some("refused with another place"),
            _ if self.rank.is_some() => Some("in a later group"),
            _ => Some("in no group"),
        }
    }
}

/// A healthy harness that did not pass.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FalseAlarm {
    /// What was said instead.
    pub said: String,
    /// The command that repeats the run.
    pub repeat: String,
}

/// Rings a healthy harness out; `None` where it passed, as it should.
#[must_use]
pub fn healthy(site: &Loaded, seed: u64) -> Option<FalseAlarm> {
    let said = match site.ring_out(&[], seed) {
        Ok(report) if report.verdict == Verdict::Pass => return None,
        Ok(report) => summary(&report),
        Err(error) => error,
    };
    let repeat = repeat(site, &[], seed);
    Some(FalseAlarm { said, repeat })
}

/// A single fault that was said beforehand to be seen, and was not.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Unseen {
    /// Passed; otherwise there was no verdict that says that something is wrong.
    pub passed: bool,
    /// What was said instead.
    pub said: String,
    /// The command that repeats the run.
    pub repeat: String,
}

/// Rings a single fault out up to the verdict, without asking for its cause;
/// `None` where it is seen, as it should be.
#[must_use]
pub fn judged(site: &Loaded, fault: &Fault, seed: u64) -> Option<Unseen> {
    let one = std::slice::from_ref(fault);
    let wanted = match Class::of_single(fault) {
        Class::Live => Verdict::Refused,
        _ => Verdict::Faults,
    };
    let verdict = site.verdict(one, seed);
    if verdict.as_ref() == Ok(&wanted) {
        return None;
    }
    Some(Unseen {
        passed: verdict == Ok(Verdict::Pass),
        said: verdict.map_or_else(|error| error, |verdict| verdict.word().to_owned()),
        repeat: repeat(site, &[fault.to_string()], seed),
    })
}

/// Puts faults on the bench and compares what is said with them.
#[must_use]
pub fn tried(site: &Loaded, class: Class, faults: &[Fault], covered: bool, seed: u64) -> Tried {
    let spelled: Vec<String> = faults.iter().map(ToString::to_string).collect();
    let mut tried = Tried {
        class,
        kinds: faults.iter().map(|fault| fault.kind().to_owned()).collect(),
        repeat: repeat(site, &spelled, seed),
        spelled,
        seed,
        covered,
        severity: BEYOND,
        verdict: None,
        right: Right::No,
        group: 0,
        findings: 0,
        rank: None,
        stated: None,
        ohms: Vec::new(),
        said: String::new(),
        took: Duration::ZERO,
    };
    let start = Instant::now();
    if let Err(error) = fill(&mut tried, site, faults) {
        tried.verdict = None;
        tried.said = error;
    }
    if tried.miss().is_none() {
        tried.said.clear();
    }
    tried.took = start.elapsed();
    tried
}

fn fill(tried: &mut Tried, site: &Loaded, faults: &[Fault]) -> Result<(), String> {
    if tried.class != Class::Live {
        tried.severity = severity(site, faults)?;
    }
    let (hello, outcome) = site.scan(faults, &site.settings(tried.seed))?;
    let report = site.report(&hello, &outcome)?;
    tried.verdict = Some(report.verdict);
    tried.said = summary(&report);
    let Some(best) = report.groups.first() else {
        return Ok(());
    };
    tried.group = best.sets.len();
    tried.stated = Some(best.probability);
    tried.findings = best.sets.first().map_or(0, Vec::len);
    if tried.class == Class::Live {
        if names_live(&report, &faults[0].place()) {
            tried.right = Right::Named;
        }
        return Ok(());
    }
    let holds = |set: &Vec<FaultReport>| is_set(set, &tried.spelled);
    tried.rank = report
        .groups
        .iter()
        .position(|group| group.sets.iter().any(holds));
    if let Some(set) = best.sets.iter().find(|set| holds(set)) {
        tried.ohms = ohms(faults, &spelled_out(site, set)?);
        tried.findings = set.len();
        if tried.ohms.iter().all(|(own, said)| near(*own, *said)) {
            tried.right = Right::Named;
            return Ok(());
        }
    }
    let Outcome::Complete(taken) = &outcome else {
        return Ok(());
    };
    let steps: Vec<Planned> = taken.iter().map(|taken| taken.planned.clone()).collect();
    let referee = Referee::new(site, faults, steps)?;
    let mut nearest: Option<Gap> = None;
    for set in &best.sets {
        let Ok(gap) = referee.apart(&spelled_out(site, set)?) else {
            continue;
        };
        if gap.sigmas < super::same::APART {
            tried.right = Right::Same;
            tried.findings = set.len();
            return Ok(());
        }
        if nearest.as_ref().is_none_or(|near| gap.sigmas < near.sigmas) {
            nearest = Some(gap);
        }
    }
    if let Some(gap) = nearest {
        let (sigmas, reading) = (gap.sigmas, gap.reading);
        tried.said.push_str(&format!(
            "; the nearest set of the best group is {sigmas:.1} σ off at {reading}"
        ));
    }
    Ok(())
}

/// Injected and estimated ohms of the bad joints of a set.
fn ohms(injected: &[Fault], said: &[Fault]) -> Vec<(f64, f64)> {
    let pair = |own: &Fault| {
        let ohms = own.ohms()?;
        let there = |other: &&Fault| own.with_ohms(Ohms(1.0)) == other.with_ohms(Ohms(1.0));
        let said = said.iter().find(there)?.ohms()?;
        Some((ohms.0, said.0))
    };
    injected.iter().filter_map(pair).collect()
}

/// Whether ohms are named well enough to need no comparison on the bench: to a
/// fifth, or to the least that the probe measures (`docs/probe-hardware.md`).
/// Every estimate strays with the noise of its readings, so that they are not
/// asked to be equal.
fn near(own: f64, said: f64) -> bool {
    (own - said).abs() <= (own / 5.0).max(0.3)
}

fn spelled_out(site: &Loaded, set: &[FaultReport]) -> Result<Vec<Fault>, String> {
    set.iter()
        .map(|fault| parse(&fault.fault, &site.job).map_err(|error| error.to_string()))
        .collect()
}

/// Whether a reported set is the injected one; ohms are estimated, not known.
fn is_set(set: &[FaultReport], injected: &[String]) -> bool {
    let mut said: Vec<&str> = set.iter().map(|fault| without_ohms(&fault.fault)).collect();
    let mut wanted: Vec<&str> = injected.iter().map(|fault| without_ohms(fault)).collect();
    said.sort_unstable();
    wanted.sort_unstable();
    said == wanted
}

fn without_ohms(fault: &str) -> &str {
    fault.split(",ohms=").next().unwrap_or(fault)
}

/// Whether a refusal names this place among those that the voltage may come from.
fn names_live(report: &Report, place: &str) -> bool {
    let named = report.groups.first().is_some_and(|group| {
        let mut faults = group.sets.iter().flatten();
        faults.any(|fault| fault.kind == "live" && fault.place == place)
    });
    let refusal = report.refusal.as_ref();
    named && refusal.is_some_and(|refusal| !refusal.say.is_empty())
}

/// The command that repeats a run.
fn repeat(site: &Loaded, faults: &[String], seed: u64) -> String {
    let mut command = format!(
        "loomproof ringout {} --defaults --where {} --leads {} --seed {seed}",
        site.site.plan_path(),
        loomproof::ringout::verdict::place_word(site.site.place),
        site.probe_leads,
    );
    for fault in faults {
        command.push_str(&format!(" --fault {fault}"));
    }
    command
}

/// Verdict and best groups in one line.
#[must_use]
pub fn summary(report: &Report) -> String {
    let mut line = report.verdict.word().to_owned();
    if let Some(refusal) = &report.refusal {
        line.push_str(&format!(": {}", refusal.say));
    }
    for group in report.groups.iter().take(2) {
        let set = |set: &Vec<FaultReport>| {
            let names: Vec<&str> = set.iter().map(|fault| fault.fault.as_str()).collect();
            names.join(" + ")
        };
        let sets: Vec<String> = group.sets.iter().take(3).map(set).collect();
        line.push_str(&format!(
            "; {:.3} of {}{}: {}",
            group.probability,
            group.sets.len(),
            if group.explains_all {
                ""
            } else {
                " (not all explained)"
            },
            sets.join(" or ")
        ));
    }
    for undecided in report.undecided.iter().take(2) {
        line.push_str(&format!("; undecided {}", undecided.place));
    }
    if report.verdict != Verdict::Refused {
        let off = report.readings.iter().filter(|r| r.verdict != "within");
        line.push_str(&format!("; {} readings off", off.count()));
    }
    line
}
