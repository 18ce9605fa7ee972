//! The probe without a computer, on the virtual bench: its verdicts are the host's, what
//! it read is collected, and it says why where it cannot.

mod collected;

use std::collections::{BTreeMap, VecDeque};
use std::path::{Path, PathBuf};

use embedded_hal::delay::DelayNs as _;
use loomproof::alone::{Carrying, collect, compile, fitted, load, rung};
use loomproof::bench::{Bare, Bench, Settings, VirtualFlash};
use loomproof::circuit::build;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::fault::spell::parse;
use loomproof::hookup::propose;
use loomproof::link::{Link, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::ringout::report::Verdict;
use loomproof::ringout::verdict::verdict;
use loomproof::ringout::{Outcome, run};
use loomproof_core::image;
use loomproof_core::wire::{ClipOhms, LeadId, Nulls, Place, Refusal, Reply, Request};
use loomproof_firmware::alone::{Alone, Button, Ended, Panel, Signal};

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn file(plan: &str) -> PathBuf {
    top().join(format!("fixtures/plans/{plan}.toml"))
}

fn plan(name: &str) -> Plan {
    Plan::load(&file(name)).unwrap()
}

/// The panel, and everything that it showed.
#[derive(Default)]
struct Shown {
    lines: [String; 2],
    all: Vec<String>,
    presses: VecDeque<Button>,
    signals: Vec<Signal>,
}

impl Panel for Shown {
    fn show(&mut self, lines: [&str; 2]) {
        self.lines = lines.map(str::to_owned);
        assert!(lines.iter().all(|line| line.len() <= image::COLUMNS));
        self.all.push(lines.join(" / "));
    }

    fn pressed(&mut self) -> Option<Button> {
        self.presses.pop_front()
    }

    fn signal(&mut self, signal: Signal) {
        self.signals.push(signal);
    }
}

impl Shown {
    fn press(&mut self, button: Button) {
        self.presses.push_back(button);
    }
}

/// A flash with this plan in it, compiled for clips that were never nulled.
fn loaded(plan: &Plan, place: Place) -> VirtualFlash {
    let flash = VirtualFlash::default();
    load_into(&flash, plan, place);
    flash
}

fn image_of(plan: &Plan, place: Place) -> Vec<u8> {
    let clips = vec![None; 64];
    let probe = Carrying {
        leads: 64,
        clips: &clips,
    };
    compile(plan, &BTreeMap::new(), place, probe).unwrap()
}

fn load_into(flash: &VirtualFlash, plan: &Plan, place: Place) {
    let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
    let probe = VirtualProbe::with_flash(bench, flash.clone());
    let image = image_of(plan, place);
    load(&mut probe.session().unwrap(), &image, &mut |_| {}).unwrap();
}

fn bench(job: &Job, place: Place, faults: &[&str], seed: u64) -> Bench {
    let hookup = propose(job, place, 64).unwrap();
    let faults: Vec<_> = faults.iter().map(|f| parse(f, job).unwrap()).collect();
    let settings = Settings {
        seed,
        ..Settings::default()
    };
    Bench::new(job, &hookup, &faults, &settings).unwrap()
}

/// Presses through to the end of a run of this variant.
fn ring(probe: &mut VirtualProbe, alone: &mut Alone, shown: &mut Shown, plan: &Plan, job: &Job) {
    let mut asked: VecDeque<String> = plan
        .options()
        .iter()
        .filter_map(|option| job.answers.get(&option.name))
        .map(|answer| fitted(answer, image::COLUMNS))
        .collect();
    for _ in 0..100_000 {
        probe.alone(alone, shown);
        if alone.ended().is_some() {
            return;
        }
        let running = ["Ringing out", "Testing the leads"].contains(&shown.lines[0].as_str());
        if running || !shown.presses.is_empty() {
            continue;
        }
        if shown.lines[1] == "yes:next no:repeat" && asked.front() != Some(&shown.lines[0]) {
            shown.press(Button::Repeat);
            continue;
        }
        if shown.lines[1] == "yes:next no:repeat" {
            asked.pop_front();
        }
        shown.press(Button::Next);
    }
    panic!("it never ends: {:?}", shown.all.last());
}

/// What the host says of the very same harness and probe.
fn host_says(job: &Job, place: Place, faults: &[&str], seed: u64) -> Option<Verdict> {
    let hookup = propose(job, place, 64).unwrap();
    let model = build(job, &hookup).unwrap();
    let mut link = VirtualProbe::new(bench(job, place, faults, seed))
        .session()
        .unwrap();
    match run::run(&mut link, &model, place, &mut |_| {}).unwrap() {
        Outcome::Complete(taken) => Some(verdict(&Evidence::new(&model, &taken).unwrap())),
        Outcome::Refused(_) => None,
    }
}

fn same(ended: Option<Ended>, host: Option<Verdict>) -> bool {
    match (ended, host) {
        (Some(Ended::Verdict(ours, true)), Some(host)) => {
            let ours = match ours {
                image::Verdict::Pass => Verdict::Pass,
                image::Verdict::Faults => Verdict::Faults,
                image::Verdict::Undecided => Verdict::Undecided,
            };
            ours == host
        }
        (Some(Ended::Refused(_)), None) => true,
        _ => false,
    }
}

type Case = (&'static str, Place, &'static [&'static [&'static str]]);

