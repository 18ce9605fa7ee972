//! `live`: the powered check, function by function.

use loomproof_core::wire::{LeadId, Place};

use super::drain::{self, Asked, DrainArgs};
use super::exit::Status;
use super::job::{JobArgs, ReachArgs, VirtualArgs};
use super::keeping::{Shelf, StoreArgs, SubjectArgs};
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
    #[command(flatten)]
    drain: DrainArgs,
    #[command(flatten)]
    store: StoreArgs,
    #[command(flatten)]
    subject: SubjectArgs,
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
    let hookup = planned.hookups.remove(0);
    let powered = Powered::new(&job, &hookup)?;
    let seen = walk(args, &job, &hookup, &list, (&mut vehicle, &stop))?;
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

impl Args {
    /// The probe and its virtual bench.
    fn wanted(&self) -> Wanted<'_> {
        Wanted {
            probe: &self.probe,
            faults: &self.faults,
            simulated: &self.simulated,
            make: Bench::powered,
        }
    }
}

/// Goes through the steps with the fitter; where it is broken off, what was seen until
/// then.
fn walk(
    args: &Args,
    job: &Job,
    hookup: &Hookup,
    list: &[Step],
    (vehicle, stop): (&mut Stand<'_>, &Stopping),
) -> Result<Vec<Vec<Observed>>, Failure> {
    vehicle.clip(hookup)?;
    let leads: Vec<LeadId> = hookup.clips.iter().map(|clip| clip.lead).collect();
    let mut seen: Vec<Vec<Observed>> = Vec::new();
    for (at, step) in list.iter().enumerate() {
        note(&text::ask(job, step, (at, list.len())));
        vehicle.set(step.moves.iter().copied())?;
        let before = seen.last();
        let observed = match one(args, job, &leads, before, (vehicle, stop)) {
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
    args: &Args,
    job: &Job,
    leads: &[LeadId],
    before: Option<&Vec<Observed>>,
    (vehicle, stop): (&mut Stand<'_>, &Stopping),
) -> Result<Vec<Observed>, Failure> {
    let by_hand = !vehicle.is_virtual();
    let mut link = stop.until(vehicle.link()?);
    match before {
        _ if !by_hand => {}
        Some(before) if args.keyless => {
            let moved =
                until_moved(&mut link, leads, before, job.supply).map_err(observe_failure)?;
            if !moved {
                note("    Nothing moved for three minutes; measured as it is.");
            }
            eprint!("\u{7}");
        }
        _ => enter(stop)?,
    }
    observe(&mut link, leads, job.supply, Patience::FULL).map_err(observe_failure)
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
