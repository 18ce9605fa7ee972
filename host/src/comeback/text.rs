//! A comeback in plain words.

use std::fmt::Write as _;

use super::asks::{Ask, What};
use super::inquiry::Inquiry;
use super::report::{GroupReport, Report, Whose};
use super::suspects::Forecast;
use super::told::How;
use crate::diagnosis::words::Speaker;
use crate::live::text::setting;
use crate::ringout::report::Verdict;
use crate::ringout::text::paragraph;

/// What can be typed, for whoever asks; none wider than a terminal of 80 columns.
pub const HELP: &str = "\
\x20 11.8        the voltage, black tip on bare chassis metal
  y, n        it works, it does not
  doubt 11.8  read, but not sure
  skip        not possible here
  undo        takes the last answer back
  why         who is suspected
  open PLACE  that place is open already
  quit        go on another day";

/// A number of volts without a digit too many.
fn volts(value: f32) -> String {
    let rounded = (f64::from(value) * 10.0).round() / 10.0;
    // No minus before nothing.
    format!("{:.1} V", if rounded == 0.0 { 0.0 } else { rounded })
}

/// What a forecast says, in words.
#[must_use]
pub fn expected(what: What, forecast: &Forecast) -> String {
    if !forecast.known() {
        return "the plan does not say".to_owned();
    }
    match what {
        What::Function(_) => match f32::midpoint(forecast.least, forecast.most) {
            chance if chance > 0.9 => "on".to_owned(),
            chance if chance < 0.1 => "off".to_owned(),
            _ => "weak".to_owned(),
        },
        What::Volts(_) if forecast.most - forecast.least < 0.4 => {
            volts(f32::midpoint(forecast.least, forecast.most))
        }
        What::Volts(_) => format!("{} to {}", volts(forecast.least), volts(forecast.most)),
    }
}

fn states(inquiry: &Inquiry<'_>, at: usize) -> String {
    let switches = inquiry.asks.settings.get(at).map_or(&[][..], Vec::as_slice);
    setting(inquiry.job, switches)
}

/// Whoever is to ask, and where.
#[must_use]
pub fn ask(inquiry: &Inquiry<'_>, ask: &Ask) -> String {
    let with = states(inquiry, ask.setting);
    match ask.what {
        What::Function(function) => {
            let name = inquiry
                .job
                .functions
                .get(function)
                .map_or("", |it| it.name.as_str());
            format!("With {with}: is {name} on? y / n")
        }
        What::Volts(site) => {
            let site = inquiry.asks.sites.get(site);
            let point = site.map(|site| Speaker::new(inquiry.job).point(&site.point));
            format!("With {with}: volts at {}?", point.unwrap_or_default())
        }
    }
}

/// That a function must work, or be off.
#[must_use]
pub fn must(inquiry: &Inquiry<'_>, function: usize, at: usize, on: bool) -> String {
    let name = inquiry
        .job
        .functions
        .get(function)
        .map_or("", |it| it.name.as_str());
    let what = if on { "must work" } else { "must be off" };
    format!("With {}: {name} {what}.", states(inquiry, at))
}

/// What a place must show.
#[must_use]
pub fn must_show(inquiry: &Inquiry<'_>, ask: &Ask) -> Option<String> {
    let What::Volts(site) = ask.what else {
        return None;
    };
    let site = inquiry.asks.sites.get(site)?;
    Some(format!(
        "With {}: {} must show {}.",
        states(inquiry, ask.setting),
        site.name,
        expected(ask.what, &inquiry.expected(ask))
    ))
}

/// Whose fault it is, in words.
#[must_use]
pub fn whose(whose: Whose) -> &'static str {
    match whose {
        Whose::Ours => "ours: the harness or one of its joints",
        Whose::Vehicle => "the vehicle's own, not the harness",
        Whose::Consumer => "what is plugged to the harness, not the harness",
        Whose::SomebodyElse => "somebody else's work, or the vehicle was changed",
    }
}

fn how(how: How) -> &'static str {
    match how {
        How::Works => "works",
        How::Fails => "does not work",
        How::StaysOn => "is on when it must be off",
    }
}

fn share(probability: f64) -> String {
    if probability > 0.99 {
        "over 99 %".to_owned()
    } else {
        format!("{:.0} %", probability * 100.0)
    }
}

