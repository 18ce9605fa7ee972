//! The report in plain words.

use std::fmt::Write as _;
use std::sync::atomic::{AtomicUsize, Ordering};

mod findings;

pub(crate) use findings::findings;

use super::findings::Findings;
use super::report::{GroupReport, Report, Verdict};
use crate::fault::kinds::not_tested as not_tested_words;

/// Width that paragraphs are wrapped to, at most.
const WIDTH: usize = 88;

/// The width of the terminal that is written to, where there is one and it is narrower.
static NARROWER: AtomicUsize = AtomicUsize::new(WIDTH);

/// Wraps paragraphs to a terminal of so many columns from now on. A file, and a program
/// that reads along, get the same at every width.
pub(crate) fn fit_to(columns: usize) {
    NARROWER.store(columns.clamp(20, WIDTH), Ordering::Relaxed);
}

/// Boards that measure a simulated harness.
const SIMULATED: [&str; 2] = ["virtual", "emulated-m3"];

/// Whether a probe with this board measures a simulated harness.
#[must_use]
pub fn is_simulated(board: &str) -> bool {
    SIMULATED.contains(&board)
}

/// The line that says so of a report in a vehicle whose probe has this board; empty for
/// a real one.
pub(crate) fn simulated_vehicle(board: &str) -> String {
    match is_simulated(board) {
        true => format!("({board} probe: a simulated vehicle; no real wire was measured)\n"),
        false => String::new(),
    }
}

/// Cautions shown before every ring-out in a vehicle.
pub const CAUTION: &str = "Disconnect the battery before a ring-out and before opening connectors. \
Keep off restraint circuits (airbag, pretensioner) and high-voltage wiring. The vehicle maker's \
service information, local codes and licensed practice come first.";

/// How much is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// What is wrong and what to do.
    Plain,
    /// With the readings that speak for it and against it.
    Explained,
}

