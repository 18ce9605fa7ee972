//! American wire gauge: d = 0.005 in · 92^((36−n)/39), ASTM B258-02, as quoted
//! at liquisearch.com (*read*).

use std::f64::consts::PI;

use super::check::{Check, Limit, Status};
use super::ours::awg;

/// Who says so.
const SOURCE: &str = "ASTM B258-02, as quoted at liquisearch.com";

fn inches(n: u32) -> f64 {
    (awg(n).0 * 4.0 / PI).sqrt() / 25.4
}

fn check(what: String, theirs: f64, limit: f64, ours: impl Fn() -> f64 + 'static) -> Check {
    Check {
        what,
        source: SOURCE,
        status: Status::Read,
        theirs: theirs.into(),
        limit: Limit::Share(limit),
        ours: Box::new(move || ours().into()),
        test: "diameters",
    }
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let step = |n: u32| inches(n) / inches(n + 1);
    let mut checks = vec![check(
        "diameter of AWG 36, in".to_owned(),
        0.005,
        1e-12,
        || inches(36),
    )];
    // The steps printed there have eight digits.
    let farthest = move || {
        let off = |n: &u32| (step(*n) - 1.122_932_2).abs();
        let worst = (0..36).max_by(|a, b| off(a).total_cmp(&off(b)));
        worst.map_or(f64::NAN, step)
    };
    checks.push(check(
        "step of the diameter from one AWG to the next, 0 to 36, the farthest off".to_owned(),
        1.122_932_2,
        1e-7,
        farthest,
    ));
    // By the formula, without a step before it.
    for n in [0, 10, 20, 30] {
        let theirs = 0.005 * 92_f64.powf((36.0 - f64::from(n)) / 39.0);
        let what = format!("diameter of AWG {n}, in");
        checks.push(check(what, theirs, 1e-12, move || inches(n)));
    }
    checks
}

crate::checked!(diameters);
