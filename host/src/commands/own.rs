//! `live --own`: the vehicle's own functions, noted at arrival and gone through again
//! after the job.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::exit::Status;
use super::job::ReachArgs;
use super::keeping::{Shelf, StoreArgs, SubjectArgs};
use super::live::{Way, walk};
use super::staged::StageArgs;
use super::stand::{Stand, Wanted};
use super::stopping::{Stopping, Typed, let_go};
use super::{Failure, Format, note, print, print_json};
use crate::fault::catalogue;
use crate::live::report::{Checked, report as measured_report};
use crate::live::{self, steps};
use crate::own::report::{Gone, Report, State, report};
use crate::own::{Own, Round, list, text};
use crate::plan::model::Job;
use crate::powered::Powered;
use crate::stage::{Act, Stage};

/// Why nothing of the job can be checked at arrival.
pub(super) const NOT_IN_YET: &str = "at arrival the harness is not in yet, so only the vehicle's own \
functions can be tried; name the file that they are noted in with --own FILE";

/// Arguments of a round through the vehicle's own functions.
#[derive(Debug, Clone, clap::Args)]
pub struct OwnArgs {
    /// The vehicle's own functions instead of the job's: noted in this file at arrival,
    /// gone through again (--stage recheck with the probe, --stage hand-over by hand) and
    /// put beside what the file says.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["drain", "rung_out"])]
    own: Option<PathBuf>,
    /// With --own: what is known of a function already, by its conductor: K7=works,
    /// K7=fails or K7=not-tried; may be repeated. It is not asked for then.
    #[arg(long, value_name = "CONDUCTOR=STATE", requires = "own")]
    seen: Vec<String>,
}

impl OwnArgs {
    /// The file of the notes, where this is what is wanted.
    pub(super) fn file(&self) -> Option<&Path> {
        self.own.as_deref()
    }

    /// What is known beforehand.
    fn said(&self, own: &[Own]) -> Result<BTreeMap<String, State>, Failure> {
        let mut said = BTreeMap::new();
        for text in &self.seen {
            let (name, state) = text.split_once('=').unwrap_or((text, "?"));
            let state = text::answer(state).ok_or_else(|| {
                Failure::usage(format!(
                    "--seen {text}: write it as K7=works, K7=fails or K7=not-tried"
                ))
            })?;
            if own.iter().all(|it| it.name != name) {
                let names: Vec<&str> = own.iter().map(|it| it.name.as_str()).collect();
                return Err(Failure::usage(format!(
                    "--seen {text}: the vehicle's conductors in this plan are {}",
                    names.join(", ")
                )));
            }
            said.insert(name.to_owned(), state);
        }
        Ok(said)
    }
}

/// What is needed from the verb's other arguments.
pub(super) struct Asked<'a> {
    pub(super) file: &'a Path,
    pub(super) own: &'a OwnArgs,
    pub(super) job: &'a Job,
    pub(super) stage: &'a StageArgs,
    pub(super) reach: &'a ReachArgs,
    pub(super) wanted: Wanted<'a>,
    pub(super) keyless: bool,
    pub(super) store: &'a StoreArgs,
    pub(super) subject: &'a SubjectArgs,
    pub(super) format: Format,
}

/// Goes through them and prints the report.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub(super) fn run(asked: &Asked<'_>) -> Result<Status, Failure> {
    let subject = asked.subject.subject()?;
    let stage = stage(asked)?;
    let arrival = match stage {
        Stage::Arrival => None,
        _ => Some(kept(asked, subject.vehicle.as_deref())?),
    };
    let own = list(asked.job);
    let mut said = asked.own.said(&own)?;
    let mut shelf = Shelf::open(asked.store)?;
    let stop = Stopping::listen()?;
    note(&format!("{}\n", text::CAUTION));
    let measured = match stage {
        Stage::HandOver => None,
        _ => measure(asked, &own, stage, &stop)?,
    };
    let remarks = ask(&own, measured.as_ref(), &mut said, &stop);
    let broken_off = stop.asked() || measured.as_ref().is_some_and(|it| it.broken_off);
    let report = report(Gone {
        job: asked.job,
        own: &own,
        stage: stage.word(),
        vehicle: subject.vehicle.clone(),
        measured,
        said: &said,
        remarks,
        arrival: arrival.as_ref(),
        broken_off,
    });
    // The verdict first: a disk that is full must not swallow it.
    match asked.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    if arrival.is_none() {
        keep(asked.file, &report)?;
    }
    shelf.keep_report(&report, subject)?;
    Ok(report.verdict.into())
}

/// The stage: as it was given; otherwise arrival where nothing is noted yet, and
/// behind the trim where something is.
fn stage(asked: &Asked<'_>) -> Result<Stage, Failure> {
    let there = asked.file.exists();
    let usual = if there {
        Stage::Recheck
    } else {
        Stage::Arrival
    };
    let stage = match asked.stage.given() {
        // Nothing is on the wiring any more; it is tried by hand.
        Some(Stage::HandOver) => {
            note(&Stage::HandOver.say());
            Stage::HandOver
        }
        _ => asked.stage.enter(usual, Act::Measure)?,
    };
    let name = asked.file.display();
    match (stage, there) {
        (Stage::Identify | Stage::FirstPower | Stage::Comeback, _) => Err(Failure::usage(
            "the vehicle's own functions are gone through at arrival, in the live check, behind \
             the trim and at hand-over: --stage arrival, live-check, recheck or hand-over"
                .to_owned(),
        )),
        (Stage::Arrival, true) => Err(Failure::usage(format!(
            "{name}: the arrival is noted there already and is not written over; name another \
             file, or say where the job stands now with --stage"
        ))),
        (_, false) if stage != Stage::Arrival => Err(Failure::usage(format!(
            "{name}: nothing was noted at arrival, so nothing can be put beside it; without the \
             file of --stage arrival nobody can say whose fault it is"
        ))),
        _ => Ok(stage),
    }
}

