//! Most resistance of metric sizes at 20 °C: class 5 plain of IEC 60228, a
//! cable-engineering page quoting it (*read*); ISO 6722-1 (*memory*).

use loomproof_core::units::SquareMillimetres;

use super::check::{Check, Limit, Ours, Status};
use super::ours::{per_km, reviewed_lead};

/// mm², most mΩ/m by IEC 60228, most mΩ/m by ISO 6722-1.
#[allow(clippy::approx_constant, reason = "3.14 mΩ/m is a table value")]
const MOST: [(f64, f64, f64); 7] = [
    (0.5, 39.0, 37.1),
    (0.75, 26.0, 24.7),
    (1.0, 19.5, 18.5),
    (1.5, 13.3, 12.7),
    (2.5, 7.98, 7.60),
    (4.0, 4.95, 4.71),
    (6.0, 3.30, 3.14),
];

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    for (area, iec, iso) in MOST {
        // Ω/km is mΩ/m.
        let direct: Ours = Box::new(move || per_km(SquareMillimetres(area), 20.0).into());
        let in_a_plan: Ours = Box::new(move || {
            let lead = reviewed_lead(&format!("{area} mm2"), 10.0, "100 mA", 20.0);
            (lead.ohms * 100.0).into()
        });
        for (by, ours) in [("", direct), (", a lead in the review", in_a_plan)] {
            checks.push(Check {
                what: format!("{area} mm², class 5 plain, most mΩ/m{by}"),
                source: "IEC 60228, a cable-engineering page quoting it",
                status: Status::Read,
                theirs: iec.into(),
                // Copper of the nominal size.
                limit: Limit::AtMost(0.85),
                ours,
                test: "class_5",
            });
        }
        checks.push(Check {
            what: format!("{area} mm², most mΩ/m"),
            source: "ISO 6722-1",
            status: Status::Memory,
            theirs: iso.into(),
            limit: Limit::Share(0.1),
            ours: Box::new(move || per_km(SquareMillimetres(area), 20.0).into()),
            test: "vehicle_cable",
        });
    }
    checks
}

crate::checked!(class_5, vehicle_cable);
