//! A test of the standing drain in plain words.

use std::fmt::Write as _;

use super::report::{Current, Report};
use crate::plan::electrics::Drain;
use crate::ringout::report::Verdict;
use crate::ringout::text::{paragraph, simulated_vehicle};

/// What has to be known before the battery is loaded through a shunt.
pub const CAUTION: &str = "The battery is on. Keep off restraint circuits (airbag, pretensioner) and \
high-voltage wiring. A shunt carries what the fuse carried: put it behind a fuse, bridge it until \
everything is asleep, and do not start the engine through it. The vehicle maker's service \
information, local codes and licensed practice come first.";

/// Where the leads go first.
#[must_use]
pub fn ask_null(drain: &Drain) -> String {
    format!(
        "Put the chassis leads on the body, and P1 and P2 both on the battery's side of {}: this \
         shows how far the two read apart.",
        drain.place
    )
}

/// Where they go then.
#[must_use]
pub fn ask_across(drain: &Drain) -> String {
    format!(
        "Leave P1 where it is and put P2 on the other side of {}. Then ignition off, key away, \
         every door and lid closed (or its latch).",
        drain.place
    )
}

fn amount(milliamperes: f64) -> String {
    match milliamperes.abs() {
        large if large >= 1_000.0 => format!("{:.2} A", milliamperes / 1e3),
        some if some >= 10.0 => format!("{milliamperes:.0} mA"),
        _ => format!("{milliamperes:.1} mA"),
    }
}

/// A current with its span.
#[must_use]
pub fn span(current: Current) -> String {
    format!(
        "{} ({} to {})",
        amount(current.estimate),
        amount(current.least.min(current.most)),
        amount(current.most)
    )
}

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let limit = amount(report.limit_milliamperes);
    let line = match report.verdict {
        Verdict::Pass => format!("PASS: the standing drain is below {limit}"),
        Verdict::Faults => format!("FAULT: the standing drain is above {limit}"),
        _ if report.settled.is_none() => "CANNOT TELL: the drain did not settle".to_owned(),
        _ => format!("CANNOT TELL whether the standing drain is above {limit}"),
    };
    let _ = writeln!(
        out,
        "{line}\n{}, battery on, {:.1} V",
        report.title, report.battery_volts
    );
    if report.broken_off {
        let _ = writeln!(out, "Broken off after {:.0} s", report.seconds);
    }
    out.push_str(&simulated_vehicle(&report.probe.board));
    out.push('\n');
    paragraph(&mut out, "", &report.say);
    if !report.act.is_empty() {
        paragraph(&mut out, "", &format!("Do: {}", report.act));
    }
    out.push('\n');
    if let Some(settled) = report.settled {
        let _ = writeln!(out, "Settled:  {}", span(settled));
    }
    if let Some(highest) = report.highest {
        let _ = writeln!(out, "Highest:  {}", span(highest));
    }
    if let (Some(average), true) = (report.average, report.woke > 0) {
        let times = match report.woke {
            1 => "once".to_owned(),
            n => format!("{n} times"),
        };
        let _ = writeln!(
            out,
            "Average since asleep, woken {times}:  {}",
            span(average)
        );
    }
    let asleep = report.asleep_after_seconds.map_or_else(String::new, |at| {
        format!(", quiet after {:.0} min", at / 60.0)
    });
    let _ = writeln!(out, "Watched:  {:.0} min{asleep}", report.seconds / 60.0);
    let (low, high) = report.ohms;
    let ohms = |value: f64| {
        if value < 0.1 {
            format!("{:.2} mΩ", value * 1e3)
        } else {
            format!("{value:.3} Ω")
        }
    };
    paragraph(
        &mut out,
        "",
        &format!(
            "How: the voltage across the {} at {} by its resistance ({} to {}, by the plan); \
             known to ±{:.2} mV (noise, the drift of the two leads against each other, and 0.6 % \
             of it: docs/standing-drain.md). What the probe draws itself is taken off.",
            report.across,
            report.place,
            ohms(low),
            ohms(high),
            report.uncertainty_millivolts
        ),
    );
    out
}
