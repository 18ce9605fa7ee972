//! A first power in plain words.

use std::fmt::Write as _;

use loomproof_core::units::Amperes;

use super::course::{Course, LAMP_CHECK};
use super::report::{PowerReport, Report};
use crate::hookup::Hookup;
use crate::plan::model::Job;
use crate::ringout::report::Verdict;
use crate::ringout::text::{paragraph, simulated_vehicle};

/// What has to be known before the battery comes on.
pub const CAUTION: &str = "The battery comes on for the first time: through the limit only, the harness's \
own fuses in last. Do not start the engine through it. Keep off restraint circuits (airbag, \
pretensioner) and high-voltage wiring. The vehicle maker's service information, local codes and \
licensed practice come first.";

/// The own fuses with their places.
fn fuses(job: &Job) -> String {
    let all = job.fuses.iter().map(|fuse| match &fuse.place {
        Some(place) => format!("{} ({place})", fuse.name),
        None => fuse.name.clone(),
    });
    all.collect::<Vec<_>>().join(", ")
}

/// What the current is read with, for the prompts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// P1 and P2 across a shunt.
    Shunt,
    /// By somebody, from the supply or a meter.
    Hand,
}

impl By {
    /// How many times something is asked for.
    const fn steps(self) -> u8 {
        match self {
            Self::Shunt => 4,
            Self::Hand => 3,
        }
    }
}

/// Before the battery is on.
#[must_use]
pub fn ask_out(job: &Job, hookup: &Hookup, by: By) -> String {
    let mut said = format!("[1 of {}] Battery off. ", by.steps());
    match job.fuses.is_empty() {
        true => said.push_str("This plan has no fuse of its own."),
        false => {
            let _ = write!(said, "Own fuses out: {}.", fuses(job));
        }
    }
    said.push_str(
        "\n    Everything else plugged; ignition off, every switch at rest. Chassis leads on the \
         body.",
    );
    for clip in &hookup.clips {
        let lead = clip.lead.to_string();
        let _ = write!(said, "\n    {lead:<4} {}", clip.point);
    }
    if by == By::Shunt {
        said.push_str("\n    P1 and P2, both on the battery's side of the shunt");
    }
    said
}

/// The first time on.
#[must_use]
pub fn ask_on(limit: Amperes, by: By) -> String {
    let mut said = format!(
        "[2 of {}] Battery on, through the limit of {} A: a bench supply set to it, or a lamp or fuse \
         in the battery lead that lets no more through.",
        by.steps(),
        limit.0
    );
    if by == By::Hand {
        said.push_str(" Read the current.");
    }
    said
}

/// The current with the fuses out, across a shunt.
#[must_use]
pub fn ask_shunt() -> &'static str {
    "[3 of 4] Battery off. P2 to the other side of the shunt. Enter, and battery on again right after."
}

/// The fuses go in.
#[must_use]
pub fn ask_in(job: &Job, by: By) -> String {
    let steps = by.steps();
    let what = match job.fuses.is_empty() {
        true => "Everything stays as it is".to_owned(),
        false => format!("Own fuses in: {}", fuses(job)),
    };
    format!(
        "[{steps} of {steps}] Battery off. {what}. Enter, and battery on again right after, through the limit."
    )
}

/// Asks for a current.
#[must_use]
pub fn ask_current(rest: bool) -> String {
    if rest {
        format!(
            "    And {} s later, when nothing moves any more, in amperes: ",
            LAMP_CHECK.as_secs()
        )
    } else {
        "    The most right after switching on, in amperes: ".to_owned()
    }
}

fn current(course: &Course) -> String {
    let rest = format!("{:.2} A at rest", course.rest_amperes);
    let more = course.highest_amperes - course.rest_amperes > 0.05;
    let less = match course.more_for_seconds {
        Some(seconds) => format!(" for {seconds:.1} s"),
        None => " at first".to_owned(),
    };
    let over = course
        .more_for_seconds
        .is_none_or(|seconds| seconds <= LAMP_CHECK.as_secs_f64());
    match (more, course.rests) {
        (_, false) => format!(
            "up to {:.2} A, {rest} at the end, but it keeps changing",
            course.highest_amperes
        ),
        (false, true) => rest,
        (true, true) => format!(
            "{:.2} A{less}, then {rest}{}",
            course.highest_amperes,
            if over {
                " (modules try their lamps, capacitors fill: no fault)"
            } else {
                ""
            }
        ),
    }
}

fn look(out: &mut String, title: &str, look: &PowerReport) {
    let _ = writeln!(out, "{title}:");
    for point in &look.points {
        let (mark, said) = match point.verdict.as_str() {
            "off" => (" FAULT ", point.say.clone()),
            "as expected" => (
                " ok    ",
                format!("{} has {:.1} V, as it must", point.point, point.volts),
            ),
            _ => (
                " -     ",
                format!(
                    "{} has {:.1} V; what is plugged there is as low as a short",
                    point.point, point.volts
                ),
            ),
        };
        let moment = match point.for_a_moment {
            true => "; for a moment after switching on it was otherwise, which is no fault",
            false => "",
        };
        paragraph(out, mark, &format!("{said}{moment}"));
    }
    match &look.current {
        Some(course) => {
            let mark = if course.limited { " FAULT " } else { " ok    " };
            let limit = match course.limited {
                true => "; that is the limit",
                false => "",
            };
            paragraph(out, mark, &format!("Current: {}{limit}", current(course)));
        }
        None => out.push_str(" -     Current: not read\n"),
    }
}

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let line = match report.verdict {
        Verdict::Pass => "PASS: first power",
        Verdict::Faults => "FAULT: battery off",
        _ => "UNDECIDED: nothing is off so far",
    };
    let _ = writeln!(
        out,
        "{line}\n{}, first power through a limit of {} A",
        report.title, report.limit_amperes
    );
    if report.broken_off {
        out.push_str("Broken off before the end: battery off\n");
    }
    if let Some(probe) = &report.probe {
        out.push_str(&simulated_vehicle(&probe.board));
    }
    out.push('\n');
    paragraph(&mut out, "", &report.say);
    paragraph(&mut out, "", &format!("Do: {}", report.act));
    out.push('\n');
    if let Some(without) = &report.without {
        look(&mut out, "Own fuses out, everything at rest", without);
    }
    if let Some(with) = &report.with {
        look(&mut out, "Own fuses in, everything at rest", with);
    }
    out.push_str("\nNot shown by this:\n");
    paragraph(
        &mut out,
        " - ",
        "what lies behind a relay or switch that is open at rest: the live check switches it on",
    );
    out
}
