//! What several sources ask of the product.

use std::collections::BTreeMap;

use loomproof::circuit::{Model, build};
use loomproof::hookup::{Hookup, propose};
use loomproof::plan::model::Job;
use loomproof::plan::quantity::size;
use loomproof::plan::{Plan, read, render};
use loomproof::review::{Level, Review, Settings, review};
use loomproof_core::copper::resistance;
use loomproof_core::units::{Celsius, Metres, SquareMillimetres};
use loomproof_core::wire::Place;

/// Metres in a foot.
pub const FOOT: f64 = 0.3048;

/// The cross-section that the plan reader takes for a gauge number.
///
/// # Panics
/// When it takes none.
#[must_use]
pub fn awg(number: u32) -> SquareMillimetres {
    size(&format!("{number} AWG")).expect("an AWG size")
}

/// Ohms of a kilometre of copper.
#[must_use]
pub fn per_km(area: SquareMillimetres, celsius: f64) -> f64 {
    resistance(Metres(1000.0), area, Celsius(celsius)).0
}

/// A plan from its text.
///
/// # Panics
/// When it is not a plan.
#[must_use]
pub fn plan(text: &str) -> Plan {
    let name = "outside.toml";
    read(name, text).unwrap_or_else(|problems| panic!("{}", render(&problems, name, text, false)))
}

/// The job of a plan with every option at its default.
///
/// # Panics
/// When there is none.
#[must_use]
pub fn job(plan: &Plan) -> Job {
    plan.resolve(&BTreeMap::new())
        .unwrap_or_else(|problems| panic!("{}", plan.render(&problems, false)))
}

/// A job's hook-up with up to 128 leads, and its circuit.
///
/// # Panics
/// When there is none.
#[must_use]
pub fn circuit(job: &Job, place: Place) -> (Hookup, Model) {
    let hookup = propose(job, place, 128).expect("a hook-up");
    let model = build(job, &hookup).expect("a circuit");
    (hookup, model)
}

/// The review of a plan, in every variant.
///
/// # Panics
/// When it is not a plan.
#[must_use]
pub fn reviewed(text: &str) -> Review {
    let plan = plan(text);
    let review = review(&plan, &Settings::default());
    review.unwrap_or_else(|problems| panic!("{}", plan.render(&problems, false)))
}

/// A lead of a plan.
#[must_use]
pub fn lead(name: &str, from: &str, to: &str, size: &str, length: &str) -> String {
    format!(
        "[lead.{name}]\ncolour = \"BN\"\nsize = \"{size}\"\nlength = \"{length}\"\nfrom = \"{from}\"\nto = \"{to}\"\n"
    )
}

/// The beginning of a plan for the review: a switch `key`, X1 and X2.
fn head(supply: u8, celsius: f64) -> String {
    format!(
        "plan = 1\ntitle = \"t\"\nsupply = \"{supply} V\"\nservice_temperature = \"{celsius} degC\"\n\
         [switch.key]\n[connector.X1]\ncavities = 8\n[connector.X2]\ncavities = 8\nwith = \"harness\"\n"
    )
}

/// What the review computes of a lead.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reviewed {
    /// Drop, in volts.
    pub volts: f64,
    /// Resistance, in ohms.
    pub ohms: f64,
}

/// A single lead between a feed and a load on a chassis of its own, at 24 V.
///
/// # Panics
/// When the lead carries anything but what the load is said to draw.
#[must_use]
pub fn reviewed_lead(size: &str, metres: f64, draws: &str, celsius: f64) -> Reviewed {
    let text = format!(
        "{}[pin.C1]\nat = \"X1:1\"\nplus_when = \"always\"\nfused = \"100 A\"\n\
         [load.L1]\nbetween = [\"X2:1\", \"chassis\"]\ndraws = \"{draws}\"\n{}",
        head(24, celsius),
        lead("W1", "X1:1", "X2:1", size, &format!("{metres} m"))
    );
    let line = &reviewed(&text).leads[0];
    let stated = loomproof::plan::quantity::current(draws)
        .expect("amperes")
        .0;
    assert!(
        (line.amperes / stated - 1.0).abs() < 1e-4,
        "{} A of {draws}",
        line.amperes
    );
    Reviewed {
        volts: line.drop_v,
        ohms: line.ohms,
    }
}

/// How bad the review finds a lead behind a fuse; `None` where it says nothing.
///
/// # Panics
/// When it says something twice.
#[must_use]
pub fn fused_lead(awg: u32, fuse: f64) -> Option<Level> {
    let text = format!(
        "{}[ring.G1]\non = \"chassis\"\n[pin.C1]\nat = \"X1:1\"\nplus_when = \"key\"\nfused = \"{fuse} A\"\n{}{}",
        head(12, 20.0),
        lead("W1", "X1:1", "X2:1", &format!("{awg} AWG"), "1 m"),
        lead("W2", "X2:2", "G1", "6 mm2", "1 m"),
    );
    let review = reviewed(&text);
    let mut found = review
        .findings
        .iter()
        .filter(|finding| finding.rule == "wire-fuse");
    let first = found.next().map(|finding| finding.level);
    assert!(found.next().is_none(), "said twice");
    first
}
