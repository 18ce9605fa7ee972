//! A live check in plain words.

use std::fmt::Write as _;

use super::observe::Observed;
use super::report::Report;
use super::rhythm::Rhythm;
use super::steps::Step;
use crate::bench::Upset;
use crate::diagnosis::words::{Speaker, Words};
use crate::plan::model::Job;
use crate::powered::{Cause, Shown};
use crate::ringout::report::{FaultReport, Verdict};
use crate::ringout::text::{faults_line, findings, others, paragraph, simulated_vehicle};

/// Cautions shown before every live check.
pub const CAUTION: &str = "The battery is on: no short between a clip and metal, no tip into a \
female terminal. The first power goes through a current limit, the harness's own fuse in last. \
Keep off restraint circuits (airbag, pretensioner) and high-voltage wiring. The vehicle maker's \
service information, local codes and licensed practice come first.";

/// A state of the switches, those at rest left away.
#[must_use]
pub fn setting(job: &Job, switches: &[u8]) -> String {
    let away = job.electrics.switches.iter().zip(switches);
    let away = away.filter(|(_, state)| **state != 0);
    let list: Vec<String> = away
        .filter_map(|(switch, state)| {
            Some(format!(
                "{} {}",
                switch.name,
                switch.states.get(usize::from(*state))?
            ))
        })
        .collect();
    if list.is_empty() {
        "everything at rest".to_owned()
    } else {
        list.join(", ")
    }
}

/// The switches that the fitter is asked to move for a step.
#[must_use]
pub fn moved(job: &Job, step: &Step, (at, steps): (usize, usize)) -> String {
    let moves: Vec<String> = step
        .moves
        .iter()
        .filter_map(|(switch, state)| {
            let switch = job.electrics.switches.get(*switch)?;
            let state = switch.states.get(usize::from(*state))?;
            let place = switch.place.as_ref();
            let place = place.map_or(String::new(), |place| format!(" ({place})"));
            Some(format!("{}{place}: {state}", switch.name))
        })
        .collect();
    let what = if moves.is_empty() {
        "Battery on, everything at rest: doors shut, ignition off, all switches off".to_owned()
    } else {
        moves.join(" · ")
    };
    format!("[{} of {steps}] {what}", at + 1)
}

/// What the fitter is asked to do for a step, and what must be on then.
#[must_use]
pub fn ask(job: &Job, step: &Step, at: (usize, usize)) -> String {
    let on: Vec<&str> = job
        .functions
        .iter()
        .zip(&step.on)
        .filter(|(_, on)| **on == Some(true))
        .map(|(function, _)| function.name.as_str())
        .collect();
    let on = if on.is_empty() {
        "nothing must come on".to_owned()
    } else {
        format!("on now: {}", on.join(", "))
    };
    format!("{}\n    {on}", moved(job, step, at))
}

/// What was seen at a point, and what was expected.
#[must_use]
pub fn seen(seen: &Observed, shown: Option<&Shown>) -> String {
    let found = match seen.rhythm {
        _ if seen.floats() => "floats: nothing is joined to it".to_owned(),
        Rhythm::Steady => format!("has {:.1} V", seen.on.0),
        Rhythm::Flashing { .. } => {
            format!("flashes between {:.1} V and {:.1} V", seen.off.0, seen.on.0)
        }
        Rhythm::Dimmed { .. } => format!(
            "is dimmed, between {:.1} V and {:.1} V",
            seen.off.0, seen.on.0
        ),
        Rhythm::Unsteady => format!("moves between {:.1} V and {:.1} V", seen.off.0, seen.on.0),
    };
    match shown {
        Some(Shown::Known { on, .. }) => {
            let middle = on.middle().0;
            format!("{found}, {middle:.1} V was expected")
        }
        _ => found,
    }
}

/// A rhythm in words.
#[must_use]
pub fn rhythm(point: &str, rhythm: Rhythm, good: bool) -> String {
    match rhythm {
        Rhythm::Flashing { per_minute, on } => {
            let verdict = if good {
                ""
            } else {
                "; the rules ask for 60 to 120. Look for a lamp that is out, one of a wrong power, \
                 or a flasher that is not made for this load"
            };
            format!(
                "{point} flashes {per_minute:.0} times a minute, {:.0} % on{verdict}.",
                on * 100.0
            )
        }
        Rhythm::Dimmed { hertz, on } => format!(
            "{point} is dimmed: {:.0} % on, {hertz:.0} times a second.",
            on * 100.0
        ),
        Rhythm::Steady | Rhythm::Unsteady => String::new(),
    }
}

