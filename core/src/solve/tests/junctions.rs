//! Diodes between other things than chassis, in steps, and with a spread.

use super::*;
use crate::units::Amperes;
use std::vec;

/// A diode between two resistors; the voltages of its ends.
fn between_resistors(junction: Junction) -> (f64, f64) {
    let (circuit, [a, b]) = ladder(junction);
    let mut work = Workspace::new(vec![0.0; room(4)]);
    let ties = [tie(a, 3.3, 725.0)];
    let island = island(&mut work, circuit.elements(), &ties, a, Corner::Most).unwrap();
    (island.volts(a).0, island.volts(b).0)
}

fn ladder(junction: Junction) -> (Circuit<4>, [NodeId; 2]) {
    let mut circuit: Circuit<4> = Circuit::new();
    let (a, b) = (circuit.node().unwrap(), circuit.node().unwrap());
    circuit.add(a, b, Part::Diode(junction)).unwrap();
    circuit.add(b, GROUND, wire(1_000.0)).unwrap();
    (circuit, [a, b])
}

const JUNCTION: Junction = Junction {
    saturation: Amperes(1e-9),
    emission: 1.8,
    spread: Volts(0.02),
};

#[test]
fn a_diode_in_the_middle_satisfies_the_shockley_equation() {
    let (va, vb) = between_resistors(JUNCTION);
    let through = (3.3 - va) / 725.0;
    assert!((through / (vb / 1_000.0) - 1.0).abs() < 1e-9);
    let wanted = 1e-9 * libm::expm1((va - vb) / (1.8 * THERMAL));
    assert!((through / wanted - 1.0).abs() < 1e-6, "{through} {wanted}");
}

#[test]
fn the_thermal_voltage_is_that_of_27_degrees() {
    // k/q = 8.617 333 3e-5 V/K (CODATA, `from memory`) times 300.15 K.
    assert!((THERMAL - 8.617_333_3e-5 * 300.15).abs() < 1e-9);
}

#[test]
fn the_spread_of_a_junction_shows_as_a_shift_of_its_voltage() {
    // A junction that needs `d` volts more has e^(−d/nVt) times the saturation current.
    let shifted = |d: f64| {
        let saturation = Amperes(1e-9 * libm::exp(-d / (1.8 * THERMAL)));
        between_resistors(Junction {
            saturation,
            ..JUNCTION
        })
        .1
    };
    let h = 1e-5;
    let wanted = (shifted(h) - shifted(-h)) / (2.0 * h) * 0.02;
    let (circuit, [a, b]) = ladder(JUNCTION);
    let mut work = Workspace::new(vec![0.0; room(4)]);
    let ties = [tie(a, 3.3, 725.0)];
    let mut island = island(&mut work, circuit.elements(), &ties, a, Corner::Most).unwrap();
    let Sensitivity { variance, .. } = island.sensitivity(&ties, b, None);
    assert!(
        (variance / (wanted * wanted) - 1.0).abs() < 1e-3,
        "{variance} {wanted}"
    );
}

#[test]
fn a_junction_is_held_back_by_steps_of_more_than_twice_its_scale() {
    let junction = Junction::SILICON;
    let scale = junction.emission * THERMAL;
    // Both beyond the critical voltage: near enough, it goes where it is wanted.
    for (wanted, held) in [(0.9, 0.85), (0.85, 0.9), (1.5, 1.5 - 1.9 * scale)] {
        assert_eq!(limit(wanted, held, &junction), wanted);
    }
    // 2.1 scales, and some volts.
    for held in [1.5 - 2.1 * scale, 0.7] {
        let wanted = held + scale * libm::log(1.0 + (1.5 - held) / scale);
        let found = limit(1.5, held, &junction);
        assert!((found / wanted - 1.0).abs() < 1e-12, "{found} {wanted}");
    }
    // Held below 0 V, it starts anew at 0 V.
    let found = limit(1.5, -0.2, &junction);
    assert!((found / (scale * libm::log(1.5 / scale)) - 1.0).abs() < 1e-12);
}
