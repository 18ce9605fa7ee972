//! FAA AC 43.13-1B Chg 1, chapter 11 (*read*): resistance of stranded wire,
//! voltage drop worked out, temperature, wire and its protection.
//!
//! Left out: the 19.5 ft row of Table 11-8 is a misprint (it prints 0.366 V
//! where its own ohms give 0.491 V).

use loomproof::plan::quantity::awg_area;
use loomproof::review::Level;
use loomproof::review::wire::{carries, recommended};
use loomproof_core::copper::{RESISTIVITY, resistance};
use loomproof_core::units::{Celsius, Metres, SquareMillimetres};

use super::check::{Check, Limit, Ours, Status, Value};
use super::ours::{FOOT, awg, fused_lead, per_km, reviewed_lead};

const TABLE_9: &str = "FAA AC 43.13-1B Chg 1, Table 11-9, p. 11-23";
const TABLES_7_8: &str = "FAA AC 43.13-1B Chg 1, Tables 11-7 and 11-8, p. 11-22, at landseaskyspace.com/ac4313/p11-22.html";
const LENGTH: &str = "FAA AC 43.13-1B Chg 1, 11-66, p. 11-22";
const TABLE_3: &str = "FAA AC 43.13-1B, Table 11-3, p. 11-15, at landseaskyspace.com/ac4313/p11-15.html";

/// Stranded, tin-plated, most Ω/1000 ft.
const MOST: [(u32, f64); 8] = [
    (24, 28.40),
    (22, 16.20),
    (20, 9.88),
    (18, 6.23),
    (16, 4.81),
    (14, 3.06),
    (12, 2.02),
    (10, 1.26),
];

/// Feet, ohms per foot as stated with the example, volts at 20 A.
const DROPS: [(f64, f64, f64); 7] = [
    (107.0, 0.000_44, 0.942),
    (90.0, 0.000_28, 0.504),
    (88.0, 0.002_02, 3.60),
    (100.0, 0.003_06, 6.12),
    (39.0, 0.001_26, 0.98),
    (156.0, 0.001_26, 3.93),
    (273.0, 0.001_26, 6.88),
];

/// The same by gauge: AWG, feet, volts.
const BY_GAUGE: [(u32, f64, f64); 3] = [(12, 88.0, 3.60), (14, 100.0, 6.12), (10, 39.0, 0.98)];

/// AWG, circuit breaker, fuse, in amperes. The columns come as three lists,
/// matched from AWG 22 on.
const PROTECTION: [(u32, f64, f64); 11] = [
    (22, 5.0, 5.0),
    (20, 7.5, 5.0),
    (18, 10.0, 10.0),
    (16, 15.0, 10.0),
    (14, 20.0, 15.0),
    (12, 30.0, 20.0),
    (10, 40.0, 30.0),
    (8, 50.0, 50.0),
    (6, 80.0, 70.0),
    (4, 100.0, 70.0),
    (2, 125.0, 100.0),
];

const AMPERES: f64 = 20.0;

/// A cross-section with so many ohms per foot at 20 °C: the table's own
/// resistance, so that the drop is compared and not the strands.
fn of_ohms_per_foot(ohms: f64) -> SquareMillimetres {
    SquareMillimetres(RESISTIVITY * FOOT / ohms)
}

fn add(
    checks: &mut Vec<Check>,
    test: &'static str,
    source: &'static str,
    what: String,
    theirs: impl Into<Value>,
    limit: Limit,
    ours: Ours,
) {
    checks.push(Check {
        what,
        source,
        status: Status::Read,
        theirs: theirs.into(),
        limit,
        ours,
        test,
    });
}

/// What the review says of a lead at a fuse, in one word.
fn word(awg: u32, fuse: f64) -> &'static str {
    match fused_lead(awg, fuse) {
        None => "fits",
        Some(Level::Wrong) => "wrong",
        Some(_) => "note",
    }
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    let list = &mut checks;
    strands(list);
    drops(list);
    // The lengths at equal drop go as the inverse resistance.
    let factor = |t: f64| per_km(SquareMillimetres(1.0), t) / per_km(SquareMillimetres(1.0), 20.0);
    for t in [-40.0, 0.0, 50.0, 85.0, 105.0] {
        let what = format!("resistance at {t} °C to that at 20 °C, from L2 = 254.5·L1/(234.5 + T2)");
        let theirs = (234.5 + t) / 254.5;
        let ours: Ours = Box::new(move || factor(t).into());
        add(list, "temperature", LENGTH, what, theirs, Limit::Share(2e-4), ours);
    }
    let ours: Ours = Box::new(|| {
        let drop = |t| reviewed_lead("10 AWG", 12.0, "20 A", t).volts;
        (drop(50.0) / drop(20.0)).into()
    });
    let what = "drop at 50 °C to that at 20 °C, a lead in the review".to_owned();
    add(list, "temperature", LENGTH, what, 1.11788, Limit::Share(2e-4), ours);
    protection(list);
    checks
}

