//! `live --stage first-power`: the battery comes on through a stated limit, the own
//! fuses last.

use std::time::{Duration, Instant};

use loomproof_core::units::{Amperes, Ohms, Volts};
use loomproof_core::wire::LeadId;

use super::exit::Status;
use super::keeping::{Shelf, StoreArgs, SubjectArgs};
use super::stand::{Stand, Wanted};
use super::stopping::{Stopping, Typed, let_go};
use super::{Failure, Format, note, print, print_json};
use crate::bench::hal::Shared;
use crate::bench::{Bench, Sleeper, Stands};
use crate::drain::measure::{LOOKS, NULL_LOOKS, both, difference, ratio};
use crate::drain::{budget, report::current};
use crate::first_power::course::{Course, LAMP_CHECK, WATCHED};
use crate::first_power::look::{Look, PointReport, hookup, out};
use crate::first_power::report::{PowerReport, Powered as Gone, report};
use crate::first_power::text::{self, By};
use crate::hookup::Hookup;
use crate::link::{Link, VirtualProbe};
use crate::live::observe::{ObserveError, Patience, observe};
use crate::plan::model::Job;
use crate::plan::quantity;
use crate::powered::Powered;
use crate::ringout::report::ProbeReport;
use crate::ringout::text::is_simulated;

/// From one sample of the current to the next.
const EVERY: Duration = Duration::from_millis(500);

/// Arguments of a first power.
#[derive(Debug, Clone, clap::Args)]
pub struct PowerArgs {
    /// With --stage first-power: the current limit that the battery comes on through,
    /// such as "3 A".
    #[arg(long, value_name = "CURRENT")]
    limit: Option<String>,
    /// With --stage first-power: a shunt in the battery lead that P1 and P2 stand across,
    /// such as "0.1 ohm"; without one the current is read by hand and typed in.
    #[arg(long, value_name = "OHMS", requires = "limit")]
    shunt: Option<String>,
    /// With --shunt: what the virtual vehicle draws, such as
    /// asleep=100mA,awake=2A,for=4s,every=45min (awake comes first, as a lamp check does).
    #[arg(long, value_name = "HOW", requires = "shunt")]
    draws: Option<String>,
}

impl PowerArgs {
    /// Refuses what only a first power takes.
    ///
    /// # Errors
    /// [`Failure`] naming it.
    pub(super) fn only_there(&self) -> Result<(), Failure> {
        match self.limit {
            None => Ok(()),
            Some(_) => Err(Failure::usage(
                "--limit, --shunt and --draws are for --stage first-power".to_owned(),
            )),
        }
    }

    fn limit(&self) -> Result<Amperes, Failure> {
        let Some(text) = &self.limit else {
            return Err(Failure::usage(
                "say what limits the current of the first power: --limit \"3 A\" for a bench supply \
                 set to 3 A, or for a lamp or fuse in the battery lead that lets no more through"
                    .to_owned(),
            ));
        };
        let limit = quantity::current(text)
            .map_err(|why| Failure::usage(format!("--limit {text}: {}", why.message)))?;
        Ok(limit)
    }

    fn shunt(&self) -> Result<Option<Ohms>, Failure> {
        let read = |text: &String| {
            quantity::resistance(text)
                .map_err(|why| Failure::usage(format!("--shunt {text}: {}", why.message)))
        };
        self.shunt.as_ref().map(read).transpose()
    }

    /// What the virtual vehicle draws: little, after four seconds of lamp check.
    fn sleeper(&self, limit: Amperes) -> Result<Sleeper, Failure> {
        let usual = Sleeper {
            asleep: Amperes(limit.0 * 0.05),
            awake: Amperes(limit.0 * 0.5),
            wakes_for: Duration::from_secs(4),
            every: Duration::from_secs(2700),
        };
        match &self.draws {
            None => Ok(usual),
            Some(text) => Sleeper::parse(text, usual)
                .map_err(|why| Failure::usage(format!("--draws {text}: {why}"))),
        }
    }
}

/// What is needed from the verb's other arguments.
pub(super) struct Asked<'a> {
    pub(super) job: &'a Job,
    pub(super) power: &'a PowerArgs,
    pub(super) wanted: Wanted<'a>,
    pub(super) store: &'a StoreArgs,
    pub(super) subject: &'a SubjectArgs,
    pub(super) format: Format,
}

