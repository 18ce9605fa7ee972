//! `wiggle`: a continuous watch for joints that come apart.

use std::time::Duration;

use loomproof_core::units::{Micros, Volts};
use loomproof_core::wire::Place;

use super::clipped::VIRTUAL;
use super::exit::Status;
use super::job::{JobArgs, ReachArgs, VirtualArgs, Where};
use super::keeping::{Shelf, StoreArgs, SubjectArgs};
use super::ready::make_ready;
use super::staged::StageArgs;
use super::stand::{Stand, Wanted};
use super::stopping::{Stopping, Typed, let_go};
use super::wiggling::{Ended, Way, wiggle};
use super::{Failure, Format, note, print, print_json};
use crate::bench::Bench;
use crate::circuit::build;
use crate::fault::Joint;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::rounds::rounds;
use crate::link::Link;
use crate::plan::model::Job;
use crate::powered::{HIGH, LOW, Powered};
use crate::records::record::Subject;
use crate::stage::{Act, Stage};
use crate::wiggle::report::{NotWatched, Report, Wiggled, report};
use crate::wiggle::round::{Rounds, Trouble, certain_dead, certain_live};
use crate::wiggle::spots::spelled;
use crate::wiggle::view::{Caption, certain};
use crate::wiggle::{Tally, Watch, powered, text, watchable};

/// How long the virtual bench is watched when nothing is said.
const VIRTUAL_SECONDS: f64 = 10.0;

/// Arguments of `wiggle`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: loomproof wiggle fixtures/plans/smallest.toml --probe virtual \
                  --fault intermittent@X1:4,gap=300us,every=2s"
)]
pub struct Args {
    #[command(flatten)]
    job: JobArgs,
    #[command(flatten)]
    reach: ReachArgs,
    #[command(flatten)]
    stage: StageArgs,
    /// Only this joint, spelled as in `intermittent@X1:4`; may be repeated.
    #[arg(long = "joint", value_name = "JOINT")]
    joints: Vec<String>,
    /// With the battery on: measures only. Joints are watched whose opening shows in
    /// the voltages.
    #[arg(long)]
    live: bool,
    /// With --live: how a switch stands; may be repeated. Others are in their first
    /// state.
    #[arg(long = "set", value_name = "SWITCH=STATE", requires = "live")]
    set: Vec<String>,
    /// Ends after so many seconds; without it, with Enter (on the virtual bench after
    /// 10 s of its own time).
    #[arg(long = "for", value_name = "SECONDS")]
    seconds: Option<f64>,
    /// Asks for each terminal in turn to be pulled and held, and ticks it off by itself.
    #[arg(long)]
    pull: bool,
    /// `virtual`, or the port of a probe, such as /dev/ttyACM0 or COM5, or `usb`
    /// for the one that is plugged in.
    #[arg(long, value_name = "PROBE", default_value = "virtual")]
    probe: String,
    /// Puts a fault on the virtual bench; may be repeated. Besides the faults of
    /// `ringout`: intermittent@JOINT,gap=300us,every=2s.
    #[arg(long = "fault", value_name = "FAULT")]
    faults: Vec<String>,
    #[command(flatten)]
    simulated: VirtualArgs,
    #[command(flatten)]
    store: StoreArgs,
    #[command(flatten)]
    subject: SubjectArgs,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// Watches and prints the report.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if let Some(list) = args.simulated.list() {
        print(&list)?;
        return Ok(Status::Pass);
    }
    let place: Place = args.job.place.into();
    if args.live && place == Place::Bench {
        return Err(Failure::usage(
            "--live is for the vehicle; on the bench there is no battery".to_owned(),
        ));
    }
    let limit = args.limit()?;
    let job = args.job.job()?;
    let joints = args.joints(&job)?;
    let switches = args.switches(&job)?;
    let within = args.reach.within(&job)?;
    let subject = args.subject.subject()?;
    let shelf = Shelf::open(&args.store)?;
    let stop = Stopping::listen()?;
    let (caution, usual, act) = if args.live {
        let caution = crate::live::text::CAUTION;
        (caution, Stage::LiveCheck, Act::Measure)
    } else {
        (text::CAUTION, Stage::of_dead_test(place), Act::Drive)
    };
    args.stage.enter(usual, act)?;
    if place == Place::Vehicle {
        note(&format!("{caution}\n"));
    }
    let mut bench = Stand::new(args.wanted(), &job)?;
    let mut planned = rounds(&job, place, usize::from(bench.leads()), &within)?;
    if planned.hookups.len() > 1 {
        return Err(Failure::usage(format!(
            "this job has more test points than the probe has leads ({}); joints are watched in \
             one hook-up: name the places with --at, one after the other",
            bench.leads()
        )));
    }
    let mut hookup = planned.hookups.remove(0);
    if args.live {
        hookup = hookup.battery_on();
    }
    for say in hookup.mated.to_do(&job) {
        note(&say);
    }
    let mut model = build(&job, &hookup)?;
    let mut watch = if args.live {
        let powered = Powered::new(&job, &hookup)?;
        powered::watchable(&job, &powered, &switches).map_err(Failure::usage)?
    } else {
        watchable::watchable(&job, &model, place)
    };
    watch.only(&joints).map_err(Failure::usage)?;
    let list: Vec<NotWatched> = watch
        .unwatched
        .iter()
        .map(|(joint, why)| NotWatched {
            place: spelled(joint),
            why: why.words().to_owned(),
        })
        .collect();
    if !list.is_empty() {
        note(&text::not_watched(&list));
    }
    bench.clip(&hookup)?;
    if args.live {
        set(&job, &bench, &switches, &stop)?;
    }
    if !args.live && !watch.groups.is_empty() {
        make_ready(bench.link()?, &hookup, &mut model)?;
    }
    let way = Way {
        live: args.live,
        simulated: bench.is_virtual(),
        limit,
        pull: args.pull,
        only: joints,
        stop,
    };
    let caption = args.caption(&job, &watch);
    let (tally, ended) = if watch.groups.is_empty() {
        (Tally::new(&watch), Ended::default())
    } else {
        watched(bench.link()?, &job, place, &mut watch, (&way, caption))?
    };
    let_go(bench.link()?);
    let refusal = match ended.trouble {
        None => None,
        Some(Trouble::Refused(why)) => Some(text::refusal(&job, &hookup, why)),
        Some(Trouble::Link(error)) => return Err(error.into()),
        Some(error @ Trouble::WrongReply) => return Err(Failure::probe(error.to_string())),
    };
    let broken_off = way.stop.asked().then_some(ended.left);
    let report = report(Wiggled {
        job: &job,
        place: match args.job.place {
            Where::Bench => "bench",
            Where::Vehicle => "vehicle",
        },
        live: args.live,
        hello: bench.link()?.hello(),
        watch: &watch,
        tally: &tally,
        certain: shortest(&watch, Some(&tally), args.live),
        pulled: ended.pulled,
        refusal,
        broken_off,
    });
    args.finish(&report, shelf, subject)
}

