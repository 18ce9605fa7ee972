//! A wire that was followed, in plain words.

use std::fmt::Write as _;

use super::follow::{Report, Task};
use crate::diagnosis::words::Speaker;
use crate::plan::model::Job;
use crate::ringout::report::Verdict;
use crate::ringout::text::{paragraph, simulated_vehicle};

/// What the fitter is told before the first step.
#[must_use]
pub fn begin(job: &Job, task: &Task) -> String {
    let speaker = Speaker::new(job);
    let Some(clip) = task.hookup.clips.first() else {
        return String::new();
    };
    let point = &clip.point;
    let heading = speaker.heading(point);
    let out = match &task.lead {
        Some(lead) => format!("{lead} stays out of {point}, and the"),
        None => "The".to_owned(),
    };
    format!(
        "Clip {} to {point}, {}: {}; both chassis leads to bare metal. {out} harness's own fuse is out.",
        clip.lead,
        heading.trim_end_matches(':'),
        speaker.where_there(point),
    )
}

impl Task {
    /// What was found, and what to do now.
    pub(super) fn words(
        &self,
        verdict: Verdict,
        (broken_off, floats): (bool, bool),
        like: &[String],
    ) -> (String, String) {
        let speaker = Speaker::new(&self.vehicle);
        let wire = speaker.supply(&self.wire);
        let point = self.point().map(ToString::to_string).unwrap_or_default();
        let names: Vec<String> = like.iter().map(|name| speaker.supply(name)).collect();
        let then = match &self.lead {
            Some(lead) => format!("Cap {lead}, insulate it and tie it back."),
            None => "This is the conductor to tap.".to_owned(),
        };
        match verdict {
            Verdict::Pass => {
                let same = match names.as_slice() {
                    [] => String::new(),
                    names => format!(
                        " So would {}: by what it does it cannot be told from that.",
                        names.join(" and ")
                    ),
                };
                let say =
                    format!("The wire at {point} follows its switches as {wire} has to.{same}");
                (say, then)
            }
            Verdict::Faults => {
                let what = match names.as_slice() {
                    _ if floats => "Nothing holds it, whatever is switched: it is not joined to \
                                    anything, or the clip does not touch it."
                        .to_owned(),
                    [] => "It follows no wire that the plan knows.".to_owned(),
                    names => format!("It does what {} would.", names.join(" or ")),
                };
                let act = match &self.lead {
                    Some(lead) => format!(
                        "Count the cavities from the wire side and look at the clip. If it stays so, \
                         do not cap {lead} for this wire: ask the plan's author where it goes instead."
                    ),
                    None => {
                        "Count the cavities from the wire side and look at the clip. If it stays \
                             so, do not tap this wire; look for the right one."
                            .to_owned()
                    }
                };
                let say = format!("The wire at {point} does not do what {wire} has to. {what}");
                (say, act)
            }
            _ if broken_off => (
                format!("{wire}: broken off before its last step; nothing is off so far."),
                "Do it again.".to_owned(),
            ),
            _ => (
                format!(
                    "The wire at {point} is as the plan says of {wire}, in every step the same. Other \
                     wires can stand so too: that proves nothing."
                ),
                format!(
                    "Take out what feeds it (the fuse that the plan names) and see that it goes dead; \
                     then vouch for it: ringout --attest {point}."
                ),
            ),
        }
    }
}

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let line = match report.verdict {
        Verdict::Pass => format!("PASS: {} is {}", report.point, report.wire),
        Verdict::Faults => format!("FAULT: {} is not {}", report.point, report.wire),
        _ => format!("UNDECIDED: {} may be {}", report.point, report.wire),
    };
    let _ = writeln!(
        out,
        "{line}\n{}, battery on, {:.1} V",
        report.title, report.battery_volts
    );
    out.push_str(&simulated_vehicle(&report.probe.board));
    out.push('\n');
    paragraph(&mut out, "", &report.say);
    paragraph(&mut out, "   ", &format!("Do: {}", report.act));
    let _ = writeln!(
        out,
        "\nSteps ({} of {}):",
        report.steps.len(),
        report.planned_steps
    );
    for step in &report.steps {
        let switches = step.switches.iter();
        let switches: Vec<String> = switches
            .map(|(name, state)| format!("{name} {state}"))
            .collect();
        for point in &step.points {
            let mark = if point.verdict == "off" {
                " off "
            } else {
                " ok  "
            };
            let found = if point.floating {
                "nothing holds it".to_owned()
            } else {
                match point.low_volts {
                    Some(low) => format!("{low:.1} to {:.1} V", point.volts),
                    None => format!("{:.1} V", point.volts),
                }
            };
            let expected = match point.expected_volts {
                Some((least, most)) if (most - least).abs() < 0.1 => {
                    format!(", {most:.1} V expected")
                }
                Some((least, most)) => format!(", {least:.1} to {most:.1} V expected"),
                None => String::new(),
            };
            paragraph(
                &mut out,
                mark,
                &format!("{found}{expected} ({})", switches.join(", ")),
            );
        }
    }
    out
}
