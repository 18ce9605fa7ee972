//! What is wrong and what to do, one paragraph a finding.

use std::fmt::Write as _;

use super::{SHOWN, paragraph, percent};
use crate::ringout::findings::{Finding, Findings, letter};
use crate::ringout::report::{Because, FaultReport, GroupReport, ProofReport};

/// Writes the findings of the best group, in the order of work.
pub(crate) fn findings(out: &mut String, group: &GroupReport, proof: Option<ProofReport>) {
    let findings = Findings::of(group);
    if let [only] = findings.list.as_slice()
        && only.either.len() > 1
    {
        paragraph(
            out,
            "",
            &format!(
                "It is one of these {}; the readings cannot tell which. Check them in this order:",
                only.either.len()
            ),
        );
        alternatives(out, only, "");
    } else {
        for (at, finding) in findings.list.iter().enumerate() {
            let mark = format!("{}. ", at + 1);
            match finding.either.as_slice() {
                [fault] => one(out, &mark, fault, true),
                either => {
                    paragraph(
                        out,
                        &mark,
                        &format!(
                            "One of these {}; the readings cannot tell which. Check them in this \
                             order:",
                            either.len()
                        ),
                    );
                    alternatives(out, finding, "   ");
                }
            }
        }
    }
    let aside = |out: &mut String, count: usize, say: &str| {
        if count > 0 {
            let say = format!("({count} more {say}; --format json lists them.)");
            paragraph(out, "   ", &say);
        }
    };
    aside(out, findings.unlikely, "would fit, each far less likely");
    aside(out, findings.involved, "involved explanations fit as well");
    certainty(out, group, &findings, proof);
}

fn certainty(
    out: &mut String,
    group: &GroupReport,
    findings: &Findings<'_>,
    proof: Option<ProofReport>,
) {
    let mut text = format!("Certainty: {}", percent(group.probability));
    if !group.explains_all {
        text.push_str(", but it does not explain every reading");
    }
    text.push('.');
    if let Some(proof) = proof {
        let upto = match proof.faults {
            1 => "single faults",
            2 => "sets of one or two faults",
            _ => "sets of faults",
        };
        if findings.list.len() <= proof.faults {
            text.push_str(&format!(
                " Of all {} {upto} that this plan allows, none explains the readings better.",
                proof.sets
            ));
            // More was scored than is proved.
            if proof.faults == 1 && proof.scored > proof.sets {
                text.push_str(" Two at once were searched, but not all of them.");
            }
        } else {
            text.push_str(&format!(
                " None of the {} {upto} explains the readings better; larger sets were searched, but \
                 not all of them.",
                proof.sets
            ));
        }
    }
    paragraph(out, "   ", &text);
    out.push('\n');
}

fn alternatives(out: &mut String, finding: &Finding<'_>, indent: &str) {
    let mut advice = "";
    for (at, fault) in finding.either.iter().take(SHOWN).enumerate() {
        let mark = format!("{indent}{}) ", letter(at));
        // The same advice is not given twice in a row.
        one(out, &mark, fault, advice != fault.act);
        advice = &fault.act;
    }
    if finding.either.len() > SHOWN {
        let _ = writeln!(
            out,
            "{indent}   … and {} more (see --format json)",
            finding.either.len() - SHOWN
        );
    }
}

fn one(out: &mut String, mark: &str, fault: &FaultReport, with_advice: bool) {
    paragraph(out, mark, &fault.say);
    if with_advice {
        let indent = " ".repeat(mark.chars().count());
        paragraph(out, &indent, &format!("Do: {}", fault.act));
    }
}

/// Writes the readings that speak for the best group and against it, and what
/// speaks against the others.
pub(super) fn because(out: &mut String, groups: &[GroupReport]) {
    let list = |out: &mut String, title: &str, readings: Vec<&Because>| {
        if !readings.is_empty() {
            paragraph(out, "", title);
            for reading in readings {
                paragraph(out, " - ", &reading.say);
            }
        }
    };
    let (Some(best), others) = (groups.first(), groups.iter().skip(1)) else {
        return;
    };
    let side = |group: &'_ GroupReport, good: bool| -> Vec<Because> {
        let on_side = |one: &&Because| (one.weight > 0.0) == good;
        group.because.iter().filter(on_side).cloned().collect()
    };
    let (good, bad) = (side(best, true), side(best, false));
    list(out, "Readings that speak for it:", good.iter().collect());
    list(out, "Readings that speak against it:", bad.iter().collect());
    for other in others {
        let Some(set) = other.sets.first() else {
            continue;
        };
        let names: Vec<&str> = set.iter().map(|fault| fault.fault.as_str()).collect();
        let bad = side(other, false);
        list(
            out,
            &format!("Readings that speak against {}:", names.join(" with ")),
            bad.iter().take(2).collect(),
        );
    }
    out.push('\n');
}
