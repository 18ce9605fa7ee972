//! What is said of jigs, in plain words.

use std::fmt::Write as _;

use super::Jig;
use super::history::History;
use super::report::Report;
use crate::diagnosis::words::ohms_text;
use crate::ringout::report::Verdict;
use crate::ringout::text::{is_simulated, paragraph};

/// How to wire a new jig; `left_out` are points that have no lead.
#[must_use]
pub fn wiring(jig: &Jig, left_out: &[String]) -> String {
    let mut out = format!("Jig {}: {}\n", jig.code.number(), jig.title);
    let _ = writeln!(out, "File: {}", jig.path.display());
    out.push_str("\nIn the plug that the probe's leads end in:\n");
    out.push_str("  C1    to C2, and to the jig's ground post\n");
    for (lead, ohms) in jig.code.resistors() {
        let (lead, ohms) = (lead.to_string(), ohms_text(ohms.0));
        let _ = writeln!(out, "  {lead:<5} to C1 through {ohms}, 1 %");
    }
    for (half, leads) in jig.halves() {
        let _ = writeln!(out, "\n{half}");
        for lead in leads {
            let point = jig.wired(lead).unwrap_or_default();
            let _ = writeln!(out, "  {:<5} {point}", lead.to_string());
        }
    }
    out.push('\n');
    let beyond = jig.wires.last().map_or(0, |(lead, _)| lead.0);
    let leads = (u16::from(beyond) / 16 + 1) * 16;
    paragraph(
        &mut out,
        "",
        &format!("It needs a probe with {leads} leads."),
    );
    if !left_out.is_empty() {
        paragraph(
            &mut out,
            "",
            &format!(
                "Without a lead: {}. What ends there is proved by nothing else; `--parts` gives them \
                 leads, for spring contacts on the back of their sockets.",
                left_out.join(", ")
            ),
        );
    }
    let file = jig.path.display();
    paragraph(
        &mut out,
        "",
        &format!("Check it before its first harness: loomproof jig check {file} --probe usb"),
    );
    out
}

/// The report of a check as it is read at the bench.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let count = report.findings.len();
    let line = match (report.verdict, count) {
        (Verdict::Pass, _) => {
            "PASS: number, wires and contacts are as the jig's file says".to_owned()
        }
        (_, 1) => "FAULT: one thing is wrong with the jig".to_owned(),
        _ => format!("FAULT: {count} things are wrong with the jig"),
    };
    let _ = writeln!(out, "{line}\nJig {}: {}", report.number, report.title);
    if is_simulated(&report.probe.board) {
        let board = &report.probe.board;
        let _ = writeln!(
            out,
            "({board} probe: a simulated jig; no real wire was measured)"
        );
    }
    let good_for = report.good_for.map(|most| format!(", good for {most}"));
    let _ = writeln!(
        out,
        "Matings since the halves were new: {}{}",
        report.matings,
        good_for.unwrap_or_default()
    );
    out.push('\n');
    for half in &report.halves {
        let contacts = half.contacts;
        let worst = match half.worst_ohms {
            Some(ohms) => format!("worst {ohms:.2} Ω"),
            None => "none reached".to_owned(),
        };
        let s = if contacts == 1 { "" } else { "s" };
        let _ = writeln!(out, "  {:<8} {contacts:>3} contact{s}, {worst}", half.half);
    }
    for found in &report.findings {
        out.push('\n');
        paragraph(&mut out, " - ", &found.say);
        paragraph(&mut out, "   Do: ", &found.to_do);
    }
    for warning in &report.warnings {
        out.push('\n');
        paragraph(&mut out, "", warning);
    }
    out.push('\n');
    paragraph(
        &mut out,
        "Not tested: ",
        &format!(
            "wires exchanged inside one half, which a plug that joins all its contacts cannot show. \
             On a new jig touch every contact once: loomproof touch PLAN --where bench --jig {} \
             --prove --probe usb",
            report.file
        ),
    );
    out
}

/// What is known of a jig, in a line or two.
#[must_use]
pub fn known(jig: &Jig, history: &History) -> String {
    let mut out = format!(
        "Jig {}: {}\nFile: {}\nFor: {}\nMatings since the halves were new: {}",
        jig.code.number(),
        jig.title,
        jig.path.display(),
        jig.plans.join(", "),
        history.matings
    );
    if let Some(most) = jig.matings {
        let _ = write!(out, ", good for {most}");
    }
    out.push('\n');
    match &history.checked {
        Some((true, when)) => {
            let ago = match history.since_check {
                1 => "1 mating ago".to_owned(),
                many => format!("{many} matings ago"),
            };
            let _ = writeln!(out, "Checked: whole, {when:.0}, {ago}");
        }
        Some((false, when)) => {
            let _ = writeln!(
                out,
                "Checked: FAULTY, {when:.0}; mend it and check it again"
            );
        }
        None => out.push_str("Checked: never, as its file is, since the halves were new\n"),
    }
    let touched = jig
        .wires
        .iter()
        .filter(|(lead, _)| history.touched.contains(lead));
    let _ = writeln!(
        out,
        "Contacts touched and right: {} of {}",
        touched.count(),
        jig.wires.len()
    );
    out
}
