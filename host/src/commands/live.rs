//! `live`: the powered check, function by function.

use std::path::{Path, PathBuf};

use loomproof_core::wire::{LeadId, Place};

use super::drain::{self, Asked, DrainArgs};
use super::exit::Status;
use super::first_power::{self, PowerArgs};
use super::following::{self, FollowArgs};
use super::job::{JobArgs, ReachArgs, VirtualArgs};
use super::keeping::{Shelf, StoreArgs, SubjectArgs};
use super::own::{self, OwnArgs};
use super::ringout::kept_report;
use super::staged::StageArgs;
use super::stand::{Stand, Wanted};
use super::stopping::{Stopping, Typed, let_go};
use super::{Failure, Format, note, print, print_json};
use crate::bench::Bench;
use crate::fault::catalogue;
use crate::hookup::Hookup;
use crate::hookup::rounds::rounds;
use crate::live::moved::until_moved;
use crate::live::observe::{ObserveError, Patience, observe};
use crate::live::report::{Checked, report};
use crate::live::{Observed, Step, steps, text};
use crate::plan::model::Job;
use crate::powered::Powered;
use crate::ringout::report::Verdict;
use crate::stage::{Act, Stage};

/// Arguments of `live`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof live fixtures/plans/bakery-van.toml --defaults \
                  --probe virtual --fault tap-missed@T1"
)]
pub struct Args {
    #[command(flatten)]
    pub(super) job: JobArgs,
    #[command(flatten)]
    reach: ReachArgs,
    #[command(flatten)]
    pub(super) stage: StageArgs,
    /// The ring-out of this job, as `ringout --so-far` or `--save` keeps it: the live
    /// check is refused until everything is rung out and nothing is off.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["drain", "follow"])]
    rung_out: Option<PathBuf>,
    /// `virtual`, or the port of a probe, such as /dev/ttyACM0 or COM5, or `usb`
    /// for the one that is plugged in.
    #[arg(long, value_name = "PROBE", default_value = "virtual")]
    pub(super) probe: String,
    /// Puts a fault on the virtual vehicle; may be repeated. Besides the faults of
    /// `ringout`: dead-feed@K2, no-ground@K5, stuck@SWITCH,state=STATE, bulb-out@LOAD.
    #[arg(long = "fault", value_name = "FAULT")]
    pub(super) faults: Vec<String>,
    #[command(flatten)]
    pub(super) simulated: VirtualArgs,
    #[command(flatten)]
    pub(super) follow: FollowArgs,
    /// Goes on by itself when it sees that a switch was moved, with a beep: for hands
    /// that are elsewhere.
    #[arg(long, conflicts_with = "follow")]
    keyless: bool,
    #[command(flatten)]
    drain: DrainArgs,
    #[command(flatten)]
    power: PowerArgs,
    #[command(flatten)]
    own: OwnArgs,
    #[command(flatten)]
    store: StoreArgs,
    #[command(flatten)]
    subject: SubjectArgs,
    /// What to print.
    #[arg(long, default_value = "text")]
    pub(super) format: Format,
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
    if let Some(wire) = args.follow.wire() {
        return following::run(args, wire);
    }
    if let Some(file) = args.own.file() {
        return own::run(&own::Asked {
            file,
            own: &args.own,
            job: &args.job.job()?,
            stage: &args.stage,
            reach: &args.reach,
            wanted: args.wanted(),
            keyless: args.keyless,
            store: &args.store,
            subject: &args.subject,
            format: args.format,
        });
    }
    let stage = args.stage.enter(Stage::LiveCheck, Act::Measure)?;
    if stage == Stage::Arrival {
        return Err(Failure::usage(own::NOT_IN_YET.to_owned()));
    }
    if stage != Stage::FirstPower {
        args.power.only_there()?;
    }
    let job = match &args.rung_out {
        Some(file) => passed(&args.job, file)?,
        None => args.job.job()?,
    };
    if args.drain.name().is_some() {
        return drain::run(Asked {
            job: &job,
            drain: &args.drain,
            probe: &args.probe,
            simulated: &args.simulated,
            store: &args.store,
            subject: &args.subject,
            format: args.format,
        });
    }
    if stage == Stage::FirstPower {
        return first_power::run(&first_power::Asked {
            job: &job,
            power: &args.power,
            wanted: args.wanted(),
            store: &args.store,
            subject: &args.subject,
            format: args.format,
        });
    }
    let within = args.reach.within(&job)?;
    let list = steps(&job);
    let subject = args.subject.subject()?;
    let mut shelf = Shelf::open(&args.store)?;
    let stop = Stopping::listen()?;
    note(&format!("{}\n", text::CAUTION));
    let mut vehicle = Stand::new(args.wanted(), &job)?;
    let mut planned = rounds(&job, Place::Vehicle, usize::from(vehicle.leads()), &within)?;
    if planned.hookups.len() > 1 {
        return Err(Failure::usage(format!(
            "this job has more test points than the probe has leads ({}); a live check is made in \
             one hook-up: name the places with --at, one after the other",
            vehicle.leads()
        )));
    }
    let hookup = planned.hookups.remove(0).battery_on();
    let powered = Powered::new(&job, &hookup)?;
    let way = Way {
        job: &job,
        hookup: &hookup,
        steps: &list,
        keyless: args.keyless,
        ask: text::ask,
    };
    let seen = walk(&way, (&mut vehicle, &stop))?;
    let_go(vehicle.link()?);
    let report = report(Checked {
        job: &job,
        powered: &powered,
        steps: &list,
        seen: &seen,
        faults: catalogue::all(&job, &hookup),
        hello: vehicle.link()?.hello(),
    })
    .map_err(Failure::usage)?;
    // The verdict first: a disk that is full must not swallow it.
    match args.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    shelf.keep_report(&report, subject)?;
    Ok(report.verdict.into())
}

