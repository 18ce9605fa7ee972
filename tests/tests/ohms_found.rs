//! No unknown resistance is missed between two points of the sweep: what is found explains
//! the readings at least as well as the ohms that were put in.

use loomproof::bench::Settings;
use loomproof::diagnosis::edits::Changes;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::search::Space;
use loomproof::diagnosis::space::Catalogue;
use loomproof::fault::Fault;
use loomproof::ringout::Outcome;
use loomproof_core::units::Ohms;
use loomproof_tests::campaign::site::Site;

/// Ohms put in: five a decade, from what shows to what is nearly open.
fn ohms() -> impl Iterator<Item = f64> {
    (0..26).map(|step| 10_f64.powf(f64::from(step) / 5.0))
}

/// What rounding to three digits and the end of the narrowing may cost.
const ROUNDING: f64 = 1.0;

/// Puts ohms into the faults of a kind that have some, one after the other, and holds what
/// is found of each against what was put in; how many were.
fn nothing_is_missed(name: &str, kind: &str) -> usize {
    let site = Site::of_name(name).unwrap().load().unwrap();
    let all: Vec<Fault> = site.covered.iter().map(|c| c.fault.clone()).collect();
    let open: Vec<&Fault> = all.iter().filter(|fault| fault.kind() == kind).collect();
    let mut tried = 0;
    for (at, ohms) in ohms().enumerate() {
        let Some(injected) = open[at % open.len()].with_ohms(Ohms(ohms)) else {
            panic!("{kind} has no ohms");
        };
        let bench = Settings {
            seed: at as u64,
            leads: site.probe_leads,
            ..Settings::default()
        };
        let (_, outcome) = site.scan(std::slice::from_ref(&injected), &bench).unwrap();
        let Outcome::Complete(taken) = outcome else {
            panic!("{injected:?} was refused");
        };
        let evidence = Evidence::new(&site.model, &taken).unwrap();
        let models: Vec<_> = evidence.models().collect();
        let space = Catalogue::new(&evidence, std::slice::from_ref(&injected));
        for (one, (_, changes)) in Changes::of_fault(&injected, &models).iter().enumerate() {
            let wanted = evidence.gain(changes, f64::NEG_INFINITY).unwrap().unwrap();
            let found = space.gain(&[one], f64::NEG_INFINITY).unwrap().unwrap();
            assert!(
                found > wanted - ROUNDING,
                "{name}: {injected} explains {wanted}, what was found {found}"
            );
            tried += 1;
        }
    }
    tried
}

#[test]
fn ohms_of_a_bad_joint_are_found() {
    for name in [
        "bakery-van/vehicle",
        "socket-13-pin/bench",
        "vehicle-064-s10/vehicle",
    ] {
        assert!(nothing_is_missed(name, "high-resistance") >= 26);
    }
}

#[test]
fn ohms_of_an_occupied_cavity_are_found() {
    for name in [
        "bakery-van/vehicle",
        "vehicle-016-s3/vehicle",
        "vehicle-064-s10/vehicle",
    ] {
        assert!(nothing_is_missed(name, "occupied") >= 26);
    }
}