/// The notes of the arrival, of this plan and vehicle.
fn kept(asked: &Asked<'_>, vehicle: Option<&str>) -> Result<Report, Failure> {
    let name = asked.file.display();
    let fail = |why: String| Failure::usage(format!("{name}: {why}"));
    let text = std::fs::read_to_string(asked.file).map_err(|error| fail(error.to_string()))?;
    let kept: Report = serde_json::from_str(&text).map_err(|error| {
        fail(format!(
            "this is not what `live --stage arrival --own` keeps ({error})"
        ))
    })?;
    if kept.stage != Stage::Arrival.word() {
        return Err(fail("this was not noted at arrival".to_owned()));
    }
    if kept.title != asked.job.title {
        return Err(fail(format!("this was noted for \"{}\"", kept.title)));
    }
    if kept.vehicle.as_deref() != vehicle {
        let say = |vehicle: Option<&str>| {
            vehicle.map_or("a vehicle without number".to_owned(), |it| {
                format!("vehicle {it}")
            })
        };
        return Err(fail(format!(
            "this was noted of {}, and this is {} (--vehicle)",
            say(kept.vehicle.as_deref()),
            say(vehicle)
        )));
    }
    if kept.plan_digest != asked.job.digest || kept.answers != asked.job.answers {
        note(
            "The plan or its answers have changed since the arrival; conductors are compared by name.",
        );
    }
    Ok(kept)
}

/// Keeps the notes; never over what is there.
fn keep(file: &Path, report: &Report) -> Result<(), Failure> {
    let name = file.display();
    let fail = |why: String| Failure::usage(format!("{name}: the notes could not be kept: {why}"));
    let text = serde_json::to_string_pretty(report).map_err(|error| fail(error.to_string()))?;
    let mut made = std::fs::File::create_new(file).map_err(|error| fail(error.to_string()))?;
    made.write_all(format!("{text}\n").as_bytes())
        .and_then(|()| made.sync_all())
        .map_err(|error| fail(error.to_string()))?;
    note(&format!(
        "Noted in {name}; keep it until the vehicle goes back."
    ));
    Ok(())
}

/// What the probe sees of them; `None` where it can see nothing.
fn measure(
    asked: &Asked<'_>,
    own: &[Own],
    stage: Stage,
    stop: &Stopping,
) -> Result<Option<live::Report>, Failure> {
    let within = asked.reach.within(asked.job)?;
    let round = Round::of(asked.job, own, &within, stage != Stage::Arrival);
    let clips = &round.hookup.clips;
    if clips.is_empty() {
        note("The plan does not say of any conductor when it is on; nothing can be measured.");
        return Ok(None);
    }
    let mut stand = Stand::new(asked.wanted, &round.job)?;
    if clips.len() > usize::from(stand.leads()) {
        return Err(Failure::usage(format!(
            "there are {} conductors to look at and the probe has {} leads: name the places with \
             --at, one after the other",
            clips.len(),
            stand.leads()
        )));
    }
    note("Where the probe leads go, everything plugged:");
    for clip in clips {
        let lead = clip.lead.to_string();
        note(&format!("    {lead:<4} {}", clip.point.full_name()));
    }
    let list = steps(&round.job);
    let powered = Powered::new(&round.job, &round.hookup)?;
    let way = Way {
        job: &round.job,
        hookup: &round.hookup,
        steps: &list,
        keyless: asked.keyless,
        ask: live::text::ask,
    };
    let seen = walk(&way, (&mut stand, stop))?;
    let_go(stand.link()?);
    let report = measured_report(Checked {
        job: &round.job,
        powered: &powered,
        steps: &list,
        seen: &seen,
        faults: catalogue::all(&round.job, &round.hookup),
        hello: stand.link()?.hello(),
    })
    .map_err(Failure::usage)?;
    Ok(Some(report))
}

/// Asks for what the probe cannot see; gives what else was noted.
fn ask(
    own: &[Own],
    measured: Option<&live::Report>,
    said: &mut BTreeMap<String, State>,
    stop: &Stopping,
) -> Vec<String> {
    let seen = |own: &Own| measured.and_then(|it| crate::own::report::seen(it, own));
    let open: Vec<&Own> = own
        .iter()
        .filter(|own| !said.contains_key(&own.name) && seen(own).is_none())
        .collect();
    for (at, own) in open.iter().enumerate() {
        let prompt = text::ask(own, (at + 1, open.len()));
        let state = loop {
            match stop.line(&prompt) {
                Typed::Line(typed) => match text::answer(&typed) {
                    Some(state) => break state,
                    None => note("    Please answer w, n or nothing."),
                },
                Typed::End | Typed::Stopped => return Vec::new(),
            }
        };
        said.insert(own.name.clone(), state);
    }
    let mut remarks = Vec::new();
    while let Typed::Line(typed) =
        stop.line("Anything else that does not work? One line each, Enter ends: ")
    {
        let remark = typed.trim();
        if remark.is_empty() {
            break;
        }
        remarks.push(remark.to_owned());
    }
    remarks
}