/// Watches with a probe that is clipped on.
fn watched(
    link: &mut dyn Link,
    job: &Job,
    place: Place,
    watch: &mut Watch,
    (way, caption): (&Way, Caption),
) -> Result<(Tally, Ended), Failure> {
    let rounds = if way.live {
        let part = |share: f64| Volts(job.supply.0 * share);
        Ok(Rounds::live(link, part(LOW), part(HIGH)))
    } else {
        Rounds::dead(link, place)
    };
    match rounds {
        Ok(rounds) => Ok(wiggle(rounds, watch, way, caption)),
        Err(trouble) => Ok((
            Tally::new(watch),
            Ended {
                trouble: Some(trouble),
                ..Ended::default()
            },
        )),
    }
}

impl Args {
    /// The probe and its virtual bench.
    fn wanted(&self) -> Wanted<'_> {
        Wanted {
            probe: &self.probe,
            faults: &self.faults,
            simulated: &self.simulated,
            make: if self.live {
                Bench::powered
            } else {
                Bench::upset
            },
        }
    }

    fn limit(&self) -> Result<Option<u64>, Failure> {
        let seconds = match self.seconds {
            None if self.probe == VIRTUAL && !self.pull => VIRTUAL_SECONDS,
            None => return Ok(None),
            Some(seconds) => seconds,
        };
        // A day is more than anybody wiggles.
        if !(0.001..=86_400.0).contains(&seconds) {
            return Err(Failure::usage(format!(
                "--for {seconds}: give seconds, from 0.001 to 86400"
            )));
        }
        let span = Duration::from_secs_f64(seconds).as_micros();
        Ok(u64::try_from(span).ok())
    }

    fn joints(&self, job: &Job) -> Result<Vec<Joint>, Failure> {
        let read = |text: &String| {
            let (place, rest) = text.split_once(',').unwrap_or((text, ""));
            let mut keys = Keys::read(rest)?;
            let joint = Reader { job }.joint(place, &mut keys)?;
            match keys.left() {
                Some(key) => Err(format!("\"{key}\" does not belong to a joint")),
                None => Ok(joint),
            }
        };
        let read = self
            .joints
            .iter()
            .map(|text| read(text).map_err(|why| Failure::usage(format!("--joint {text}: {why}"))));
        read.collect()
    }

    /// The state of every switch.
    fn switches(&self, job: &Job) -> Result<Vec<u8>, Failure> {
        let mut states = vec![0; job.electrics.switches.len()];
        for text in &self.set {
            let wrong = |why: String| Failure::usage(format!("--set {text}: {why}"));
            let (name, state) = text
                .split_once('=')
                .ok_or_else(|| wrong("write it as --set switch=state".to_owned()))?;
            let mut switches = job.electrics.switches.iter();
            let at = switches.position(|it| it.name == name);
            let found = at.and_then(|at| job.electrics.switches.get(at));
            let (Some(at), Some(found)) = (at, found) else {
                let names: Vec<&str> = job.electrics.switches.iter().map(|it| &*it.name).collect();
                return Err(wrong(format!(
                    "there is no switch {name} in this plan; it has {}",
                    names.join(", ")
                )));
            };
            let number = found.states.iter().position(|it| it == state);
            let number = number.and_then(|number| u8::try_from(number).ok());
            match (number, states.get_mut(at)) {
                (Some(number), Some(own)) => *own = number,
                _ => {
                    return Err(wrong(format!(
                        "{name} has no state {state}; it has {}",
                        found.states.join(", ")
                    )));
                }
            }
        }
        Ok(states)
    }

    fn caption(&self, job: &Job, watch: &Watch) -> Caption {
        let place = match self.job.place {
            Where::Bench => "on the bench",
            Where::Vehicle => "in the vehicle",
        };
        let battery = if self.live {
            "battery on"
        } else {
            "battery off"
        };
        let shortest = shortest(watch, None, self.live).unwrap_or_default();
        Caption {
            title: job.title.clone(),
            how: format!("{battery}, {place}"),
            certain: certain(shortest, watch.widest(), watch.groups.len()),
            ask: "Pull and bend the harness, joint by joint.".to_owned(),
            end: match self.seconds {
                Some(seconds) => format!("Ends by itself after {seconds} s; Enter ends it sooner."),
                None => "Enter ends it.".to_owned(),
            },
        }
    }

    /// The verdict first: a disk that is full must not swallow it.
    fn finish(
        &self,
        report: &Report,
        mut shelf: Shelf,
        subject: Subject,
    ) -> Result<Status, Failure> {
        match self.format {
            Format::Text => print(&text::render(report))?,
            Format::Json => print_json(report)?,
        }
        shelf.keep_report(report, subject)?;
        Ok(report.verdict.into())
    }
}

/// The shortest dropout that is certain in every group, by the rounds that it had.
fn shortest(watch: &Watch, tally: Option<&Tally>, live: bool) -> Option<Micros> {
    let groups = watch.groups.iter().enumerate().map(|(at, group)| {
        let round = tally.and_then(|tally| tally.rounds.get(at).copied().flatten());
        if live {
            certain_live(group, round)
        } else {
            certain_dead(group, round)
        }
    });
    groups.max()
}

/// Asks for the switches to stand like this, and sets those of the virtual vehicle.
fn set(job: &Job, bench: &Stand<'_>, switches: &[u8], stop: &Stopping) -> Result<(), Failure> {
    note(&format!(
        "Set the switches: {}.",
        crate::live::text::setting(job, switches)
    ));
    if bench.is_virtual() {
        return bench.set(switches.iter().copied().enumerate());
    }
    match stop.line("    Enter when it is so: ") {
        // Nothing is watched then, and that is reported.
        Typed::Line(_) | Typed::Stopped => Ok(()),
        Typed::End => Err(Failure::usage(
            "the input ended before the switches were set; test in a terminal".to_owned(),
        )),
    }
}
