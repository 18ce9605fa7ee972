//! Records in plain words.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::{Shown, went};
use crate::diagnosis::words::ohms_text;
use crate::records::compare::Comparison;
use crate::records::paths::MicroOhms;
use crate::records::record::Test;
use crate::records::shop::Shop;
use crate::records::store::{Checked, Line, Stored};

/// How many paths that did not change are written out beside those that did.
const STEADY: usize = 6;

/// What is shown, in words.
pub(super) fn render(shown: &Shown) -> String {
    match shown {
        Shown::List {
            place,
            records,
            lines,
        } => list(place, *records, lines),
        Shown::Record { number, digest, .. } => format!("Record {number} ({digest})\n"),
        Shown::Compare(comparison) => compared(comparison),
        Shown::Shop(shop) => shop_text(shop),
        Shown::Batch(batch) => went::batch(batch),
        Shown::Vehicle(vehicle) => went::vehicle(vehicle),
        Shown::Check {
            place,
            checked,
            head_found,
        } => check(place, checked, *head_found),
    }
}

/// A time as it is here.
pub(super) fn here(taken: &str) -> String {
    taken.parse::<Timestamp>().map_or_else(
        |_| taken.to_owned(),
        |at| {
            let local = at.to_zoned_datetime(TimeZone::system());
            local.strftime("%Y-%m-%d %H:%M").to_string()
        },
    )
}

fn list(place: &str, records: i64, lines: &[Line]) -> String {
    let mut out = String::new();
    for line in lines {
        let names: Vec<String> = [
            ("unit", &line.unit),
            ("vehicle", &line.vehicle),
            ("batch", &line.batch),
            ("by", &line.who),
        ]
        .into_iter()
        .filter_map(|(what, name)| Some(format!("{what} {}", name.as_ref()?)))
        .collect();
        let _ = writeln!(
            out,
            "{:>6}  {}  {}  {:8} {:9} {:8} {}{}",
            line.number,
            line.digest.get(..12).unwrap_or_default(),
            here(&line.taken),
            line.test,
            line.verdict.to_uppercase(),
            line.place,
            line.title,
            if line.simulated { " (simulated)" } else { "" },
        );
        for more in [names.join(", "), line.faults.clone()] {
            if !more.is_empty() {
                let _ = writeln!(out, "        {more}");
            }
        }
    }
    let _ = writeln!(out, "{} of {records} records in {place}", lines.len());
    out
}

/// What stands above the report of a record.
pub(super) fn heading(stored: &Stored) -> String {
    let record = &stored.sealed.record;
    let with = match &record.probe {
        Some(probe) => format!(
            "with probe {} {} (firmware {})",
            probe.board, probe.serial, probe.build
        ),
        None if record.simulated => "of a simulated vehicle".to_owned(),
        None => "with a multimeter, readings typed in".to_owned(),
    };
    let mut out = format!(
        "Record {} ({}): {}{}\nTaken {} {with}, program {}\n",
        stored.number,
        stored.sealed.digest,
        record.test.say(),
        if record.broken_off {
            ", broken off"
        } else {
            ""
        },
        here(&record.taken),
        record.program,
    );
    let subject = &record.subject;
    for (what, name) in [
        ("Who", &subject.who),
        ("Vehicle", &subject.vehicle),
        ("Unit", &subject.unit),
        ("Batch", &subject.batch),
    ] {
        if let Some(name) = name {
            let _ = writeln!(out, "{what}: {name}");
        }
    }
    let _ = writeln!(
        out,
        "Plan {}\nChain up to here: {}\nThe record is as it was kept.\n",
        record.plan_digest, stored.link
    );
    out
}

fn ohms(value: Option<MicroOhms>) -> String {
    value.map_or_else(
        || "no connection".to_owned(),
        |value| match value.ohms().0 {
            small if small < 10.0 => format!("{small:.2} Ω"),
            large => ohms_text(large),
        },
    )
}

