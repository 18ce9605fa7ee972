//! `ringout --go-on`: the further steps, with the fitter.

use std::io::Write as _;

use loomproof_core::layout::Layout;
use loomproof_core::scan::pair;
use loomproof_core::wire::{Hello, LeadId};

use super::ringing::{Judging, take};
use super::ringout::Session;
use super::{Failure, note};
use crate::circuit::build;
use crate::diagnosis::next::Action;
use crate::hookup::{Clip, Hookup, Point};
use crate::link::Link;
use crate::probe::nulls;
use crate::ringout::report::{NextReading, Report};
use crate::ringout::run::one_more;
use crate::ringout::{Outcome, text};

/// The most further steps of one call.
const MOST_STEPS: usize = 12;

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
            Some(Action::Reclip) if judging.rungs.len() == 1 => {
                session.reclip();
                let Some(rung) = judging.rungs.last_mut() else {
                    return Ok(report);
                };
                if session.is_virtual() {
                    link = session.link(&rung.hookup, &[])?;
                }
                match take(link.as_mut(), &rung.model, &rung.hookup)? {
                    Outcome::Complete(taken) => rung.taken = taken,
                    Outcome::Refused(stop) => judging.stop = Some(stop),
                }
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
    let earlier: Vec<Hookup> = judging
        .rungs
        .iter()
        .map(|rung| rung.hookup.clone())
        .collect();
    let Some(rung) = judging.rungs.last_mut() else {
        return Ok(());
    };
    rung.hookup.clips.push(Clip {
        lead: free,
        point: touch,
    });
    rung.hookup.clips.sort_by_key(|clip| clip.lead);
    rung.model = build(session.job, &rung.hookup)?;
    if session.is_virtual() {
        let before = earlier.get(..earlier.len() - 1).unwrap_or_default();
        *link = session.link(&rung.hookup, before)?;
    }
    nulls::apply(&mut rung.model, &nulls::kept(link.as_mut())?);
    let layout = Layout::of(&rung.model.circuit, &[]);
    let planned = pair(&layout, drive, free, &[]);
    let taken = rung.taken.clone();
    match one_more(link.as_mut(), rung.hookup.place, planned, taken)? {
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
