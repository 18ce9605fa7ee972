//! A ring-out over an unruly line, held against the same one over a good line.

use std::time::Duration;

use loomproof::bench::{Bench, Settings};
use loomproof::diagnosis::evidence::Evidence;
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::link::{Link, LinkError, Patience, Session, VirtualProbe};
use loomproof::probe::{nulls, self_test};
use loomproof::ringout::report::Verdict;
use loomproof::ringout::run::{self, RunError};
use loomproof::ringout::verdict::verdict;
use loomproof::ringout::{Outcome, Taken};
use loomproof_core::wire::{Hello, LeadId, Place, Reading, Reply, Request};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::line::Unruly;
use super::trouble::{THEMES, Theme, Trouble};
use crate::campaign::site::{Loaded, Site, Source};

/// What is on the bench, and what a ring-out of it must say.
const HARNESSES: [(Option<&str>, Verdict); 4] = [
    (None, Verdict::Pass),
    (Some("open@X1:4"), Verdict::Faults),
    (Some("tap-missed@T1"), Verdict::Faults),
    (Some("live@X1:5,volts=12"), Verdict::Refused),
];

/// Two readings of one thing in two ring-outs differ by less, µV: one conversion
/// has 50 µV of noise, and charge may be left from before.
const SAME: i32 = 2_000;

/// How a ring-out over an unruly line ended.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum End {
    /// With the readings that a good line gives.
    Right,
    /// With an error, and of which kind.
    Error(&'static str),
    /// Neither: a fault of this product.
    Wrong(String),
}

/// A ring-out, and what it took.
#[derive(Debug, Clone)]
pub struct Run {
    /// What went wrong on the line.
    pub theme: Theme,
    /// How it ended.
    pub end: End,
    /// What is said of it.
    pub said: String,
    /// Simulated time in all.
    pub spent: Duration,
    /// The longest that one thing asked was waited for.
    pub longest: Duration,
    /// What that wait exceeds what [`Patience`] allows by.
    pub beyond: Duration,
}

/// The smallest plan, and what good lines make of it.
pub struct Bed {
    site: Loaded,
    harnesses: Vec<Harness>,
    patience: Patience,
}

struct Harness {
    faults: Vec<Fault>,
    outcome: Outcome,
    /// Messages of a talk without the self-test, and with it.
    messages: [u32; 2],
    verdict: Verdict,
}

/// One ring-out in so many begins with the probe's self-test, as all of the command's
/// do: its thousands of conversions take the bench most of its time.
const TESTED: u32 = 8;

/// A link that keeps time, and knows how long it may wait.
struct Timed {
    link: Session<Unruly>,
    patience: Patience,
    longest: Duration,
    beyond: Duration,
}

impl Link for Timed {
    fn hello(&self) -> &Hello {
        self.link.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        let before = self.link.transport().spent();
        let reply = self.link.exchange(request);
        let took = self.link.transport().spent().saturating_sub(before);
        let allowed = self.patience.for_request(request) * self.patience.attempts;
        self.longest = self.longest.max(took);
        self.beyond = self.beyond.max(took.saturating_sub(allowed));
        reply
    }
}

/// Why a ring-out gave no result.
#[derive(Debug)]
pub(crate) enum Stopped {
    Link(LinkError),
    Run(RunError),
    Probe(String),
    Untested,
}

/// One ring-out, after the probe's self-test or without.
pub(crate) fn ring_out(
    link: &mut dyn Link,
    site: &Loaded,
    tested: bool,
) -> Result<Outcome, Stopped> {
    let mut refused = None;
    if tested {
        let leads: Vec<LeadId> = site.hookup.clips.iter().map(|clip| clip.lead).collect();
        let shown = self_test::short(link, &leads, site.site.place).map_err(Stopped::Link)?;
        if !shown.troubles.is_empty() {
            return Err(Stopped::Probe(format!("{:?}", shown.troubles)));
        }
        refused = shown.refused;
    }
    nulls::kept(link).map_err(Stopped::Link)?;
    let outcome = run::run(link, &site.model, site.site.place, &mut |_| {});
    let outcome = outcome.map_err(Stopped::Run)?;
    if refused.is_some() && matches!(outcome, Outcome::Complete(_)) {
        return Err(Stopped::Untested);
    }
    Ok(outcome)
}