fn compared(comparison: &Comparison) -> String {
    let mut out = String::new();
    for (what, side) in [("Then", &comparison.earlier), ("Now", &comparison.later)] {
        let _ = writeln!(
            out,
            "{what:5} record {} ({}), {}, {}: {}",
            side.number,
            side.digest.get(..12).unwrap_or_default(),
            here(&side.taken),
            side.place,
            side.verdict.to_uppercase()
        );
    }
    for differs in &comparison.differs {
        let _ = writeln!(out, "Note: {differs}.");
    }
    out.push('\n');
    for (what, faults) in [("Gone", &comparison.gone), ("New", &comparison.new)] {
        if !faults.is_empty() {
            let _ = writeln!(out, "{what}: {}", faults.join(", "));
        }
    }
    for function in &comparison.functions {
        let _ = writeln!(
            out,
            "{}: {} then, {} now",
            function.name, function.then, function.now
        );
    }
    if comparison.test != Test::Ringout.word() {
        if comparison.gone.is_empty()
            && comparison.new.is_empty()
            && comparison.functions.is_empty()
        {
            out.push_str("The same was found both times.\n");
        }
        return out;
    }
    let changed = |change: &str| change != "same";
    let moved = comparison
        .paths
        .iter()
        .filter(|path| changed(&path.change))
        .count();
    let _ = writeln!(
        out,
        "{moved} of {} paths changed by more than clips and noise do:",
        comparison.paths.len()
    );
    let mut steady = 0;
    for path in &comparison.paths {
        if !changed(&path.change) {
            steady += 1;
            if steady > STEADY {
                continue;
            }
        }
        let _ = writeln!(
            out,
            "  {:28} {:>14} {:>14}  {} (± {})",
            path.path,
            ohms(path.then_uohm),
            ohms(path.now_uohm),
            path.change,
            ohms(Some(MicroOhms(2 * path.sigma_uohm.0)))
        );
    }
    if steady > STEADY {
        let _ = writeln!(out, "  and {} more that are the same", steady - STEADY);
    }
    for suggestion in &comparison.suggests {
        let _ = writeln!(out, "\n{}", suggestion.say);
    }
    if !comparison.unexplained.is_empty() {
        let _ = writeln!(
            out,
            "\nNo joint explains the rise of {}; look at the clips there and ring out again.",
            comparison.unexplained.join(", ")
        );
    }
    for reading in &comparison.readings {
        let uv = |value: Option<i64>| value.map_or("not settled".to_owned(), |v| format!("{v} µV"));
        let _ = writeln!(
            out,
            "Off now: {} at {}: {}, then {}",
            reading.purpose,
            reading.point,
            uv(reading.now_uv),
            uv(reading.then_uv)
        );
    }
    if moved == 0 && comparison.readings.is_empty() && !comparison.paths.is_empty() {
        out.push_str("\nNothing drifted that these readings can see.\n");
    }
    out
}

fn shop_text(shop: &Shop) -> String {
    let mut out = String::new();
    if shop.simulated {
        out.push_str("Simulated harnesses only; no real wire was measured.\n\n");
    }
    out.push_str("First-pass yield (of harnesses or vehicles with a number):\n");
    for plan in &shop.plans {
        let of = if plan.subjects == 0 {
            "none has a number (--unit, --vehicle)".to_owned()
        } else {
            format!(
                "{} of {} right at the first run ({} %)",
                plan.first_pass,
                plan.subjects,
                plan.first_pass * 100 / plan.subjects
            )
        };
        let _ = writeln!(
            out,
            "  {}: {of}; {} runs, {} passed, {} without a number",
            plan.title, plan.runs, plan.passed, plan.unnamed
        );
    }
    if shop.plans.is_empty() {
        out.push_str("  no runs\n");
    }
    out.push_str(
        "\nFaults by kind and place (a run that leaves four places counts a quarter at each):\n",
    );
    for fault in &shop.faults {
        let _ = writeln!(
            out,
            "  {:>9}  {}@{}  ({}, in {} runs)",
            format!("{}.{:03}", fault.permille / 1000, fault.permille % 1000),
            fault.kind,
            fault.place,
            fault.title,
            fault.runs
        );
    }
    if shop.faults.is_empty() {
        out.push_str("  none\n");
    }
    out.push_str("\nDrift of runs that passed, beyond what clips and noise do:\n");
    for drift in &shop.drift {
        let month = drift
            .per_month_uohm
            .map(|rise| format!(", {} in thirty days", ohms(Some(rise))))
            .unwrap_or_default();
        let _ = writeln!(
            out,
            "  {} of {}: {} on {}, {} on {}{month} ({}, {} runs)",
            drift.path,
            drift.subject,
            ohms(Some(drift.first_uohm)),
            here(&drift.first),
            ohms(Some(drift.last_uohm)),
            here(&drift.last),
            drift.title,
            drift.runs
        );
    }
    if shop.drift.is_empty() {
        out.push_str("  none\n");
    }
    if shop.not_counted > 0 {
        let _ = writeln!(
            out,
            "\n{} runs of {} harnesses are not counted here{}.",
            shop.not_counted,
            if shop.simulated { "real" } else { "simulated" },
            if shop.simulated {
                ""
            } else {
                " (--simulated counts them)"
            }
        );
    }
    out
}

fn check(place: &str, checked: &Checked, head_found: Option<bool>) -> String {
    let mut out = String::new();
    for wrong in &checked.wrong {
        let _ = writeln!(out, "ALTERED: record {}: {}", wrong.number, wrong.say);
    }
    if head_found == Some(false) {
        out.push_str(
            "ALTERED: the chain does not pass through the head that you gave: records that were \
             kept then are gone or were written anew\n",
        );
    }
    let _ = writeln!(
        out,
        "{} records in {place}, {}.\nHead: {}\nWrite the head down elsewhere: only against it can \
         somebody who rewrote everything be told (`records check --head …`).",
        checked.records,
        if checked.wrong.is_empty() && head_found != Some(false) {
            "every one as it was kept"
        } else {
            "not all as they were kept"
        },
        checked.head
    );
    out
}