const V: Place = Place::Vehicle;
const B: Place = Place::Bench;

const CASES: [Case; 7] = [
    (
        "bakery-van",
        V,
        &[
            &[],
            &["wrong-cavity@X1:10,to=X1:4"],
            &["exchanged@X1:9,with=X1:10"],
            &["tap-neighbour@T6,on=K11"],
            &["high-resistance@X10:2,ohms=8"],
            &["short@W17,with=W23"],
            &["open@X13:2", "tap-missed@T3"],
            &["live@X1:3,volts=12"],
        ],
    ),
    (
        "bakery-van",
        B,
        &[
            &[],
            &["unseated@X11:1"],
            &["cap-touching@W9,with=W11"],
            &["open@X13:2", "exchanged@X10:1,with=X10:2"],
        ],
    ),
    (
        "socket-13-pin",
        V,
        &[&[], &["tap-neighbour@T1,on=K2"], &["tap-missed@T4"]],
    ),
    ("socket-13-pin", B, &[&[]]),
    ("bench-64", B, &[&[]]),
    ("smallest", V, &[&[], &["exchanged@X1:4,with=X1:5"]]),
    ("smallest", B, &[&[]]),
];

#[test]
fn verdicts_are_those_of_the_host_in_every_variant() {
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    let mut seed = 0;
    for (name, place, faults) in CASES {
        let plan = plan(name);
        let flash = loaded(&plan, place);
        for answers in plan.variants(&BTreeMap::new(), 16) {
            let job = plan.resolve(&answers).unwrap();
            for faults in faults {
                if faults.iter().any(|fault| parse(fault, &job).is_err()) {
                    // This variant has no such place.
                    continue;
                }
                seed += 1;
                let bench = bench(&job, place, faults, seed);
                let mut probe = VirtualProbe::with_flash(bench, flash.clone());
                let (mut alone, mut shown) = (Alone::new(), Shown::default());
                ring(&mut probe, &mut alone, &mut shown, &plan, &job);
                let host = host_says(&job, place, faults, seed);
                let ended = alone.ended();
                assert!(
                    same(ended, host),
                    "{name} {faults:?}: {ended:?}, host {host:?}"
                );
                *told.entry(format!("{host:?}")).or_default() += 1;
                let off = host == Some(Verdict::Faults);
                assert_eq!(off, !alone.findings().is_empty(), "{name} {faults:?}");
                // Collected, it is judged and explained as any other scan.
                let mut link = probe.session().unwrap();
                for collected in collect(&mut link).unwrap() {
                    let clips = vec![None; 64];
                    let image = image_of(&plan, place);
                    let (of, rung) = rung(&plan, (&image, 64), &clips, &collected).unwrap();
                    assert_eq!(of.answers, job.answers);
                    let evidence = Evidence::new(&rung.model, &rung.taken).unwrap();
                    assert_eq!(Some(verdict(&evidence)), host, "{name} {faults:?}");
                    loomproof::alone::forget(&mut link, &collected).unwrap();
                }
                assert!(collect(&mut link).unwrap().is_empty());
            }
        }
    }
    println!("{told:?}");
    assert!(
        told["Some(Pass)"] >= 7 && told["Some(Faults)"] >= 20,
        "{told:?}"
    );
    assert!(told["None"] >= 1, "{told:?}");
}

#[test]
fn it_says_what_is_off_and_where() {
    let plan = plan("smallest");
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    let flash = loaded(&plan, V);
    let bench = bench(&job, V, &["tap-missed@T1"], 3);
    let mut probe = VirtualProbe::with_flash(bench, flash);
    let (mut alone, mut shown) = (Alone::new(), Shown::default());
    ring(&mut probe, &mut alone, &mut shown, &plan, &job);
    assert_eq!(shown.all[0], "Two wires and a tap / ");
    assert!(
        shown.all.iter().any(|s| s == "P1 X1:4 / left kick panel"),
        "{:#?}",
        shown.all
    );
    assert!(
        shown
            .all
            .iter()
            .any(|s| s == "Battery off? / next: ring out")
    );
    assert_eq!(shown.lines, ["FAULTS: 1", "next: where"]);
    assert_eq!(shown.signals, [Signal::Busy, Signal::Off]);
    shown.press(Button::Next);
    let from = shown.all.len();
    for _ in 0..40 {
        probe.alone(&mut alone, &mut shown);
        probe.bench().delay().delay_ns(500_000_000);
    }
    let said = &shown.all[from..];
    assert!(said[0].starts_with("Open or poor joint / P"), "{said:?}");
    for place in ["X1:4", "left kick panel"] {
        assert!(
            said.iter().any(|line| line.contains(place)),
            "{place} in {said:?}"
        );
    }
}

