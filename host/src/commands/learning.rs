//! `ringout --learn` and `--learned`: plugged modules, read before the harness is
//! joined to them.

use std::path::PathBuf;

use loomproof_core::wire::{Place, Refusal};

use super::clipped::Clipped;
use super::exit::Status;
use super::job::BenchArgs;
use super::keeping::SubjectArgs;
use super::ready::make_ready;
use super::ringing::{moves, wait_for_clips};
use super::{Failure, Format, note, print, print_json};
use crate::circuit::build;
use crate::diagnosis::words::{Speaker, ohms_text};
use crate::hookup::Within;
use crate::plan::model::Job;
use crate::ringout::learned::{Learned, apply};
use crate::ringout::learning::{Bare, Learnt, take};
use crate::ringout::{Outcome, Stop};

/// What is known of plugged modules.
#[derive(Debug, clap::Args)]
pub struct LearnArgs {
    /// Before the harness is joined: reads what the vehicle's own plugged modules
    /// show at the points within reach, and keeps it in a file. No ring-out.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["save", "so_far", "from", "learned", "go_on"])]
    learn: Option<PathBuf>,
    /// Judges by what `--learn` kept, instead of by the ranges that the plan states.
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    learned: Option<PathBuf>,
}

impl LearnArgs {
    /// Whether modules are to be learned, and no harness rung out.
    pub(super) fn wanted(&self) -> bool {
        self.learn.is_some()
    }

    /// Puts what was learned into the job.
    ///
    /// # Errors
    /// [`Failure`] for a file of another plan or vehicle.
    pub(super) fn apply(&self, job: &mut Job, subject: &SubjectArgs) -> Result<(), Failure> {
        let Some(file) = &self.learned else {
            return Ok(());
        };
        let learned = Learned::load(file).map_err(Failure::usage)?;
        let vehicle = subject.subject()?.vehicle;
        learned
            .check(file, job, vehicle.as_deref())
            .map_err(Failure::usage)?;
        apply(job, learned.loads());
        let names: Vec<&str> = learned.loads().keys().map(String::as_str).collect();
        note(&format!(
            "Judged by what was learned of {}.",
            names.join(", ")
        ));
        Ok(())
    }
}

/// What a learning run is of.
pub(super) struct Lesson<'a> {
    pub(super) args: &'a LearnArgs,
    pub(super) job: &'a Job,
    pub(super) place: Place,
    pub(super) within: &'a Within,
    /// Name of the probe, and its bench.
    pub(super) probe: (&'a str, &'a BenchArgs),
    pub(super) subject: &'a SubjectArgs,
    pub(super) format: Format,
}

/// Reads the vehicle without the harness and keeps what it shows.
///
/// # Errors
/// [`Failure`] where there is nothing to learn, or the file cannot be written.
pub(super) fn learn(lesson: &Lesson<'_>) -> Result<Status, Failure> {
    let Lesson { args, job, .. } = *lesson;
    let Some(file) = &args.learn else {
        return Ok(Status::Pass);
    };
    if lesson.place == Place::Bench {
        return Err(Failure::usage(
            "--learn is for the vehicle; on the bench no module is plugged".to_owned(),
        ));
    }
    let subject = lesson.subject.subject()?;
    let (name, bench) = lesson.probe;
    // The bench has the vehicle alone; its faults are the harness's.
    let leads = Clipped::new(name, job, bench)?.leads();
    let bare = Bare::of(job, lesson.within, leads);
    if bare.hookup.clips.is_empty() {
        return Err(Failure::usage(
            "there is nothing to learn within reach: no conductor or pin of the plan has a load \
             here that is plugged while this place is rung out"
                .to_owned(),
        ));
    }
    let mut probe = Clipped::new(name, &bare.job, bench)?;
    note(&moves(
        job,
        None,
        &bare.hookup,
        "Before the harness is joined",
    ));
    for say in bare.hookup.mated.to_do(job) {
        note(&say);
    }
    if !probe.is_virtual() {
        wait_for_clips()?;
    }
    probe.plan(std::slice::from_ref(&bare.hookup))?;
    let mut model = build(&bare.job, &bare.hookup)?;
    let ready = make_ready(probe.on(0, &bare.hookup)?, &bare.hookup, &mut model)?;
    let outcome = take(probe.again(&bare.hookup)?, &bare, &model)?;
    ready.stands(&outcome)?;
    let taken = match outcome {
        Outcome::Complete(taken) => taken,
        Outcome::Refused(stop) => return Err(refused(job, &bare, &stop)),
    };
    let learnt = bare.allows(&model, &taken).map_err(Failure::usage)?;
    let learned = Learned::new(job, subject.vehicle.as_deref(), learnt.loads.clone());
    match lesson.format {
        Format::Json => print_json(&learned)?,
        Format::Text => print(&text(job, &bare, &learnt))?,
    }
    learned.keep(file).map_err(Failure::usage)?;
    note(&format!("Kept in {}.", file.display()));
    let whole = learnt.nothing.is_empty() && learnt.unsettled.is_empty();
    Ok(if whole && bare.out_of_reach.is_empty() {
        Status::Pass
    } else {
        Status::Undecided
    })
}

fn refused(job: &Job, bare: &Bare, stop: &Stop) -> Failure {
    let speaker = Speaker::new(job);
    let (Refusal::Live(lead, mv) | Refusal::Moves(lead, _, mv)) = stop.refusal else {
        return Failure::refused(
            "the probe would not drive. Disconnect the battery, put both chassis leads on bare \
             chassis metal, and learn again"
                .to_owned(),
        );
    };
    Failure::refused(format!(
        "{} is at {:.1} V or does not hold still, so nothing is driven. Disconnect the battery, \
         wait as the vehicle maker's service information says, and learn again",
        speaker.probe_lead(&bare.hookup, lead),
        f64::from(mv) / 1000.0
    ))
}

fn text(job: &Job, bare: &Bare, learnt: &Learnt) -> String {
    let what = |name: &String| -> String {
        let conductor = job.conductors.iter().find(|it| it.name == *name);
        let pin = job.electrics.pins.iter().find(|it| it.name == *name);
        let function = conductor
            .and_then(|it| it.function.clone())
            .or_else(|| pin.and_then(|it| it.function.clone()));
        function.map_or_else(|| name.clone(), |function| format!("{name} ({function})"))
    };
    let mut out = format!("Learned, without the harness: {}\n\n", job.title);
    for (name, [least, most]) in &learnt.loads {
        out.push_str(&format!(
            "  {}: {} to {} to chassis\n",
            what(name),
            ohms_text(*least),
            ohms_text(*most)
        ));
    }
    for name in &learnt.nothing {
        out.push_str(&format!(
            "  {}: shows nothing. See that the module is plugged and the clip bites; what the plan \
             says is kept.\n",
            what(name)
        ));
    }
    for name in &learnt.unsettled {
        out.push_str(&format!(
            "  {}: did not come to rest; what the plan says is kept.\n",
            what(name)
        ));
    }
    for name in &bare.out_of_reach {
        out.push_str(&format!(
            "  {}: cannot be reached here without the harness; what the plan says is kept.\n",
            what(name)
        ));
    }
    out
}
