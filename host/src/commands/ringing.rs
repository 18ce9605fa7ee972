//! Rounds of clips, one after the other, with the fitter.

use std::io::Write as _;

use loomproof_core::layout::Layout;
use loomproof_core::scan::{Planned, first_pass};
use loomproof_core::wire::{Hello, LeadId};

use super::progress::Bar;
use super::ready::make_ready;
use super::ringout::Session;
use super::{Failure, note};
use crate::circuit::{Model, build};
use crate::diagnosis::coverage::{Covered, coverage_of_steps};
use crate::diagnosis::words::Speaker;
use crate::fault::{Fault, catalogue};
use crate::hookup::{Clip, Hookup};
use crate::link::Link;
use crate::plan::model::Job;
use crate::ringout::report::Report;
use crate::ringout::verdict::{Scanned, report_scanned};
use crate::ringout::{Outcome, Round, Rung, Stop, run};

/// Everything that a verdict rests on.
pub(super) struct Judging {
    pub(super) rungs: Vec<Rung>,
    pub(super) stop: Option<Stop>,
    pub(super) covered: Vec<Covered>,
    again: Vec<Fault>,
}

impl Judging {
    /// Of rounds that were rung out.
    pub(super) fn of(job: &Job, rungs: Vec<Rung>, stop: Option<Stop>) -> Result<Self, Failure> {
        let listed = catalogue::of_rounds(job, rungs.iter().map(|rung| &rung.hookup));
        let layouts: Vec<Layout> = rungs
            .iter()
            .map(|rung| Layout::of(&rung.model.circuit, &[]))
            .collect();
        let first: Vec<Vec<Planned>> = layouts.iter().map(|l| first_pass(l).collect()).collect();
        let show = |steps: &[Vec<Planned>]| -> Result<Vec<Covered>, Failure> {
            let models = rungs.iter().map(|rung| &rung.model);
            let rounds: Vec<(&Model, &[Planned])> =
                models.zip(steps.iter().map(Vec::as_slice)).collect();
            coverage_of_steps(&rounds, &listed).map_err(Failure::usage)
        };
        let all = show(&first)?;
        // A scan that was broken off proves nothing yet.
        let kept = rungs.iter().all(|rung| stop.is_some() || rung.is_whole());
        let (covered, again) = if kept {
            (all, Vec::new())
        } else {
            let steps = |rung: &Rung| rung.taken.iter().map(|t| t.planned.clone()).collect();
            let taken: Vec<Vec<Planned>> = rungs.iter().map(steps).collect();
            let shown = show(&taken)?;
            let both = all.into_iter().zip(&shown);
            let lost = both.filter(|(could, does)| could.covered && !does.covered);
            let again = lost.map(|(could, _)| could.fault).collect();
            (shown, again)
        };
        Ok(Self {
            rungs,
            stop,
            covered,
            again,
        })
    }

    pub(super) fn report(&self, job: &Job, hello: &Hello) -> Result<Report, Failure> {
        let rounds: Vec<Round<'_>> = self.rungs.iter().map(Rung::round).collect();
        let scan = Scanned {
            rounds: &rounds,
            stop: self.stop.as_ref(),
            covered: &self.covered,
            again: &self.again,
        };
        report_scanned(job, &scan, hello).map_err(Failure::usage)
    }
}

/// The probe, on whatever it is clipped to.
pub(super) struct Clipped<'s> {
    session: &'s Session<'s>,
    link: Option<Box<dyn Link>>,
    before: Vec<Hookup>,
}

impl<'s> Clipped<'s> {
    /// A real probe, or the virtual one.
    pub(super) fn new(session: &'s Session<'s>, real: Option<Box<dyn Link>>) -> Self {
        Self {
            session,
            link: real,
            before: Vec::new(),
        }
    }

    /// The link to the probe, clipped like this.
    pub(super) fn on(&mut self, hookup: &Hookup) -> Result<&mut dyn Link, Failure> {
        let link = match self.link.take() {
            Some(link) if !self.session.is_virtual() => link,
            _ => self.session.link(hookup, &self.before)?,
        };
        self.before.push(hookup.clone());
        Ok(self.link.insert(link).as_mut())
    }

