//! `live`: the powered check, function by function.

use std::time::{Duration, Instant};

use loomproof_core::wire::{LeadId, Place};

use super::asking::line;
use super::exit::Status;
use super::job::{JobArgs, ReachArgs, VirtualArgs};
use super::{Failure, Format, note, print, print_json};
use crate::bench::hal::Shared;
use crate::bench::{Bench, upset};
use crate::fault::catalogue;
use crate::fault::spell::parse;
use crate::hookup::Hookup;
use crate::hookup::rounds::rounds;
use crate::link::{Link, VirtualProbe, connect};
use crate::live::observe::{Patience, observe};
use crate::live::report::{Checked, report};
use crate::live::{Observed, Step, steps, text};
use crate::plan::model::Job;
use crate::powered::Powered;

/// Arguments of `live`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof live fixtures/plans/bakery-van.toml --defaults \
                  --probe virtual --fault tap-missed@T1"
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    #[command(flatten)]
    reach: ReachArgs,
    /// `virtual`, or the port of a probe, such as /dev/ttyACM0 or COM5, or `usb`
    /// for the one that is plugged in.
    #[arg(long, value_name = "PROBE", default_value = "virtual")]
    probe: String,
    /// Puts a fault on the virtual vehicle; may be repeated. Besides the faults of
    /// `ringout`: dead-feed@K2, no-ground@K5, stuck@SWITCH,state=STATE, bulb-out@LOAD.
    #[arg(long = "fault", value_name = "FAULT")]
    faults: Vec<String>,
    #[command(flatten)]
    simulated: VirtualArgs,
    /// Goes on by itself when it sees that a switch was moved, with a beep: for hands
    /// that are elsewhere.
    #[arg(long)]
    keyless: bool,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// Checks and prints the report.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if let Some(list) = args.simulated.list() {
        print(&list)?;
        return Ok(Status::Pass);
    }
    if Place::from(args.job.place) == Place::Bench {
        return Err(Failure::usage(
            "a live check is made in the vehicle; on the bench there is `ringout --where bench`"
                .to_owned(),
        ));
    }
    let job = args.job.job()?;
    let within = args.reach.within(&job)?;
    let list = steps(&job);
    note(&format!("{}\n", text::CAUTION));
    let mut vehicle = Vehicle::new(args, &job)?;
    let mut planned = rounds(&job, Place::Vehicle, usize::from(vehicle.leads()), &within)?;
    if planned.hookups.len() > 1 {
        return Err(Failure::usage(format!(
            "this job has more test points than the probe has leads ({}); a live check is made in \
             one hook-up: name the places with --at, one after the other",
            vehicle.leads()
        )));
    }
    let hookup = planned.hookups.remove(0);
    let powered = Powered::new(&job, &hookup)?;
    let seen = walk(args, &job, &hookup, &list, &mut vehicle)?;
    let report = report(Checked {
        job: &job,
        powered: &powered,
        steps: &list,
        seen: &seen,
        faults: catalogue::all(&job, &hookup),
        hello: vehicle.link()?.hello(),
    })
    .map_err(Failure::usage)?;
    match args.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    Ok(report.verdict.into())
}

/// Goes through the steps with the fitter.
fn walk(
    args: &Args,
    job: &Job,
    hookup: &Hookup,
    list: &[Step],
    vehicle: &mut Vehicle<'_>,
) -> Result<Vec<Vec<Observed>>, Failure> {
    vehicle.clip(hookup)?;
    let leads: Vec<LeadId> = hookup.clips.iter().map(|clip| clip.lead).collect();
    let mut seen: Vec<Vec<Observed>> = Vec::new();
    for (at, step) in list.iter().enumerate() {
        note(&text::ask(job, step, (at, list.len())));
        vehicle.set(job, step)?;
        if !vehicle.is_virtual() {
            match seen.last() {
                Some(before) if args.keyless => {
                    until_moved(vehicle.link()?, &leads, before, job)?;
                }
                _ => enter()?,
            }
        }
        let observed = observe(vehicle.link()?, &leads, job.supply, Patience::FULL)
            .map_err(observe_failure)?;
        seen.push(observed);
    }
    Ok(seen)
}

fn observe_failure(error: crate::live::observe::ObserveError) -> Failure {
    Failure::probe(error.to_string())
}

