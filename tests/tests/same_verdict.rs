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
use loomproof_tests::campaign::site::{Loaded, Site, Source};
use loomproof_tests::qemu::{self, Emulated};
use serde_json::Value;

/// A ring-out, and the verdict that must come.
struct Case {
    plan: &'static str,
    place: Place,
    faults: &'static [&'static str],
    verdict: &'static str,
    /// Also on the emulated board. A walk through the van's module inputs is
    /// minutes of virtual time, each millisecond of it a look of the watch and
    /// a trip through the tunnel.
    emulated: bool,
}

const fn van(faults: &'static [&'static str], verdict: &'static str) -> Case {
    Case {
        plan: "bakery-van",
        place: Place::Vehicle,
        faults,
        verdict,
        emulated: false,
    }
}

const fn van_on_bench(faults: &'static [&'static str]) -> Case {
    Case {
        plan: "bakery-van",
        place: Place::Bench,
        faults,
        verdict: "faults",
        emulated: true,
    }
}

const fn socket(faults: &'static [&'static str]) -> Case {
    Case {
        plan: "socket-13-pin",
        place: Place::Vehicle,
        faults,
        verdict: "faults",
        emulated: true,
    }
}

const CASES: &[Case] = &[
    Case {
        emulated: true,
        ..van(&[], "pass")
    },
    Case {
        emulated: true,
        ..van(&["live@X1:3,volts=12"], "refused")
    },
    van(&["wrong-cavity@X1:10,to=X1:4"], "faults"),
    van(&["exchanged@X1:9,with=X1:10"], "faults"),
    van(&["tap-neighbour@T6,on=K11"], "faults"),
    van(&["high-resistance@X10:2,ohms=8"], "faults"),
    van(&["short@W17,with=W23"], "faults"),
    van(&["open@X13:2", "tap-missed@T3"], "faults"),
    van_on_bench(&["wrong-cavity@X1:10,to=X1:4"]),
    van_on_bench(&["exchanged@X1:9,with=X1:10"]),
    van_on_bench(&["high-resistance@X10:2,ohms=8"]),
    van_on_bench(&["short@W17,with=W23"]),
    van_on_bench(&["unseated@X11:1"]),
    van_on_bench(&["cap-touching@W9,with=W11"]),
    van_on_bench(&["open@X13:2", "exchanged@X10:1,with=X10:2"]),
    socket(&["tap-neighbour@T1,on=K2"]),
    socket(&["tap-missed@T4"]),
];

/// The seed of a case, so that no two look alike by accident.
fn seed(case: usize) -> u64 {
    1 + case as u64
}

impl Case {
    fn load(&self) -> (Loaded, Vec<Fault>) {
        let site = Site {
            source: Source::Fixture(self.plan),
            place: self.place,
        };
        let loaded = site.load().unwrap();
        let faults = self
            .faults
            .iter()
            .map(|f| parse(f, &loaded.job).unwrap())
            .collect();
        (loaded, faults)
    }
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

#[track_caller]
fn same(faults: &[Fault], here: &Value, there: &Value) {
    for key in ["verdict", "groups", "refusal", "undecided", "readings"] {
        assert_eq!(here[key], there[key], "{key} with {faults:?}");
    }
    assert_eq!(here, there, "with {faults:?}");
}

#[test]
fn a_serial_port_gives_the_same_verdict() {
    for (at, case) in CASES.iter().enumerate() {
        let (loaded, faults) = case.load();
        let here = in_process(&loaded, &faults, seed(at));
        assert_eq!(here["verdict"], case.verdict, "{faults:?}");
        same(&faults, &here, &by_port(&loaded, &faults, seed(at)));
    }
}

#[test]
fn the_emulated_board_gives_the_same_verdict() {
    let Some((qemu, elf)) = qemu::installed(qemu::ELF) else {
        return;
    };
    for (at, case) in CASES.iter().enumerate().filter(|(_, case)| case.emulated) {
        let start = Instant::now();
        let (loaded, faults) = case.load();
        let (job, hookup, its) = (loaded.job.clone(), loaded.hookup.clone(), faults.clone());
        let board = Emulated::start(&qemu, &elf, move || {
            let settings = Settings {
                seed: seed(at),
                ..Settings::default()
            };
            Bench::new(&job, &hookup, &its, &settings).unwrap()
        })
        .unwrap();
        let mut link = connect(board.port()).unwrap();
        assert_eq!(link.hello().board.as_str(), "emulated-m3");
        let there = judged(&loaded, &mut link);
        drop(link);
        println!("{faults:?}: {:.1?}, {:?}", start.elapsed(), board.traffic());
        board.stop().unwrap();
        let here = in_process(&loaded, &faults, seed(at));
        assert_eq!(here["verdict"], case.verdict, "{faults:?}");
        same(&faults, &here, &there);
    }
}

/// The comparison compares something: another seed gives other readings.
#[test]
fn another_seed_differs() {
    let (van, faults) = CASES[0].load();
    assert_ne!(in_process(&van, &faults, 1), in_process(&van, &faults, 2));
}