#[test]
fn a_power_cut_loses_the_run_in_progress_at_most() {
    let plan = plan("smallest");
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    let flash = loaded(&plan, V);
    let once = |flash: &VirtualFlash, cut: Option<usize>| {
        let mut probe = VirtualProbe::with_flash(bench(&job, V, &[], 5), flash.clone());
        flash.power_fails_after(cut);
        let (mut alone, mut shown) = (Alone::new(), Shown::default());
        ring(&mut probe, &mut alone, &mut shown, &plan, &job);
        flash.power_fails_after(None);
        alone.ended()
    };
    let kept = |flash: &VirtualFlash| -> Vec<u32> {
        let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
        let probe = VirtualProbe::with_flash(bench, flash.clone());
        let results = collect(&mut probe.session().unwrap()).unwrap();
        results.iter().map(|result| result.kept.number).collect()
    };
    assert_eq!(
        once(&flash, None),
        Some(Ended::Verdict(image::Verdict::Pass, true))
    );
    assert_eq!(kept(&flash), [1]);
    // 8,192 bytes are erased, then a page of readings and the head written.
    let whole = 8192 + 256 + 256;
    for cut in (0..whole).step_by(37).chain([whole - 1]) {
        let ended = once(&flash, Some(cut));
        assert_eq!(
            ended,
            Some(Ended::Verdict(image::Verdict::Pass, false)),
            "{cut}"
        );
        // The last bytes of the head's page say nothing.
        assert!(
            kept(&flash) == [1] || cut >= whole - 256 && kept(&flash) == [1, 2],
            "{cut}"
        );
        if kept(&flash).len() > 1 {
            break;
        }
    }
    let before = kept(&flash).len();
    for _ in before..16 {
        assert!(matches!(once(&flash, None), Some(Ended::Verdict(_, true))));
    }
    assert_eq!(kept(&flash), (1..=16).collect::<Vec<_>>());
    assert!(
        matches!(once(&flash, None), Some(Ended::Verdict(_, false))),
        "all places are taken"
    );
    assert_eq!(kept(&flash).len(), 16);
}

/// What stands on the display after so many presses of next.
fn after(flash: &VirtualFlash, presses: usize) -> [String; 2] {
    let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
    let mut probe = VirtualProbe::with_flash(bench, flash.clone());
    let (mut alone, mut shown) = (Alone::new(), Shown::default());
    // It opens the plan first.
    probe.alone(&mut alone, &mut shown);
    for _ in 0..presses {
        shown.press(Button::Next);
    }
    for _ in 0..presses + 2 {
        probe.alone(&mut alone, &mut shown);
    }
    assert_eq!(alone.ended(), None);
    shown.lines
}

#[test]
fn it_says_why_it_cannot() {
    let empty = VirtualFlash::default();
    assert_eq!(
        after(&empty, 0),
        ["No plan in the probe", "load one by computer"]
    );
    let plan = plan("smallest");
    let flash = loaded(&plan, V);
    assert_eq!(after(&flash, 1)[0], "P1 X1:4");
    flash.alter(2 * 4096 + 300, 4);
    assert_eq!(after(&flash, 0), ["Plan is damaged", "load it again"]);
    assert_eq!(after(&flash, 3), ["Plan is damaged", "load it again"]);
    load_into(&flash, &plan, V);
    let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
    let mut link = VirtualProbe::with_flash(bench, flash.clone())
        .session()
        .unwrap();
    let nulls = Nulls {
        first: LeadId(1),
        clips: [ClipOhms(900)].into_iter().collect(),
    };
    assert!(matches!(
        link.exchange(&Request::Keep(nulls)),
        Ok(Reply::Nulls(_))
    ));
    drop(link);
    assert_eq!(
        after(&flash, 1),
        ["Clips nulled since", "load the plan again"]
    );
}

#[test]
fn a_live_lead_is_refused_by_name_and_a_host_ends_what_was_under_way() {
    let plan = plan("smallest");
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    let flash = loaded(&plan, V);
    let live = bench(&job, V, &["live@X1:4,volts=12"], 1);
    let mut probe = VirtualProbe::with_flash(live, flash.clone());
    let (mut alone, mut shown) = (Alone::new(), Shown::default());
    ring(&mut probe, &mut alone, &mut shown, &plan, &job);
    assert!(matches!(
        alone.ended(),
        Some(Ended::Refused(Refusal::Live(..)))
    ));
    assert!(shown.lines[0].starts_with("Live: 1"), "{:?}", shown.lines);
    assert!(shown.lines[1].contains("X1:4"), "{:?}", shown.lines);

    let mut probe = VirtualProbe::with_flash(bench(&job, V, &[], 1), flash);
    let (mut alone, mut shown) = (Alone::new(), Shown::default());
    while shown.lines[0] != "Ringing out" {
        shown.press(Button::Next);
        probe.alone(&mut alone, &mut shown);
    }
    let mut probe = probe.session().unwrap().into_transport().into_probe();
    probe.alone(&mut alone, &mut shown);
    assert_eq!(shown.lines[0], "Computer speaks");
    assert_eq!(alone.ended(), None);
    ring(&mut probe, &mut alone, &mut shown, &plan, &job);
    assert!(matches!(
        alone.ended(),
        Some(Ended::Verdict(image::Verdict::Pass, true))
    ));
}
