//! Time, settling, determinism, noise and speed.

use crate::bench::hal::Shared;
use crate::bench::testing::{Mode, Rig, at, conductor, empty_job, fault, hookup, job};
use crate::bench::{Bench, Device, Settings};
use crate::fault::Fault;
use crate::plan::model::{Job, Load, Side::Mating};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::{Operation, SpiDevice};
use loomproof_core::units::Ohms;
use loomproof_core::wire::Place;

const QUIET: Settings = Settings {
    seed: 1,
    leads: 16,
    spread: false,
    noise: false,
    spi_hz: 8_000_000,
    defects: Vec::new(),
    code: Vec::new(),
};

fn all_points() -> crate::hookup::Hookup {
    let points: Vec<(&str, u16, _)> = (1..=7).map(|cavity| ("X1", cavity, Mating)).collect();
    hookup(
        Place::Vehicle,
        &[
            &points[..],
            &[("X2", 1, Mating), ("X2", 2, Mating), ("FB", 2, Mating)],
        ]
        .concat(),
    )
}

#[test]
fn the_clock_counts_bits_and_waits() {
    let mut bench = Bench::new(
        &job(),
        &all_points(),
        &[],
        &Settings {
            spi_hz: 3_000_000,
            ..QUIET
        },
    )
    .expect("a bench");
    for _ in 0..3 {
        bench.transfer(Device::Select, &mut [0x40]);
    }
    assert_eq!(bench.now_ns(), 8_000);
    bench.wait(500);
    assert_eq!(bench.now_ns(), 8_500);
    let counters = bench.counters();
    assert_eq!(
        (counters.spi_bits, counters.transfers, counters.waited_ns),
        (24, 3, 500)
    );
}

#[test]
fn a_converter_read_too_early_is_counted() {
    let mut rig = Rig::new(&job(), &all_points(), &[], &QUIET);
    rig.drive(&[2], &[]);
    let full = rig.read(2, Mode::Plain);
    assert!(full > 3.29);
    assert_eq!(rig.bench.counters().early_reads, 0);
    rig.bench.wait(8_800);
    rig.send(Device::Adc, &[0, 0]);
    rig.bench.wait(8_799);
    rig.send(Device::Adc, &[0, 0]);
    assert_eq!(rig.bench.counters().early_reads, 1);
}

/// A conductor of 100 kΩ and 10 nF on lead 0.
fn slow() -> Job {
    let load = Load::Range {
        least: Ohms(100_000.0),
        most: Ohms(100_000.0),
    };
    Job {
        connectors: vec![crate::bench::testing::connector("FB", 4, false)],
        conductors: vec![conductor("K1", "FB", 1, load)],
        ..empty_job()
    }
}

#[test]
fn a_module_input_settles_with_its_time_constant() {
    let mut rig = Rig::new(
        &slow(),
        &hookup(Place::Vehicle, &[("FB", 1, Mating)]),
        &[],
        &QUIET,
    );
    // Discharged, joined to the bus, then driven: 725 Ω · 10.15 nF = 7.4 µs.
    rig.select(Some(0), Mode::Plain);
    rig.bench.wait(10_000_000);
    rig.drive(&[0], &[]);
    rig.bench.wait(1_000_000);
    let settled = f64::from(rig.convert());
    // Released it falls through 100 kΩ: 100 kΩ · 10.3 nF (with bus and probe lead), about 1 ms.
    rig.drive(&[], &[]);
    let start = f64::from(rig.convert());
    assert!((start / settled - 1.0).abs() < 0.15, "{start} of {settled}");
    let begun = rig.bench.now_ns();
    let first = f64::from(rig.convert());
    let between = rig.bench.now_ns() - begun;
    rig.bench.wait(1_000_000 - between);
    let second = f64::from(rig.convert());
    let tau = 1e-3 / (first / second).ln();
    assert!((tau / 1.03e-3 - 1.0).abs() < 0.02, "{tau} s");
    rig.bench.wait(20_000_000);
    assert!(rig.convert() < 5);
}

#[test]
fn the_bus_keeps_and_shares_its_charge() {
    let mut rig = Rig::new(&job(), &all_points(), &[], &QUIET);
    rig.drive(&[2], &[]);
    assert!(rig.read(2, Mode::Plain) > 3.29);
    rig.drive(&[], &[]);
    // Lead 12 is on nothing: 100 pF, at 0 V. The bus's 150 pF at 3.3 V shared
    // with it give 1.98 V, at once; then it leaks away: 250 pF, twice 1 GΩ.
    rig.select(Some(12), Mode::Plain);
    rig.bench.wait(30_000);
    let shared = f64::from(rig.convert()) * 3.3 / 65_536.0;
    assert!((shared - 1.98).abs() < 0.02, "{shared}");
    rig.bench.wait(250_000_000);
    let later = f64::from(rig.convert()) * 3.3 / 65_536.0;
    let expected = (-0.250 / 0.125_f64).exp();
    assert!(
        (later / shared / expected - 1.0).abs() < 0.03,
        "{later} of {shared}"
    );
    // Both pulls are followed by a lead that floats, and by none that is held.
    assert!(rig.read(12, Mode::Down) < 0.01 && rig.read(12, Mode::Up) > 3.28);
    assert!(rig.read(4, Mode::Down) < 0.01 && rig.read(4, Mode::Up) < 0.61);
}

