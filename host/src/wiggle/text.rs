//! A wiggle test in plain words.

use std::fmt::Write as _;

use loomproof_core::wire::{ChassisCheck, LeadId, Refusal};

use super::report::{JointReport, NotWatched, Report};
use super::view::span;
use crate::diagnosis::words::{Speaker, capital, ohms_text};
use crate::hookup::Hookup;
use crate::plan::model::Job;
use crate::ringout::report::Verdict;
use crate::ringout::text::paragraph as wrapped;

/// Cautions shown before dead watching.
pub const CAUTION: &str = "Disconnect the battery before a wiggle test and before opening \
connectors. Keep off restraint circuits (airbag, pretensioner) and high-voltage wiring. The vehicle \
maker's service information, local codes and licensed practice come first.";

/// What cannot be watched, before the test; empty where everything can.
#[must_use]
pub fn not_watched(list: &[NotWatched]) -> String {
    if list.is_empty() {
        return String::new();
    }
    let mut out = String::from("Cannot be watched here:\n");
    let mut whys: Vec<&str> = list.iter().map(|it| it.why.as_str()).collect();
    whys.sort_unstable();
    whys.dedup();
    for why in whys {
        let own = list.iter().filter(|it| it.why == why);
        let places: Vec<&str> = own.map(|it| it.place.as_str()).collect();
        let _ = write!(
            out,
            "{}",
            paragraph(&format!("{}: {why}", places.join(", ")), "  ")
        );
    }
    out
}

/// The report.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let (how, place) = (
        if report.live {
            "battery on"
        } else {
            "battery off"
        },
        if report.place == "bench" {
            "on the bench"
        } else {
            "in the vehicle"
        },
    );
    let _ = writeln!(out, "Wiggle test of \"{}\", {how}, {place}\n", report.title);
    let apart: Vec<&JointReport> = report.joints.iter().filter(|it| it.count > 0).collect();
    let head = match report.verdict {
        Verdict::Pass => format!("PASS: nothing came apart in {:.1} s.", report.seconds),
        Verdict::Faults => format!("FAULTS: something came apart in {:.1} s.", report.seconds),
        Verdict::Undecided if report.seconds > 0.0 => format!(
            "CANNOT TELL: nothing came apart in {:.1} s, and not every terminal was pulled.",
            report.seconds
        ),
        Verdict::Undecided => "CANNOT TELL: no joint was watched.".to_owned(),
        Verdict::Refused => format!(
            "REFUSED: {}",
            report
                .refusal
                .as_deref()
                .unwrap_or("the probe would not go on")
        ),
    };
    out.push_str(&paragraph(&head, ""));
    if report.broken_off {
        out.push_str("Broken off; this is what was seen until then.\n");
    }
    for joint in &apart {
        out.push('\n');
        let times = match joint.count {
            1 => "once".to_owned(),
            n => format!("{n} times"),
        };
        let longest = span(joint.longest_microseconds.unwrap_or_default());
        let first = joint.first_seconds.unwrap_or_default();
        let open = if joint.open_at_end {
            " It is open now."
        } else {
            ""
        };
        let said = format!(
            "{} came apart {times}: first at {first:.3} s, for {longest} at most.{open} {}.",
            joint.places.join(" or "),
            capital(&joint.say)
        );
        out.push_str(&paragraph(&said, "  "));
        out.push_str(&paragraph(action(joint), "  "));
    }
    if report.unexplained > 0 {
        let said = format!(
            "{} times leads let go in a way that no joint of the plan explains: look at the \
             clips, then ring out.",
            report.unexplained
        );
        out.push('\n');
        out.push_str(&paragraph(&said, "  "));
    }
    if !report.pulled.is_empty() {
        out.push_str("\nPulled and held:\n");
        for pulled in &report.pulled {
            let mark = if pulled.held { "held" } else { "CAME APART" };
            let _ = writeln!(out, "  {:<12} {mark}", pulled.place);
        }
    }
    if let Some(certain) = report.certain_microseconds {
        let turns = match report.groups {
            0 | 1 => String::new(),
            n => {
                let part = report.joints.iter().map(|it| it.watched_percent);
                let least = part.fold(100.0, f64::min);
                format!(
                    " {n} groups of leads took turns: each joint was watched {least:.0} % of the \
                     time at least."
                )
            }
        };
        let said = format!(
            "Watched {} joints on at most {} leads at once; a dropout of {} and more is certain \
             to be seen while its group is watched.{turns}",
            report
                .joints
                .iter()
                .map(|it| it.places.len())
                .sum::<usize>(),
            report.leads_at_once,
            span(u64::from(certain)),
        );
        out.push('\n');
        out.push_str(&paragraph(&said, ""));
    }
    let slow: Vec<&str> = report
        .joints
        .iter()
        .filter(|it| it.slow)
        .flat_map(|it| it.places.iter().map(String::as_str))
        .collect();
    if !slow.is_empty() {
        let said = format!(
            "A module's capacitor keeps the voltage up for a while at {}: short dropouts there \
             can be missed.",
            slow.join(", ")
        );
        out.push_str(&paragraph(&said, ""));
    }
    let worst = report
        .joints
        .iter()
        .filter_map(|it| Some((it.worst_ohms?, it)));
    if let Some((ohms, joint)) = worst.max_by(|(a, _), (b, _)| a.total_cmp(b)) {
        let said = format!(
            "Worst path measured in between: {} through {}, clips included.",
            ohms_text(ohms),
            joint.places.join(", ")
        );
        out.push_str(&paragraph(&said, ""));
    }
    let not = not_watched(&report.not_watched);
    if !not.is_empty() {
        out.push('\n');
        out.push_str(&not);
    }
    out
}

