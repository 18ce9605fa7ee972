//! Same plan, faults and seed: the probe in this process, on a serial port, and
//! the Cortex-M firmware in QEMU lead to the same verdict and the same faults.
#![cfg(unix)]

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use loomproof::bench::{Bench, Settings};
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::link::pty::Pty;
use loomproof::link::{Link, VirtualProbe, connect};
use loomproof::ringout::run;
use loomproof::ringout::verdict::report;
use loomproof_core::wire::Place;
use loomproof_tests::campaign::{Loaded, Site};
use loomproof_tests::qemu::{self, Emulated};
use serde_json::Value;

/// Faults, and the verdict that must come.
const CASES: &[(&[&str], &str)] = &[
    (&[], "pass"),
    (&["wrong-cavity@X1:10,to=X1:4"], "faults"),
    (&["exchanged@X1:9,with=X1:10"], "faults"),
    (&["tap-neighbour@T6,on=K11"], "faults"),
    (&["high-resistance@X10:2,ohms=8"], "faults"),
    (&["short@W17,with=W23"], "faults"),
    (&["live@X1:3,volts=12"], "refused"),
    (&["open@X13:2", "tap-missed@T3"], "faults"),
];

/// The seed of a case, so that no two look alike by accident.
fn seed(case: usize) -> u64 {
    1 + case as u64
}

fn van() -> Loaded {
    let site = Site {
        plan: "bakery-van",
        place: Place::Vehicle,
    };
    site.load().unwrap()
}

fn bench(van: &Loaded, faults: &[Fault], seed: u64) -> Bench {
    let settings = Settings {
        seed,
        ..Settings::default()
    };
    Bench::new(&van.job, &van.hookup, faults, &settings).unwrap()
}

/// The report of a ring-out over a link, without the probe's identity.
fn judged(van: &Loaded, link: &mut dyn Link) -> Value {
    let outcome = run::run(link, &van.model, van.site.place, &mut |_| {}).unwrap();
    let report = report(&van.job, &van.hookup, &van.model, link.hello(), &outcome).unwrap();
    let mut report = serde_json::to_value(&report).unwrap();
    let probe = report.as_object_mut().unwrap().remove("probe").unwrap();
    assert_eq!(probe["leads"], 64);
    report
}

fn in_process(van: &Loaded, faults: &[Fault], seed: u64) -> Value {
    let probe = VirtualProbe::new(bench(van, faults, seed));
    judged(van, &mut probe.session().unwrap())
}

/// As `probe serve` does it, and the serial port crate at the other end.
fn by_port(van: &Loaded, faults: &[Fault], seed: u64) -> Value {
    let pty = Pty::open().unwrap();
    let path = pty.path().to_str().unwrap().to_owned();
    let stop = Arc::new(AtomicBool::new(false));
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut probe = VirtualProbe::new(bench(van, faults, seed));
            pty.serve(&mut probe, &stop).unwrap();
        });
        let report = judged(van, &mut connect(&path).unwrap());
        stop.store(true, Ordering::Relaxed);
        report
    })
}

fn cases(van: &Loaded) -> impl Iterator<Item = (Vec<Fault>, u64, &'static str)> + '_ {
    CASES.iter().enumerate().map(|(at, (spelled, verdict))| {
        let faults = spelled.iter().map(|f| parse(f, &van.job).unwrap());
        (faults.collect(), seed(at), *verdict)
    })
}

#[track_caller]
fn same(faults: &[Fault], here: &Value, there: &Value) {
    for key in ["verdict", "groups", "refusal", "undecided", "readings"] {
        assert_eq!(here[key], there[key], "{key} with {faults:?}");
    }
    assert_eq!(here, there, "with {faults:?}");
}

#[test]
fn a_serial_port_gives_the_same_verdict() {
    let van = van();
    for (faults, seed, verdict) in cases(&van) {
        let here = in_process(&van, &faults, seed);
        assert_eq!(here["verdict"], verdict, "{faults:?}");
        same(&faults, &here, &by_port(&van, &faults, seed));
    }
}

#[test]
fn the_emulated_board_gives_the_same_verdict() {
    let Some((qemu, elf)) = qemu::installed(qemu::ELF) else {
        return;
    };
    let van = van();
    for (faults, seed, verdict) in cases(&van) {
        let start = Instant::now();
        let (job, hookup, its) = (van.job.clone(), van.hookup.clone(), faults.clone());
        let board = Emulated::start(&qemu, &elf, move || {
            let settings = Settings {
                seed,
                ..Settings::default()
            };
            Bench::new(&job, &hookup, &its, &settings).unwrap()
        })
        .unwrap();
        let mut link = connect(board.port()).unwrap();
        assert_eq!(link.hello().board.as_str(), "emulated-m3");
        let there = judged(&van, &mut link);
        drop(link);
        println!("{faults:?}: {:.1?}, {:?}", start.elapsed(), board.traffic());
        board.stop().unwrap();
        let here = in_process(&van, &faults, seed);
        assert_eq!(here["verdict"], verdict, "{faults:?}");
        same(&faults, &here, &there);
    }
}

/// The comparison compares something: another seed gives other readings.
#[test]
fn another_seed_differs() {
    let van = van();
    assert_ne!(in_process(&van, &[], 1), in_process(&van, &[], 2));
}
