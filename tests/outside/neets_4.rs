//! NEETS Module 4, p. 1-9 (*read*): AWG 20 has 10.4 Ω/1000 ft at 25 °C, so 2000 ft
//! have 20.8 Ω. Its table has three digits.

use loomproof_core::copper::resistance;
use loomproof_core::units::{Celsius, Metres};

use super::check::{Check, Limit, Ours, Status};
use super::ours::{FOOT, awg, reviewed_lead};

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    for (feet, ohms) in [(1000.0, 10.4), (2000.0, 20.8)] {
        let metres = feet * FOOT;
        let direct: Ours =
            Box::new(move || resistance(Metres(metres), awg(20), Celsius(25.0)).0.into());
        let in_a_plan: Ours =
            Box::new(move || reviewed_lead("20 AWG", metres, "10 mA", 25.0).ohms.into());
        for (by, ours) in [("", direct), (", a lead in the review", in_a_plan)] {
            checks.push(Check {
                what: format!("{feet} ft of AWG 20 at 25 °C, Ω{by}"),
                source: "NEETS Module 4, p. 1-9",
                status: Status::Read,
                theirs: ohms.into(),
                limit: Limit::Share(5e-3),
                ours,
                test: "length_and_temperature",
            });
        }
    }
    checks
}

crate::checked!(length_and_temperature);
