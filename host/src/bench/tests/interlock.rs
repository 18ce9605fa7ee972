//! Live leads, the trip and the chassis leads.

use crate::bench::testing::{Mode, Rig, at, fault, hookup, job};
use crate::bench::{Bench, ChassisLead, Device, Settings};
use crate::plan::model::{End, Side::Mating};
use loomproof_core::units::Volts;
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

fn points() -> crate::hookup::Hookup {
    hookup(
        Place::Vehicle,
        &[("X1", 3, Mating), ("X1", 6, Mating), ("X2", 1, Mating)],
    )
}

fn live(end: End, volts: f64) -> Rig {
    Rig::new(&job(), &points(), &[fault::live(end, volts)], &QUIET)
}

#[test]
fn battery_on_a_lead_trips_and_holds_the_drive_in_reset() {
    let mut rig = live(at("X1", 3), 12.0);
    assert!(rig.bench.tripped());
    assert_eq!(rig.send(Device::Drive, &[0x41, 0x0A, 0]), [0xFF; 3]);
    assert_eq!(rig.send(Device::Gate, &[0x41, 0x0A, 0]), [0xFF; 3]);
    // Nothing is driven, whatever is written.
    rig.drive(&[1], &[]);
    assert!(rig.read(1, Mode::Down) < 0.01);
    // A rearm pulse does not help while the cause is there.
    rig.bench.set_rearm(true);
    rig.bench.wait(1_000);
    rig.bench.set_rearm(false);
    assert!(rig.bench.tripped());
    // The wide survey works: both ends of the lead are live, the other is not.
    for (lead, volts) in [(0, 12.0), (1, 0.0), (2, 12.0)] {
        let seen = rig.look(lead);
        assert!(
            (seen - volts).abs() < 0.02 + 0.01 * volts,
            "lead {lead}: {seen} V"
        );
    }
}

#[test]
fn small_and_negative_voltages() {
    for (volts, trips) in [
        (3.0, false),
        (4.5, true),
        (-0.3, false),
        (-1.0, true),
        (24.0, true),
    ] {
        let mut rig = live(End::Cavity("X2".into(), 1), volts);
        assert_eq!(rig.bench.tripped(), trips, "{volts} V");
        let seen = rig.look(0);
        assert!(
            (seen - volts).abs() < 0.02 + 0.01 * volts.abs(),
            "{seen} V, not {volts} V"
        );
    }
}

#[test]
fn a_lead_that_comes_alive_lets_go_of_all_drive() {
    let mut rig = live(at("X2", 1), 12.0);
    rig.bench.switch_live(false);
    // The charge on the wire leaks away; the latch stays set without its
    // cause until it is rearmed.
    rig.bench.wait(2_000_000_000);
    assert!(rig.bench.tripped());
    rig.bench.set_rearm(true);
    assert!(!rig.bench.tripped());
    rig.bench.set_rearm(false);
    assert!(!rig.bench.tripped());
    // The expanders were reset: hardware addresses are off again.
    assert_eq!(
        rig.send(Device::Drive, &[0x41, 0x00, 0, 0, 0])[2..],
        [0xFF, 0xFF, 0]
    );
    assert_eq!(rig.send(Device::Drive, &[0x41, 0x0A, 0])[2], 0);
    rig.start();
    rig.drive(&[1], &[]);
    assert!(rig.read(1, Mode::Down) > 2.6);
    rig.bench.switch_live(true);
    assert!(rig.bench.tripped());
    assert_eq!(rig.send(Device::Drive, &[0x41, 0x00, 0]), [0xFF; 3]);
    assert!(rig.read(1, Mode::Down) < 0.01, "the drive was let go");
    assert!((rig.look(0) - 12.0).abs() < 0.15);
}

#[test]
fn a_small_voltage_comes_and_goes_without_a_trip() {
    let mut rig = live(at("X2", 1), 1.5);
    assert!((rig.look(0) - 1.5).abs() < 0.03);
    rig.bench.switch_live(false);
    assert!(rig.look(0).abs() < 0.03);
    assert!(!rig.bench.tripped());
}

fn c2(chassis: ChassisLead) -> (f64, f64) {
    let bench = Bench::with_chassis(&job(), &points(), &[], &QUIET, chassis).expect("a bench");
    let mut rig = Rig::on(bench);
    rig.select(None, Mode::Plain);
    rig.bench.wait(1_000_000);
    let still = f64::from(rig.convert()) * 3.3 / 65_536.0;
    rig.send(Device::Select, &[0x40, 0x14, 1 << 6 | 1 << 7, 0]);
    rig.bench.wait(1_000_000);
    (still, f64::from(rig.convert()) * 3.3 / 65_536.0)
}

#[test]
fn the_chassis_leads() {
    let (still, driven) = c2(ChassisLead::Joined);
    assert!(still < 0.001 && driven < 0.001, "{still} {driven}");
    let (still, driven) = c2(ChassisLead::Apart);
    assert!(still < 0.001 && driven > 3.29, "{still} {driven}");
    let (still, driven) = c2(ChassisLead::Voltage(Volts(0.8)));
    assert!(
        (still - 0.8).abs() < 0.001 && (driven - 0.8).abs() < 0.002,
        "{still} {driven}"
    );
}