/// The suspects so far, a line each.
#[must_use]
pub fn suspects(groups: &[GroupReport]) -> String {
    let mut out = String::new();
    for group in groups {
        let mut sets = group.sets.iter();
        let first = sets.next();
        let say = match first {
            Some(set) if !set.is_empty() => {
                let each: Vec<&str> = set.iter().map(|one| one.fault.say.as_str()).collect();
                each.join(" And: ")
            }
            _ => "Nothing is wrong.".to_owned(),
        };
        let more = match sets.len() {
            0 => String::new(),
            more => format!(" (or {more} more that look the same)"),
        };
        let mark = format!("{:>9}  ", share(group.probability));
        paragraph(&mut out, &mark, &format!("{say}{more}"));
    }
    out
}

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let found = report.groups.first();
    let line = match (report.verdict, found) {
        (Verdict::Pass, _) if !report.repaired.is_empty() => {
            "PUT RIGHT: every function that was tried works".to_owned()
        }
        (Verdict::Pass, _) => "NOTHING WRONG: what was asked is as the plan says".to_owned(),
        (Verdict::Faults, Some(best)) if best.sets.len() == 1 => "FOUND: the cause".to_owned(),
        (Verdict::Faults, Some(best)) => format!(
            "FOUND: one of {} causes that no reading in this plan tells apart",
            best.sets.len()
        ),
        _ => "NOT DECIDED yet".to_owned(),
    };
    let _ = writeln!(
        out,
        "{line}\n{}, battery on, {:.1} V",
        report.title, report.battery_volts
    );
    if report.simulated {
        out.push_str("(a simulated vehicle; no real wire was measured)\n");
    }
    if !report.answers.is_empty() {
        let answers = report.answers.iter();
        let answers: Vec<String> = answers.map(|(o, v)| format!("{o} = {v}")).collect();
        paragraph(&mut out, "", &format!("Variant: {}", answers.join(", ")));
    }
    let told = report
        .symptoms
        .iter()
        .map(|(name, own)| format!("{name} {}", how(*own)));
    let told: Vec<String> = told.collect();
    if !told.is_empty() {
        paragraph(&mut out, "", &format!("Told: {}", told.join(", ")));
    }
    for (what, all) in [
        ("Put right", &report.repaired),
        ("Looked at, not so", &report.sound),
    ] {
        for one in all {
            paragraph(&mut out, "", &format!("{what}: {}", one.fault.say));
        }
    }
    out.push('\n');
    match (report.verdict, found) {
        (Verdict::Faults, Some(best)) => findings(&mut out, best),
        (Verdict::Pass, _) => {}
        _ => {
            out.push_str("Suspects:\n");
            out.push_str(&suspects(&report.groups));
            if found.is_some_and(|best| best.sets.iter().all(Vec::is_empty)) {
                paragraph(
                    &mut out,
                    "",
                    "What was read is as the plan says, and yet something does not work: look \
                     whether it comes and goes (`wiggle`), and try the function again.",
                );
            }
        }
    }
    if !report.confirm.is_empty() {
        out.push_str("\nAfter the repair:\n");
        for line in &report.confirm {
            paragraph(&mut out, " [ ] ", line);
        }
    }
    if let Some(next) = &report.next {
        paragraph(&mut out, "", &format!("Next: {}", next.say));
    }
    if !report.asked.is_empty() {
        out.push('\n');
        let spent = format!(
            "Asked: {} readings, effort {:.1} (1 a reading, 0.5 a switch moved, 10 a place opened)",
            report.readings, report.effort
        );
        paragraph(&mut out, "", &spent);
        for asked in &report.asked {
            let rest = asked
                .switches
                .iter()
                .map(|(name, state)| format!("{name} {state}"));
            let rest: Vec<String> = rest.collect();
            paragraph(
                &mut out,
                " - ",
                &format!(
                    "{}: {} (plan: {}; {}){}",
                    asked.at,
                    asked.reply,
                    asked.expected,
                    rest.join(", "),
                    if asked.odd {
                        " – does not fit; read it again"
                    } else {
                        ""
                    }
                ),
            );
        }
    }
    out
}

/// What is looked at before the session goes on: the first group, as it is reported.
#[must_use]
pub fn to_look(best: &GroupReport) -> String {
    let mut out = String::new();
    findings(&mut out, best);
    out
}

/// What is asked when somebody looked at a number of sets.
#[must_use]
pub fn looked(sets: usize) -> String {
    let last = u32::try_from(sets).unwrap_or(1).saturating_sub(1);
    match char::from_u32('a' as u32 + last) {
        Some(last) if sets > 1 => format!(
            "Look there. Which was it? a to {last} = that one, it is put right; n = none, all \
             are sound; Enter = not looked yet: "
        ),
        _ => "Look there. Was it so? y = yes, it is put right; n = no, it is sound; Enter = not \
              looked yet: "
            .to_owned(),
    }
}

fn findings(out: &mut String, best: &GroupReport) {
    for (at, set) in best.sets.iter().enumerate() {
        let mark = if best.sets.len() > 1 {
            let letter = u32::try_from(at)
                .ok()
                .and_then(|at| char::from_u32('a' as u32 + at));
            format!("{}) ", letter.unwrap_or('?'))
        } else {
            String::new()
        };
        for (number, one) in set.iter().enumerate() {
            let also = if number > 0 { "Also: " } else { "" };
            paragraph(out, &mark, &format!("{also}{}", one.fault.say));
            paragraph(out, "   ", &format!("Do: {}", one.fault.act));
            paragraph(out, "   ", &format!("Whose: {}.", whose(one.whose)));
        }
    }
    paragraph(
        out,
        "   ",
        &format!("Certainty: {}.", share(best.probability)),
    );
}
