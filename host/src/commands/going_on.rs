//! `ringout --go-on`: the further steps, with the fitter.

use std::collections::BTreeSet;

use loomproof_core::scan::pair;
use loomproof_core::wire::{Hello, LeadId};

use super::asking::line;
use super::clipped::Clipped;
use super::ringing::{Judging, moves, take, wait_for_clips};
use super::{Failure, note};
use crate::circuit::build;
use crate::diagnosis::next::Action;
use crate::fault::{Fault, catalogue};
use crate::hookup::{Clip, Point};
use crate::plan::model::Job;
use crate::probe::nulls;
use crate::ringout::report::{NextReading, Report};
use crate::ringout::run::one_more;
use crate::ringout::{Outcome, Rung, text};

/// The most further steps of one call.
const MOST_STEPS: usize = 12;

/// Takes further steps until one explanation is left, none tells more, or the
/// fitter stops; the last report.
///
/// `earlier` rounds were rung out before this call and cannot be clipped again. Rounds
/// that were rung out anew stand in `kept` afterwards in the place of those before;
/// further points that were touched are not kept.
pub(super) fn go_on(
    job: &Job,
    probe: &mut Clipped<'_>,
    hello: &Hello,
    (mut judging, earlier): (Judging, usize),
    kept: &mut [Rung],
) -> Result<Report, Failure> {
    for _ in 0..MOST_STEPS {
        let report = judging.report(job, hello)?;
        let Some(next) = report.next_reading.clone() else {
            return Ok(report);
        };
        note(&text::so_far(&report));
        if !asked(&next)? {
            return Ok(report);
        }
        match next.action {
            Some(Action::Touch {
                drive,
                free: Some(free),
                touch,
            }) => touched(job, probe, &mut judging, (drive, free, touch))?,
            Some(Action::Reclip) => {
                let named = named(&report, judging.rungs.len());
                if named.is_empty() {
                    return Ok(report);
                }
                if named.iter().any(|round| *round < earlier) {
                    note("Those clips are of a place that was rung out before; ring it out again.");
                    return Ok(report);
                }
                reclipped(job, probe, &mut judging, (&named, earlier))?;
                for round in &named {
                    let both = (kept.get_mut(*round), judging.rungs.get(*round));
                    if let (Some(kept), Some(anew)) = both
                        && anew.set_anew
                    {
                        kept.clone_from(anew);
                    }
                }
            }
            _ => return Ok(report),
        }
    }
    judging.report(job, hello)
}

/// The rounds whose clips the best explanations blame; the only one, where there
/// is one.
fn named(report: &Report, rounds: usize) -> BTreeSet<usize> {
    if rounds == 1 {
        return BTreeSet::from([0]);
    }
    let sets = report.groups.first().map(|group| group.sets.as_slice());
    let faults = sets.unwrap_or_default().iter().flatten();
    let rounds = faults.filter_map(|fault| fault.round?.checked_sub(1));
    rounds.collect()
}

/// Sets the clips of some rounds anew and rings those rounds out again.
fn reclipped(
    job: &Job,
    probe: &mut Clipped<'_>,
    judging: &mut Judging,
    (named, earlier): (&BTreeSet<usize>, usize),
) -> Result<(), Failure> {
    let last = judging.rungs.len().saturating_sub(1);
    let mut sits = last;
    for round in named {
        probe.reclip(round - earlier);
        move_clips(job, probe, judging, (sits, *round))?;
        sits = *round;
        let Some(rung) = judging.rungs.get_mut(*round) else {
            continue;
        };
        let link = probe.on(round - earlier, &rung.hookup)?;
        match take(link, &rung.model, &rung.hookup)? {
            Outcome::Complete(taken) => {
                rung.taken = taken;
                rung.set_anew = true;
            }
            Outcome::Refused(stop) => judging.stop = Some(stop),
        }
    }
    // Further points are touched with the clips of the last round.
    move_clips(job, probe, judging, (sits, last))?;
    if let Some(rung) = judging.rungs.get(last) {
        probe.on(last - earlier, &rung.hookup)?;
    }
    // These clips were looked at: what is still off is the wiring's, or of another
    // round.
    let looked_at: Vec<Fault> = named
        .iter()
        .filter_map(|round| judging.rungs.get(*round))
        .flat_map(|rung| catalogue::all(job, &rung.hookup))
        .filter(Fault::is_operators)
        .collect();
    let covered = &mut judging.covered;
    covered.retain(|one| !looked_at.contains(&one.fault));
    Ok(())
}

/// Says how the clips go from one round to another, and waits.
fn move_clips(
    job: &Job,
    probe: &Clipped<'_>,
    judging: &Judging,
    (from, to): (usize, usize),
) -> Result<(), Failure> {
    let before = judging.rungs.get(from).filter(|_| from != to);
    let (Some(before), Some(there)) = (before, judging.rungs.get(to)) else {
        return Ok(());
    };
    let title = format!("Round {} once more", to + 1);
    note(&moves(job, Some(&before.hookup), &there.hookup, &title));
    if probe.is_virtual() {
        return Ok(());
    }
    wait_for_clips()
}

fn touched(
    job: &Job,
    probe: &mut Clipped<'_>,
    judging: &mut Judging,
    (drive, free, touch): (LeadId, LeadId, Point),
) -> Result<(), Failure> {
    let Some(rung) = judging.rungs.last_mut() else {
        return Ok(());
    };
    rung.hookup.clips.push(Clip {
        lead: free,
        point: touch,
    });
    rung.hookup.clips.sort_by_key(|clip| clip.lead);
    rung.model = build(job, &rung.hookup)?;
    let link = probe.again(&rung.hookup)?;
    nulls::apply(&mut rung.model, &nulls::kept(link)?);
    let layout = rung.model.layout();
    let planned = pair(&layout, drive, free, &[]);
    let taken = rung.taken.clone();
    match one_more(link, rung.hookup.place, planned, taken, &mut |_| {})? {
        Outcome::Complete(taken) => rung.taken = taken,
        Outcome::Refused(stop) => judging.stop = Some(stop),
    }
    Ok(())
}

/// Says what to do and waits; false where the fitter stops, or where it is
/// nothing that the probe can do.
fn asked(next: &NextReading) -> Result<bool, Failure> {
    note(&format!("To tell which: {}", next.say));
    if matches!(
        next.action,
        None | Some(Action::Wiggle | Action::Touch { free: None, .. })
    ) {
        return Ok(false);
    }
    match line("Enter when done, s to stop: ") {
        // No more input is a stop, not a mistake.
        Ok(None) => Ok(false),
        Ok(Some(line)) => Ok(!line.trim().starts_with(['s', 'S'])),
        Err(error) => Err(Failure::usage(format!(
            "no answer could be read ({error}); ring out without --go-on"
        ))),
    }
}