fn kind(error: &LinkError) -> &'static str {
    match error {
        LinkError::TimedOut { .. } => "no answer",
        LinkError::Garbage { .. } => "answers damaged",
        LinkError::Unplugged { .. } => "unplugged",
        LinkError::NotAProbe { .. } => "no probe answered",
        LinkError::Mismatch { .. } => "answered something else",
        LinkError::Version { .. } => "another version",
        _ => "other",
    }
}

/// Whether it is settled, and the voltage. The ends of the converter's span are
/// voltages as well: one reading in two of a lead at the supply is beyond.
pub(crate) fn value(reading: Reading) -> (bool, i32) {
    match reading {
        Reading::Volts(volts) => (true, volts.0),
        Reading::NotSettled(volts) => (false, volts.0),
        Reading::Above => (true, 3_300_000),
        Reading::Below => (true, 0),
    }
}

/// The verdict on a ring-out.
pub(crate) fn judged(site: &Loaded, outcome: &Outcome) -> Result<Verdict, String> {
    match outcome {
        Outcome::Refused(_) => Ok(Verdict::Refused),
        Outcome::Complete(taken) => Ok(verdict(&Evidence::new(&site.model, taken)?)),
    }
}

/// Where two scans differ.
pub(crate) fn difference(own: &[Taken], good: &[Taken]) -> Option<String> {
    if own.len() != good.len() {
        return Some(format!("{} steps instead of {}", own.len(), good.len()));
    }
    for (at, (own, good)) in own.iter().zip(good).enumerate() {
        let same = |(a, b): (&Reading, &Reading)| {
            let ((settled, a), (also, b)) = (value(*a), value(*b));
            settled == also && a.abs_diff(b) < SAME.unsigned_abs()
        };
        let all = own.readings.iter().zip(&good.readings).all(same);
        if own.planned != good.planned || own.readings.len() != good.readings.len() || !all {
            return Some(format!(
                "step {at}: {:?} instead of {:?}",
                own.readings, good.readings
            ));
        }
    }
    None
}

impl Bed {
    /// Rings every harness out over a good line.
    ///
    /// # Errors
    /// What does not work on a good line.
    pub fn new() -> Result<Self, String> {
        let source = Source::Fixture("smallest");
        let place = Place::Vehicle;
        let mut site = Site { source, place }.load()?;
        // The smallest probe: a look at all leads is short.
        site.probe_leads = 16;
        let mut bed = Self {
            site,
            harnesses: Vec::new(),
            patience: Patience::default(),
        };
        for (fault, right) in HARNESSES {
            let faults = fault.map(|text| parse(text, &bed.site.job)).into_iter();
            let faults: Result<Vec<Fault>, _> = faults.collect();
            let faults = faults.map_err(|error| error.to_string())?;
            let good = |tested: bool| {
                let line = Unruly::new(bed.probe(&faults)?, Trouble::none(), 0);
                let mut link = Session::open(line).map_err(|e| e.to_string())?;
                let outcome = ring_out(&mut link, &bed.site, tested)
                    .map_err(|stopped| format!("{faults:?} on a good line: {stopped:?}"))?;
                Ok::<_, String>((outcome, link.transport().sent()))
            };
            let ((outcome, short), (_, long)) = (good(false)?, good(true)?);
            let found = bed.verdict(&outcome)?;
            if found != right {
                return Err(format!("{faults:?} on a good line: {found:?}"));
            }
            bed.harnesses.push(Harness {
                faults,
                outcome,
                messages: [short, long],
                verdict: right,
            });
        }
        Ok(bed)
    }

