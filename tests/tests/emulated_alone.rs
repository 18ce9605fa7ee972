//! The compiled Cortex-M firmware in QEMU rings out without a computer: its panel says,
//! line by line, what the library says in this process, it keeps the same readings, and
//! its verdict is the host's.
#![cfg(unix)]

use loomproof::alone::{Carrying, Collected, collect, compile, load};
use loomproof::bench::{Bench, Settings};
use loomproof::circuit::build;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::fault::spell::parse;
use loomproof::hookup::propose;
use loomproof::link::{Link, VirtualProbe, connect};
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::ringout::report::Verdict;
use loomproof::ringout::verdict::verdict;
use loomproof::ringout::{Outcome, run};
use loomproof_core::image;
use loomproof_core::wire::Place;
use loomproof_firmware::alone::{Alone, Signal};
use loomproof_tests::presser::{Apart, Fronted, Here, Presser};
use loomproof_tests::{qemu, skip};
use std::collections::BTreeMap;
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

/// A harness on a bench: plan, which of its variants, place, faults, seed.
#[derive(Clone)]
struct Case {
    plan: Plan,
    job: Job,
    place: Place,
    faults: Vec<String>,
    seed: u64,
}

impl Case {
    fn bench(&self) -> Bench {
        let hookup = propose(&self.job, self.place, 64).unwrap();
        let faults = self.faults.iter();
        let faults: Vec<_> = faults.map(|f| parse(f, &self.job).unwrap()).collect();
        let settings = Settings {
            seed: self.seed,
            ..Settings::default()
        };
        Bench::new(&self.job, &hookup, &faults, &settings).unwrap()
    }

    fn load(&self, link: &mut dyn Link) {
        let clips = vec![None; 64];
        let probe = Carrying {
            leads: 64,
            clips: &clips,
        };
        let image = compile(&self.plan, &BTreeMap::new(), self.place, probe).unwrap();
        load(link, &image, &mut |_| {}).unwrap();
    }

    /// What the library shows and keeps in this process.
    fn here(&self) -> (Presser, Vec<Collected>) {
        let mut presser = Presser::new(&self.plan, &self.job);
        let mut session = VirtualProbe::new(self.bench()).session().unwrap();
        self.load(&mut session);
        let mut probe = session.into_transport().into_probe();
        let mut alone = Alone::new();
        let bench = probe.bench().clone();
        // As the board, which has its panel before its plan.
        let mut panel = Here {
            presser: &mut presser,
            bench,
        };
        probe.alone(&mut alone, &mut panel);
        panel.presser.begin();
        for _ in 0..100_000 {
            probe.alone(&mut alone, &mut panel);
            if panel.presser.is_done() {
                let collected = collect(&mut probe.session().unwrap()).unwrap();
                return (presser, collected);
            }
        }
        panic!("it never ends: {:?}", presser.shown.last());
    }

    /// The same of the board.
    fn there(&self, qemu: &Path, elf: &Path) -> (Presser, Vec<Collected>) {
        let presser = Apart::new(Presser::new(&self.plan, &self.job));
        let (case, before) = (self.clone(), presser.clone());
        let bench = move || Fronted {
            bench: case.bench(),
            presser: before,
        };
        let board = qemu::Emulated::start(qemu, elf, bench).unwrap();
        let mut session = connect(board.port()).unwrap();
        self.load(&mut session);
        drop(session);
        // It has noticed the computer, which it says once.
        let deadline = Instant::now() + Duration::from_secs(20);
        while !presser.with(|presser| presser.shows("Computer speaks")) {
            assert!(Instant::now() < deadline, "{:?}", board.log());
            thread::sleep(Duration::from_millis(5));
        }
        presser.with(Presser::begin);
        let deadline = Instant::now() + Duration::from_secs(300);
        while !presser.with(|presser| presser.is_done()) {
            let last = presser.with(|presser| presser.shown.last().cloned());
            assert!(Instant::now() < deadline, "{last:?}, {:?}", board.log());
            thread::sleep(Duration::from_millis(5));
        }
        println!("{:?}", board.traffic());
        let noted = presser.with(|presser| presser.clone());
        let collected = collect(&mut connect(board.port()).unwrap()).unwrap();
        board.stop().unwrap();
        (noted, collected)
    }

    /// What a computer says of the same harness; `None` where the probe will not drive.
    fn host(&self) -> Option<Verdict> {
        let hookup = propose(&self.job, self.place, 64).unwrap();
        let model = build(&self.job, &hookup).unwrap();
        let mut link = VirtualProbe::new(self.bench()).session().unwrap();
        match run::run(&mut link, &model, self.place, &mut |_| {}).unwrap() {
            Outcome::Complete(taken) => Some(verdict(&Evidence::new(&model, &taken).unwrap())),
            Outcome::Refused(_) => None,
        }
    }
}

const V: Place = Place::Vehicle;
const B: Place = Place::Bench;

/// Plan, place, faults of one harness after the other.
type Jobs = (&'static str, Place, &'static [&'static [&'static str]]);