fn action(joint: &JointReport) -> &'static str {
    if joint.places.len() > 1 {
        "Hold one of them still and move the next: the one that lets go is it. Then push home, \
         crimp or clean that one, and test again."
    } else {
        "Push home, crimp or clean it, and test again."
    }
}

/// Why the probe would not drive, or let go.
#[must_use]
pub fn refusal(job: &Job, hookup: &Hookup, refusal: Refusal) -> String {
    let speaker = Speaker::new(job);
    let at = |lead: LeadId| {
        let point = hookup.point(lead).map(|point| speaker.point(point));
        point.map_or_else(|| lead.to_string(), |point| format!("{lead} at {point}"))
    };
    let volts = |mv: i32| f64::from(mv) / 1e3;
    match refusal {
        Refusal::Live(lead, mv) => format!(
            "{} is live: {:.1} V. Disconnect the battery, or watch with --live.",
            at(lead),
            volts(mv)
        ),
        Refusal::Moves(lead, one, other) => format!(
            "{} does not hold still: {:.2} V, then {:.2} V. Something is powered, or a charge is \
             draining away; disconnect the battery, or watch with --live.",
            at(lead),
            volts(one),
            volts(other)
        ),
        Refusal::Chassis(ChassisCheck::Voltage(mv)) => format!(
            "there are {:.2} V between the two chassis leads. Put both on bare chassis metal; on \
             the bench clip them to each other.",
            volts(mv)
        ),
        Refusal::Chassis(_) => "the two chassis leads do not sit on one piece of metal. Put both \
                                on bare, clean chassis metal; on the bench clip them to each other."
            .to_owned(),
        Refusal::Tripped => "a voltage came onto a lead and the probe let go of everything. \
                             Disconnect the battery, and test again."
            .to_owned(),
        other => format!(
            "the probe would not go on ({other:?}). Unplug it, plug it in again, and test again."
        ),
    }
}

/// One paragraph, its later lines indented like its first.
fn paragraph(text: &str, mark: &str) -> String {
    let mut out = String::new();
    wrapped(&mut out, mark, text);
    out
}