/// How many explanations of one finding, and open points, are written out.
const SHOWN: usize = 8;

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report, detail: Detail) -> String {
    let mut out = String::new();
    let place = if report.place == "bench" {
        "on the bench"
    } else {
        "in the vehicle"
    };
    let line = match report.verdict {
        Verdict::Pass => {
            let open = || report.hand_checks.iter().filter(|check| check.is_open());
            let wires =
                open().filter_map(|it| Some(format!("{} in {}", it.wire.as_ref()?, it.place)));
            let wires: Vec<String> = wires.collect();
            format!(
                "PASS: {}, so far as this hook-up can see ({} of {} single faults)",
                if !wires.is_empty() {
                    format!("electrically good, proof of {} open", wires.join(" and "))
                } else if open().next().is_some() {
                    "electrically good, hand checks open".to_owned()
                } else {
                    "as planned, hand checks attested".to_owned()
                },
                report.coverage.covered,
                report.coverage.faults
            )
        }
        Verdict::Faults if report.lost && report.first.is_some() => {
            "FAULT: something is wrong with the hook-up as a whole".to_owned()
        }
        Verdict::Faults if report.lost => {
            "FAULT: many readings are off, and no explanation fits them all".to_owned()
        }
        Verdict::Faults => faults_line(report.groups.first()),
        Verdict::Undecided if report.undecided.is_empty() => {
            "SO FAR GOOD: nothing is off where it was rung out; the rest is still to do".to_owned()
        }
        Verdict::Undecided => {
            "UNDECIDED: nothing is off, but some readings prove nothing".to_owned()
        }
        Verdict::Refused => "REFUSED: nothing was driven any further".to_owned(),
    };
    let _ = writeln!(out, "{line}\n{}, {place}", report.title);
    if is_simulated(&report.probe.board) {
        let _ = writeln!(
            out,
            "({} probe: a simulated harness; no real wire was measured)",
            report.probe.board
        );
    }
    if !report.answers.is_empty() {
        let answers: Vec<String> = report
            .answers
            .iter()
            .map(|(option, value)| format!("{option} = {value}"))
            .collect();
        paragraph(&mut out, "", &format!("Variant: {}", answers.join(", ")));
    }
    out.push('\n');
    if let Some(first) = &report.first {
        paragraph(&mut out, "", &first.say);
        paragraph(&mut out, "   ", &format!("Do: {}", first.act));
        out.push('\n');
    }
    if let Some(refusal) = &report.refusal {
        paragraph(&mut out, "", &refusal.say);
        paragraph(&mut out, "   ", &format!("Do: {}", refusal.act));
        out.push('\n');
    } else if report.lost && report.first.is_none() {
        lost(&mut out, report);
    } else if let Some(best) = report.groups.first() {
        findings(&mut out, best, report.proof);
        if detail == Detail::Explained {
            findings::because(&mut out, &report.groups);
        }
        if let Some(next) = &report.next_reading {
            paragraph(&mut out, "", &format!("To tell which: {}", next.say));
            out.push('\n');
        }
        others(&mut out, &report.groups);
        paragraph(
            &mut out,
            "",
            "Then ring out again: one fault can hide another.",
        );
        out.push('\n');
    }
    for open in report.undecided.iter().take(SHOWN) {
        paragraph(&mut out, "", &format!("Not decided: {}", open.say));
    }
    if report.undecided.len() > SHOWN {
        let _ = writeln!(
            out,
            "… and {} more (see --format json)",
            report.undecided.len() - SHOWN
        );
    }
    if !report.still_to_do.is_empty() {
        out.push_str("Still to do:\n");
        for open in &report.still_to_do {
            paragraph(&mut out, " - ", &open.say);
        }
        paragraph(
            &mut out,
            "",
            "`ringout --at PLACE`, with the same --so-far, adds a place. A wire is proved once both \
             its ends were within reach together: name both places.",
        );
    }
    if !report.undecided.is_empty() || !report.still_to_do.is_empty() {
        out.push('\n');
    }
    if report.verdict == Verdict::Refused {
        out.push_str("Nothing was tested.\n");
        return out;
    }
    tested(&mut out, report);
    not_tested(&mut out, report);
    hand_checks(&mut out, report);
    out
}

/// What is wrong so far, for whoever is asked for a further step.
#[must_use]
pub fn so_far(report: &Report) -> String {
    let mut out = String::new();
    if let Some(best) = report.groups.first() {
        findings(&mut out, best, report.proof);
    }
    out
}

/// Too much is off: the wrong plan is likelier than so many faults.
fn lost(out: &mut String, report: &Report) {
    paragraph(
        out,
        "",
        &format!(
            "Before you touch any wire, check: is this the plan of this harness? Are the answers \
             right (see Variant)? Is the harness {}? Do the clips sit as `loomproof hookup` lists \
             them, and the chassis leads on bare metal? Then ring out again.",
            if report.place == "bench" {
                "on the bench"
            } else {
                "fitted in the vehicle"
            }
        ),
    );
    let said: Vec<&str> = report
        .groups
        .first()
        .and_then(|group| group.sets.first())
        .map(|set| set.iter().map(|fault| fault.say.as_str()).collect())
        .unwrap_or_default();
    if !said.is_empty() {
        paragraph(
            out,
            "",
            &format!(
                "What comes nearest, but does not fit: {}",
                said.join(" And: ")
            ),
        );
    }
    out.push('\n');
}

/// How many things there are to put right, and in how many places one may be.
pub(crate) fn faults_line(best: Option<&GroupReport>) -> String {
    let list = best.map_or(Vec::new(), |group| Findings::of(group).list);
    match (list.as_slice(), list.first()) {
        ([], _) => "FAULT: readings are off, and nothing known explains them".to_owned(),
        ([_], Some(one)) if one.either.len() > 1 => format!(
            "FAULT: 1 thing to put right, in one of {} places",
            one.either.len()
        ),
        ([_], _) => "FAULT: 1 thing to put right".to_owned(),
        (list, _) => format!("FAULTS: {} things to put right", list.len()),
    }
}