/// With these the emulation is done within half a minute.
const SHORT: [Jobs; 3] = [
    (
        "smallest",
        V,
        &[&[], &["exchanged@X1:4,with=X1:5"], &["live@X1:4,volts=12"]],
    ),
    ("smallest", B, &[&[]]),
    (
        "socket-13-pin",
        V,
        &[&["tap-neighbour@T1,on=K2"], &["tap-missed@T4"]],
    ),
];

const LONG: [Jobs; 5] = [
    (
        "bakery-van",
        V,
        &[
            &["open@X13:2", "tap-missed@T3"],
            &[],
            &["short@W17,with=W23"],
            &["high-resistance@X10:2,ohms=8"],
        ],
    ),
    (
        "bakery-van",
        B,
        &[&[], &["open@X13:2", "exchanged@X10:1,with=X10:2"]],
    ),
    ("socket-13-pin", V, &[&[]]),
    ("socket-13-pin", B, &[&[]]),
    ("bench-64", B, &[&[]]),
];

/// One variant after the other has its turn, among those that have the place.
fn cases((name, place, faults): Jobs) -> Vec<Case> {
    let path = skip::top().join(format!("fixtures/plans/{name}.toml"));
    let plan = Plan::load(&path).unwrap();
    let variants = plan.variants(&BTreeMap::new(), 16);
    let job = |turn: usize, faults: &[&str]| {
        let jobs = variants.iter().cycle().skip(turn).take(variants.len());
        let mut jobs = jobs.map(|answers| plan.resolve(answers).unwrap());
        jobs.find(|job| faults.iter().all(|fault| parse(fault, job).is_ok()))
    };
    let case = |(turn, faults): (usize, &&[&str])| Case {
        plan: plan.clone(),
        job: job(turn, faults).expect("a variant with that place"),
        place,
        faults: faults.iter().map(|fault| (*fault).to_owned()).collect(),
        seed: turn as u64 + 1,
    };
    faults.iter().enumerate().map(case).collect()
}

/// What the panel says of a finding (`firmware/src/alone/words.rs`).
const OFF: [&str; 7] = [
    "Open or poor joint",
    "No way to chassis",
    "Joined wrongly",
    "Wires touch",
    "Part open or turned",
    "Part bridged",
    "Does not settle",
];

/// How often which verdict came out on the board, after all was compared; `None` where
/// there is no emulator.
fn compared(jobs: &[Jobs]) -> Option<BTreeMap<String, usize>> {
    let (qemu, elf) = qemu::installed(qemu::ELF)?;
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    let mut lines = 0;
    for case in jobs.iter().copied().flat_map(cases) {
        let start = Instant::now();
        let (ours, ours_kept) = case.here();
        let between = start.elapsed();
        let (board, board_kept) = case.there(&qemu, &elf);
        let what = format!("{:?}, {:?}", case.job.answers, case.faults);
        println!(
            "{what}: {} lines, here {between:.2?}, there {:.2?}",
            ours.shown.len(),
            start.elapsed() - between
        );
        for (at, (board, ours)) in board.shown.iter().zip(&ours.shown).enumerate() {
            assert_eq!(board, ours, "{what}, line {at}");
        }
        assert_eq!(board.shown.len(), ours.shown.len(), "{what}");
        assert_eq!(board.signals, ours.signals, "{what}");
        assert_eq!(board_kept, ours_kept, "{what}");
        lines += board.shown.len();

        let host = case.host();
        let kept = board_kept.first().map(|result| match result.kept.verdict {
            image::Verdict::Pass => Verdict::Pass,
            image::Verdict::Faults => Verdict::Faults,
            image::Verdict::Undecided => Verdict::Undecided,
        });
        assert_eq!(kept, host, "{what}");
        let last = board.signals.last();
        let sounds = match host {
            Some(Verdict::Pass) => Signal::Pass,
            Some(_) => Signal::Off,
            None => Signal::Refused,
        };
        assert_eq!(last, Some(&sounds), "{what}");
        // A faulty harness is not only refused: what is off is named, and nothing else is.
        let named = board.shown.iter().any(|[first, _]| OFF.contains(&&**first));
        assert_eq!(named, host == Some(Verdict::Faults), "{what}");
        *told.entry(format!("{host:?}")).or_default() += 1;
    }
    println!("{lines} lines, {told:?}");
    Some(told)
}

#[test]
fn the_emulated_panel_says_line_by_line_what_the_library_says() {
    if let Some(told) = compared(&SHORT) {
        let of = |verdict: &str| told.get(verdict).copied();
        let counts = ["Some(Pass)", "Some(Faults)", "None"].map(of);
        assert_eq!(counts, [Some(2), Some(3), Some(1)], "{told:?}");
    }
}

#[test]
#[ignore = "takes minutes: run it by name after a change of the panel or the tunnel"]
fn the_emulated_panel_says_it_of_the_large_harnesses() {
    if let Some(told) = compared(&LONG) {
        let of = |verdict: &str| told.get(verdict).copied();
        let counts = ["Some(Pass)", "Some(Faults)"].map(of);
        assert_eq!(counts, [Some(5), Some(4)], "{told:?}");
    }
}
