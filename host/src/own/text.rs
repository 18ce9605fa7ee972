//! A round through the vehicle's own functions in plain words.

use std::fmt::Write as _;

use super::list::Own;
use super::report::{FunctionReport, How, Means, Report, State};
use crate::ringout::report::Verdict;
use crate::ringout::text::{findings, paragraph, simulated_vehicle};

/// What to keep in mind while the vehicle is tried.
pub const CAUTION: &str = "The battery is on and everything stays plugged: touch conductors from the wire \
side only. Keep off restraint circuits (airbag, pretensioner) and high-voltage wiring. The vehicle \
maker's service information, local codes and licensed practice come first.";

/// Asks for one function.
#[must_use]
pub fn ask(own: &Own, (at, of): (usize, usize)) -> String {
    let place = own.place.as_ref();
    let place = place.map_or_else(String::new, |place| format!("\n    its wire: {place}"));
    format!(
        "[{at} of {of}] {}: try what it feeds or switches{place}\n    w = works, n = does not work, \
         Enter = not tried: ",
        own.title()
    )
}

/// Reads an answer; `None` for one that is not understood.
#[must_use]
pub fn answer(typed: &str) -> Option<State> {
    match typed.trim().to_lowercase().as_str() {
        "w" | "works" | "y" | "yes" => Some(State::Works),
        "n" | "not" | "no" | "fails" => Some(State::Fails),
        "" | "-" | "not-tried" => Some(State::NotTried),
        _ => None,
    }
}

fn word(state: State) -> &'static str {
    match state {
        State::Works => "works",
        State::Fails => "does not work",
        State::NotTried => "not tried",
    }
}

/// A function in a line.
fn line(function: &FunctionReport) -> (&'static str, String) {
    let mark = match function.state {
        State::Works => " ok    ",
        State::Fails => " FAULT ",
        State::NotTried => " -     ",
    };
    let what = function.what.as_ref();
    let what = what.map_or_else(String::new, |what| format!(", {what}"));
    let how = match function.how {
        How::Measured => " (measured)",
        How::Attested => " (attested)",
        How::Unknown => "",
    };
    let say = match function.say.as_str() {
        "" => String::new(),
        say => format!("; {say}"),
    };
    let name = &function.name;
    let state = word(function.state);
    (mark, format!("{name}{what}: {state}{how}{say}"))
}

/// The headline.
fn headline(report: &Report) -> String {
    let count = |state: State| {
        let all = report.functions.iter();
        all.filter(|it| it.state == state).count()
    };
    let means = |means: Means| {
        let all = report.functions.iter();
        all.filter(|it| it.means == Some(means)).count()
    };
    let number = |count: usize, what: &str| match count {
        1 => format!("one function {what}"),
        n => format!("{n} functions {what}"),
    };
    let compared = report.functions.iter().any(|it| it.means.is_some());
    match (compared, report.verdict) {
        (false, Verdict::Pass) => "PASS: every function of the vehicle works at arrival".to_owned(),
        (false, Verdict::Faults) if count(State::Fails) == 0 => {
            "NOTED: something does not work at arrival".to_owned()
        }
        (false, Verdict::Faults) => format!(
            "NOTED: {} not work at arrival",
            match count(State::Fails) {
                1 => "one function does".to_owned(),
                n => format!("{n} functions do"),
            }
        ),
        (false, _) => format!(
            "UNDECIDED: nothing is off so far; {}",
            number(count(State::NotTried), "not tried")
        ),
        (true, Verdict::Faults) => format!(
            "FAULT: {} at arrival and not now: ours to look at",
            number(means(Means::Ours), "worked")
        ),
        (true, Verdict::Pass) => {
            "PASS: everything of the vehicle that worked at arrival works now".to_owned()
        }
        (true, _) => {
            "UNDECIDED: not everything can be put beside what was noted at arrival".to_owned()
        }
    }
}

/// What a change means, with what is so.
const SECTIONS: [(Means, &str); 5] = [
    (
        Means::Ours,
        "Worked at arrival, does not now: ours to look at",
    ),
    (
        Means::CannotTell,
        "Does not work now, and was not tried at arrival: nobody can tell whose it is",
    ),
    (
        Means::StillToTry,
        "Worked at arrival, not tried now: try it",
    ),
    (
        Means::NotOurs,
        "Did not work at arrival and does not now: not ours; tell the owner",
    ),
    (Means::WorksAgain, "Did not work at arrival, works now"),
];

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = headline(report);
    let _ = writeln!(out, "\n{}: the vehicle's own functions", report.title);
    if let Some(vehicle) = &report.vehicle {
        let _ = writeln!(out, "Vehicle {vehicle}");
    }
    match &report.probe {
        Some(probe) => out.push_str(&simulated_vehicle(&probe.board)),
        None => out.push_str("Nothing was measured: what is said here was tried by hand\n"),
    }
    if report.broken_off {
        out.push_str("Broken off before the end; what was not reached is not tried\n");
    }
    out.push('\n');
    for (means, title) in SECTIONS {
        let own = report.functions.iter();
        let own: Vec<_> = own.filter(|it| it.means == Some(means)).collect();
        if !own.is_empty() {
            let _ = writeln!(out, "{title}:");
            for function in own {
                let (mark, said) = line(function);
                paragraph(&mut out, mark, &said);
            }
        }
    }
    let rest = report.functions.iter();
    let rest: Vec<_> = rest
        .filter(|it| matches!(it.means, None | Some(Means::Nothing)))
        .collect();
    if !rest.is_empty() {
        out.push_str("Functions of the vehicle:\n");
        for function in rest {
            let (mark, said) = line(function);
            paragraph(&mut out, mark, &said);
        }
    }
    for (title, remarks) in [
        ("Also noted now", &report.remarks),
        ("Also noted at arrival", &report.remarks_at_arrival),
    ] {
        for remark in remarks {
            paragraph(&mut out, "", &format!("{title}: {remark}"));
        }
    }
    if let Some(best) = report.measured.as_ref().and_then(|it| it.groups.first()) {
        out.push_str("\nWhat the probe saw points to this:\n");
        findings(&mut out, best, None);
    }
    out.push_str("\nNot shown by this:\n");
    paragraph(
        &mut out,
        " - ",
        "measured is what the wire carries, not whether a lamp on it glows; attested is what \
         somebody saw or heard",
    );
    paragraph(
        &mut out,
        " - ",
        "functions of the vehicle that have no wire in this plan, unless somebody noted them",
    );
    out
}