#[test]
fn the_leg_of_the_wide_divider_takes_the_charge_of_the_bus() {
    let mut rig = Rig::new(&job(), &all_points(), &[], &QUIET);
    rig.drive(&[2], &[]);
    assert!(rig.read(2, Mode::Plain) > 3.29);
    rig.drive(&[], &[]);
    // Lead 12 is on nothing: 100 pF. Of the bus's 150 pF at 3.3 V one part in 23 goes
    // through its 22 kΩ, the rest through the leg's 1 kΩ: 86 mV at most, where
    // without the leg it is 1.98 V. Six microseconds later 7 % of it are left.
    rig.select(Some(12), Mode::Wide);
    let seen = (f64::from(rig.convert()) * 3.3 / 65_536.0 - 1.65) * 23.0;
    assert!((-0.005..0.02).contains(&seen), "{seen} V");
}

#[test]
fn the_bus_takes_its_own_time() {
    let mut rig = Rig::new(&job(), &all_points(), &[], &QUIET);
    rig.drive(&[2], &[]);
    rig.read(4, Mode::Plain);
    rig.select(Some(2), Mode::Plain);
    // The second select transfer (32 bits, 4 µs) and this conversion's 2 µs:
    // 1 − exp(−6 µs / 22 kΩ·150 pF) of the way.
    let early = f64::from(rig.convert()) / 65_536.0;
    let expected = 1.0 - (-6.0 / 3.3_f64).exp();
    assert!((early - expected).abs() < 0.02, "{early}, not {expected}");
    rig.bench.wait(50_000);
    assert!(rig.convert() > 65_400);
}

#[test]
fn several_leads_on_the_bus_are_joined() {
    let mut rig = Rig::new(&job(), &all_points(), &[], &QUIET);
    rig.drive(&[2], &[]);
    // Leads 2 (driven) and 10 (nothing) through two protection resistors; then
    // lead 10 driven low: the bus sits half-way.
    rig.drive(&[2], &[10]);
    rig.send(Device::Select, &[0x40, 0x14, 2, 0b11]);
    rig.bench.wait(1_000_000);
    let half = f64::from(rig.convert()) / 65_536.0;
    assert!((half - 0.5).abs() < 0.001, "{half}");
}

fn session(settings: &Settings, faults: &[Fault]) -> (Vec<u16>, u64) {
    let mut rig = Rig::new(&job(), &all_points(), faults, settings);
    rig.settle_ns = 50_000;
    let mut codes = Vec::new();
    for driven in 0..10 {
        rig.drive(&[driven], &[]);
        for lead in 0..10 {
            rig.read(lead, Mode::Down);
            codes.extend((0..4).map(|_| rig.convert()));
        }
    }
    (codes, rig.bench.now_ns())
}

#[test]
fn same_seed_same_bytes() {
    let settings = Settings {
        seed: 5,
        leads: 16,
        ..Settings::default()
    };
    let one = session(&settings, &[]);
    assert_eq!(one, session(&settings, &[]));
    assert_ne!(
        one.0,
        session(
            &Settings {
                seed: 6,
                ..settings
            },
            &[]
        )
        .0
    );
}

#[test]
fn noise_and_tolerance_are_of_the_stated_size() {
    let mut rig = Rig::new(
        &job(),
        &all_points(),
        &[],
        &Settings {
            leads: 16,
            ..Settings::default()
        },
    );
    rig.drive(&[0], &[1]);
    rig.read(1, Mode::Plain);
    let codes: Vec<f64> = (0..2_000).map(|_| f64::from(rig.convert())).collect();
    let mean = codes.iter().sum::<f64>() / codes.len() as f64;
    let deviation =
        (codes.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / codes.len() as f64).sqrt();
    // 50 µV and a step's 1/√12: 1.03 steps.
    assert!((0.9..1.2).contains(&deviation), "{deviation} steps");
    // Low side of 725 + 85.3 + 725 Ω within the parts' tolerances.
    let volts = mean * 3.3 / 65_536.0;
    assert!(
        (volts / (3.3 * 725.0 / 1_535.3) - 1.0).abs() < 0.03,
        "{volts}"
    );
    let means: Vec<u64> = (0..20)
        .map(|seed| {
            let mut rig = Rig::new(&job(), &all_points(), &[], &Settings { seed, ..QUIET });
            rig.drive(&[0], &[1]);
            rig.read(1, Mode::Plain).to_bits()
        })
        .collect();
    assert!(
        means.iter().all(|mean| *mean == means[0]),
        "without spread all seeds are alike"
    );
}

