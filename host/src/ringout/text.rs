//! The report in plain words.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::report::{FaultReport, GroupReport, Report, Verdict};
use super::verdict::letter;
use crate::fault::kinds::not_tested as not_tested_words;

/// Width that paragraphs are wrapped to.
const WIDTH: usize = 88;

/// Boards that measure a simulated harness.
const SIMULATED: [&str; 2] = ["virtual", "emulated-m3"];

/// Cautions shown before every ring-out in a vehicle.
pub const CAUTION: &str = "Disconnect the battery before a ring-out and before opening connectors. \
Keep off restraint circuits (airbag, pretensioner) and high-voltage wiring. The vehicle maker's \
service information, local codes and licensed practice come first.";

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let place = if report.place == "bench" {
        "on the bench"
    } else {
        "in the vehicle"
    };
    let line = match report.verdict {
        Verdict::Pass => format!(
            "PASS: as planned, so far as this hook-up can see ({} of {} single faults)",
            report.coverage.covered, report.coverage.faults
        ),
        Verdict::Faults if report.lost => {
            "FAULT: many readings are off, and no explanation fits them all".to_owned()
        }
        Verdict::Faults => faults_line(report.groups.first()),
        Verdict::Undecided => {
            "UNDECIDED: nothing is off, but some readings prove nothing".to_owned()
        }
        Verdict::Refused => "REFUSED: nothing was driven any further".to_owned(),
    };
    let _ = writeln!(out, "{line}\n{}, {place}", report.title);
    if SIMULATED.contains(&report.probe.board.as_str()) {
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
    if let Some(refusal) = &report.refusal {
        paragraph(&mut out, "", &refusal.say);
        paragraph(&mut out, "   ", &format!("Do: {}", refusal.act));
        out.push('\n');
    } else if report.lost {
        lost(&mut out, report);
    } else if let Some(best) = report.groups.first() {
        findings(&mut out, best);
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
    if !report.undecided.is_empty() {
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
fn faults_line(best: Option<&GroupReport>) -> String {
    let things = best
        .and_then(|group| group.sets.first())
        .map_or(0, Vec::len);
    let places = best.map_or(0, |group| group.sets.len());
    match (things, places) {
        (0, _) => "FAULT: readings are off, and nothing known explains them".to_owned(),
        (1, 1) => "FAULT: 1 thing to put right".to_owned(),
        (1, n) => format!("FAULT: 1 thing to put right, in one of {n} places"),
        (n, _) => format!("FAULTS: {n} things to put right"),
    }
}

/// The sets of a group to be written out: where no connection at a joint fits
/// as well as so many ohms there, the ohms are anybody's guess.
fn worth_saying(group: &GroupReport) -> GroupReport {
    let without_ohms = |fault: &FaultReport| -> Option<String> {
        let (joint, _) = fault
            .fault
            .strip_prefix("high-resistance@")?
            .rsplit_once(",ohms=")?;
        Some(format!("open@{joint}"))
    };
    let guessed = |set: &Vec<FaultReport>| {
        set.iter().any(|fault| without_ohms(fault).is_some())
            && group.sets.iter().any(|other| {
                other.len() == set.len()
                    && set.iter().all(|fault| {
                        let wanted = without_ohms(fault).unwrap_or_else(|| fault.fault.clone());
                        other.iter().any(|f| f.fault == wanted)
                    })
            })
    };
    let sets = group
        .sets
        .iter()
        .filter(|set| !guessed(set))
        .cloned()
        .collect();
    GroupReport {
        sets,
        ..group.clone()
    }
}

fn findings(out: &mut String, group: &GroupReport) {
    let group = &worth_saying(group);
    let percent = percent(group.probability);
    let certain = common(group);
    for (at, fault) in certain.iter().enumerate() {
        finding(out, &format!("{}. ", at + 1), fault, true);
    }
    if group.sets.len() < 2 {
        let note = if group.explains_all {
            ""
        } else {
            ", but it does not explain every reading"
        };
        let _ = writeln!(out, "   Certainty: {percent}{note}\n");
        return;
    }
    let lead_in = if certain.is_empty() { "It is" } else { "And" };
    paragraph(
        out,
        "",
        &format!(
            "{lead_in} one of these {}; the readings cannot tell which ({percent} together). \
             Check them in this order:",
            group.sets.len()
        ),
    );
    let mut advice = String::new();
    for (at, set) in group.sets.iter().take(SHOWN).enumerate() {
        let rest = set
            .iter()
            .filter(|fault| !certain.iter().any(|c| c.fault == fault.fault));
        for (part, fault) in rest.enumerate() {
            let mark = if part == 0 {
                format!("{}) ", letter(at))
            } else {
                "   and ".to_owned()
            };
            // The same advice is not given twice in a row.
            let fault = if part == 0 {
                fault.clone()
            } else {
                continued(fault)
            };
            finding(out, &mark, &fault, advice != fault.act);
            advice.clone_from(&fault.act);
        }
    }
    if group.sets.len() > SHOWN {
        let _ = writeln!(
            out,
            "   … and {} more (see --format json)",
            group.sets.len() - SHOWN
        );
    }
    out.push('\n');
}

/// A finding in mid-sentence.
fn continued(fault: &FaultReport) -> FaultReport {
    let mut fault = fault.clone();
    let mut letters = fault.say.chars();
    if let Some(first) = letters.next() {
        fault.say = first.to_lowercase().chain(letters).collect();
    }
    fault
}

/// The faults that every set of a group has.
fn common(group: &GroupReport) -> Vec<&FaultReport> {
    let Some((first, others)) = group.sets.split_first() else {
        return Vec::new();
    };
    let in_all = |fault: &&FaultReport| {
        others
            .iter()
            .all(|set| set.iter().any(|other| other.fault == fault.fault))
    };
    first.iter().filter(in_all).collect()
}

/// How many explanations of a group are written out.
const SHOWN: usize = 8;

fn finding(out: &mut String, mark: &str, fault: &FaultReport, with_advice: bool) {
    paragraph(out, mark, &fault.say);
    if with_advice {
        paragraph(out, "   ", &format!("Do: {}", fault.act));
    }
}

/// Other groups, where they carry weight.
fn others(out: &mut String, groups: &[GroupReport]) {
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
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for reading in &report.readings {
        *counts.entry(reading.purpose.as_str()).or_default() += 1;
    }
    let count = |purpose: &str| counts.get(purpose).copied().unwrap_or(0);
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
    let mut by_kind: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for fault in &report.coverage.not_covered {
        by_kind
            .entry(fault.kind.as_str())
            .or_default()
            .push(fault.place.as_str());
    }
    for places in by_kind.values_mut() {
        places.dedup();
    }
    // Where no connection can be shown, a bad one cannot either.
    let open = by_kind.get("open").cloned().unwrap_or_default();
    if let Some(ohms) = by_kind.get_mut("high-resistance") {
        ohms.retain(|place| !open.contains(place));
    }
    let _ = writeln!(out, "\nNot tested by this hook-up:");
    for (kind, places) in by_kind.iter().filter(|(_, places)| !places.is_empty()) {
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
    if report.verdict == Verdict::Pass {
        let _ = writeln!(out, "\nElectrically good, hand checks open:");
    } else {
        let _ = writeln!(out, "\nHand checks, which no reading replaces:");
    }
    // One line for the places that ask for the same.
    let mut merged: Vec<(Vec<&str>, &str)> = Vec::new();
    for check in &report.hand_checks {
        match merged.iter_mut().find(|(_, text)| *text == check.check) {
            Some((places, _)) => places.push(&check.place),
            None => merged.push((vec![&check.place], &check.check)),
        }
    }
    for (places, text) in merged {
        paragraph(out, " [ ] ", &format!("{}: {text}", places.join(", ")));
    }
}

/// Writes a paragraph wrapped to [`WIDTH`], its later lines indented like its
/// first.
fn paragraph(out: &mut String, mark: &str, text: &str) {
    let indent = mark.chars().count();
    let mut line = mark.to_owned();
    let mut used = indent;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if used > indent && used + 1 + length > WIDTH {
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
