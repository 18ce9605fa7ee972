//! `touch`: one lead in the hand; the probe names what its tip touches, proves the
//! hook-up, or makes it.

use std::collections::BTreeSet;
use std::path::PathBuf;

use loomproof_core::wire::{LeadId, Place};

use super::asking::line;
use super::exit::Status;
use super::jig::using::JigArgs;
use super::job::{BenchArgs, JobArgs, ReachArgs};
use super::staged::StageArgs;
use super::stopping::{Stopping, let_go};
use super::touching::{Hand, Heard, Placed, tell};
use super::{Failure, Format, note, print, print_json};
use crate::hookup::rounds::rounds;
use crate::hookup::{Clip, Hookup, Point};
use crate::jig::{Jig, file};
use crate::plan::model::Job;
use crate::ringout::report::{ProbeReport, Verdict};
use crate::ringout::verdict::place_word;
use crate::stage::{Act, Stage};
use crate::touch::clips::{Clips, point};
use crate::touch::report::{Kind, Report, Sits, Task};
use crate::touch::{Groups, text};
use crate::whole_file::WholeFile;

/// Arguments of `touch`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof touch fixtures/plans/bakery-van.toml --defaults \
                  --plays X1:4,chassis,X1:3+X1:9"
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
    /// The lead in the hand, such as P44; otherwise the first one that is not clipped,
    /// and with --make the last one of the probe.
    #[arg(long, value_name = "LEAD", value_parser = lead)]
    tip: Option<LeadId>,
    /// Asks for every clipped point in turn, and says which clip really sits there.
    #[arg(long)]
    prove: bool,
    /// The same with clips that were put on as they came to hand: finds which lead sits
    /// where, and keeps it in a file for `ringout --clips`.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["prove", "clips", "jig"])]
    make: Option<PathBuf>,
    /// The clips sit as in this file that `--make` has kept.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["at", "jig"])]
    clips: Option<PathBuf>,
    #[command(flatten)]
    jig: JigArgs,
    /// A clip whose number was read: P5=X1:4; may be repeated. That point is not asked
    /// for.
    #[arg(long, value_name = "LEAD=POINT")]
    sits: Vec<String>,
    /// What the tip touches on the virtual bench, one after the other: points of the
    /// plan, `chassis`, `air`, or two points at once, X1:3+X1:4.
    #[arg(long, value_name = "LIST", value_delimiter = ',', conflicts_with_all = ["prove", "make"])]
    plays: Vec<String>,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

fn lead(text: &str) -> Result<LeadId, String> {
    file::lead(text).ok_or_else(|| "a lead is written as on its clip: P1 to P128".to_owned())
}

impl Args {
    fn task(&self) -> Task {
        match (&self.make, self.prove) {
            (Some(_), _) => Task::Make,
            (None, true) => Task::Prove,
            (None, false) => Task::Tell,
        }
    }
}