/// Goes through it and prints the report.
///
/// # Errors
/// [`Failure`] where there is no verdict.
pub(super) fn run(asked: &Asked<'_>) -> Result<Status, Failure> {
    let limit = asked.power.limit()?;
    let shunt = asked.power.shunt()?;
    let sleeper = asked.power.sleeper(limit)?;
    if asked.power.draws.is_some() && !asked.wanted.is_virtual() {
        return Err(Failure::usage(
            "--draws is for the virtual vehicle; leave it out for a real probe".to_owned(),
        ));
    }
    let subject = asked.subject.subject()?;
    let mut shelf = Shelf::open(asked.store)?;
    let stop = Stopping::listen()?;
    note(&format!("{}\n", text::CAUTION));
    let mut way = Way {
        job: asked.job,
        hookup: hookup(asked.job),
        limit,
        shunt,
        sleeper,
        stop: &stop,
        probe: None,
    };
    let looks = match way.gone(asked.wanted) {
        Err(failure) if !stop.asked() => return Err(failure),
        Err(_) => (None, None),
        Ok(looks) => looks,
    };
    let report = report(Gone {
        job: asked.job,
        limit,
        shunt: shunt.is_some(),
        probe: way.probe,
        looks,
        broken_off: stop.asked(),
    });
    // The verdict first: a disk that is full must not swallow it.
    match asked.format {
        Format::Text => print(&text::render(&report))?,
        Format::Json => print_json(&report)?,
    }
    shelf.keep_report(&report, subject)?;
    Ok(report.verdict.into())
}

fn failed(error: ObserveError) -> Failure {
    Failure::probe(error.to_string())
}

/// A first power as it is gone through.
struct Way<'w> {
    job: &'w Job,
    hookup: Hookup,
    limit: Amperes,
    shunt: Option<Ohms>,
    sleeper: Sleeper,
    stop: &'w Stopping,
    probe: Option<ProbeReport>,
}

/// How both leads read on one point: the voltage there, and what P2 reads of it.
type Null = Option<(Volts, f64)>;