fn strands(list: &mut Vec<Check>) {
    // 1 cmil = π/4 · (0.001 in)². The table states 1216 cmil for AWG 20, where
    // the gauge's formula has 1020: only this size can be held as a bound.
    let stated = SquareMillimetres(1216.0 * std::f64::consts::PI / 4.0 * 0.0254_f64.powi(2));
    let what = "AWG 20 of 1216 cmil, most Ω/1000 ft, stranded and tin-plated".to_owned();
    let ours: Ours = Box::new(move || (per_km(stated, 20.0) * FOOT).into());
    add(list, "strands", TABLE_9, what, 9.88, Limit::AtMost(0.8), ours);
    for (n, most) in MOST {
        let what = format!("AWG {n}, Ω/1000 ft, solid beside stranded and tin-plated");
        let ours: Ours = Box::new(move || (per_km(awg(n), 20.0) * FOOT).into());
        add(list, "strands", TABLE_9, what, most, Limit::Share(0.25), ours);
    }
}

fn drops(list: &mut Vec<Check>) {
    for (feet, per_foot, volts) in DROPS {
        let what = format!("drop of {feet} ft at {per_foot} Ω/ft and 20 A, V");
        let length = Metres(feet * FOOT);
        let ours: Ours = Box::new(move || {
            (resistance(length, of_ohms_per_foot(per_foot), Celsius(20.0)).0 * AMPERES).into()
        });
        // 1.5 %: the 3.60 V printed stand for 3.555.
        let limit = Limit::Share(0.015);
        add(list, "drops", TABLES_7_8, what.clone(), volts, limit, ours);
        let ours: Ours = Box::new(move || {
            let size = format!("{} mm2", of_ohms_per_foot(per_foot).0);
            reviewed_lead(&size, length.0, "20 A", 20.0).volts.into()
        });
        let what = format!("{what}, a lead in the review");
        add(list, "drops_in_the_review", TABLES_7_8, what, volts, limit, ours);
    }
    for (n, feet, volts) in BY_GAUGE {
        let what = format!("drop of {feet} ft of AWG {n} at 20 A, V: solid, where theirs is stranded");
        let ours: Ours = Box::new(move || {
            let lead = reviewed_lead(&format!("{n} AWG"), feet * FOOT, "20 A", 20.0);
            lead.volts.into()
        });
        let limit = Limit::AtMost(0.75);
        add(list, "drops_in_the_review", TABLES_7_8, what, volts, limit, ours);
    }
}

fn protection(list: &mut Vec<Check>) {
    for (n, breaker, fuse) in PROTECTION {
        let size = awg_area(f64::from(n));
        let limit = Limit::Share(1e-9);
        let what = format!("circuit breaker of AWG {n}, A");
        let ours: Ours = Box::new(move || carries(size).0.into());
        add(list, "protection", TABLE_3, what, breaker, limit, ours);
        let what = format!("fuse of AWG {n}, A");
        let ours: Ours = Box::new(move || recommended(size).0.into());
        add(list, "protection", TABLE_3, what, fuse, limit, ours);
    }
    // Up to AWG 8 as whole plans: at the fuse column nothing is said, beyond
    // the breaker column it is wrong, at the breaker column it is noted where
    // that is more than the fuse column (and more than the 7 % by which metric
    // sizes differ).
    for (n, breaker, fuse) in PROTECTION.into_iter().take(8) {
        let between = if breaker > fuse * 1.07 { "note" } else { "fits" };
        for (amperes, theirs) in [(fuse, "fits"), (breaker, between), (breaker * 1.2, "wrong")] {
            let what = format!("AWG {n} behind a fuse of {amperes} A, in the review");
            let ours: Ours = Box::new(move || word(n, amperes).into());
            add(list, "protection_in_the_review", TABLE_3, what, theirs, Limit::Same, ours);
        }
    }
}

crate::checked!(
    strands,
    drops,
    drops_in_the_review,
    temperature,
    protection,
    protection_in_the_review,
);
