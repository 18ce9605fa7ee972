//! `ringout --go-on`: the further steps, with the fitter.

use std::io::Write as _;

use loomproof_core::layout::Layout;
use loomproof_core::scan::pair;
use loomproof_core::wire::{Hello, LeadId};

use super::ringout::{Session, take};
use super::{Failure, note};
use crate::circuit::{Model, build};
use crate::diagnosis::coverage::Covered;
use crate::diagnosis::next::Action;
use crate::hookup::{Clip, Hookup, Point};
use crate::link::Link;
use crate::plan::model::Job;
use crate::probe::nulls;
use crate::ringout::report::{NextReading, Report};
use crate::ringout::run::one_more;
use crate::ringout::{Outcome, Stop, text, verdict};

/// The most further steps of one call.
const MOST_STEPS: usize = 12;

/// Everything that a verdict rests on.
pub(super) struct Judging {
    pub(super) hookup: Hookup,
    pub(super) model: Model,
    pub(super) covered: Vec<Covered>,
    pub(super) outcome: Outcome,
}

impl Judging {
    pub(super) fn report(&self, job: &Job, hello: &Hello) -> Result<Report, Failure> {
        let (hookup, model) = (&self.hookup, &self.model);
        verdict::report_covered(job, hookup, model, &self.covered, hello, &self.outcome)
            .map_err(Failure::usage)
    }
}

/// Takes further steps until one explanation is left, none tells more, or the
/// fitter stops; the last report.
pub(super) fn go_on(
    session: &mut Session<'_>,
    mut link: Box<dyn Link>,
    hello: &Hello,
    mut judging: Judging,
) -> Result<Report, Failure> {
    for _ in 0..MOST_STEPS {
        let report = judging.report(session.job, hello)?;
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
            }) => touched(session, &mut link, &mut judging, (drive, free, touch))?,
            Some(Action::Reclip) => {
                session.reclip();
                if session.is_virtual() {
                    link = session.link(&judging.hookup)?;
                }
                judging.outcome = take(link.as_mut(), &judging.model, judging.hookup.place)?;
                // The clips were looked at: what is still off is the wiring's.
                judging.covered.retain(|c| !c.fault.is_operators());
            }
            _ => return Ok(report),
        }
    }
    judging.report(session.job, hello)
}

fn touched(
    session: &Session<'_>,
    link: &mut Box<dyn Link>,
    judging: &mut Judging,
    (drive, free, touch): (LeadId, LeadId, Point),
) -> Result<(), Failure> {
    let taken = match &judging.outcome {
        Outcome::Complete(taken) | Outcome::Refused(Stop { taken, .. }) => taken.clone(),
    };
    judging.hookup.clips.push(Clip {
        lead: free,
        point: touch,
    });
    judging.hookup.clips.sort_by_key(|clip| clip.lead);
    judging.model = build(session.job, &judging.hookup)?;
    if session.is_virtual() {
        *link = session.link(&judging.hookup)?;
    }
    let clips = nulls::kept(link.as_mut())?;
    nulls::apply(&mut judging.model, &clips);
    let layout = Layout::of(&judging.model.circuit, &[]);
    let planned = pair(&layout, drive, free, &[]);
    judging.outcome = one_more(link.as_mut(), judging.hookup.place, planned, taken)?;
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
    eprint!("Enter when done, s to stop: ");
    let _ = std::io::stderr().flush();
    let mut line = String::new();
    let read = std::io::stdin().read_line(&mut line);
    match read {
        // No more input is a stop, not a mistake.
        Ok(0) => Ok(false),
        Ok(_) => Ok(!line.trim().starts_with(['s', 'S'])),
        Err(error) => Err(Failure::usage(format!(
            "no answer could be read ({error}); ring out without --go-on"
        ))),
    }
}