    fn probe(&self, faults: &[Fault]) -> Result<VirtualProbe, String> {
        // Parts at nominal, but converters that make noise: one that makes none is
        // taken for broken.
        let settings = Settings {
            noise: true,
            ..self.site.nominal()
        };
        let bench = Bench::new(&self.site.job, &self.site.hookup, faults, &settings);
        bench
            .map(VirtualProbe::new)
            .map_err(|error| error.to_string())
    }

    fn verdict(&self, outcome: &Outcome) -> Result<Verdict, String> {
        judged(&self.site, outcome)
    }

    /// The ring-out of this seed.
    ///
    /// # Errors
    /// What is wrong with the bench, not with the product.
    pub fn run(&self, seed: u64) -> Result<Run, String> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let theme = THEMES[rng.random_range(0..THEMES.len())];
        let harness = &self.harnesses[rng.random_range(0..self.harnesses.len())];
        let tested = rng.random_ratio(1, TESTED);
        let messages = harness.messages[usize::from(tested)];
        let trouble = Trouble::draw(theme, messages, &mut rng);
        let line = Unruly::new(self.probe(&harness.faults)?, trouble, rng.random());
        let clock = line.clock();
        let mut run = Run {
            theme,
            end: End::Right,
            said: String::new(),
            spent: Duration::ZERO,
            longest: Duration::ZERO,
            beyond: Duration::ZERO,
        };
        let session = match Session::open_with(line, self.patience) {
            Ok(session) => session,
            Err(error) => {
                run.end = End::Error(kind(&error));
                run.said = error.to_string();
                run.spent = clock.get();
                return Ok(run);
            }
        };
        let mut link = Timed {
            link: session,
            patience: self.patience,
            longest: Duration::ZERO,
            beyond: Duration::ZERO,
        };
        let found = ring_out(&mut link, &self.site, tested);
        run.spent = clock.get();
        (run.longest, run.beyond) = (link.longest, link.beyond);
        (run.end, run.said) = self.judge(harness, found)?;
        if run.beyond > Duration::ZERO {
            run.end = End::Wrong(format!("waited {:?} longer than allowed", run.beyond));
        }
        let mut line = link.link.into_transport();
        line.silence(Duration::from_millis(3_100));
        let bench = line.probe().bench().0.borrow();
        if let Some(trouble) = bench.trouble() {
            return Err(trouble.to_string());
        }
        let driven: Vec<LeadId> = bench.driven().collect();
        if !driven.is_empty() {
            run.end = End::Wrong(format!("still driven: {driven:?}"));
        }
        Ok(run)
    }

    fn judge(
        &self,
        harness: &Harness,
        found: Result<Outcome, Stopped>,
    ) -> Result<(End, String), String> {
        let outcome = match found {
            Ok(outcome) => outcome,
            Err(Stopped::Link(error)) => return Ok((End::Error(kind(&error)), error.to_string())),
            Err(Stopped::Run(RunError::Link(error))) => {
                return Ok((End::Error(kind(&error)), error.to_string()));
            }
            Err(Stopped::Run(error)) => {
                return Ok((End::Error("probe would not go on"), error.to_string()));
            }
            Err(Stopped::Untested) => return Ok((End::Error("leads not tested"), String::new())),
            Err(Stopped::Probe(troubles)) => {
                return Ok((
                    End::Wrong(format!("a sound probe is blamed: {troubles}")),
                    String::new(),
                ));
            }
        };
        let verdict = self.verdict(&outcome)?;
        let mut end = End::Right;
        if verdict != harness.verdict {
            end = End::Wrong(format!("{verdict:?} instead of {:?}", harness.verdict));
        } else if let (Outcome::Complete(own), Outcome::Complete(good)) =
            (&outcome, &harness.outcome)
            && let Some(difference) = difference(own, good)
        {
            end = End::Wrong(difference);
        }
        Ok((end, String::new()))
    }
}
