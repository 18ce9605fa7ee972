//! The sums of the document, in its order.

use crate::budget::{
    Actual, Budget, LEADS, Method, PROTECTION_TOLERANCE, SETTLE_16_BIT, even, parallel, reported,
    root, root_sum,
};
use crate::document::bill;
use loomproof_core::instrument::{
    BUS, LEAKAGE, NOISE, OFFSET, PROTECTION, PULL, REFERENCE, SOURCE, SOURCE_SPREAD, WIDE_LEG,
    WIDE_SHIFT,
};
use loomproof_core::units::{Farads, Micros};
use loomproof_core::wire::Place;
use loomproof_firmware::guard;
use loomproof_firmware::interlock::{HELD, RETURNS};

/// The document's limit for a result.
#[derive(Clone, Copy)]
pub enum Limit {
    None,
    Most(f64),
    Least(f64),
}
use self::Limit::{Least, Most, None as Free};

/// Every `S` row: number, result in the printed unit's base, limit.
#[allow(clippy::too_many_lines, reason = "a list")]
pub fn sums() -> Vec<(u32, f64, Limit)> {
    let supply = REFERENCE.value();
    let (source, protection, pull, leg) = (
        SOURCE.value(),
        PROTECTION.value(),
        PULL.value(),
        WIDE_LEG.value(),
    );
    let bus = BUS.value();
    let ratio = (protection + leg) / leg;
    let current = supply / (2.0 * source);
    let step = supply / 65536.0;
    let one = supply / 680.0;
    let pull_current = supply / (protection + pull);
    let four = Place::Bench.max_sources() as f64;
    let at_most = |place: Place| {
        (supply * 1.01 / (680.0 * 0.995)) * place.max_sources() as f64 + pull_current
    };
    let zener = 3.6;
    let deselected = |volts: f64| (volts - zener) / protection;
    let diode_50 = 5e-9 * (80.0f64 / 5.0).powf(25.0 / 125.0);
    let switch_50 = 25e-9 / 2f64.powf(7.5);
    let wide_tau = parallel(protection, leg) * bus;
    let wide_settle = wide_tau * SETTLE_16_BIT;
    let (select, convert, read) = (32.0 / 10e6, 8.8e-6, 16.0 / 10e6);
    let each = select + wide_settle + convert + read;
    let overlapped = convert + read;
    let wide_sigma = ratio * root_sum(&[NOISE.value(), OFFSET.value()]);
    let wide_gain = PROTECTION_TOLERANCE + 0.001;
    let wide_error = |volts: f64| 2.0 * wide_sigma + LEAKAGE * protection + volts * wide_gain;
    let move_error = 2.0 * 2f64.sqrt() * ratio * NOISE.value();
    let kt = 1.380_649e-23 * 300.0;
    let noise_parts = [
        5.0 / 2.0 / 2f64.sqrt() / 10f64.powf(93.0 / 20.0),
        (kt / bus).sqrt(),
        10e-9 * (1e6f64 * std::f64::consts::FRAC_PI_2).sqrt(),
        step / 12f64.sqrt(),
    ];
    let offset_parts = [
        60e-6 / 8.0,
        2e-6 * 10.0,
        even(2e-9 * protection),
        even(step),
    ];
    let low = Budget::of(Method::TwoDrives, 0.3);
    let net_leak = 63.0 * LEAKAGE;
    let net_error = |r: f64| {
        let shift = reported(
            Method::PullDown,
            r,
            Actual {
                leak: net_leak,
                ..Actual::default()
            },
        );
        (shift - r).abs() / r
    };
    let micros = |Micros(span): Micros| f64::from(span) * 1e-6;
    let nano = Farads(1e-9);
    let certain = |leads| micros(guard::shortest(leads, nano, 10_000));
    let (guard_pull, to_pin) = (guard::PULL.value(), guard::TO_PIN.value());
    let guarded = supply * 1.01 / (guard_pull * (1.0 - guard::PULL_TOLERANCE));
    let stiff = guard_pull * (1.0 - guard::PULL_TOLERANCE) + to_pin;
    let weak = guard_pull * (1.0 + guard::PULL_TOLERANCE) + to_pin;
    let pin_of = |held: usize| {
        let net = source / (source + stiff / held as f64);
        supply * (net + (1.0 - net) * to_pin / stiff)
    };
    let watched = |place: Place| place.max_watched() as f64 * guarded;
    let (backlight, light) = ((5.0 - 3.0) / 220.0, (3.3 - 2.0) / 330.0);
    vec![
        // Guarding joints.
        (100, guarded, Free),
        (101, watched(Place::Vehicle), Most(5e-3)),
        (102, watched(Place::Bench), Most(20e-3)),
        (103, pin_of(guard::HELD_BY_ONE), Most(0.2 * supply)),
        (
            104,
            supply * to_pin / (guard_pull + to_pin),
            Most(0.2 * supply),
        ),
        (105, guard::SURELY_OPEN.value(), Free),
        (106, guard::SURELY_CLOSED.value(), Free),
        (107, weak * (1e-9 + guard::OWN.value()) * 5f64.ln(), Free),
        (
            108,
            48.0 / 10e6 * (0.8 / (protection + leg)) * (weak / 0.2),
            Free,
        ),
        (109, 176.0 / 10e6, Most(micros(guard::round(16, 10_000)))),
        (110, certain(16), Most(100e-6)),
        (111, certain(32), Free),
        (112, certain(64), Free),
        (113, certain(128), Free),
        (114, micros(guard::shortest_alone(10_000)), Most(100e-6)),
        (115, 5e-6 * 35.0, Least(OFFSET.value())),
        (116, 0.1e-6 * 35.0, Most(OFFSET.value() / 10.0)),
        // Panel.
        (117, backlight, Free),
        (118, light, Most(4e-3)),
        (119, backlight + 2e-3 + 10e-3 + light, Most(30e-3)),
        // Drive.
        (1, one, Most(4.85e-3 + 0.005e-3)),
        (2, at_most(Place::Vehicle), Most(5e-3)),
        (3, at_most(Place::Bench), Most(20e-3)),
        (4, 32.0 * one, Free),
        (5, (36.0 - 3.9) / 680.0, Free),
        (6, ((36.0f64 - 3.9) / 680.0).powi(2) * 680.0, Free),
        (7, four * one, Most(20e-3)),
        // Disconnect.
        (10, 9.0 * 1.05 + 0.7, Most(10.5)),
        (11, 9.0 * 0.95 - 3.0, Least(supply)),
        (12, (9.0 * 1.05 + 0.7 - supply - 0.6) / 680.0, Most(20e-3)),
        (13, (9.0 * 1.05 + 0.7) / source, Most(25e-3)),
        (14, 36.0 + 9.0 * 1.05, Most(85.0)),
        (79, 16.0 * (9.0 * 1.05 + 0.7) / source, Free),
        // Multiplexer.
        (20, 5.0 / 41.0 * ratio, Free),
        (21, 37.0 * 0.98, Least(36.0)),
        (22, 37.0 * 1.02 + 5.0 * 1.05, Most(44.0)),
        (23, 36.0 + 37.0 * 1.02, Most(85.0)),
        (24, -3.0 - 0.6, Least(-5.0 * 0.95)),
        (25, deselected(16.0), Free),
        (26, LEADS * deselected(36.0), Most(0.1)),
        (27, deselected(36.0).powi(2) * protection, Most(0.1)),
        (28, (36.0 - 4.0) / protection, Free),
        (29, 40.0f64.powi(2) / (protection + leg), Most(0.1)),
        (30, 36.0 / ratio + WIDE_SHIFT.value(), Most(supply)),
        (31, -16.0 / ratio + WIDE_SHIFT.value(), Least(0.0)),
        (32, WIDE_SHIFT.value() * ratio, Least(36.0)),
        (33, 37.0 / 41.0 * ratio, Least(0.2)),
        (34, 40.0 + 16.0, Most(75.0)),
        (
            35,
            4.0 * 28e-12 + 8e-12 + 3.0 * 3e-12 + 10e-12 + 2.0 * 2e-12 + 7e-12,
            Most(bus),
        ),
        (36, (40.0 - 3.9) / 100e3, Most(10e-3)),
        (37, ((12.0 - 0.5 - 3.5) + (12.0 - 0.5 - 3.9)) / 100e3, Free),
        (38, 2.0 * diode_50 * protection, Free),
        // Interlock.
        (40, 1e-6 * 100e3, Free),
        (41, 3.5 + 1e-6 * 100e3 + 0.5, Least(4.0)),
        (42, 3.0 * 100e3 * 47e-12, Free),
        (
            43,
            1e-6 + 3.0 * 100e3 * 47e-12 + 1e-6 + 0.1e-6 + 1e-6 + 1e-6,
            Most(50e-6),
        ),
        (44, wide_settle, Free),
        (45, each, Free),
        (46, LEADS * each, Most(1e-3)),
        (47, (1e-3 - LEADS * each) / LEADS, Free),
        (48, LEADS * overlapped, Most(1e-3)),
        (49, (1e-3 - LEADS * overlapped) / LEADS, Least(3e-6)),
        (50, ratio * step, Free),
        (51, wide_sigma, Free),
        (52, wide_error(0.2), Most(0.02)),
        (53, move_error, Most(0.01)),
        (54, wide_error(12.0), Free),
        (55, WIDE_SHIFT.value() * 0.001 * ratio, Free),
        (56, (protection + leg) * (12.0 / 0.2 - 1.0), Free),
        (
            57,
            f64::from(HELD.0) * 1e-6 / ((protection + leg) * (0.5_f64 / 0.2).ln()),
            Free,
        ),
        (58, LEAKAGE * f64::from(RETURNS.0) * 1e-6 / 100e-12, Free),
        // Settling to half a step of 16 bits.
        (60, SETTLE_16_BIT, Free),
        (61, protection * bus * SETTLE_16_BIT, Free),
        (62, parallel(protection, pull) * bus * SETTLE_16_BIT, Free),
        (63, source * 800e-12 * SETTLE_16_BIT, Free),
        (64, (protection + pull) * 800e-12 * SETTLE_16_BIT, Free),
        (65, source * 100e-9 * SETTLE_16_BIT, Free),
        (66, (protection + pull) * 100e-9 * SETTLE_16_BIT, Free),
        (67, 1e6 * 100e-9 * 1000f64.ln(), Free),
        (68, 1e6 * 100e-9 * SETTLE_16_BIT, Free),
        // Constants.
        (70, 680.0 + 35.0 + 10.0, Free),
        (
            71,
            root_sum(&[even(0.005 * 680.0), 15.0 / 3.0, 1.0]) / source,
            Most(SOURCE_SPREAD),
        ),
        (72, root_sum(&noise_parts), Most(NOISE.value())),
        (73, root_sum(&offset_parts), Most(OFFSET.value())),
        (74, diode_50, Most(LEAKAGE)),
        (75, 2.0 * diode_50 + 2.0 * switch_50, Least(LEAKAGE)),
        (76, LEAKAGE * pull, Least(10.0 * NOISE.value())),
        (77, 0.6 / 8e-3, Least(50.0)),
        (78, 0.7 / 3e-3, Least(50.0)),
        // Resolution and span.
        (80, 0.1 * supply / (2.0 * 680.0), Free),
        (81, current, Free),
        (82, 0.1 * current, Free),
        (83, step / current, Free),
        (84, low.sigma(), Most(0.3 / 4.0)),
        (
            85,
            root(0.05, 5.0, |r| {
                r - 4.0 * Budget::of(Method::TwoDrives, r).sigma()
            }),
            Most(0.3),
        ),
        (86, root(1e3, 3e6, |r| net_error(r) - 0.1), Least(300e3)),
        (
            87,
            root(1e3, 1e5, |r| {
                Budget::of(Method::TwoDrives, r).uncertainty()
                    - Budget::of(Method::PullDown, r).uncertainty()
            }),
            Free,
        ),
        (88, LEAKAGE * 100e3 / (supply / (2.0 * 680.0)), Free),
        (89, 1e-6 * 1e6 / supply, Free),
        // What it cannot do.
        (90, 2.5e-3 * current, Most(step)),
        (91, low.clips / 2.5e-3, Least(10.0)),
        (92, Budget::best(2.0).uncertainty(), Most(0.2)),
        (93, Budget::best(85.0).uncertainty() / 8.5, Least(0.1)),
        (94, 20.0 * SOURCE_SPREAD, Free),
        // Bill of materials.
        (
            99,
            bill()
                .iter()
                .map(|(_, number, price, _)| number * price)
                .sum(),
            Free,
        ),
    ]
}
