//! Shockley's law itself: milliohms behind a blocked diode, which no pivoting
//! solver can hold in double precision. Theirs is the voltage where two
//! currents cancel, found by bisection (*ran*).

use loomproof_core::circuit::Junction;
use loomproof_core::solve::{DIODE_SHUNT, THERMAL};
use loomproof_core::units::{Ohms, Volts};

use super::check::{Check, Limit, Status};
use crate::solvers::{Device, Net};

/// 3.3 V behind 725 Ω, a diode backwards, ten joints of 1 mΩ, 100 MΩ to chassis.
fn chain() -> Net {
    let mut devices = vec![
        Device::Source(1, Volts(3.3), Ohms(725.0)),
        Device::Diode(2, 1, Junction::SILICON),
        Device::Resistor(12, 0, Ohms(1e8)),
    ];
    devices.extend((2..12).map(|n| Device::Resistor(n, n + 1, Ohms(1e-3))));
    Net { nodes: 12, devices }
}

/// The chain is one node at v: I(v − 3.3 V) leaves it, v/100 MΩ leaves it.
fn by_bisection() -> f64 {
    let junction = Junction::SILICON;
    let slope = junction.emission * THERMAL;
    let left = |v: f64| {
        let across = v - (3.3 - v / 1e8 * 725.0);
        junction.saturation.0 * ((across / slope).exp() - 1.0) + DIODE_SHUNT * across + v / 1e8
    };
    let (mut low, mut high) = (0.0, 3.3);
    for _ in 0..200 {
        let v = f64::midpoint(low, high);
        if left(v) > 0.0 {
            high = v;
        } else {
            low = v;
        }
    }
    low
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    vec![Check {
        what: "ten joints of 1 mΩ behind a blocked diode, 100 MΩ to chassis, V (core)".to_owned(),
        source: "Shockley's law, root by bisection",
        status: Status::Ran,
        theirs: by_bisection().into(),
        limit: Limit::Share(1e-6),
        ours: Box::new(|| chain().core().get(11).copied().unwrap_or(f64::NAN).into()),
        test: "milliohms_behind_a_blocked_diode",
    }]
}

crate::checked!(milliohms_behind_a_blocked_diode);
