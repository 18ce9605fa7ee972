//! Ring-outs one after the other on one probe.

use loomproof::bench::{Bench, Settings};
use loomproof::fault::spell::parse;
use loomproof::link::{Link, LinkError, VirtualProbe};
use loomproof::ringout::report::Verdict;
use loomproof::ringout::{Outcome, Taken};
use loomproof_core::wire::{Hello, Place, Reply, Request};

use super::drift::{Course, Moved};
use super::memory::Samples;
use crate::campaign::site::{Loaded, Site, Source};
use crate::unruly_link::ring::{difference, judged, ring_out, value};

/// One ring-out in so many begins with the probe's self-test; none on the emulated
/// board, where each of its conversions is a message to the bench.
const TESTED: u64 = 8;

/// A reading's mean is believed to a hundredth of a millivolt, µV.
const STEP: f64 = 10.0;

/// What many ring-outs came to.
#[derive(Debug, Default)]
pub struct Rung {
    /// How many.
    pub runs: u64,
    /// Requests that were answered.
    pub requests: u64,
    /// How often the number of a request went round.
    pub wraps: u64,
    /// What was not as in the first one.
    pub wrong: Vec<String>,
    /// The reading that moved most for its spread, µV.
    pub moved: Option<Moved>,
    /// Readings that drifted.
    pub drifted: usize,
    /// This process.
    pub own: Samples,
    /// The process that the probe runs in, where that is another.
    pub probes: Samples,
}

/// Counts what is asked.
struct Counted<'l> {
    link: &'l mut dyn Link,
    requests: u64,
}

impl Link for Counted<'_> {
    fn hello(&self) -> &Hello {
        self.link.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        self.requests += 1;
        self.link.exchange(request)
    }
}

/// The smallest plan in the vehicle, on the smallest probe.
///
/// # Errors
/// What is wrong with the plan.
pub fn smallest() -> Result<Loaded, String> {
    let (source, place) = (Source::Fixture("smallest"), Place::Vehicle);
    let mut site = Site { source, place }.load()?;
    site.probe_leads = 16;
    Ok(site)
}

/// Its bench, with a fault or without: parts at nominal, converters that make noise.
///
/// # Errors
/// What cannot be put on the bench.
pub fn bench(site: &Loaded, fault: Option<&str>) -> Result<Bench, String> {
    let settings = Settings {
        noise: true,
        ..site.nominal()
    };
    let fault = fault.map(|text| parse(text, &site.job)).transpose();
    let faults: Vec<_> = fault.map_err(|e| e.to_string())?.into_iter().collect();
    Bench::new(&site.job, &site.hookup, &faults, &settings).map_err(|error| error.to_string())
}

/// As many ring-outs on a virtual probe in this process.
///
/// # Errors
/// As [`ring`].
pub fn in_process(
    fault: Option<&str>,
    right: Verdict,
    runs: u64,
    tell: &mut dyn FnMut(u64),
) -> Result<Rung, String> {
    let site = smallest()?;
    let probe = VirtualProbe::new(bench(&site, fault)?);
    let mut session = probe.session().map_err(|error| error.to_string())?;
    ring(&mut session, &site, (runs, right), None, tell)
}

/// As many ring-outs over this link, whose probe runs in process `pid` if not in this
/// one; `tell` is called after each.
///
/// # Errors
/// A ring-out that gives no result.
pub fn ring(
    link: &mut dyn Link,
    site: &Loaded,
    (runs, right): (u64, Verdict),
    pid: Option<u32>,
    tell: &mut dyn FnMut(u64),
) -> Result<Rung, String> {
    let mut link = Counted { link, requests: 0 };
    let mut rung = Rung::default();
    let mut first: Option<Vec<Taken>> = None;
    let mut courses: Vec<Course> = Vec::new();
    let every = (runs / 100).max(1);
    for run in 0..runs {
        let share = run as f64 / runs as f64;
        let outcome = ring_out(&mut link, site, pid.is_none() && run.is_multiple_of(TESTED))
            .map_err(|stopped| format!("ring-out {run}: {stopped:?}"))?;
        let verdict = judged(site, &outcome)?;
        if verdict != right {
            rung.wrong
                .push(format!("ring-out {run}: {verdict:?} instead of {right:?}"));
        }
        if let Outcome::Complete(taken) = outcome {
            let readings = taken.iter().flat_map(|step| &step.readings);
            for (at, reading) in readings.enumerate() {
                if courses.len() <= at {
                    courses.push(Course::default());
                }
                courses[at].add(share, f64::from(value(*reading).1));
            }
            match &first {
                None => first = Some(taken),
                Some(first) => {
                    let other = difference(&taken, first);
                    rung.wrong
                        .extend(other.map(|what| format!("ring-out {run}: {what}")));
                }
            }
        }
        rung.runs += 1;
        if run.is_multiple_of(every) || run + 1 == runs {
            rung.own.take(share, None);
            if pid.is_some() {
                rung.probes.take(share, pid);
            }
        }
        tell(run);
    }
    rung.requests = link.requests;
    // The hello has the first number.
    rung.wraps = link.requests / (u64::from(u16::MAX) + 1);
    let moved: Vec<Moved> = courses.iter().filter_map(Course::moved).collect();
    rung.drifted = moved.iter().filter(|moved| moved.drifted(STEP)).count();
    let for_its_spread = |moved: &Moved| moved.by.abs() / moved.sigma.max(f64::MIN_POSITIVE);
    rung.moved = moved
        .into_iter()
        .filter(|moved| moved.sigma > 0.0)
        .max_by(|a, b| for_its_spread(a).total_cmp(&for_its_spread(b)));
    Ok(rung)
}
