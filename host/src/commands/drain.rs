//! `live --drain`: the standing drain, after the job.

use std::time::{Duration, Instant};

use loomproof_core::units::{Amperes, Volts};

use super::clipped::VIRTUAL;
use super::exit::Status;
use super::job::VirtualArgs;
use super::keeping::{Shelf, StoreArgs, SubjectArgs};
use super::stopping::{Stopping, Typed, let_go};
use super::{Failure, Format, note, print, print_json};
use crate::bench::hal::Shared;
use crate::bench::{Bench, Sleeper, Stands};
use crate::drain::course::{Sample, is_quiet};
use crate::drain::measure::{Both, LOOKS, NULL_LOOKS, both, difference, ratio};
use crate::drain::report::{Drained, current, longest, report};
use crate::drain::{budget, text};
use crate::link::{Link, VirtualProbe, connect};
use crate::live::observe::ObserveError;
use crate::plan::electrics::Drain;
use crate::plan::model::Job;

/// From one sample to the next.
const EVERY: Duration = Duration::from_secs(2);

/// How often the value is said while nothing else happens.
const SAYS: Duration = Duration::from_secs(60);

/// Arguments of a test of the standing drain.
#[derive(Debug, Clone, clap::Args)]
pub struct DrainArgs {
    /// After the job: the standing drain with everything asleep, across the fuse or shunt
    /// that the plan states in [drain.NAME]; the name can be left away where there is one.
    #[arg(
        long,
        value_name = "NAME",
        num_args = 0..=1,
        require_equals = true,
        default_missing_value = "",
        conflicts_with_all = ["faults", "keyless", "at"]
    )]
    drain: Option<String>,
    /// With --drain: what the virtual vehicle draws, such as
    /// asleep=20mA,awake=2A,for=60s,every=45min.
    #[arg(long, value_name = "HOW", requires = "drain")]
    plays: Option<String>,
}

impl DrainArgs {
    /// Whether a drain is asked for, and which.
    pub(super) fn name(&self) -> Option<&str> {
        self.drain.as_deref()
    }

    /// What the virtual vehicle draws: two fifths of the limit asleep, 2 A for a minute at
    /// first, unless said otherwise.
    fn sleeper(&self, drain: &Drain) -> Result<Sleeper, Failure> {
        let usual = Sleeper {
            asleep: Amperes(drain.limit.0 * 0.4),
            awake: Amperes(2.0),
            wakes_for: Duration::from_secs(60),
            every: drain.asleep_after * 4,
        };
        match &self.plays {
            None => Ok(usual),
            Some(text) => Sleeper::parse(text, usual)
                .map_err(|why| Failure::usage(format!("--plays {text}: {why}"))),
        }
    }
}

/// What is needed from the verb's other arguments.
#[derive(Clone, Copy)]
pub(super) struct Asked<'a> {
    pub(super) job: &'a Job,
    pub(super) drain: &'a DrainArgs,
    pub(super) probe: &'a str,
    pub(super) simulated: &'a VirtualArgs,
    pub(super) store: &'a StoreArgs,
    pub(super) subject: &'a SubjectArgs,
    pub(super) format: Format,
}

/// Measures and prints the report.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub(super) fn run(asked: Asked<'_>) -> Result<Status, Failure> {
    let drain = chosen(asked.job, asked.drain.name().unwrap_or_default())?;
    let sleeper = asked.drain.sleeper(drain)?;
    let subject = asked.subject.subject()?;
    let mut shelf = Shelf::open(asked.store)?;
    let stop = Stopping::listen()?;
    note(&format!("{}\n", text::CAUTION));
    let mut leads = Leads::new(asked, drain, sleeper)?;
    leads.stand(Stands::Together, &text::ask_null(drain), &stop)?;
    let nulled = match both(&mut stop.until(leads.link()?), NULL_LOOKS) {
        Err(_) if stop.asked() => return Err(nothing()),
        nulled => nulled.map_err(failed)?,
    };
    let Some(ratio) = ratio(nulled, asked.job.supply) else {
        return Err(Failure::usage(apart(nulled)));
    };
    leads.stand(Stands::Across, &text::ask_across(drain), &stop)?;
    let samples = watch(&mut leads, drain, (nulled, ratio), &stop)?;
    let_go(leads.link()?);
    let report = report(&Drained {
        job: asked.job,
        drain,
        hello: leads.link()?.hello(),
        battery: nulled.before,
        samples: &samples,
        broken_off: stop.asked(),
    });
    // The verdict first: a disk that is full must not swallow it.
    match asked.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    shelf.keep_report(&report, subject)?;
    Ok(report.verdict.into())
}

/// The drain of this name, or the only one.
fn chosen<'j>(job: &'j Job, name: &str) -> Result<&'j Drain, Failure> {
    let all = &job.electrics.drains;
    match (all.as_slice(), name) {
        ([only], "") => Ok(only),
        ([], _) => Err(Failure::usage(
            "this plan states no place where the standing drain is measured; add [drain.NAME] \
             with a shunt or fuse_cold, and a limit (docs/plan-file.md)"
                .to_owned(),
        )),
        _ => all.iter().find(|it| it.name == name).ok_or_else(|| {
            let names: Vec<&str> = all.iter().map(|it| it.name.as_str()).collect();
            Failure::usage(format!(
                "name one of the plan's drains: --drain={}",
                names.join(", or --drain=")
            ))
        }),
    }
}

