//! A ring-out with a probe that is at fault never passes falsely: the short self-test
//! before it names the fault where the leads are clipped, or the readings do not fit.

use std::collections::BTreeMap;
use std::path::Path;

use loomproof::bench::{Bench, Defect, Settings};
use loomproof::circuit::build;
use loomproof::hookup::{Hookup, propose};
use loomproof::link::{Link, Loopback, Session, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::probe::self_test::{Shown, short};
use loomproof::ringout::report::Verdict;
use loomproof::ringout::{run, verdict};
use loomproof_core::wire::{LeadId, Place};

fn job(name: &str) -> Job {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans");
    let plan = Plan::load(&path.join(name)).unwrap_or_else(|rejected| panic!("{rejected}"));
    plan.resolve(&BTreeMap::new()).unwrap()
}

fn clipped(job: &Job, hookup: &Hookup, defects: &[String], seed: u64) -> Session<Loopback> {
    let settings = Settings {
        seed,
        defects: defects.iter().map(|d| Defect::parse(d).unwrap()).collect(),
        ..Settings::default()
    };
    let bench = Bench::new(job, hookup, &[], &settings).unwrap();
    VirtualProbe::new(bench).session().unwrap()
}

fn leads(hookup: &Hookup) -> Vec<LeadId> {
    hookup.clips.iter().map(|clip| clip.lead).collect()
}

fn tested(link: &mut Session<Loopback>, hookup: &Hookup) -> Shown {
    let shown = short(link, &leads(hookup), hookup.place).unwrap();
    assert_eq!(
        link.transport()
            .probe()
            .bench()
            .0
            .borrow()
            .counters()
            .early_reads,
        0
    );
    shown
}

#[test]
fn a_healthy_probe_passes_on_every_harness_it_is_clipped_to() {
    for (name, place) in [
        ("bench-64.toml", Place::Bench),
        ("bakery-van.toml", Place::Bench),
        ("bakery-van.toml", Place::Vehicle),
        ("socket-13-pin.toml", Place::Vehicle),
        ("smallest.toml", Place::Vehicle),
    ] {
        let job = job(name);
        let hookup = propose(&job, place, 64).unwrap();
        for seed in 0..12 {
            let mut link = clipped(&job, &hookup, &[], seed);
            let shown = tested(&mut link, &hookup);
            assert!(shown.healthy(), "{name} {place:?}, seed {seed}: {shown:?}");
            assert_eq!(shown.tested.len(), hookup.clips.len() + 1);
        }
    }
}

#[test]
fn a_lead_that_does_not_work_is_named_where_it_is_clipped() {
    let job = job("bakery-van.toml");
    for place in [Place::Vehicle, Place::Bench] {
        let hookup = propose(&job, place, 64).unwrap();
        let mut missed = Vec::new();
        // Every third: all kinds of point, in a third of the time.
        for lead in leads(&hookup).into_iter().step_by(3) {
            let (bank, pin) = (lead.0 / 16, lead.0 % 16);
            let pin = format!("drive{bank}:{}{}", if pin < 8 { 'A' } else { 'B' }, pin % 8);
            for defect in [
                format!("disconnect-open@{lead}"),
                format!("disconnect-closed@{lead}"),
                format!("sense-open@{lead}"),
                format!("sense-closed@{lead}"),
                format!("pin-low@{pin}"),
                format!("pin-high@{pin}"),
            ] {
                let mut link = clipped(&job, &hookup, std::slice::from_ref(&defect), 5);
                // A lead that lets charge onto the others is taken for live, and the
                // ring-out refused.
                if tested(&mut link, &hookup).healthy() {
                    missed.push(defect);
                }
            }
        }
        assert!(missed.is_empty(), "{place:?}: {missed:?}");
    }
}

#[test]
fn leads_joined_inside_the_probe_read_as_a_fault_of_the_harness_not_as_a_pass() {
    let job = job("bakery-van.toml");
    let hookup = propose(&job, Place::Vehicle, 64).unwrap();
    let model = build(&job, &hookup).unwrap();
    let layout = model.layout();
    let all = leads(&hookup);
    let pairs: Vec<_> = all
        .windows(2)
        .filter(|pair| layout.island(pair[0]) != layout.island(pair[1]))
        .step_by(15)
        .take(3)
        .collect();
    assert_eq!(pairs.len(), 3);
    for pair in pairs {
        // Beside a module's unknown input 100 kΩ are nothing that a plan rules out.
        let bare = pair
            .iter()
            .all(|lead| !layout.active(*lead) && !layout.on_chassis(*lead));
        for ohms in if bare { vec![1, 100_000] } else { vec![1] } {
            let defect = format!("joined@{},with={},ohms={ohms}", pair[0], pair[1]);
            let mut link = clipped(&job, &hookup, std::slice::from_ref(&defect), 2);
            let outcome = run::run(&mut link, &model, hookup.place, &mut |_| {}).unwrap();
            let hello = link.hello().clone();
            let report = verdict::report(&job, &hookup, &model, &hello, &outcome).unwrap();
            assert_ne!(report.verdict, Verdict::Pass, "{defect}");
        }
    }
}
