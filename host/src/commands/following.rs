//! `live --follow`: which function a wire of the vehicle follows, before it is tapped or
//! the lead of its cavity is capped.

use std::path::PathBuf;

use loomproof_core::wire::Place;

use super::exit::Status;
use super::live::{Args, Way, walk};
use super::so_far::Earlier;
use super::stand::Stand;
use super::stopping::{Stopping, let_go};
use super::{Failure, Format, note, print, print_json};
use crate::live::follow::{Report, Task, as_if};
use crate::live::{follow_text, text};
use crate::plan::model::{Job, Proof};
use crate::ringout::recording::{Recording, Slot};
use crate::ringout::report::Verdict;
use crate::stage::{Act, Stage};

/// Which wire is followed.
#[derive(Debug, clap::Args)]
pub struct FollowArgs {
    /// Looks at one wire of the vehicle only, a conductor of the plan: does it follow its
    /// switches as the plan says? Before it is tapped, or the lead of an occupied cavity
    /// is capped.
    #[arg(long, value_name = "CONDUCTOR", conflicts_with_all = ["drain", "at", "own"])]
    follow: Option<String>,
    /// Keeps what was found in the file of `ringout --so-far`.
    #[arg(long, value_name = "FILE", requires = "follow")]
    so_far: Option<PathBuf>,
    /// What the wire of the virtual vehicle really is: another conductor or pin of the
    /// plan.
    #[arg(long, value_name = "NAME", requires = "follow")]
    really: Option<String>,
}

impl FollowArgs {
    /// The wire, where one is followed.
    #[must_use]
    pub fn wire(&self) -> Option<&str> {
        self.follow.as_deref()
    }
}

/// Follows a wire and prints what was found.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub(super) fn run(args: &Args, wire: &str) -> Result<Status, Failure> {
    let plan = args.job.plan()?;
    let earlier = match &args.follow.so_far {
        Some(file) => Earlier::load(file, &plan, Place::Vehicle)?,
        None => Earlier::default(),
    };
    let mut job = args.job.settle(&plan, earlier.answers())?;
    earlier.learn(&mut job);
    earlier.say_changes(&job);
    let task = Task::new(&job, wire).map_err(Failure::usage)?;
    if args.follow.so_far.is_some() && task.lead.is_none() {
        return Err(Failure::usage(format!(
            "--so-far: {wire} is in no cavity of a lead in this variant, so there is nothing to \
             keep; answer the plan's option for the occupied cavity, or leave --so-far away"
        )));
    }
    let slot = args.follow.so_far.as_ref();
    let slot = slot.map(|file| Slot::reserve(file)).transpose()?;
    args.stage.enter(Stage::Identify, Act::Measure)?;
    let stop = Stopping::listen()?;
    note(&format!("{}\n", text::CAUTION));
    note(&follow_text::begin(&job, &task));
    let really = match &args.follow.really {
        Some(other) => as_if(&task.vehicle, wire, other).map_err(Failure::usage)?,
        None => task.vehicle.clone(),
    };
    let mut vehicle = Stand::new(args.wanted(), &really)?;
    if args.follow.really.is_some() && !vehicle.is_virtual() {
        return Err(Failure::usage(
            "--really is of the virtual vehicle; leave it out for a real one".to_owned(),
        ));
    }
    let way = Way {
        job: &task.vehicle,
        hookup: &task.hookup,
        steps: &task.steps,
        keyless: false,
        ask: text::moved,
    };
    let seen = walk(&way, (&mut vehicle, &stop))?;
    let_go(vehicle.link()?);
    let hello = vehicle.link()?.hello().clone();
    let report = task.report(&seen, &hello).map_err(Failure::usage)?;
    // The verdict first: a disk that is full must not swallow it.
    match args.format {
        Format::Text => print(&follow_text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    if let Some(slot) = slot {
        let recording = earlier.into_recording();
        let empty = || Recording::new(&job, Place::Vehicle, &[], &hello);
        keep(slot, &job, recording.unwrap_or_else(empty), &report)?;
    }
    Ok(report.verdict.into())
}

/// Keeps what was found with what is rung out.
fn keep(slot: Slot, job: &Job, mut recording: Recording, report: &Report) -> Result<(), Failure> {
    let proof = match report.verdict {
        Verdict::Pass => Proof::Measured,
        Verdict::Faults => Proof::Refuted,
        Verdict::Undecided | Verdict::Refused => {
            note("Nothing is proved, so nothing is kept.");
            return Ok(());
        }
    };
    let mut job = job.clone();
    for occupied in &mut job.electrics.occupied {
        if occupied.conductor == report.wire {
            occupied.proof = proof;
        }
    }
    recording.keep_proofs(&job);
    let file = slot.path().display().to_string();
    slot.keep(&recording)?;
    note(&format!("Kept in {file}."));
    Ok(())
}