impl Way<'_> {
    fn by(&self) -> By {
        match self.shunt {
            Some(_) => By::Shunt,
            None => By::Hand,
        }
    }

    /// From the beginning to where it ends, or has to.
    fn gone(
        &mut self,
        wanted: Wanted<'_>,
    ) -> Result<(Option<PowerReport>, Option<PowerReport>), Failure> {
        // On the bench a fuse that is out is a part that is missing.
        let fuses: Vec<String> = self.job.fuses.iter().map(|it| it.name.clone()).collect();
        let of_a_fuse = |fault: &String| {
            let mut kinds = ["blown", "missing"].into_iter();
            kinds.any(|kind| fuses.iter().any(|fuse| *fault == format!("{kind}@{fuse}")))
        };
        let mut faults: Vec<String> = wanted.faults.to_vec();
        faults.retain(|fault| !of_a_fuse(fault));
        if wanted.is_virtual() {
            faults.extend(fuses.iter().map(|fuse| out(fuse)));
        }
        let without = Wanted {
            faults: &faults,
            ..wanted
        };
        let mut stand = Stand::new(without, self.job)?;
        let leads = usize::from(stand.leads());
        if self.hookup.clips.len() + 2 > leads {
            return Err(Failure::usage(format!(
                "this job has more own fuses than a probe of {leads} leads can watch at once"
            )));
        }
        self.enter(&stand, &text::ask_out(self.job, &self.hookup, self.by()))?;
        stand.clip(&self.hookup)?;
        self.enter(&stand, &text::ask_on(self.limit, self.by()))?;
        let points = self.look(&mut stand, true)?;
        let mut first = PowerReport {
            points,
            current: None,
        };
        if first.stops() {
            let_go(stand.link()?);
            return Ok((Some(first), None));
        }
        let null = self.null(&mut stand, wanted)?;
        if self.shunt.is_some() {
            self.enter(&stand, text::ask_shunt())?;
        }
        first.current = self.current(&mut stand, wanted, null)?;
        if first.stops() {
            let_go(stand.link()?);
            return Ok((Some(first), None));
        }
        self.enter(&stand, &text::ask_in(self.job, self.by()))?;
        if wanted.is_virtual() {
            stand = Stand::new(wanted, self.job)?;
            stand.clip(&self.hookup)?;
        }
        let current = self.current(&mut stand, wanted, null)?;
        let points = self.look(&mut stand, false)?;
        let_go(stand.link()?);
        Ok((Some(first), Some(PowerReport { points, current })))
    }

    /// Asks, and waits until it is so.
    fn enter(&self, stand: &Stand<'_>, ask: &str) -> Result<(), Failure> {
        note(ask);
        if stand.is_virtual() {
            return Ok(());
        }
        match self.stop.line("    Enter when it is so: ") {
            Typed::Line(_) => Ok(()),
            Typed::End | Typed::Stopped => Err(Failure::usage(
                "the input ended before this step: battery off; begin again in a terminal"
                    .to_owned(),
            )),
        }
    }

    /// Looks at the holders of the fuses; where something is off, again until lamp checks
    /// are over.
    fn look(
        &mut self,
        stand: &mut Stand<'_>,
        fuses_out: bool,
    ) -> Result<Vec<PointReport>, Failure> {
        self.probe = Some(ProbeReport::of(stand.link()?.hello()));
        if self.hookup.clips.is_empty() {
            return Ok(Vec::new());
        }
        let powered = Powered::new(self.job, &self.hookup)?;
        let leads: Vec<LeadId> = self.hookup.clips.iter().map(|clip| clip.lead).collect();
        let supply = self.job.supply;
        let mut see = || {
            let mut link = self.stop.until(stand.link()?);
            observe(&mut link, &leads, supply, Patience::FULL).map_err(failed)
        };
        let began = Instant::now();
        let mut seen = see()?;
        // What has the supply shows how much that is.
        let highest = seen.iter().map(|it| it.on.0).fold(0.0, f64::max);
        let battery = match highest > supply.0 * 0.75 {
            true => Volts(highest),
            false => supply,
        };
        let mut look = Look::new(self.job, &powered, fuses_out, battery).map_err(Failure::usage)?;
        let board = self.probe.as_ref().map(|probe| probe.board.as_str());
        // Nothing changes by itself while a virtual vehicle waits.
        let virtually = board.is_some_and(is_simulated);
        loop {
            let good = look.add(seen);
            if good || virtually || began.elapsed() > LAMP_CHECK {
                return Ok(look.report());
            }
            seen = see()?;
        }
    }

    /// The bench that plays what the vehicle draws across the shunt.
    fn played(&self, wanted: Wanted<'_>, stands: Stands) -> Result<Played, Failure> {
        let ohms = self.shunt.unwrap_or(Ohms(1.0));
        let settings = wanted.simulated.settings()?;
        let bench = Bench::parked(&self.sleeper, (ohms, ohms), stands, &settings)?;
        let probe = VirtualProbe::new(bench);
        let bench = probe.bench().clone();
        Ok((Box::new(probe.session()?), bench))
    }

    /// How far the two leads read apart on one point.
    fn null(&self, stand: &mut Stand<'_>, wanted: Wanted<'_>) -> Result<Null, Failure> {
        if self.shunt.is_none() {
            return Ok(None);
        }
        let nulled = if wanted.is_virtual() {
            let (mut link, _) = self.played(wanted, Stands::Together)?;
            both(link.as_mut(), NULL_LOOKS)
        } else {
            both(&mut self.stop.until(stand.link()?), NULL_LOOKS)
        }
        .map_err(failed)?;
        match ratio(nulled, self.job.supply) {
            Some(ratio) => Ok(Some((nulled.before, ratio))),
            None => Err(Failure::usage(format!(
                "P1 reads {:.2} V and P2 {:.2} V: the two are not on one live point. Battery off; put \
                 both on the battery's side of the shunt and begin again",
                nulled.before.0, nulled.behind.0
            ))),
        }
    }

    /// The current after switching on.
    fn current(
        &self,
        stand: &mut Stand<'_>,
        wanted: Wanted<'_>,
        null: Null,
    ) -> Result<Option<Course>, Failure> {
        let (Some(ohms), Some((battery, ratio))) = (self.shunt, null) else {
            return Ok(self.typed());
        };
        let mut samples = Vec::new();
        let own = Amperes(battery.0 / budget::LOADS.0);
        let mut take = |link: &mut dyn Link, at: Duration| -> Result<(), Failure> {
            let read = both(link, LOOKS).map_err(failed)?;
            let across = difference(read, ratio);
            let milli = current(across, (ohms, ohms), own, Volts(0.0));
            samples.push((at, Amperes(milli.estimate * 1e-3)));
            Ok(())
        };
        if wanted.is_virtual() {
            let (mut link, bench) = self.played(wanted, Stands::Across)?;
            let began = bench.now();
            loop {
                let at = Duration::from_nanos(bench.now().saturating_sub(began));
                take(link.as_mut(), at)?;
                if at >= WATCHED {
                    break;
                }
                bench.wait(EVERY);
            }
        } else {
            let began = Instant::now();
            while began.elapsed() <= WATCHED {
                let at = began.elapsed();
                take(&mut self.stop.until(stand.link()?), at)?;
                std::thread::sleep(EVERY);
            }
        }
        Ok(Course::of(&samples, self.limit))
    }

    /// The current as somebody reads it.
    fn typed(&self) -> Option<Course> {
        let ask = |rest: bool| loop {
            let Typed::Line(typed) = self.stop.line(&text::ask_current(rest)) else {
                return None;
            };
            let typed = typed.trim();
            if typed.is_empty() {
                return None;
            }
            let plain = typed.replace(',', ".").parse::<f64>().ok();
            let plain = plain.filter(|it| it.is_finite() && *it >= 0.0).map(Amperes);
            match plain.or_else(|| quantity::current(typed).ok()) {
                Some(read) => return Some(read),
                None => note("    Please type amperes, such as 0.35; Enter alone: not read."),
            }
        };
        let highest = ask(false)?;
        Some(Course::typed(highest, ask(true)?, self.limit))
    }
}

/// A played vehicle: the link to the probe across its shunt, and its bench.
type Played = (Box<dyn Link>, Shared);
