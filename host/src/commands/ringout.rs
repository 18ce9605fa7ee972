//! `ringout`: the dead test.

use std::path::{Path, PathBuf};

use loomproof_core::wire::{Hello, Place};
use serde::Serialize;

use super::clipped::Clipped;
use super::exit::Status;
use super::going_on::go_on;
use super::jig::using::JigArgs;
use super::job::{BenchArgs, JobArgs, ReachArgs};
use super::keeping::{Run, Shelf, StoreArgs, SubjectArgs};
use super::learning::{LearnArgs, Lesson, learn};
use super::ringing::{Judging, ring};
use super::so_far::{Earlier, rungs};
use super::staged::StageArgs;
use super::{Failure, Format, note, print, print_json};
use crate::circuit::{Model, build};
use crate::diagnosis::coverage::coverage_of_rounds;
use crate::fault::catalogue;
use crate::hookup::rounds::rounds;
use crate::hookup::{Hookup, Within, needed};
use crate::plan::Plan;
use crate::plan::model::{Job, Proof};
use crate::ringout::hand_checks::{attest, hand_checks};
use crate::ringout::other_answers::doubt_answers;
use crate::ringout::recording::{Recording, Slot};
use crate::ringout::report::{ProbeReport, Report, Verdict};
use crate::ringout::{Round, Rung, text};
use crate::stage::{Act, Stage};
use crate::touch::clips::Clips;

/// Arguments of `ringout`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof ringout fixtures/plans/bakery-van.toml --defaults \
                  --probe virtual --fault exchanged@X1:3,with=X1:9"
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    #[command(flatten)]
    reach: ReachArgs,
    #[command(flatten)]
    stage: StageArgs,
    /// `virtual`, or the port of a probe, such as /dev/ttyACM0 or COM5, or `usb`
    /// for the one that is plugged in.
    #[arg(long, value_name = "PROBE", default_value = "virtual")]
    probe: String,
    #[command(flatten)]
    bench: BenchArgs,
    /// Keeps the scan in a file.
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    save: Option<PathBuf>,
    /// Adds what is rung out now to a file, and judges all that is in it: for a
    /// job that is done place by place (see --at).
    #[arg(long, value_name = "FILE", conflicts_with_all = ["save", "from", "jig"])]
    so_far: Option<PathBuf>,
    /// Judges a kept scan instead of taking one.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["probe", "faults", "seed", "leads", "place", "at", "jig"])]
    from: Option<PathBuf>,
    /// A place whose hand checks were done and are vouched for, such as X1; may
    /// be repeated; `all` for every place.
    #[arg(long, value_name = "PLACE", value_delimiter = ',')]
    attest: Vec<String>,
    /// Where the readings leave a choice, asks for the step that tells most, takes
    /// it, and judges again.
    #[arg(long, conflicts_with_all = ["from", "jig"])]
    go_on: bool,
    /// The clips sit as in this file that `touch --make` has kept.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["from", "at", "jig"])]
    clips: Option<PathBuf>,
    #[command(flatten)]
    jig: JigArgs,
    #[command(flatten)]
    learn: LearnArgs,
    /// Also shows the readings that speak for the findings, and against them.
    #[arg(long)]
    explain: bool,
    #[command(flatten)]
    store: StoreArgs,
    #[command(flatten)]
    subject: SubjectArgs,
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
    let place: Place = args.job.place.into();
    args.jig.only_on_bench(place)?;
    let plan = args.job.plan()?;
    let earlier = match &args.so_far {
        Some(file) => Earlier::load(file, &plan, place)?,
        None => Earlier::default(),
    };
    let mut job = args.job.settle(&plan, earlier.answers())?;
    earlier.learn(&mut job);
    args.learn.apply(&mut job, &args.subject)?;
    // A slip of the pen is told before anything is measured.
    attest(&mut hand_checks(&job, place), &args.attest).map_err(Failure::usage)?;
    // Kept in the file with what is rung out.
    for occupied in &mut job.electrics.occupied {
        if occupied.proof == Proof::Open && args.attest.contains(&occupied.place()) {
            occupied.proof = Proof::Attested;
        }
    }
    if args.bench.wants_list() {
        return list_faults(args, &job, place);
    }
    let within = args.reach.within(&job)?;
    if args.learn.wanted() {
        args.stage.enter(Stage::of_dead_test(place), Act::Drive)?;
        note(&format!("{}\n", text::CAUTION));
        return learn(&Lesson {
            args: &args.learn,
            job: &job,
            place,
            within: &within,
            probe: (&args.probe, &args.bench),
            subject: &args.subject,
            format: args.format,
        });
    }
    let kept = (earlier.rungs(&job)?, earlier.has_changed(&job));
    let slot = args.save.as_ref().or(args.so_far.as_ref());
    let slot = slot.map(|file| Slot::reserve(file)).transpose()?;
    args.stage.enter(Stage::of_dead_test(place), Act::Drive)?;
    if place == Place::Vehicle {
        note(&format!("{}\n", text::CAUTION));
    }
    let probe = Clipped::new(&args.probe, &job, &args.bench)?;
    scan((args, &plan, &job), kept, probe, &within, slot)
}