    /// The virtual probe clipped once more: its noise begins anew, so that a seed
    /// gives the readings that it always gave. A real one stays as it is.
    pub(super) fn anew(&mut self, hookup: &Hookup) -> Result<&mut dyn Link, Failure> {
        self.before.pop();
        self.on(hookup)
    }

    /// What the probe said of itself.
    pub(super) fn hello(&self) -> Option<Hello> {
        self.link.as_ref().map(|link| link.hello().clone())
    }

    /// The link, as it is clipped now.
    pub(super) fn into_link(self) -> Option<Box<dyn Link>> {
        self.link
    }
}

/// Rings rounds out; stops where the probe refuses.
pub(super) fn ring(
    job: &Job,
    hookups: Vec<Hookup>,
    probe: &mut Clipped<'_>,
) -> Result<(Vec<Rung>, Option<Stop>), Failure> {
    let rounds = hookups.len();
    let mut rungs: Vec<Rung> = Vec::new();
    for (at, hookup) in hookups.into_iter().enumerate() {
        if rounds > 1 {
            let before = rungs.last().map(|rung| &rung.hookup);
            note(&moves(job, before, &hookup, (at, rounds)));
            if !probe.session.is_virtual() {
                wait_for_clips()?;
            }
        }
        let mut model = build(job, &hookup)?;
        let ready = make_ready(probe.on(&hookup)?, &hookup, &mut model)?;
        let outcome = take(probe.anew(&hookup)?, &model, &hookup)?;
        ready.stands(&outcome)?;
        let (taken, stop) = match outcome {
            Outcome::Complete(taken) => (taken, None),
            Outcome::Refused(stop) => (stop.taken.clone(), Some(stop)),
        };
        rungs.push(Rung {
            hookup,
            model,
            taken,
            clips: ready.clips,
        });
        if stop.is_some() {
            return Ok((rungs, stop));
        }
    }
    Ok((rungs, None))
}

/// Rings out one round, with a progress bar.
pub(super) fn take(
    link: &mut dyn Link,
    model: &Model,
    hookup: &Hookup,
) -> Result<Outcome, Failure> {
    let bar = Bar::new();
    let outcome = run::run(link, model, hookup.place, &mut |progress| {
        bar.show(progress)
    });
    bar.done();
    Ok(outcome?)
}

/// Which clips to move for a round.
fn moves(
    job: &Job,
    before: Option<&Hookup>,
    hookup: &Hookup,
    (at, rounds): (usize, usize),
) -> String {
    let speaker = Speaker::new(job);
    let mut out = format!("Round {} of {rounds}. Clip:\n", at + 1);
    let was = |lead: LeadId| before.and_then(|before| before.point(lead));
    let mut new: Vec<&Clip> = hookup.clips.iter().collect();
    new.retain(|clip| was(clip.lead) != Some(&clip.point));
    let order = |clip: &&Clip| {
        hookup
            .clips
            .iter()
            .position(|c| c.point.part() == clip.point.part())
    };
    new.sort_by_cached_key(order);
    let mut heading = String::new();
    for clip in new {
        if speaker.heading(&clip.point) != heading {
            heading = speaker.heading(&clip.point);
            out.push_str(&format!("{heading}\n"));
        }
        let from = was(clip.lead).map(|point| format!("  (off {point})"));
        out.push_str(&format!(
            "  {:<5} {:<9} {}{}\n",
            clip.lead.to_string(),
            clip.point.to_string(),
            speaker.where_there(&clip.point),
            from.unwrap_or_default(),
        ));
    }
    let gone = before.into_iter().flat_map(|before| &before.clips);
    for clip in gone.filter(|clip| hookup.point(clip.lead).is_none()) {
        out.push_str(&format!(
            "  {:<5} off {}\n",
            clip.lead.to_string(),
            clip.point
        ));
    }
    out
}

fn wait_for_clips() -> Result<(), Failure> {
    eprint!("Enter when the clips sit: ");
    let _ = std::io::stderr().flush();
    let mut line = String::new();
    match std::io::stdin().read_line(&mut line) {
        Ok(read) if read > 0 => Ok(()),
        _ => Err(Failure::usage(
            "the input ended before this round; ring out in a terminal, or with a probe that has a \
             lead for every point"
                .to_owned(),
        )),
    }
}
