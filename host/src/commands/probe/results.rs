//! `probe results`: what the probe rang out by itself, into the records.

use serde::Serialize;

use super::load::compiled;
use super::{Bare, Failure, Format, ProbeArgs, Status, VirtualArgs, note, print, print_json};
use crate::alone::{ResultsError, collect, forget, rung};
use crate::commands::job::JobArgs;
use crate::commands::keeping::{Run, Shelf, StoreArgs, SubjectArgs};
use crate::commands::ringing::Judging;
use crate::probe::nulls::kept;
use crate::ringout::recording::Recording;
use crate::ringout::report::{Report, Verdict};
use crate::ringout::{Round, text};
use loomproof_core::image;

/// Arguments of `probe results`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof probe results fixtures/plans/bakery-van.toml --probe virtual\n\n\
                  Give the same plan, --where and --answer as to `probe load`. What is kept in the \
                  records is then forgotten by the probe. The probe has no clock: a record says \
                  when it was collected.\n\nExit status: 0 all passed or nothing was there, 1 faults \
                  found, 5 cannot tell."
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    #[command(flatten)]
    probe: ProbeArgs,
    #[command(flatten)]
    store: StoreArgs,
    #[command(flatten)]
    subject: SubjectArgs,
}

impl Args {
    /// What the virtual probe is like.
    pub(super) fn simulated(&self) -> &VirtualArgs {
        &self.probe.simulated
    }
}

#[derive(Serialize)]
struct Printed {
    /// Number of the run in the probe.
    number: u32,
    /// What the probe said by itself.
    probe_said: &'static str,
    report: Report,
}

/// Collects, judges, keeps and prints.
///
/// # Errors
/// [`Failure`]; what was not kept in the records stays in the probe.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let plan = args.job.plan()?;
    let subject = args.subject.subject()?;
    let mut shelf = Shelf::open(&args.store)?;
    args.probe.lasting();
    let mut link = args.probe.link(Bare::Free)?;
    let collected = collect(link.as_mut())?;
    if collected.is_empty() {
        note("The probe keeps no results.");
        if args.probe.format == Format::Json {
            print_json(&Vec::<Printed>::new())?;
        }
        return Ok(Status::Pass);
    }
    let image = compiled(&args.job, &plan, link.as_mut())?;
    let clips = kept(link.as_mut())?;
    let hello = link.hello().clone();
    let mut printed = Vec::new();
    for result in &collected {
        let (job, rung) = rung(&plan, (&image, hello.leads), &clips, result)?;
        let place = rung.hookup.place;
        let rungs = vec![rung];
        let judging = Judging::of(&job, rungs.clone(), None)?;
        let report = judging.report(&job, &hello)?;
        let rounds: Vec<Round<'_>> = rungs.iter().map(crate::ringout::Rung::round).collect();
        let recording = Recording::new(&job, place, &rounds, &hello)
            .with_nulls(rungs.iter().map(|rung| &rung.clips));
        if args.probe.format == Format::Text {
            let number = result.kept.number;
            let said = verdict_word(result.kept.verdict);
            let shown = text::render(&report, text::Detail::Plain);
            print(&format!(
                "Run {number} of the probe, which said: {said}.\n{shown}\n"
            ))?;
        }
        let run = Run {
            rounds: &rounds,
            covered: &judging.covered,
            recording: Some(&recording),
            report: &report,
        };
        shelf.keep(&run, subject.clone())?;
        if shelf.keeps() {
            forget(link.as_mut(), result)?;
        }
        printed.push(Printed {
            number: result.kept.number,
            probe_said: verdict_word(result.kept.verdict),
            report,
        });
    }
    if !shelf.keeps() {
        note("Not kept in any records, so the probe keeps its results still.");
    }
    if args.probe.format == Format::Json {
        print_json(&printed)?;
    }
    let worst = |verdict| printed.iter().any(|one| one.report.verdict == verdict);
    let found = [Verdict::Faults, Verdict::Undecided];
    let verdict = found.into_iter().find(|verdict| worst(*verdict));
    Ok(verdict.unwrap_or(Verdict::Pass).into())
}

fn verdict_word(verdict: image::Verdict) -> &'static str {
    match verdict {
        image::Verdict::Pass => "pass",
        image::Verdict::Faults => "faults",
        image::Verdict::Undecided => "undecided",
    }
}

impl From<ResultsError> for Failure {
    fn from(error: ResultsError) -> Self {
        match error {
            ResultsError::OtherPlan { .. }
            | ResultsError::OtherImage(_)
            | ResultsError::Model(_) => Self::usage(error.to_string()),
            _ => Self::probe(error.to_string()),
        }
    }
}