fn scan(
    (args, plan, job): (&Args, &Plan, &Job),
    (mut rungs, changed): (Vec<Rung>, bool),
    mut probe: Clipped<'_>,
    within: &Within,
    slot: Option<Slot>,
) -> Result<Status, Failure> {
    let place: Place = args.job.place.into();
    let subject = args.subject.subject()?;
    let mut shelf = Shelf::open(&args.store)?;
    let jig = probe.plugged(&args.jig, place)?;
    let hookups = match (&jig, &args.clips) {
        (Some(jig), _) => {
            let hookup = jig.hookup(job, probe.leads())?;
            let strays = jig.jig.strays(plan);
            if !strays.is_empty() {
                return Err(Failure::usage(format!(
                    "{}: no variant of this plan has the points of {}; put them right in the jig's file",
                    jig.jig.path.display(),
                    strays.join(", ")
                )));
            }
            vec![hookup]
        }
        (None, None) => rounds(job, place, usize::from(probe.leads()), within)?.hookups,
        (None, Some(file)) => {
            let clips = Clips::load(file).map_err(Failure::usage)?;
            let clipped = clips.hookup(file, job, (place, probe.leads()));
            vec![clipped.map_err(Failure::usage)?]
        }
    };
    probe.plan(&hookups)?;
    if let Some(jig) = jig.as_ref().filter(|_| !probe.is_virtual()) {
        jig.count()?;
    }
    let both = jig.as_ref().zip(hookups.first());
    let proved = both.is_some_and(|(jig, hookup)| jig.is_proved(hookup));
    let (mut new, stop) = ring(job, hookups, &mut probe)?;
    for rung in &mut new {
        rung.set_anew = proved;
    }
    let broken_off = stop.is_some();
    // A place that was rung out again counts as it is now.
    if !broken_off {
        let needed = needed(job, place);
        rungs.retain(|old| !new.iter().any(|new| old.is_replaced_by(new, &needed)));
    }
    let earlier = rungs.len();
    rungs.extend(new);
    let Some(hello) = probe.hello() else {
        return Err(Failure::usage("there was nothing to ring out".to_owned()));
    };
    let mut kept = rungs.clone();
    let first = Judging::of(job, rungs, stop)?;
    let covered = first.covered.clone();
    let mut report = if args.go_on {
        go_on(job, &mut probe, &hello, (first, earlier), &mut kept)?
    } else {
        // In a jig no lead is free to touch with.
        let leads = if jig.is_some() { 0 } else { hello.leads };
        let mut report = first.report(
            job,
            &Hello {
                leads,
                ..hello.clone()
            },
        )?;
        report.probe = ProbeReport::of(&hello);
        report
    };
    let rounds: Vec<Round<'_>> = kept.iter().map(Rung::round).collect();
    doubt_answers(plan, job, &rounds, &mut report);
    attest(&mut report.hand_checks, &args.attest).map_err(Failure::usage)?;
    if report.verdict == Verdict::Faults && earlier > 0 {
        note(
            "Readings of earlier calls count as well. Once something is put right, ring out again \
             with the same --at as then: that takes the place of what was read there.",
        );
    }
    // The verdict first: a disk that is full must not swallow it.
    let status = print_report(args, &report)?;
    if let Some(jig) = jig.filter(|_| report.verdict == Verdict::Faults) {
        note(&jig.afterthought(proved));
    }
    let recording = (!broken_off).then(|| {
        let nulls = kept.iter().map(|rung| &rung.clips);
        Recording::new(job, place, &rounds, &hello)
            .with_nulls(nulls)
            .with_answers_changed(changed)
            .with_set_anew(kept.iter().map(|rung| rung.set_anew))
    });
    // Each where it was wanted, even where the other could not be written.
    let in_file = keep_in_file(slot, recording.as_ref());
    let run = Run {
        rounds: &rounds,
        covered: &covered,
        recording: recording.as_ref(),
        report: &report,
    };
    shelf.keep(&run, subject)?;
    in_file?;
    Ok(status)
}