/// Listens to the tip until everything is found, or somebody ends it.
///
/// # Errors
/// [`Failure`] where nothing can be told.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if let Some(list) = args.bench.simulated.list() {
        print(&list)?;
        return Ok(Status::Pass);
    }
    let place: Place = args.job.place.into();
    args.jig.only_on_bench(place)?;
    let job = args.job.job()?;
    let task = args.task();
    let file = args.make.as_deref().map(|path| {
        WholeFile::beside(path)
            .map_err(|error| Failure::usage(format!("{}: {error}", path.display())))
    });
    let file = file.transpose()?;
    args.stage.enter(Stage::of_dead_test(place), Act::Drive)?;
    note(&format!("{}\n", text::CAUTION));
    let stop = Stopping::listen()?;
    let mut hand = Hand::new(&args.probe, &job, &args.bench)?;
    if !hand.is_virtual() && !args.plays.is_empty() {
        return Err(Failure::usage(
            "--plays is of the virtual bench; leave it out for a real probe".to_owned(),
        ));
    }
    let jig = hand.plugged(&args.jig, place)?;
    let hookup = match &jig {
        Some(jig) => jig.hookup(&job, hand.leads())?,
        None => hookup(args, &job, place, hand.leads())?,
    };
    let plugged = jig.as_ref().map(|plugged| &plugged.jig);
    let tip = tip(args, (&hookup, plugged), hand.leads())?;
    let sits = sits(args, &job, &hookup)?;
    if jig.is_some() && task == Task::Prove {
        note("Take the harness out of the jig: then each of its contacts answers by itself.");
        if !hand.is_virtual() && !matches!(line("Enter when it is out: "), Ok(Some(_))) {
            return Err(Failure::usage(
                "the input ended before that; touch the jig's contacts in a terminal".to_owned(),
            ));
        }
        hand.unplug(&hookup);
    }
    hand.take(&hookup, tip, (task == Task::Make).then_some(&sits))?;
    hand.prove_itself(&hookup)?;
    for say in hookup.mated.to_do(&job) {
        note(&say);
    }
    note(&format!(
        "{tip} is the tip. Hold it in the air while the clips are looked through."
    ));
    let groups = hand.groups(&stop)?;
    let mut report = Report {
        verdict: Verdict::Undecided,
        title: job.title.clone(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        place: place_word(place).to_owned(),
        probe: ProbeReport::of(&hand.hello()?),
        tip: tip.to_string(),
        task,
        touches: Vec::new(),
        clips: Vec::new(),
        open: Vec::new(),
        broken_off: false,
    };
    match task {
        Task::Tell => tell(
            (&job, &hookup, &groups),
            (&mut hand, &stop),
            &args.plays,
            &mut report,
        )?,
        Task::Prove | Task::Make => {
            asked(
                (&job, &hookup, &groups),
                (&mut hand, &stop),
                &sits,
                &mut report,
            )?;
        }
    }
    let_go(hand.link()?);
    report.verdict = verdict(&report);
    let of_jig = jig.as_ref().filter(|_| task == Task::Prove);
    if let Some(jig) = of_jig.filter(|_| !hand.is_virtual()) {
        jig.touched(right(&report), report.elsewhere().next().is_some())?;
    }
    match args.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    let beside = of_jig.map(|jig| jig.beside(&hookup)).unwrap_or_default();
    if !beside.is_empty() {
        note(&format!(
            "Not touched, because this variant does not have them: {}. Touch these with other \
             answers.",
            beside.join(", ")
        ));
    }
    if let (Some(file), Some(path)) = (file, &args.make) {
        keep(&report, (&job, place), file, path)?;
    }
    Ok(report.verdict.into())
}

/// The clips as they are meant to sit; with `--make` only their points count.
fn hookup(args: &Args, job: &Job, place: Place, leads: u8) -> Result<Hookup, Failure> {
    if let Some(file) = &args.clips {
        let clips = Clips::load(file).map_err(Failure::usage)?;
        return clips
            .hookup(file, job, (place, leads))
            .map_err(Failure::usage);
    }
    let within = args.reach.within(job)?;
    let for_clips = match args.task() {
        // The tip can be any lead, and is none of the clips.
        Task::Make => leads.saturating_sub(1),
        _ => leads,
    };
    let mut planned = rounds(job, place, usize::from(for_clips), &within)?;
    if planned.hookups.len() > 1 {
        return Err(Failure::usage(format!(
            "the probe has {leads} leads, too few to clip every point at once and keep one in the \
             hand; name the places with --at, one after the other"
        )));
    }
    Ok(planned.hookups.remove(0))
}

fn tip(args: &Args, (hookup, jig): (&Hookup, Option<&Jig>), leads: u8) -> Result<LeadId, Failure> {
    let make = args.task() == Task::Make;
    let in_jig = |lead: &LeadId| jig.is_some_and(|jig| jig.uses(*lead));
    let free = |lead: &LeadId| make || (hookup.point(*lead).is_none() && !in_jig(lead));
    let tip = match args.tip {
        Some(tip) => Some(tip),
        None if make => leads.checked_sub(1).map(LeadId),
        None => (0..leads).map(LeadId).find(free),
    };
    match tip {
        Some(tip) if tip.0 >= leads => Err(Failure::usage(format!(
            "the probe has {leads} leads, and {tip} is none of them"
        ))),
        Some(tip) if !free(&tip) => Err(Failure::usage(format!(
            "{tip} is clipped; take a free lead in your hand"
        ))),
        Some(tip) => Ok(tip),
        None => Err(Failure::usage(
            "every lead of the probe is clipped, none is left for the hand; name the places with \
             --at, one after the other, or use a probe with more leads"
                .to_owned(),
        )),
    }
}

