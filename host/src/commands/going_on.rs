//! `ringout --go-on`: the further steps, with the fitter.

use loomproof_core::scan::pair;
use loomproof_core::wire::{Hello, LeadId};

use super::asking::line;
use super::clipped::Clipped;
use super::ringing::{Judging, take};
use super::{Failure, note};
use crate::circuit::build;
use crate::diagnosis::next::Action;
use crate::hookup::{Clip, Point};
use crate::plan::model::Job;
use crate::probe::nulls;
use crate::ringout::report::{NextReading, Report};
use crate::ringout::run::one_more;
use crate::ringout::{Outcome, text};

/// The most further steps of one call.
const MOST_STEPS: usize = 12;

/// Takes further steps until one explanation is left, none tells more, or the
/// fitter stops; the last report.
pub(super) fn go_on(
    job: &Job,
    probe: &mut Clipped<'_>,
    hello: &Hello,
    mut judging: Judging,
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
            Some(Action::Reclip) if judging.rungs.len() == 1 => {
                probe.reclip();
                let Some(rung) = judging.rungs.last_mut() else {
                    return Ok(report);
                };
                match take(probe.again(&rung.hookup)?, &rung.model, &rung.hookup)? {
                    Outcome::Complete(taken) => rung.taken = taken,
                    Outcome::Refused(stop) => judging.stop = Some(stop),
                }
                // The clips were looked at: what is still off is the wiring's.
                judging.covered.retain(|c| !c.fault.is_operators());
            }
            _ => return Ok(report),
        }
    }
    judging.report(job, hello)
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
    match one_more(link, rung.hookup.place, planned, taken)? {
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
