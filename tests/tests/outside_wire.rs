//! Wire resistance against tables and worked examples that others printed.
//!
//! Sources and status as in `fixtures/reference/README.md`, "Wire". *read*:
//! seen in the source named; *ran*: computed from the formula named; *memory*:
//! not read, checked for plausibility only.

use loomproof::plan::quantity::{awg_area, size};
use loomproof_core::copper::resistance;
use loomproof_core::units::{Celsius, Metres, SquareMillimetres};

const FOOT: f64 = 0.3048;

fn per_km(area: SquareMillimetres, at: f64) -> f64 {
    resistance(Metres(1000.0), area, Celsius(at)).0
}

fn awg(number: u32) -> SquareMillimetres {
    size(&format!("{number} AWG")).expect("an AWG size")
}

/// d = 0.005 in · 92^((36−n)/39), step ratio 1.1229322: ASTM B258-02 as quoted
/// at liquisearch.com · *read*.
#[test]
fn awg_diameters_are_a_geometric_series_with_both_ends_fixed() {
    let inches = |n: f64| (awg_area(n).0 * 4.0 / std::f64::consts::PI).sqrt() / 25.4;
    assert!((inches(36.0) / 0.005 - 1.0).abs() < 1e-12);
    // 4/0, which is n = −3, is 0.46 in: that is where the 92 comes from.
    assert!((inches(-3.0) / 0.46 - 1.0).abs() < 1e-12);
    for n in -3..36 {
        let ratio = inches(f64::from(n)) / inches(f64::from(n) + 1.0);
        assert!((ratio / 1.122_932_2 - 1.0).abs() < 1e-7, "{n}: {ratio}");
    }
    for n in 0..=36 {
        assert_eq!(awg(n), awg_area(f64::from(n)));
    }
}

/// Ω/km at 20 °C: the formula (*ran*), and the table at wp.1728.org (*read*).
#[test]
fn solid_copper_is_within_a_thousandth() {
    let table = [
        (10, 3.277, 3.28),
        (12, 5.211, 5.21),
        (14, 8.285, 8.28),
        (16, 13.174, 13.17),
        (18, 20.948, 20.94),
        (20, 33.308, 33.29),
        (22, 52.962, 52.94),
        (24, 84.213, 84.20),
    ];
    let mut worst = 0.0_f64;
    for (n, formula, read) in table {
        let ours = per_km(awg(n), 20.0);
        for (what, theirs) in [("formula", formula), ("table", read)] {
            let error = (ours / theirs - 1.0).abs();
            assert!(error < 1e-3, "AWG {n}: {ours}, {what} {theirs}");
            worst = worst.max(error);
        }
    }
    println!("worst error against solid copper: {:.3} %", worst * 100.0);
}

/// Maxima at 20 °C: real wire may not have more, and a pure, solid conductor
/// of the nominal size must have less, but not half.
#[allow(clippy::approx_constant, reason = "3.14 mΩ/m is a table value")]
#[test]
fn stated_maxima_are_upper_bounds() {
    // Stranded, tin-plated, Ω/1000 ft: FAA AC 43.13-1B Chg 1, Table 11-9,
    // p. 11-23 · *read*. Not the solid formula: AWG 20 has 1216 cmil there
    // (1020 by the formula), so that its maximum lies below solid copper of
    // the formula's area. Comparable only through the area that it states.
    let solid_20 = per_km(awg(20), 20.0) * 0.3048;
    assert!(9.88 < solid_20, "AWG 20: 9.88 against {solid_20} Ω/1000 ft");
    // 1 cmil = π/4 · (0.001 in)².
    let stated = SquareMillimetres(1216.0 * std::f64::consts::PI / 4.0 * (0.0254_f64).powi(2));
    let ours = per_km(stated, 20.0) * FOOT;
    assert!(
        ours < 9.88 && ours > 9.88 * 0.8,
        "1216 cmil: {ours} Ω/1000 ft"
    );
    // The whole table against the formula: the same order of size, falling
    // monotonically, never 25 % apart.
    let faa = [
        (24, 28.40),
        (22, 16.20),
        (20, 9.88),
        (18, 6.23),
        (16, 4.81),
        (14, 3.06),
        (12, 2.02),
        (10, 1.26),
    ];
    for (n, most) in faa {
        let ours = per_km(awg(n), 20.0) * FOOT;
        assert!(
            (ours / most - 1.0).abs() < 0.25,
            "AWG {n}: {ours}, most {most}"
        );
    }
    // Class 5 plain, mΩ/m = Ω/km: IEC 60228, a cable-engineering page quoting
    // it · *read*. ISO 6722-1 likewise · *memory*, plausibility only.
    let class_5 = [
        (0.5, 39.0, 37.1),
        (0.75, 26.0, 24.7),
        (1.0, 19.5, 18.5),
        (1.5, 13.3, 12.7),
        (2.5, 7.98, 7.60),
        (4.0, 4.95, 4.71),
        (6.0, 3.30, 3.14),
    ];
    for (area, iec, iso) in class_5 {
        let ours = per_km(SquareMillimetres(area), 20.0);
        assert!(
            ours < iec && ours > 0.85 * iec,
            "{area} mm²: {ours}, most {iec}"
        );
        assert!(ours < iso * 1.05, "{area} mm²: {ours}, most (memory) {iso}");
    }
}