/// The clips whose numbers were read.
fn sits(args: &Args, job: &Job, hookup: &Hookup) -> Result<Vec<Clip>, Failure> {
    let mut known: Vec<Clip> = Vec::new();
    for said in &args.sits {
        let clip = said.split_once('=').and_then(|(number, name)| {
            let lead = lead(number).ok()?;
            let point = point(job, name)?;
            Some(Clip { lead, point })
        });
        let clip = clip.filter(|clip| hookup.clips.iter().any(|it| it.point == clip.point));
        let Some(clip) = clip else {
            return Err(Failure::usage(format!(
                "--sits {said}: write it as P5=X1:4, with a point of the hook-up"
            )));
        };
        if known
            .iter()
            .any(|it| it.lead == clip.lead || it.point == clip.point)
        {
            return Err(Failure::usage(format!(
                "--sits {said}: that lead or point is given twice"
            )));
        }
        known.push(clip);
    }
    Ok(known)
}

/// Asks for every point, and finds which lead sits where.
fn asked(
    (job, hookup, groups): (&Job, &Hookup, &Groups),
    (hand, stop): (&mut Hand<'_>, &Stopping),
    sits: &[Clip],
    report: &mut Report,
) -> Result<(), Failure> {
    let task = report.task;
    note(
        "Touch each point that is asked for with the tip, and hold it until the beep; touch bare \
         chassis to leave one for later. Ctrl-C ends it.",
    );
    let known = |point: &Point| sits.iter().any(|clip| clip.point == *point);
    let clips = hookup.clips.iter();
    let mut points: Vec<&Point> = clips.map(|clip| &clip.point).collect();
    points.retain(|point| !known(point));
    let mut placed = Placed::new((job, hookup, groups), task);
    for clip in sits {
        placed.sits(clip);
    }
    // A point that was left for later is asked for once more.
    let mut later: Vec<&Point> = Vec::new();
    for (again, list) in [(false, points), (true, Vec::new())] {
        let list = if again {
            std::mem::take(&mut later)
        } else {
            list
        };
        let count = list.len();
        for (at, point) in list.into_iter().enumerate() {
            match placed.ask(hand, stop, (point, at + 1, count), report)? {
                Heard::Found => {}
                Heard::Later if again => placed.open(point, report),
                Heard::Later => later.push(point),
                Heard::Stopped => {
                    report.broken_off = true;
                    placed.finish(report);
                    return Ok(());
                }
            }
        }
    }
    placed.finish(report);
    Ok(())
}

fn verdict(report: &Report) -> Verdict {
    let off = report
        .touches
        .iter()
        .any(|touch| touch.kind == Kind::NotByPlan);
    match report.task {
        _ if report.elsewhere().next().is_some() => Verdict::Faults,
        Task::Tell if off => Verdict::Faults,
        Task::Tell if report.touches.is_empty() => Verdict::Undecided,
        Task::Tell => Verdict::Pass,
        _ if report.broken_off || !report.open.is_empty() => Verdict::Undecided,
        _ => Verdict::Pass,
    }
}

/// The leads that were found where they are meant to sit.
fn right(report: &Report) -> BTreeSet<LeadId> {
    let found = report.clips.iter();
    let right = found.filter(|it| it.meant.as_ref() == Some(&it.point));
    right.filter_map(|it| lead(&it.lead).ok()).collect()
}

/// Keeps the hook-up that was made, where all of it is known.
fn keep(
    report: &Report,
    (job, place): (&Job, Place),
    file: WholeFile,
    path: &std::path::Path,
) -> Result<(), Failure> {
    if report.verdict != Verdict::Pass {
        note(&format!(
            "Not every clip was found, so {} is not written.",
            path.display()
        ));
        return Ok(());
    }
    let clip = |sits: &Sits| {
        Some(Clip {
            lead: lead(&sits.lead).ok()?,
            point: point(job, &sits.point)?,
        })
    };
    let hookup = Hookup {
        place,
        clips: report.clips.iter().filter_map(clip).collect(),
        mated: crate::hookup::Mated::default(),
    };
    Clips::new(job, &hookup)
        .keep(file)
        .map_err(|error| Failure::usage(format!("{}: {error}", path.display())))?;
    note(&format!(
        "Hook-up kept in {0}; now: loomproof ringout PLAN --clips {0}",
        path.display()
    ));
    Ok(())
}
