//! The time of the first pass on the bench's virtual clock, beside the least
//! time in which any scan could say the same (`loomproof_tests::bound`).

use std::collections::BTreeMap;
use std::path::Path;

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::build;
use loomproof::hookup::{Hookup, propose};
use loomproof::link::{Link, LinkError, Loopback, Session, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::ringout::{Outcome, run};
use loomproof_core::scan::{SETTLE, first_pass};
use loomproof_core::wire::{Hello, Place, Reply, Request, SenseMode};
use loomproof_tests::bound::bound;
use loomproof_tests::figures::drawn;

/// What [`bound`] must not be exceeded by more than at 64 leads.
const RATIO: f64 = 1.25;

fn job(name: &str) -> Job {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans");
    let plan = Plan::load(&path.join(name)).unwrap_or_else(|rejected| panic!("{rejected}"));
    plan.resolve(&BTreeMap::new()).unwrap()
}

/// A session that keeps the virtual time of every exchange.
struct Timed {
    session: Session<Loopback>,
    spent: Vec<(&'static str, u64)>,
}

impl Timed {
    fn now(&self) -> u64 {
        self.session.transport().probe().bench().now()
    }
}

impl Link for Timed {
    fn hello(&self) -> &Hello {
        self.session.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        let before = self.now();
        let reply = self.session.exchange(request);
        let kind = match request {
            Request::Survey => "survey",
            Request::Arm(_) => "arm",
            Request::Step(_) => "step",
            Request::Release => "release",
            Request::Inspect | Request::Prove(_) => "self-test",
            Request::Nulls(_) | Request::Keep(_) => "nulls",
            Request::Watch(_) | Request::Feel(_) | Request::Guard(_) => "watch",
            Request::Plan | Request::Load(_) | Request::Result(_) | Request::Forget(_) => "carried",
        };
        self.spent.push((kind, self.now() - before));
        reply
    }
}

struct Row {
    steps: usize,
    readings: usize,
    micros: f64,
    by_purpose: BTreeMap<String, (usize, f64)>,
    early: u64,
}

fn measure(job: &Job, hookup: &Hookup, settings: &Settings) -> Row {
    let bench = Bench::new(job, hookup, &[], settings).unwrap();
    let session = VirtualProbe::new(bench).session().unwrap();
    let model = build(job, hookup).unwrap();
    let mut link = Timed {
        session,
        spent: Vec::new(),
    };
    let outcome = run::run(&mut link, &model, hookup.place, &mut |_| {}).unwrap();
    let Outcome::Complete(taken) = outcome else {
        panic!("a healthy harness is not refused");
    };
    let planned = first_pass(&model.layout()).count();
    for more in &taken[planned..] {
        println!("    more than the first pass: {:?}", more.planned.purpose);
    }
    let mut by_purpose: BTreeMap<String, (usize, f64)> = BTreeMap::new();
    let mut steps = taken.iter();
    for (kind, ns) in &link.spent {
        if let ("step", Some(taken)) = (*kind, steps.as_slice().first()) {
            let step = &taken.planned.step;
            let plain = step.senses.iter().all(|s| s.mode == SenseMode::Plain);
            if plain && step.settle == SETTLE && settings.leads <= 64 {
                // No longer than one cycle of the watch, looks at all that is driven included.
                assert!(*ns < 1_000_000, "{ns} ns: {step:?}");
            }
        }
        let name = match *kind {
            "step" => format!("{:?}", steps.next().unwrap().planned.purpose),
            other => other.to_owned(),
        };
        let name = name.split('(').next().unwrap().to_owned();
        let entry = by_purpose.entry(name).or_default();
        entry.0 += 1;
        entry.1 += *ns as f64 / 1e3;
    }
    let counters = link
        .session
        .transport()
        .probe()
        .bench()
        .0
        .borrow()
        .counters();
    Row {
        steps: taken.len(),
        readings: taken.iter().map(|taken| taken.readings.len()).sum(),
        micros: link.spent.iter().map(|(_, ns)| *ns as f64 / 1e3).sum(),
        by_purpose,
        early: counters.early_reads,
    }
}

#[test]
fn the_scan_takes_little_more_than_its_bound() {
    let settings = Settings::default();
    let (job_128, hookup_128) = drawn(128).unwrap();
    let many = Settings {
        leads: 128,
        ..Settings::default()
    };
    // Eight banks: what is read back takes up the most of a wait.
    assert_eq!(measure(&job_128, &hookup_128, &many).early, 0);
    println!(
        "plan                     leads  steps (least)  readings (least)  time ms  bound ms  ratio  log2"
    );
    for (name, place) in [
        ("bench-64.toml", Place::Bench),
        ("bench-64.toml", Place::Vehicle),
        ("bakery-van.toml", Place::Bench),
        ("bakery-van.toml", Place::Vehicle),
        ("socket-13-pin.toml", Place::Vehicle),
        ("smallest.toml", Place::Vehicle),
    ] {
        let job = job(name);
        let Ok(hookup) = propose(&job, place, usize::from(settings.leads)) else {
            println!("{name} {place:?}: no hook-up");
            continue;
        };
        let least = bound(&job, &hookup, settings.leads, settings.spi_hz);
        let row = measure(&job, &hookup, &settings);
        let ratio = row.micros / least.time;
        println!(
            "{:<24} {:>5}  {:>5} {:>7}  {:>8} {:>7}  {:>7.1}  {:>8.1}  {ratio:>5.2}  {:>4}",
            format!("{} {place:?}", name.trim_end_matches(".toml")),
            hookup.clips.len(),
            row.steps,
            format!("({})", least.patterns),
            row.readings,
            format!("({})", least.readings),
            row.micros / 1e3,
            least.time / 1e3,
            least.information,
        );
        for (purpose, (count, micros)) in &row.by_purpose {
            println!(
                "    {purpose:<12} {count:>3} × {:>9.1} µs",
                micros / *count as f64
            );
        }
        assert_eq!(row.early, 0, "results fetched before they were ready");
        assert!(row.steps >= least.patterns && row.readings >= least.readings);
        assert!(ratio >= 1.0, "the bound of {name} is no bound");
        if name == "bench-64.toml" && place == Place::Bench {
            assert_eq!(hookup.clips.len(), 64);
            assert!(ratio <= RATIO, "{name}: {ratio:.2} times its bound");
        }
    }
}
