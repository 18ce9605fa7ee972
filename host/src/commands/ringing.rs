//! Rounds of clips, one after the other, with the fitter.

use loomproof_core::scan::Planned;
use loomproof_core::wire::{Hello, LeadId};

use super::asking::line;
use super::clipped::Clipped;
use super::progress::Bar;
use super::ready::make_ready;
use super::{Failure, note};
use crate::circuit::{Model, build};
use crate::diagnosis::coverage::{Covered, coverage_of_rounds, coverage_of_steps};
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
        let mut listed = catalogue::of_rounds(job, rungs.iter().map(|rung| &rung.hookup));
        let looked_at = looked_at(job, &rungs);
        listed.retain(|fault| !looked_at.contains(fault));
        let models: Vec<&Model> = rungs.iter().map(|rung| &rung.model).collect();
        let could = coverage_of_rounds(&models, &listed).map_err(Failure::usage)?;
        // A scan that was broken off proves nothing yet.
        let (covered, again) = if stop.is_some() || rungs.iter().all(Rung::is_whole) {
            (could, Vec::new())
        } else {
            let steps = |rung: &Rung| rung.taken.iter().map(|t| t.planned.clone()).collect();
            let taken: Vec<Vec<Planned>> = rungs.iter().map(steps).collect();
            let taken = taken.iter().map(Vec::as_slice);
            let rounds: Vec<(&Model, &[Planned])> = models.iter().copied().zip(taken).collect();
            let shown = coverage_of_steps(&rounds, &listed).map_err(Failure::usage)?;
            let both = could.into_iter().zip(&shown);
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

/// Mistakes with clips that were set anew, and that no clip of another round can have.
fn looked_at(job: &Job, rungs: &[Rung]) -> Vec<Fault> {
    let clips = |anew: bool| -> Vec<Fault> {
        let those = rungs.iter().filter(|rung| rung.set_anew == anew);
        let faults = those.flat_map(|rung| catalogue::all(job, &rung.hookup));
        faults.filter(Fault::is_operators).collect()
    };
    if !rungs.iter().any(|rung| rung.set_anew) {
        return Vec::new();
    }
    let (anew, others) = (clips(true), clips(false));
    let own = anew.into_iter().filter(|fault| !others.contains(fault));
    own.collect()
}

/// Rings rounds out; stops where the probe refuses.
pub(super) fn ring(
    job: &Job,
    hookups: Vec<Hookup>,
    probe: &mut Clipped<'_>,
) -> Result<(Vec<Rung>, Option<Stop>), Failure> {
    let rounds = hookups.len();
    let mut rungs: Vec<Rung> = Vec::new();
    for say in hookups.iter().take(1).flat_map(|it| it.mated.to_do(job)) {
        note(&say);
    }
    for (at, hookup) in hookups.into_iter().enumerate() {
        if rounds > 1 {
            let before = rungs.last().map(|rung| &rung.hookup);
            let title = format!("Round {} of {rounds}", at + 1);
            note(&moves(job, before, &hookup, &title));
            if !probe.is_virtual() {
                wait_for_clips()?;
            }
        }
        let mut model = build(job, &hookup)?;
        let ready = make_ready(probe.on(at, &hookup)?, &hookup, &mut model)?;
        let outcome = take(probe.again(&hookup)?, &model, &hookup)?;
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
            set_anew: false,
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
pub(super) fn moves(job: &Job, before: Option<&Hookup>, hookup: &Hookup, title: &str) -> String {
    let speaker = Speaker::new(job);
    let mut out = format!("{title}. Clip:\n");
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

pub(super) fn wait_for_clips() -> Result<(), Failure> {
    match line("Enter when the clips sit: ") {
        Ok(Some(_)) => Ok(()),
        _ => Err(Failure::usage(
            "the input ended before this round; ring out in a terminal, or with a probe that has a \
             lead for every point"
                .to_owned(),
        )),
    }
}
