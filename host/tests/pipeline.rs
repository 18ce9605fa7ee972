//! Each arrow of the way from plan to report, on the fixture plans.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::{Model, build};
use loomproof::fault::spell::{KINDS, parse};
use loomproof::fault::{Fault, catalogue};
use loomproof::hookup::rounds::rounds;
use loomproof::hookup::{Hookup, HookupError, Point, Within, propose};
use loomproof::link::{Link, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::plan::model::{Job, Side};
use loomproof::ringout::recording::{Recording, RecordingError, Slot};
use loomproof::ringout::report::{Report, Verdict};
use loomproof::ringout::{Outcome, Round, Taken, run, verdict};
use loomproof_core::wire::Place;

fn job(plan: &str) -> Job {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../fixtures/plans")
        .join(plan);
    Plan::load(&path)
        .unwrap()
        .resolve(&BTreeMap::new())
        .unwrap()
}

const CASES: [(&str, Place); 8] = [
    ("smallest.toml", Place::Vehicle),
    ("smallest.toml", Place::Bench),
    ("bakery-van.toml", Place::Vehicle),
    ("bakery-van.toml", Place::Bench),
    ("socket-13-pin.toml", Place::Vehicle),
    ("socket-13-pin.toml", Place::Bench),
    ("bench-64.toml", Place::Vehicle),
    ("bench-64.toml", Place::Bench),
];

fn set_up(plan: &str, place: Place) -> (Job, Hookup, Model) {
    let job = job(plan);
    let hookup = propose(&job, place, 64).unwrap();
    let model = build(&job, &hookup).unwrap();
    (job, hookup, model)
}

/// What can be reached at one place of the plan.
fn set_up_at(plan: &str, place: Place, at: &str) -> (Job, Hookup, Model) {
    let job = job(plan);
    let within = Within::of(&job, &[at.to_owned()]).unwrap();
    let hookup = rounds(&job, place, 64, &within).unwrap().hookups.remove(0);
    let model = build(&job, &hookup).unwrap();
    (job, hookup, model)
}

fn scan(job: &Job, hookup: &Hookup, model: &Model, faults: &[Fault]) -> (Report, Vec<Taken>) {
    let bench = Bench::new(job, hookup, faults, &Settings::default()).unwrap();
    let mut link = VirtualProbe::new(bench).session().unwrap();
    let outcome = run::run(&mut link, model, hookup.place, &mut |_| {}).unwrap();
    let report = verdict::report(job, hookup, model, link.hello(), &outcome).unwrap();
    match outcome {
        Outcome::Complete(taken) => (report, taken),
        Outcome::Refused(stop) => (report, stop.taken),
    }
}

#[test]
fn every_fault_is_spelled_as_it_is_read_and_changes_the_circuit() {
    let mut kinds = std::collections::BTreeSet::new();
    let whole = CASES.map(|(plan, place)| (plan, place, None));
    // Connectors are open or plugged for a place alone.
    let parts =
        ["right kick panel", "load bay"].map(|at| ("work-lamp.toml", Place::Vehicle, Some(at)));
    for (plan, place, at) in whole.into_iter().chain(parts) {
        let (job, hookup, model) = match at {
            None => set_up(plan, place),
            Some(at) => set_up_at(plan, place, at),
        };
        let faults = catalogue::all(&job, &hookup);
        assert!(!faults.is_empty(), "{plan}");
        let mut spellings = std::collections::BTreeSet::new();
        for fault in faults {
            let spelling = fault.to_string();
            assert_eq!(
                parse(&spelling, &job).as_ref(),
                Ok(&fault),
                "{plan}: {spelling}"
            );
            assert!(
                spellings.insert(spelling.clone()),
                "{plan} lists {spelling} twice"
            );
            assert!((1e-9..0.1).contains(&fault.prior()), "{spelling}");
            let changes = fault.edits(&model).map_or(0, |edits| edits.len());
            assert_eq!(changes > 0, fault.kind() != "live", "{plan}: {spelling}");
            kinds.insert(fault.kind());
        }
    }
    let known: std::collections::BTreeSet<&str> = KINDS.iter().map(|(kind, ..)| *kind).collect();
    assert_eq!(kinds, known, "every kind occurs in some fixture");
}

#[test]
fn misspelled_faults_say_how_to_spell_them() {
    let job = job("smallest.toml");
    for (spelling, wanted) in [
        ("opne@X1:4", "not a kind of fault"),
        ("open", "no place"),
        ("open@X1:3", "no lead of this plan ends at X1:3"),
        ("high-resistance@X1:4", "needs ohms"),
        ("high-resistance@X1:4,ohms=NaN", "must be a number"),
        ("high-resistance@X1:4,ohms=1e99", "must be a number"),
        ("wrong-cavity@X1:4,to=X1:5", "exchanged@"),
        ("wrong-cavity@X1:4,to=X1:99", "no cavity 99"),
        ("exchanged@X1:4,with=X1:4", "with itself"),
        ("tap-neighbour@T1,on=K1", "belongs on"),
        ("short@W1,with=W1", "touch itself"),
        ("cap-touching@W1,with=W2", "no capped end"),
        ("open@X1:4,ohms=3", "does not belong"),
        ("mirrored@X9", "no connector X9"),
        ("mirrored@FB", "no terminal of this harness"),
        ("shifted@X1", "needs by"),
        ("shifted@X1,by=2", "must be 1 or -1"),
        ("sets-exchanged@X1,with=FB", "not two connectors"),
        ("sets-exchanged@X1,with=X1", "not two connectors"),
        ("occupied@X1:4", "needs ohms"),
        ("occupied@X1:3,ohms=50", "no terminal of this harness"),
        ("reversed@R1", "no diode and no relay R1"),
        ("missing@W1", "no relay, diode, lamp or fuse W1"),
        ("blown@T1", "no fuse and no lamp T1"),
        ("clip-off@X1", "not a cavity"),
        ("clip-off@X1:9", "no cavity 9"),
        ("clips-exchanged@X1:4,with=X1:4", "with itself"),
        ("clip-misplaced@X1:4,to=X1:4", "meant for"),
    ] {
        let error = parse(spelling, &job).unwrap_err().to_string();
        assert!(error.contains(wanted), "{spelling}: {error}");
        assert!(error.contains("for example"), "{error}");
    }
}

/// Of a whole connector and of the probe's leads only what has no shorter name
/// is listed, and what is spelled nevertheless is taken.
#[test]
fn one_finding_has_one_name() {
    let (job, hookup, model) = set_up("bakery-van.toml", Place::Vehicle);
    let listed: Vec<String> = catalogue::all(&job, &hookup)
        .iter()
        .map(ToString::to_string)
        .collect();
    let has = |fault: &str| listed.iter().any(|other| other == fault);
    // Cavities 3, 9 and 10 of twelve in two rows; 7 and 8 in a row with a gap.
    for fault in ["mirrored@X1", "shifted@X1,by=1", "shifted@X1,by=-1"] {
        assert!(has(fault), "{fault}");
    }
    for fault in ["mirrored@X2", "shifted@X2,by=1", "mirrored@FB"] {
        assert!(parse(fault, &job).is_err() && !has(fault), "{fault}");
    }
    // Of two ways both: an exchange.
    let (mirrored, exchanged) = ("mirrored@X13", "exchanged@X13:1,with=X13:2");
    assert!(!has(mirrored) && has(exchanged));
    let both = [mirrored, exchanged].map(|s| parse(s, &job).unwrap().edits(&model).unwrap());
    assert_eq!(both[0].len(), both[1].len());
    assert!(both[0].iter().all(|edit| both[1].contains(edit)));
    // The same connectors in either order are one fault.
    let (one, other) = ("sets-exchanged@X11,with=X12", "sets-exchanged@X12,with=X11");
    assert!(has(one) && !has(other));
    assert_eq!(parse(one, &job), parse(other, &job));
    // A harness's own connector holds no wire of the vehicle.
    assert!(has("occupied@X1:3,ohms=50"));
    assert!(parse("occupied@X10:1,ohms=50", &job).is_err());
    // X1:4 is spare and clipped, X2:6 is neither led nor clipped.
    assert!(has("clip-misplaced@X1:3,to=X1:4") && !has("clip-misplaced@X2:7,to=X2:6"));
    assert!(has("clips-exchanged@X1:9,with=X1:10") && !has("clip-off@X1:4"));
}

#[test]
fn a_hookup_touches_each_connector_from_its_side() {
    let (job, hookup, _) = set_up("bakery-van.toml", Place::Vehicle);
    for clip in &hookup.clips {
        if let Point::Cavity {
            connector, side, ..
        } = &clip.point
        {
            let planned = job
                .connectors
                .iter()
                .find(|c| c.name == *connector)
                .unwrap();
            assert_eq!(*side, planned.access, "{connector}");
        }
    }
    assert!(hookup.clips.iter().any(|c| matches!(
        &c.point,
        Point::Cavity {
            side: Side::Wire,
            ..
        }
    )));
    let few = propose(&job, Place::Vehicle, 8).unwrap_err();
    assert!(
        matches!(few, HookupError::TooFewLeads { leads: 8, .. }),
        "{few}"
    );
}

#[test]
fn a_recorded_scan_is_judged_as_the_scan_was() {
    let (job, hookup, model) = set_up("bakery-van.toml", Place::Vehicle);
    let fault = parse("wrong-cavity@X1:3,to=X1:4", &job).unwrap();
    let (report, taken) = scan(&job, &hookup, &model, &[fault]);
    let folder = tempfile::tempdir().unwrap();
    let file: PathBuf = folder.path().join("scan.json");
    let bench = Bench::new(&job, &hookup, &[], &Settings::default()).unwrap();
    let hello = VirtualProbe::new(bench).session().unwrap().hello().clone();
    let round = Round {
        hookup: &hookup,
        model: &model,
        taken: &taken,
    };
    Slot::reserve(&file)
        .and_then(|slot| slot.keep(&Recording::new(&job, hookup.place, &[round], &hello)))
        .unwrap();
    let kept = Recording::load(&file).unwrap();
    assert_eq!(
        kept.rounds(&file, &job).unwrap(),
        [(hookup.clone(), taken.clone(), Vec::new())]
    );
    assert_eq!(kept.hello(), hello);
    let again = verdict::report(&job, &hookup, &model, &hello, &Outcome::Complete(taken)).unwrap();
    let words = |r: &Report| serde_json::to_string(&r.groups).unwrap();
    assert_eq!(words(&report), words(&again));
    let other = job_with_digest(&job);
    let error = kept.rounds(&file, &other).unwrap_err();
    assert!(
        matches!(error, RecordingError::Mismatch { what: "plan", .. }),
        "{error}"
    );
}

fn job_with_digest(job: &Job) -> Job {
    Job {
        digest: "0".repeat(64),
        ..job.clone()
    }
}

#[test]
fn two_faults_in_different_places_are_both_named() {
    let (job, hookup, model) = set_up("bakery-van.toml", Place::Vehicle);
    let spellings = ["tap-missed@T5", "exchanged@X10:1,with=X10:2"];
    let faults: Vec<Fault> = spellings.iter().map(|s| parse(s, &job).unwrap()).collect();
    let (report, _) = scan(&job, &hookup, &model, &faults);
    assert_eq!(report.verdict, Verdict::Faults);
    let named = report.groups[0]
        .sets
        .iter()
        .any(|set| set.len() == 2 && spellings.iter().all(|s| set.iter().any(|f| f.fault == *s)));
    assert!(named, "{:?}", report.groups[0]);
    assert!(report.next_reading.is_some());
}

#[test]
fn a_tap_on_its_neighbour_is_told_from_a_tap_that_missed() {
    let (job, hookup, model) = set_up("bakery-van.toml", Place::Vehicle);
    for spelling in ["tap-neighbour@T1,on=K1", "tap-missed@T1"] {
        let fault = parse(spelling, &job).unwrap();
        let (report, _) = scan(&job, &hookup, &model, &[fault]);
        let best: Vec<&str> = report.groups[0]
            .sets
            .iter()
            .flatten()
            .map(|f| f.fault.as_str())
            .collect();
        assert!(best.contains(&spelling), "{best:?}");
        let other = if spelling.starts_with("tap-m") {
            "tap-neighbour@T1,on=K1"
        } else {
            "tap-missed@T1"
        };
        assert!(!best.contains(&other), "{best:?}");
    }
}

#[test]
fn the_kept_scan_among_the_fixtures_passes_and_an_altered_one_does_not() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/scans/bench-64.json");
    let (job, planned, model) = set_up("bench-64.toml", Place::Bench);
    let kept = Recording::load(&file).unwrap();
    let (hookup, mut taken, _) = kept.rounds(&file, &job).unwrap().remove(0);
    assert_eq!(hookup, planned);
    let judged = |taken: &[Taken]| {
        let outcome = Outcome::Complete(taken.to_vec());
        verdict::report(&job, &hookup, &model, &kept.hello(), &outcome)
            .unwrap()
            .verdict
    };
    assert_eq!(judged(&taken), Verdict::Pass);
    // 100 mV more on one reading.
    let reading = &mut taken[0].readings[0];
    let loomproof_core::wire::Reading::Volts(level) = reading else {
        panic!("{reading:?}")
    };
    level.0 += 100_000;
    assert_eq!(judged(&taken), Verdict::Faults);
}
