//! The next step in words.

use super::findings::Findings;
use super::report::{GroupReport, NextReading};
use crate::diagnosis::evidence::Evidence;
use crate::diagnosis::groups::Group;
use crate::diagnosis::next::{Action, Next, Shows, next};
use crate::diagnosis::space::Candidate;
use crate::diagnosis::words::{Speaker, ohms_text};
use crate::hookup::Hookup;

/// How many explanations are named for one outcome.
const LISTED: usize = 8;

/// The step that tells most of what the best group leaves open, for its effort.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub(super) fn next_reading(
    evidence: &Evidence<'_>,
    group: &Group,
    reported: &GroupReport,
    (hookup, speaker): (&Hookup, Speaker<'_>),
    leads: u8,
) -> Result<Option<NextReading>, String> {
    let findings = Findings::of(reported);
    let mut best: Option<(usize, Next)> = None;
    for at in 0..findings.list.len() {
        let sets = findings.suspects(at, reported);
        let suspects: Vec<&Candidate> = sets.iter().filter_map(|s| group.sets.get(*s)).collect();
        if let Some(found) = next(evidence, &suspects, leads)?
            && best.as_ref().is_none_or(|(_, b)| found.worth() > b.worth())
        {
            best = Some((at, found));
        }
    }
    Ok(best.map(|(at, next)| words(&next, at, &findings, (hookup, speaker))))
}

fn words(
    next: &Next,
    at: usize,
    findings: &Findings<'_>,
    (hookup, speaker): (&Hookup, Speaker<'_>),
) -> NextReading {
    let letters = |members: &[usize]| {
        let mut names: Vec<String> = members
            .iter()
            .take(LISTED)
            .map(|alternative| findings.label(at, *alternative))
            .collect();
        if members.len() > LISTED {
            names.push("or another of them".to_owned());
        }
        names.join(", ")
    };
    let mut say = String::new();
    let (step, touch, drive) = match &next.action {
        Action::Touch { drive, free, touch } => {
            let point = hookup.point(*drive).map(ToString::to_string);
            let (touched, other) = (speaker.point(touch), point.unwrap_or_default());
            say.push_str(&match free {
                Some(free) => format!(
                    "touch {touched} with the free probe lead {free} and read the ohms to \
                     {other} (`ringout --go-on` does it with you), or measure with an ohmmeter, \
                     battery off and {drive} unclipped."
                ),
                None => format!(
                    "battery off, measure with an ohmmeter between {touched} and {other}, with \
                     {drive} unclipped."
                ),
            });
            for (shows, members) in &next.parts {
                say.push_str(&format!(" {}: {}.", outcome(shows), letters(members)));
            }
            (
                "touch",
                touch.to_string(),
                speaker.probe_lead(hookup, *drive),
            )
        }
        Action::Reclip => {
            say.push_str("look at the clips named, set them anew and ring out again.");
            for (shows, members) in &next.parts {
                let words = match shows {
                    Shows::Gone => "Fault gone: it was",
                    _ => "Fault still there: it is",
                };
                say.push_str(&format!(" {words} {}.", letters(members)));
            }
            ("re-clip", String::new(), String::new())
        }
        Action::Wiggle => {
            let all: Vec<usize> = (0..next.parts.len()).collect();
            say.push_str(&format!(
                "tug and bend {} one after the other and ring out again each time: what changes \
                 the ohms is the bad one.",
                letters(&all)
            ));
            ("wiggle", String::new(), String::new())
        }
    };
    NextReading {
        step: step.to_owned(),
        touch,
        drive,
        bits: next.bits,
        say,
        action: Some(next.action.clone()),
    }
}

fn outcome(shows: &Shows) -> String {
    match shows {
        Shows::Ohms(ohms) if ohms.0.is_infinite() => "No connection".to_owned(),
        Shows::Ohms(ohms) => format!("About {}", ohms_text(ohms.0)),
        Shows::Gone => "Gone".to_owned(),
        Shows::Same => "Still there".to_owned(),
    }
}