/// L2 = 254.5·L1/(234.5+T2), FAA AC 43.13-1B 11-66, p. 11-22 · *read*: the
/// lengths at equal drop go as the inverse resistance; at 50 °C the factor is
/// 1.11788, from α 1.11790.
#[test]
fn temperature_factor() {
    let area = SquareMillimetres(1.0);
    for t in [-40.0, 0.0, 20.0, 50.0, 85.0, 105.0] {
        let ours = per_km(area, t) / per_km(area, 20.0);
        let theirs = (234.5 + t) / 254.5;
        assert!(
            (ours / theirs - 1.0).abs() < 2e-4,
            "{t} °C: {ours} against {theirs}"
        );
    }
    let at_50 = per_km(area, 50.0) / per_km(area, 20.0);
    assert!(
        (at_50 - 1.11788).abs() < 5e-5 && (at_50 - 1.11790).abs() < 5e-6,
        "{at_50}"
    );
}

/// AWG 20 has 10.4 Ω/1000 ft at 25 °C, so 2000 ft have 20.8 Ω: NEETS Module 4,
/// p. 1-9 · *read*. The table there has three digits.
#[test]
fn length_and_temperature_together() {
    let ours = resistance(Metres(2000.0 * FOOT), awg(20), Celsius(25.0)).0;
    assert!((ours / 20.8 - 1.0).abs() < 5e-3, "{ours}");
}

/// Voltage drops worked out in FAA AC 43.13-1B, Table 11-7 (p. 11-22) and
/// Table 11-8 · *read*: length in ft, ohms per foot by that document's own
/// Table 11-9, 20 A. They check the sum (length × resistance × current), with
/// the resistance per foot as the document's tables state it.
#[test]
fn voltage_drop_examples() {
    const AMPERES: f64 = 20.0;
    // A conductor with this many ohms per 1000 ft at 20 °C.
    let of = |ohms_per_kft: f64| {
        SquareMillimetres(loomproof_core::copper::RESISTIVITY * 1000.0 * FOOT / ohms_per_kft)
    };
    let drop = |feet: f64, area| resistance(Metres(feet * FOOT), area, Celsius(20.0)).0 * AMPERES;
    // Feet, AWG's maximum by Table 11-9, volts printed.
    let examples = [
        (88.0, 2.02, 3.60),
        (100.0, 3.06, 6.12),
        (39.0, 1.26, 0.98),
        (156.0, 1.26, 3.93),
        (273.0, 1.26, 6.88),
    ];
    let mut worst = 0.0_f64;
    for (feet, ohms, printed) in examples {
        let ours = drop(feet, of(ohms));
        let error = (ours / printed - 1.0).abs();
        assert!(
            error < 0.015,
            "{feet} ft of {ohms} Ω/1000 ft: {ours} V, printed {printed} V"
        );
        worst = worst.max(error);
    }
    // Nos. 6 and 4 are not in the part of Table 11-9 that was read: their
    // ohms per foot follow from the example and must lie near solid copper
    // (within the 25 % that stranded sizes of that table may differ).
    for (feet, n, printed) in [(107.0, 6, 0.942), (90.0, 4, 0.504)] {
        let ours = drop(feet, awg(n));
        assert!(
            (ours / printed - 1.0).abs() < 0.25,
            "AWG {n}: {ours} V, printed {printed} V"
        );
    }
    println!(
        "worst error against the drop examples: {:.2} %",
        worst * 100.0
    );
}
