//! No unknown resistance is missed: what is found explains the readings at least as well as
//! the ohms that were put in.

use loomproof::bench::Settings;
use loomproof::diagnosis::edits::Changes;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::search::Space;
use loomproof::diagnosis::space::Catalogue;
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::ringout::Outcome;
use loomproof_core::units::Ohms;
use loomproof_tests::campaign::site::{Loaded, Site};

/// Ohms put in: five a decade, from what shows to what is nearly open.
fn ohms() -> impl Iterator<Item = f64> {
    (0..26).map(|step| 10_f64.powf(f64::from(step) / 5.0))
}

/// What rounding to three digits and the end of the narrowing may cost.
const ROUNDING: f64 = 1.0;

fn load(name: &str) -> Loaded {
    Site::of_name(name).unwrap().load().unwrap()
}

/// Puts faults in and holds what is found of just these against what was put in.
fn nothing_is_missed(site: &Loaded, faults: &[Fault], seed: u64) {
    let bench = Settings {
        seed,
        leads: site.probe_leads,
        ..Settings::default()
    };
    let (_, outcome) = site.scan(faults, &bench).unwrap();
    let Outcome::Complete(taken) = outcome else {
        panic!("{faults:?} was refused");
    };
    let evidence = Evidence::new(&site.model, &taken).unwrap();
    let models: Vec<_> = evidence.models().collect();
    let mut all = Changes::default();
    for fault in faults {
        // One round, so that there is one way.
        let ways = Changes::of_fault(fault, &models);
        let [(_, changes)] = ways.as_slice() else {
            panic!("{fault} shows in {} ways", ways.len());
        };
        all.extend(changes);
    }
    let wanted = evidence.gain(&all, f64::NEG_INFINITY).unwrap().unwrap();
    let space = Catalogue::new(&evidence, faults);
    // Singles first, as a search does.
    let set: Vec<usize> = (0..faults.len()).collect();
    for one in &set {
        space.gain(&[*one], f64::NEG_INFINITY).unwrap();
    }
    let found = space.gain(&set, f64::NEG_INFINITY).unwrap().unwrap();
    let spelled: Vec<String> = faults.iter().map(ToString::to_string).collect();
    assert!(
        found > wanted - ROUNDING,
        "{spelled:?} explains {wanted}, what was found {found}"
    );
}

/// Each value in turn, at one after the other of the places of a kind.
fn at_all_ohms(name: &str, kind: &str) {
    let site = load(name);
    let all = site.covered.iter().map(|covered| &covered.fault);
    let places: Vec<&Fault> = all.filter(|fault| fault.kind() == kind).collect();
    for (at, ohms) in ohms().enumerate() {
        let injected = places[at % places.len()].with_ohms(Ohms(ohms)).unwrap();
        nothing_is_missed(&site, &[injected], at as u64);
    }
}

#[test]
fn ohms_of_a_bad_joint_are_found() {
    at_all_ohms("bakery-van/vehicle", "high-resistance");
    at_all_ohms("socket-13-pin/bench", "high-resistance");
    at_all_ohms("vehicle-064-s10/vehicle", "high-resistance");
}

#[test]
fn ohms_of_an_occupied_cavity_are_found() {
    at_all_ohms("bakery-van/vehicle", "occupied");
    at_all_ohms("vehicle-016-s3/vehicle", "occupied");
    // Beside a coil with a diode, between 30 and 139 Ω.
    at_all_ohms("vehicle-064-s10/vehicle", "occupied");
}

/// A lamp's earth lead and a wire of the vehicle behind the lamp are two ways to chassis: a
/// lower value of the one and a higher one of the other show nearly the same.
#[test]
fn ohms_that_pull_at_the_same_readings_are_found_together() {
    let site = load("vehicle-012-s2/vehicle");
    for earth in [3.0, 10.0, 30.0] {
        for occupied in [20.0, 50.0, 200.0] {
            let faults = [
                format!("high-resistance@W2,ohms={earth}"),
                format!("occupied@X1:10,ohms={occupied}"),
            ]
            .map(|fault| parse(&fault, &site.job).unwrap());
            nothing_is_missed(&site, &faults, 3_000_023);
        }
    }
}
