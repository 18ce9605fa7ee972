//! Solid copper at 20 °C: the table at wp.1728.org (*read*), and the same by
//! ASTM's formula with NBS Handbook 100's resistivity (*ran*).

use super::check::{Check, Limit, Status};
use super::ours::{per_km, awg, reviewed_lead};

/// AWG, Ω/km by the formula, Ω/km in the table.
const TABLE: [(u32, f64, f64); 8] = [
    (10, 3.277, 3.28),
    (12, 5.211, 5.21),
    (14, 8.285, 8.28),
    (16, 13.174, 13.17),
    (18, 20.948, 20.94),
    (20, 33.308, 33.29),
    (22, 52.962, 52.94),
    (24, 84.213, 84.20),
];

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    let mut add = |n: u32, by: &str, source, status, theirs: f64, test, ours: fn(u32) -> f64| {
        checks.push(Check {
            what: format!("AWG {n}, Ω/km at 20 °C, {by}"),
            source,
            status,
            theirs: theirs.into(),
            limit: Limit::Share(1e-3),
            ours: Box::new(move || ours(n).into()),
            test,
        });
    };
    let plain = |n| per_km(awg(n), 20.0);
    // 100 m in a plan, as the review sees it.
    let in_a_plan = |n| reviewed_lead(&format!("{n} AWG"), 100.0, "100 mA", 20.0).ohms * 10.0;
    for (n, formula, table) in TABLE {
        let source = "ASTM B258-02 and NBS Handbook 100";
        add(n, "formula", source, Status::Ran, formula, "formula", plain);
        let source = "table at wp.1728.org";
        add(n, "table", source, Status::Read, table, "table", plain);
        let by = "table, a lead in the review";
        add(n, by, source, Status::Read, table, "table_in_the_review", in_a_plan);
    }
    checks
}

crate::checked!(formula, table, table_in_the_review);
