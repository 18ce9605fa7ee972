//! `ringout`: the dead test.

use std::path::PathBuf;

use loomproof_core::layout::Layout;
use loomproof_core::scan::first_pass;
use loomproof_core::wire::Place;
use serde::Serialize;

use super::exit::Status;
use super::going_on::{Judging, go_on};
use super::job::{BenchArgs, JobArgs};
use super::progress::Bar;
use super::ready::make_ready;
use super::{Failure, Format, note, print, print_json};
use crate::bench::Bench;
use crate::circuit::{Model, build};
use crate::diagnosis::coverage::coverage;
use crate::fault::{Fault, catalogue};
use crate::hookup::{Hookup, propose};
use crate::link::{Link, VirtualProbe, connect};
use crate::plan::model::Job;
use crate::probe::nulls;
use crate::ringout::hand_checks::{attest, hand_checks};
use crate::ringout::recording::{Recording, Slot};
use crate::ringout::report::Report;
use crate::ringout::{Outcome, Taken, run, text, verdict};

/// Arguments of `ringout`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof ringout fixtures/plans/bakery-van.toml --defaults \
                  --probe virtual --fault exchanged@X1:3,with=X1:4"
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    /// `virtual`, or the port of a probe, such as /dev/ttyACM0 or COM5.
    #[arg(long, value_name = "PROBE", default_value = "virtual")]
    probe: String,
    #[command(flatten)]
    bench: BenchArgs,
    /// Keeps the scan in a file.
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    save: Option<PathBuf>,
    /// Judges a kept scan instead of taking one.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["probe", "faults", "seed", "leads", "place"])]
    from: Option<PathBuf>,
    /// A place whose hand checks were done and are vouched for, such as X1; may
    /// be repeated; `all` for every place.
    #[arg(long, value_name = "PLACE", value_delimiter = ',')]
    attest: Vec<String>,
    /// Where the readings leave a choice, asks for the step that tells most, takes
    /// it, and judges again.
    #[arg(long, conflicts_with = "from")]
    go_on: bool,
    /// Also shows the readings that speak for the findings, and against them.
    #[arg(long)]
    explain: bool,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// Rings out and prints the report.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if let Some(list) = args.bench.simulated.list() {
        print(&list)?;
        return Ok(Status::Pass);
    }
    if let Some(file) = &args.from {
        return judge_kept(args, file);
    }
    let job = args.job.job()?;
    let place: Place = args.job.place.into();
    // A slip of the pen is told before anything is measured.
    attest(&mut hand_checks(&job, place), &args.attest).map_err(Failure::usage)?;
    let virtual_probe = args.probe == "virtual";
    if args.bench.wants_list() {
        return list_faults(args, &job, place);
    }
    let faults = args.bench.faults(&job)?;
    if !virtual_probe && !faults.is_empty() {
        return Err(Failure::usage(
            "--fault puts faults on the virtual bench; leave it away for a real probe".to_owned(),
        ));
    }
    if place == Place::Vehicle {
        note(&format!("{}\n", text::CAUTION));
    }
    let mut session = Session {
        args,
        job: &job,
        faults,
    };
    if virtual_probe {
        let hookup = propose(&job, place, usize::from(args.bench.simulated.leads))?;
        let link = session.link(&hookup)?;
        scan(&mut session, hookup, link)
    } else {
        args.bench.simulated.only_virtual()?;
        let link = connect(&args.probe)?;
        let hookup = propose(&job, place, usize::from(link.hello().leads))?;
        scan(&mut session, hookup, Box::new(link))
    }
}

/// One call of the command: what is asked for, of which job, and what is wrong
/// on the virtual bench.
pub(super) struct Session<'a> {
    pub(super) args: &'a Args,
    pub(super) job: &'a Job,
    faults: Vec<Fault>,
}

impl Session<'_> {
    /// Whether the bench is simulated.
    pub(super) fn is_virtual(&self) -> bool {
        self.args.probe == "virtual"
    }

    /// The virtual probe, clipped like this.
    pub(super) fn link(&self, hookup: &Hookup) -> Result<Box<dyn Link>, Failure> {
        let link = virtual_link(self.job, hookup, &self.faults, &self.args.bench)?;
        Ok(Box::new(link))
    }

    /// Sets the clips of the virtual bench right.
    pub(super) fn reclip(&mut self) {
        self.faults.retain(|fault| !fault.is_operators());
    }
}

/// A virtual probe on a bench with these faults.
///
/// # Errors
/// [`Failure`] when the faults do not fit the job.
pub fn virtual_link(
    job: &Job,
    hookup: &Hookup,
    faults: &[Fault],
    bench: &BenchArgs,
) -> Result<impl Link + use<>, Failure> {
    let simulated = &bench.simulated;
    let bench = Bench::new(job, hookup, faults, &simulated.settings()?)?;
    Ok(VirtualProbe::with_flash(bench, simulated.flash()?).session()?)
}