/// Other groups, where they carry weight.
pub(crate) fn others(out: &mut String, groups: &[GroupReport]) {
    for group in groups
        .iter()
        .skip(1)
        .filter(|group| group.probability >= 0.02)
    {
        if let Some(set) = group.sets.first() {
            let said: Vec<&str> = set.iter().map(|fault| fault.say.as_str()).collect();
            paragraph(
                out,
                "",
                &format!(
                    "Less likely ({}): {}",
                    percent(group.probability),
                    said.join(" And: ")
                ),
            );
        }
    }
    if groups.iter().skip(1).any(|group| group.probability >= 0.02) {
        out.push('\n');
    }
}

fn percent(p: f64) -> String {
    if p > 0.995 {
        "over 99 %".to_owned()
    } else {
        format!("{:.0} %", p * 100.0)
    }
}

fn tested(out: &mut String, report: &Report) {
    let count = |purpose: &str| report.taken_for(purpose);
    let text = format!(
        "Tested: {} readings on the planned connections, {} on touching wires, {} through \
         components{}. They show {} of the {} single faults that this plan allows.",
        count("continuity"),
        count("isolation"),
        count("across"),
        match count("walk") + count("pair") {
            0 => String::new(),
            n => format!(", and {n} more to find out what is wrong"),
        },
        report.coverage.covered,
        report.coverage.faults,
    );
    paragraph(out, "", &text);
}

fn not_tested(out: &mut String, report: &Report) {
    let _ = writeln!(out, "\nNot tested by this hook-up:");
    for (kind, places) in report.coverage.not_tested() {
        paragraph(
            out,
            " - ",
            &format!("{} {}", not_tested_words(kind), places.join(", ")),
        );
    }
    if report.place == "bench" {
        paragraph(
            out,
            " - ",
            "taps on their conductors, grounds on chassis, and the vehicle's own wires: only in \
             the vehicle",
        );
    }
    paragraph(
        out,
        " - ",
        "insulation strength (this probe measures with 3.3 V), and bonds below a few tenths of an ohm",
    );
}

fn hand_checks(out: &mut String, report: &Report) {
    if report.hand_checks.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nHand checks, which no reading replaces:");
    // One line for the places that ask for the same and stand alike.
    let mut merged: Vec<(Vec<&str>, &str, &str)> = Vec::new();
    for check in &report.hand_checks {
        let alike = merged
            .iter_mut()
            .find(|(_, text, state)| *text == check.check && *state == check.state);
        match alike {
            Some((places, ..)) => places.push(&check.place),
            None => merged.push((vec![&check.place], &check.check, &check.state)),
        }
    }
    for (places, text, state) in merged {
        let mark = match state {
            "open" => " [ ] ",
            "refuted" => " [!] ",
            _ => " [x] ",
        };
        let attested = match state {
            "open" => String::new(),
            "refuted" => " (it does something else)".to_owned(),
            state => format!(" ({state})"),
        };
        paragraph(
            out,
            mark,
            &format!("{}: {text}{attested}", places.join(", ")),
        );
    }
}

/// The width that text is wrapped to.
pub(crate) fn width() -> usize {
    NARROWER.load(Ordering::Relaxed)
}

/// Writes a paragraph wrapped to [`WIDTH`], its later lines indented like its
/// first.
pub(crate) fn paragraph(out: &mut String, mark: &str, text: &str) {
    let width = width();
    let indent = mark.chars().count();
    let mut line = mark.to_owned();
    let mut used = indent;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if used > indent && used + 1 + length > width {
            out.push_str(line.trim_end());
            out.push('\n');
            line = " ".repeat(indent);
            used = indent;
        }
        if used > indent {
            line.push(' ');
            used += 1;
        }
        line.push_str(word);
        used += length;
    }
    out.push_str(line.trim_end());
    out.push('\n');
}