/// A cause, as spelled and in words.
#[must_use]
pub fn cause(speaker: &Speaker<'_>, cause: &Cause) -> FaultReport {
    let words = match cause {
        Cause::Wiring(fault) => speaker.fault(fault),
        Cause::Upset(upset) => upset_words(speaker, upset),
    };
    FaultReport {
        kind: cause.kind().to_owned(),
        place: cause.place(),
        fault: cause.to_string(),
        round: None,
        say: words.say,
        act: words.act,
        ohms: None,
    }
}

fn upset_words(speaker: &Speaker<'_>, upset: &Upset) -> Words {
    let words = |say: String, act: &str| Words {
        say,
        act: act.to_owned(),
    };
    match upset {
        Upset::DeadFeed(name) => words(
            format!("The vehicle gives nothing on {}.", speaker.supply(name)),
            "Look at its fuse in the vehicle, and whether the plan names the right states of the \
             switches for it. This is the vehicle's side, not the harness.",
        ),
        Upset::NoGround(name) => words(
            format!(
                "The vehicle never joins {} to chassis.",
                speaker.supply(name)
            ),
            "Work its switch by hand and look at its own ground. This is the vehicle's side, not \
             the harness.",
        ),
        Upset::BulbOut(name) => words(
            format!("{name} draws nothing: it is open, or not plugged."),
            "Push its plug home; try another one in its place.",
        ),
        Upset::Stuck { switch, state } => words(
            format!("{switch} stays {state}, whatever is done with it."),
            "Was it moved as asked? Then look at the switch itself and its plug.",
        ),
        Upset::Voltage(name, volts) => words(
            format!(
                "The vehicle gives only {:.1} V on {}.",
                volts.0,
                speaker.supply(name)
            ),
            "Measure the battery itself; then look for a bad joint between it and there. This is \
             the vehicle's side, not the harness.",
        ),
        Upset::WrongFlash(name, rate) => words(
            format!(
                "{} flashes {:.0} times a minute.",
                speaker.supply(name),
                rate.0
            ),
            "Look for a lamp that is out, or a flasher that is not made for this load.",
        ),
        Upset::WrongDim(name, rate) => words(
            format!("{} is dimmed at {:.0} Hz.", speaker.supply(name), rate.0),
            "Look at what dims it.",
        ),
        Upset::Intermittent { joint, .. } => words(
            format!("A joint opens now and then {}.", speaker.joint(joint)),
            "Find it with `wiggle`; make the joint again.",
        ),
    }
}

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let line = match report.verdict {
        Verdict::Pass => "PASS: every function that was tried works".to_owned(),
        Verdict::Faults if report.groups.is_empty() => {
            "FAULT: something is off, and nothing known explains it".to_owned()
        }
        Verdict::Faults => faults_line(report.groups.first()),
        _ if report.broken_off => "UNDECIDED: nothing is off so far".to_owned(),
        _ => "UNDECIDED: nothing is off, but no function could be tried".to_owned(),
    };
    let _ = writeln!(
        out,
        "{line}\n{}, battery on, {:.1} V",
        report.title, report.battery_volts
    );
    if report.broken_off {
        let _ = writeln!(
            out,
            "Broken off after {} of {} steps; nothing is known of the others",
            report.steps.len(),
            report.planned_steps
        );
    }
    out.push_str(&simulated_vehicle(&report.probe.board));
    if !report.answers.is_empty() {
        let answers = report.answers.iter();
        let answers: Vec<String> = answers.map(|(o, v)| format!("{o} = {v}")).collect();
        paragraph(&mut out, "", &format!("Variant: {}", answers.join(", ")));
    }
    out.push('\n');
    if let Some(best) = report.groups.first() {
        findings(&mut out, best, report.proof);
        others(&mut out, &report.groups);
    }
    for open in &report.undecided {
        paragraph(&mut out, "", &format!("Off: {}", open.say));
    }
    for rhythm in report.rhythms.iter().filter(|rhythm| !rhythm.good) {
        paragraph(&mut out, "", &rhythm.say);
    }
    out.push_str("Functions:\n");
    for function in &report.functions {
        let mark = match function.verdict.as_str() {
            "works" => "ok   ",
            "fails" => "FAULT",
            _ => "-    ",
        };
        let say = if function.say.is_empty() {
            String::new()
        } else {
            format!(": {}", function.say)
        };
        paragraph(
            &mut out,
            &format!(" {mark} "),
            &format!("{} {}{say}", function.name, function.verdict),
        );
    }
    let mut told = Vec::new();
    for rhythm in report.rhythms.iter().filter(|rhythm| rhythm.good) {
        if !told.contains(&&rhythm.say) {
            paragraph(&mut out, "       ", &rhythm.say);
            told.push(&rhythm.say);
        }
    }
    out.push_str("\nNot tested by this check:\n");
    for line in &report.not_tested {
        paragraph(&mut out, " - ", line);
    }
    out
}