/// Writes a whole scan to the file that was reserved for it.
fn keep_in_file(slot: Option<Slot>, recording: Option<&Recording>) -> Result<(), Failure> {
    match (slot, recording) {
        (Some(slot), Some(recording)) => {
            let file = slot.path().display().to_string();
            slot.keep(recording)?;
            note(&format!("Scan kept in {file}."));
        }
        (Some(_), None) => note("The scan was broken off; nothing is kept in the file."),
        (None, _) => {}
    }
    Ok(())
}

fn judge_kept(args: &Args, file: &Path) -> Result<Status, Failure> {
    let mut report = kept_report(&args.job, file)?.report;
    attest(&mut report.hand_checks, &args.attest).map_err(Failure::usage)?;
    print_report(args, &report)
}

/// A kept scan, judged.
pub(super) struct KeptReport {
    pub(super) job: Job,
    pub(super) place: Place,
    pub(super) hookups: Vec<Hookup>,
    pub(super) report: Report,
}

/// Judges a kept scan.
pub(super) fn kept_report(args: &JobArgs, file: &Path) -> Result<KeptReport, Failure> {
    let plan = args.plan()?;
    let recording = Recording::load(file)?;
    recording.check_plan(file, plan.digest())?;
    let mut job = args.settle(&plan, recording.answers().clone())?;
    recording.learn(&mut job);
    recording.check_variant(file, &job)?;
    let rungs = rungs(&recording, file, &job)?;
    // Read with other answers, a round is judged by what its steps show.
    if !recording.has_changed(&job) && !rungs.iter().all(Rung::is_whole) {
        return Err(Failure::usage(format!(
            "{}: readings of the first pass are missing, so it proves nothing; ring out again",
            file.display()
        )));
    }
    let hookups = rungs.iter().map(|rung| rung.hookup.clone()).collect();
    let judging = Judging::of(&job, rungs, None)?;
    let mut report = judging.report(&job, &recording.hello())?;
    let rounds: Vec<Round<'_>> = judging.rungs.iter().map(Rung::round).collect();
    doubt_answers(&plan, &job, &rounds, &mut report);
    Ok(KeptReport {
        job,
        place: recording.place(),
        hookups,
        report,
    })
}

fn print_report(args: &Args, report: &Report) -> Result<Status, Failure> {
    match args.format {
        Format::Json => print_json(report)?,
        Format::Text => {
            let detail = if args.explain {
                text::Detail::Explained
            } else {
                text::Detail::Plain
            };
            print(&text::render(report, detail))?;
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
    let within = args.reach.within(job)?;
    let leads = args.bench.simulated.leads;
    let hookups = match args.jig.planned(job, place, leads)? {
        Some(hookup) => vec![hookup],
        None => rounds(job, place, usize::from(leads), &within)?.hookups,
    };
    let models = hookups.iter().map(|hookup| build(job, hookup));
    let models = models.collect::<Result<Vec<_>, _>>()?;
    let models: Vec<&Model> = models.iter().collect();
    let listed = coverage_of_rounds(&models, &catalogue::of_rounds(job, &hookups));
    let listed = listed.map_err(Failure::usage)?;
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