fn enter() -> Result<(), Failure> {
    match line("    Enter when it is so: ") {
        Ok(Some(_)) => Ok(()),
        _ => Err(Failure::usage(
            "the input ended before this step; check in a terminal, or with --keyless".to_owned(),
        )),
    }
}

/// How long somebody has to move a switch, and how long the points must rest then.
const MOVES_WITHIN: Duration = Duration::from_secs(180);
const RESTS_FOR: Duration = Duration::from_millis(1500);

/// A point that moved by this much shows that a switch was moved.
const MOVED: f64 = 1.0;

/// Waits until a point moves, and then until all rest; beeps.
fn until_moved(
    link: &mut dyn Link,
    leads: &[LeadId],
    before: &[Observed],
    job: &Job,
) -> Result<(), Failure> {
    let began = Instant::now();
    let mut last: Option<Vec<Observed>> = None;
    let mut rested: Option<Instant> = None;
    while began.elapsed() < MOVES_WITHIN {
        let now = observe(link, leads, job.supply, Patience::FULL).map_err(observe_failure)?;
        let moved = |a: &[Observed], b: &[Observed]| {
            a.iter()
                .zip(b)
                .any(|(a, b)| (a.on.0 - b.on.0).abs() > MOVED || (a.off.0 - b.off.0).abs() > MOVED)
        };
        let rests = last.as_ref().is_some_and(|last| !moved(last, &now));
        if moved(before, &now) && rests {
            let since = *rested.get_or_insert_with(Instant::now);
            if since.elapsed() >= RESTS_FOR {
                eprint!("\u{7}");
                return Ok(());
            }
        } else {
            rested = None;
        }
        last = Some(now);
    }
    note("    Nothing moved for three minutes; measured as it is.");
    eprint!("\u{7}");
    Ok(())
}

/// The vehicle: a real one through its probe, or the virtual one.
struct Vehicle<'a> {
    args: &'a Args,
    job: &'a Job,
    link: Option<Box<dyn Link>>,
    bench: Option<Shared>,
}

/// `--probe` for the virtual one.
const VIRTUAL: &str = "virtual";

impl<'a> Vehicle<'a> {
    fn new(args: &'a Args, job: &'a Job) -> Result<Self, Failure> {
        let mut vehicle = Self {
            args,
            job,
            link: None,
            bench: None,
        };
        if !vehicle.is_virtual() {
            args.simulated.only_virtual()?;
            if !args.faults.is_empty() {
                return Err(Failure::usage(
                    "--fault is of the virtual vehicle; leave it away for a real one".to_owned(),
                ));
            }
            vehicle.link = Some(Box::new(connect(&args.probe)?));
        }
        Ok(vehicle)
    }

    fn is_virtual(&self) -> bool {
        self.args.probe == VIRTUAL
    }

    fn leads(&self) -> u8 {
        match &self.link {
            Some(link) => link.hello().leads,
            None => self.args.simulated.leads,
        }
    }

    fn clip(&mut self, hookup: &Hookup) -> Result<(), Failure> {
        if !self.is_virtual() {
            return Ok(());
        }
        let (mut faults, mut upsets) = (Vec::new(), Vec::new());
        for spelling in &self.args.faults {
            if upset::is_kind(spelling) {
                upsets.push(upset::parse(spelling, self.job)?);
            } else {
                faults.push(parse(spelling, self.job)?);
            }
        }
        let settings = self.args.simulated.settings()?;
        let bench = Bench::powered(self.job, hookup, &faults, &upsets, &settings)?;
        let probe = VirtualProbe::with_flash(bench, self.args.simulated.flash()?);
        self.bench = Some(probe.bench().clone());
        self.link = Some(Box::new(probe.session()?));
        Ok(())
    }

    fn link(&mut self) -> Result<&mut dyn Link, Failure> {
        match &mut self.link {
            Some(link) => Ok(link.as_mut()),
            None => Err(Failure::probe("the probe is not clipped yet".to_owned())),
        }
    }

    /// Moves the switches of the virtual vehicle.
    fn set(&mut self, job: &Job, step: &Step) -> Result<(), Failure> {
        let Some(bench) = &self.bench else {
            return Ok(());
        };
        for (switch, state) in &step.moves {
            let switch = job.electrics.switches.get(*switch);
            let found = switch
                .and_then(|switch| Some((&switch.name, switch.states.get(usize::from(*state))?)));
            if let Some((name, state)) = found {
                bench.set_switch(name, state)?;
            }
        }
        Ok(())
    }
}