fn scan(
    session: &mut Session<'_>,
    hookup: Hookup,
    mut link: Box<dyn Link>,
) -> Result<Status, Failure> {
    let (args, job) = (session.args, session.job);
    let mut model = build(job, &hookup)?;
    let ready = make_ready(link.as_mut(), &hookup, &mut model)?;
    if session.is_virtual() {
        // Its noise begins anew, so that a seed gives the readings that it always gave.
        link = session.link(&hookup)?;
    }
    let slot = args.save.as_deref().map(Slot::reserve).transpose()?;
    let outcome = take(link.as_mut(), &model, hookup.place)?;
    ready.stands(&outcome)?;
    let hello = link.hello().clone();
    let covered = coverage(&model, &catalogue::all(job, &hookup)).map_err(Failure::usage)?;
    let kept = slot.is_some().then(|| outcome.clone());
    let first = Judging {
        hookup: hookup.clone(),
        model,
        covered,
        outcome,
    };
    let report = if args.go_on {
        go_on(session, link, &hello, first)?
    } else {
        first.report(job, &hello)?
    };
    // The verdict first: a disk that is full must not swallow it.
    let status = print_report(args, report)?;
    match (slot, &kept) {
        (Some(slot), Some(Outcome::Complete(taken))) => {
            slot.keep(&Recording::new(job, &hookup, &hello, taken).with_nulls(&ready.clips))?;
            let file = args.save.as_deref().unwrap_or(std::path::Path::new(""));
            note(&format!("Scan kept in {}.", file.display()));
        }
        (Some(_), _) => note("The scan was broken off; nothing is kept."),
        (None, _) => {}
    }
    Ok(status)
}

/// Rings out, with a progress bar.
pub(super) fn take(link: &mut dyn Link, model: &Model, place: Place) -> Result<Outcome, Failure> {
    let bar = Bar::new();
    let outcome = run::run(link, model, place, &mut |progress| bar.show(progress));
    bar.done();
    Ok(outcome?)
}

fn judge_kept(args: &Args, file: &std::path::Path) -> Result<Status, Failure> {
    let recording = Recording::load(file)?;
    let plan = args.job.plan()?;
    recording.check_plan(file, plan.digest())?;
    let job = args.job.settle(&plan, recording.answers().clone())?;
    let hookup = propose(&job, recording.place(), usize::from(recording.leads()))?;
    let mut model = build(&job, &hookup)?;
    nulls::apply(&mut model, &recording.nulls());
    let taken = recording.taken(file, &job, &hookup)?;
    if !is_whole(&model, &taken) {
        return Err(Failure::usage(format!(
            "{}: readings of the first pass are missing, so it proves nothing; ring out again",
            file.display()
        )));
    }
    let outcome = Outcome::Complete(taken);
    let report = verdict::report(&job, &hookup, &model, &recording.hello(), &outcome)
        .map_err(Failure::usage)?;
    print_report(args, report)
}

/// Whether a scan holds every step of the first pass, in order, and no more
/// behind it than a scan takes to find out what is wrong.
fn is_whole(model: &Model, taken: &[Taken]) -> bool {
    let layout = Layout::of(&model.circuit, &[]);
    let mut wanted = 0;
    for (at, planned) in first_pass(&layout).enumerate() {
        if taken.get(at).is_none_or(|taken| {
            taken.planned != planned || taken.readings.len() != planned.step.senses.len()
        }) {
            return false;
        }
        wanted += 1;
    }
    wanted > 0 && taken.len() - wanted <= run::MOST_FURTHER_STEPS
}

fn print_report(args: &Args, mut report: Report) -> Result<Status, Failure> {
    attest(&mut report.hand_checks, &args.attest).map_err(Failure::usage)?;
    match args.format {
        Format::Json => print_json(&report)?,
        Format::Text => {
            let detail = if args.explain {
                text::Detail::Explained
            } else {
                text::Detail::Plain
            };
            print(&text::render(&report, detail))?;
        }
    }
    Ok(report.verdict.into())
}

#[derive(Serialize)]
struct FaultLine {
    fault: String,
    kind: &'static str,
    place: String,
    covered: bool,
}

fn list_faults(args: &Args, job: &Job, place: Place) -> Result<Status, Failure> {
    let hookup = propose(job, place, usize::from(args.bench.simulated.leads))?;
    let model = build(job, &hookup)?;
    let listed = coverage(&model, &catalogue::all(job, &hookup)).map_err(Failure::usage)?;
    let lines: Vec<FaultLine> = listed
        .iter()
        .map(|c| FaultLine {
            fault: c.fault.to_string(),
            kind: c.fault.kind(),
            place: c.fault.place(),
            covered: c.covered,
        })
        .collect();
    match args.format {
        Format::Json => print_json(&lines)?,
        Format::Text => {
            let mut out =
                String::from("Faults that this plan allows (- = this hook-up cannot see it):\n");
            for line in &lines {
                let mark = if line.covered { ' ' } else { '-' };
                out.push_str(&format!("{mark} {}\n", line.fault));
            }
            print(&out)?;
        }
    }
    Ok(Status::Pass)
}