#[test]
fn a_fault_does_not_change_the_other_parts() {
    let settings = Settings {
        noise: false,
        leads: 16,
        ..Settings::default()
    };
    let read = |faults: &[Fault]| {
        let mut rig = Rig::new(&job(), &all_points(), faults, &settings);
        rig.drive(&[2], &[7]);
        rig.read(7, Mode::Plain).to_bits()
    };
    assert_eq!(read(&[]), read(&[fault::unseated("X1", 4)]));
    assert_ne!(read(&[]), read(&[fault::unseated("X1", 3)]));
}

#[test]
fn through_embedded_hal() {
    let live = [fault::live(at("X1", 6), 12.0)];
    let shared = Shared::new(Bench::new(&job(), &all_points(), &live, &QUIET).expect("a bench"));
    assert_eq!(shared.trip().is_high(), Ok(true));
    assert_eq!(shared.rearm().set_high(), Ok(()));
    assert_eq!(shared.trip().is_low(), Ok(false));
    let mut select = shared.spi(Device::Select);
    select
        .write(&[0x40, 0x14, 0x21, 0x34])
        .expect("never fails");
    let (mut one, mut two) = ([0; 1], [0; 1]);
    let mut operations = [
        Operation::Write(&[0x41, 0x14]),
        Operation::DelayNs(700),
        Operation::Read(&mut one),
        Operation::Transfer(&mut two, &[0, 0, 0]),
    ];
    let before = shared.now();
    select.transaction(&mut operations).expect("never fails");
    assert_eq!((one, two), ([0x21], [0x34]));
    assert_eq!(shared.now() - before, 700 + 6 * 1_000);
    shared.delay().delay_ms(2);
    assert_eq!(shared.now() - before, 700 + 6_000 + 2_000_000);
}

/// 40 leads over one splice: the largest island a plan gives, all clipped.
fn star() -> (Job, crate::hookup::Hookup) {
    use crate::bench::testing::{connector, lead};
    use crate::plan::model::{End, Splice};
    let splice = || End::Splice("S1".into());
    let job = Job {
        connectors: vec![connector("X1", 64, true)],
        leads: (1..=40)
            .map(|n| lead(&format!("W{n}"), at("X1", n), splice()))
            .collect(),
        splices: vec![Splice {
            name: "S1".into(),
            place: None,
        }],
        ..empty_job()
    };
    let points: Vec<_> = (1..=64).map(|cavity| ("X1", cavity, Mating)).collect();
    (job, hookup(Place::Bench, &points))
}

#[test]
fn one_large_island_is_fast_too() {
    let (job, hookup) = star();
    let begun = std::time::Instant::now();
    let mut rig = Rig::new(&job, &hookup, &[], &Settings::default());
    let built = begun.elapsed();
    for driven in 0..40 {
        rig.drive(&[driven], &[(driven + 1) % 40]);
        for lead in 0..40 {
            rig.read(lead, Mode::Plain);
        }
    }
    let took = begun.elapsed();
    println!("star of 40: built in {built:?}, 1600 distinct readings in all {took:?}");
    assert_eq!(rig.bench.trouble(), None);
    assert!(took.as_millis() < 3_000, "{took:?}");
}

#[test]
fn a_run_of_3000_conversions_is_fast() {
    let begun = std::time::Instant::now();
    let mut rig = Rig::new(&job(), &all_points(), &[], &Settings::default());
    let mut conversions = 0;
    while conversions < 3_000 {
        for driven in 0..10 {
            rig.drive(&[driven], &[(driven + 1) % 10]);
            for lead in 0..10 {
                rig.read(
                    lead,
                    if conversions % 2 == 0 {
                        Mode::Plain
                    } else {
                        Mode::Down
                    },
                );
                for _ in 0..3 {
                    rig.convert();
                }
                conversions += 4;
            }
        }
    }
    let took = begun.elapsed();
    let counters = rig.bench.counters();
    println!(
        "{conversions} conversions, {} transfers: {took:?}",
        counters.transfers
    );
    assert_eq!(rig.bench.trouble(), None);
    // Ten times what it takes: other work may share the machine.
    assert!(took.as_millis() < 1_500, "{took:?}");
}