/// The job of a ring-out that passed.
///
/// # Errors
/// [`Failure`], refused as unsafe, for one that did not pass or was of the bench.
fn passed(args: &JobArgs, file: &Path) -> Result<Job, Failure> {
    let name = file.display();
    if !file.exists() {
        return Err(Failure::refused(format!(
            "{name}: nothing is rung out yet. First: loomproof ringout {} --so-far {name}",
            args.plan.display()
        )));
    }
    let kept = kept_report(args, file)?;
    let why = match (kept.place, kept.report.verdict) {
        (Place::Bench, _) => "it was rung out on the bench only, not in the vehicle.".to_owned(),
        (_, Verdict::Pass) => {
            let open = kept.report.hand_checks.iter();
            let open = open.filter(|check| check.is_open()).count();
            note(&format!(
                "{name}: rung out, nothing is off. Hand checks still open: {open}."
            ));
            return Ok(kept.job);
        }
        (_, Verdict::Faults) => "the ring-out has found faults; put them right first.".to_owned(),
        _ => {
            let still = kept.report.still_to_do.iter().chain(&kept.report.undecided);
            let still: Vec<&str> = still.map(|one| one.say.as_str()).collect();
            format!("the ring-out is not whole yet. {}", still.join(" "))
        }
    };
    Err(Failure::refused(format!(
        "{name}: {why} Power comes when the ring-out has passed ({}).",
        Stage::RingOut.title()
    )))
}

impl Args {
    /// The probe and its virtual bench.
    pub(super) fn wanted(&self) -> Wanted<'_> {
        Wanted {
            probe: &self.probe,
            faults: &self.faults,
            simulated: &self.simulated,
            make: Bench::powered,
        }
    }
}

/// A way through the states of the switches.
pub(super) struct Way<'w> {
    pub(super) job: &'w Job,
    pub(super) hookup: &'w Hookup,
    pub(super) steps: &'w [Step],
    /// `--keyless`.
    pub(super) keyless: bool,
    /// What the fitter is asked to do for a step.
    pub(super) ask: fn(&Job, &Step, (usize, usize)) -> String,
}

/// Goes through the steps with the fitter; where it is broken off, what was seen until
/// then.
pub(super) fn walk(
    way: &Way<'_>,
    (vehicle, stop): (&mut Stand<'_>, &Stopping),
) -> Result<Vec<Vec<Observed>>, Failure> {
    vehicle.clip(way.hookup)?;
    let leads: Vec<LeadId> = way.hookup.clips.iter().map(|clip| clip.lead).collect();
    let mut seen: Vec<Vec<Observed>> = Vec::new();
    for (at, step) in way.steps.iter().enumerate() {
        note(&(way.ask)(way.job, step, (at, way.steps.len())));
        vehicle.set(step.moves.iter().copied())?;
        let before = seen.last();
        let observed = match one(way, &leads, before, (vehicle, stop)) {
            Ok(observed) => observed,
            Err(_) if stop.asked() => {
                note("Broken off.");
                break;
            }
            Err(failure) => return Err(failure),
        };
        seen.push(observed);
    }
    Ok(seen)
}

/// Waits until a switch was moved, and looks.
fn one(
    way: &Way<'_>,
    leads: &[LeadId],
    before: Option<&Vec<Observed>>,
    (vehicle, stop): (&mut Stand<'_>, &Stopping),
) -> Result<Vec<Observed>, Failure> {
    let by_hand = !vehicle.is_virtual();
    let mut link = stop.until(vehicle.link()?);
    match before {
        _ if !by_hand => {}
        Some(before) if way.keyless => {
            let moved =
                until_moved(&mut link, leads, before, way.job.supply).map_err(observe_failure)?;
            if !moved {
                note("    Nothing moved for three minutes; measured as it is.");
            }
            eprint!("\u{7}");
        }
        _ => enter(stop)?,
    }
    observe(&mut link, leads, way.job.supply, Patience::FULL).map_err(observe_failure)
}

fn observe_failure(error: ObserveError) -> Failure {
    Failure::probe(error.to_string())
}

fn enter(stop: &Stopping) -> Result<(), Failure> {
    match stop.line("    Enter when it is so: ") {
        Typed::Line(_) => Ok(()),
        Typed::End | Typed::Stopped => Err(Failure::usage(
            "the input ended before this step; check in a terminal, or with --keyless".to_owned(),
        )),
    }
}