fn failed(error: ObserveError) -> Failure {
    Failure::probe(error.to_string())
}

fn nothing() -> Failure {
    Failure::usage("broken off before anything was measured".to_owned())
}

fn apart(both: Both) -> String {
    format!(
        "P1 reads {:.2} V and P2 {:.2} V: the two are not on one live point, or the chassis leads \
         are not on the body. Put both on the battery's side and test again",
        both.before.0, both.behind.0
    )
}

/// Samples until it settled, or until nobody waits any longer.
fn watch(
    leads: &mut Leads<'_>,
    drain: &Drain,
    (nulled, ratio): (Both, f64),
    stop: &Stopping,
) -> Result<Vec<Sample>, Failure> {
    let sigma = Volts(budget::noise(LOOKS).0 * std::f64::consts::SQRT_2);
    let own = Amperes(nulled.before.0 / budget::LOADS.0);
    let began = leads.now();
    let mut samples: Vec<Sample> = Vec::new();
    let mut said = Duration::ZERO;
    while !stop.asked() {
        let at = leads.now().saturating_sub(began);
        let read = match both(&mut stop.until(leads.link()?), LOOKS) {
            Ok(read) => read,
            Err(_) if stop.asked() => break,
            Err(error) => return Err(failed(error)),
        };
        if read.behind.0 < nulled.before.0 * 0.5 {
            return Err(Failure::usage(format!(
                "P2 reads {:.2} V: nothing comes through. Is the fuse blown, or does P2 touch \
                 nothing? Test again once it reads what the battery has",
                read.behind.0
            )));
        }
        let across = difference(read, ratio);
        samples.push(Sample { at, across });
        if !leads.is_virtual() && at >= said {
            said = at + SAYS;
            let by = budget::uncertainty(across, nulled.before, LOOKS, NULL_LOOKS);
            let now = current(across, drain.ohms, own, by);
            note(&format!(
                "{:>5.0} min  {}",
                at.as_secs_f64() / 60.0,
                text::span(now)
            ));
        }
        let asleep = at >= drain.asleep_after;
        if at >= longest(drain) || (asleep && is_quiet(&samples, sigma)) {
            break;
        }
        leads.pass(EVERY, stop);
    }
    Ok(samples)
}

/// The probe at the fuse or shunt: real, or the virtual one at a parked vehicle.
struct Leads<'a> {
    asked: Asked<'a>,
    drain: &'a Drain,
    sleeper: Sleeper,
    link: Option<Box<dyn Link>>,
    bench: Option<Shared>,
    began: Instant,
}

impl<'a> Leads<'a> {
    fn new(asked: Asked<'a>, drain: &'a Drain, sleeper: Sleeper) -> Result<Self, Failure> {
        let mut leads = Self {
            asked,
            drain,
            sleeper,
            link: None,
            bench: None,
            began: Instant::now(),
        };
        if !leads.is_virtual() {
            asked.simulated.only_virtual()?;
            if asked.drain.plays.is_some() {
                return Err(Failure::usage(
                    "--plays is for the virtual vehicle; leave it out for a real probe".to_owned(),
                ));
            }
            leads.link = Some(Box::new(connect(asked.probe)?));
        }
        Ok(leads)
    }

    fn is_virtual(&self) -> bool {
        self.asked.probe == VIRTUAL
    }

    fn link(&mut self) -> Result<&mut dyn Link, Failure> {
        match &mut self.link {
            Some(link) => Ok(link.as_mut()),
            None => Err(Failure::probe("the probe is not clipped yet".to_owned())),
        }
    }

    /// Asks for the leads to be put there; those of the virtual one are.
    fn stand(&mut self, stands: Stands, ask: &str, stop: &Stopping) -> Result<(), Failure> {
        note(ask);
        if self.is_virtual() {
            let settings = self.asked.simulated.settings()?;
            let bench = Bench::parked(&self.sleeper, self.drain.ohms, stands, &settings)?;
            let probe = VirtualProbe::with_flash(bench, self.asked.simulated.flash()?);
            self.bench = Some(probe.bench().clone());
            self.link = Some(Box::new(probe.session()?));
            return Ok(());
        }
        match stop.line("    Enter when it is so: ") {
            Typed::Line(_) => Ok(()),
            Typed::End => Err(Failure::usage(
                "the input ended before the leads were put there; test in a terminal".to_owned(),
            )),
            Typed::Stopped => Err(nothing()),
        }
    }

    /// The time since the beginning, on the clock of the vehicle.
    fn now(&self) -> Duration {
        match &self.bench {
            Some(bench) => Duration::from_nanos(bench.now()),
            None => self.began.elapsed(),
        }
    }

    /// Lets time pass.
    fn pass(&self, span: Duration, stop: &Stopping) {
        match &self.bench {
            Some(bench) => bench.wait(span),
            None => {
                let until = Instant::now() + span;
                while Instant::now() < until && !stop.asked() {
                    std::thread::sleep(Duration::from_millis(50));
                }
            }
        }
    }
}
