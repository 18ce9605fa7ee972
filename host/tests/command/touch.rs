//! `touch`: what a tip touches is named; clips are proved or found by it.

use std::collections::BTreeMap;

use loomproof::bench::{Bench, Settings, Tip};
use loomproof::fault::spell::parse;
use loomproof::hookup::propose;
use loomproof::link::{Link, LinkError, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::touch::clips::point;
use loomproof::touch::{Answer, Look, look};
use loomproof_core::wire::{Hello, LeadId, LeadSet, Place, Reply, Request, Step};
use serde_json::Value;

use crate::support::{loomproof, top};

const SMALLEST: &str = "fixtures/plans/smallest.toml";
const VAN: &str = "fixtures/plans/bakery-van.toml";

fn touch(plan: &str, more: &[&str]) -> crate::support::Run {
    loomproof(&[&["touch", plan, "--defaults"], more].concat())
}

fn report(plan: &str, status: i32, more: &[&str]) -> Value {
    let run = touch(plan, &[more, &["--format", "json"]].concat());
    assert_eq!(run.status, status, "{run:#?}");
    run.json()
}

/// Kind and candidates of each touch.
fn told(report: &Value) -> Vec<(String, Vec<String>)> {
    let touches = report["touches"].as_array().unwrap().iter();
    touches
        .map(|touch| {
            let candidates = touch["candidates"].as_array().unwrap().iter();
            let candidates = candidates.map(|name| name.as_str().unwrap().to_owned());
            let kind = touch["kind"].as_str().unwrap().to_owned();
            (kind, candidates.collect())
        })
        .collect()
}

/// Where each lead was found.
fn sits(report: &Value) -> BTreeMap<String, String> {
    let clips = report["clips"].as_array().unwrap().iter();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    clips
        .map(|sits| (text(&sits["point"]), text(&sits["lead"])))
        .collect()
}

#[test]
fn what_is_touched_is_named_by_the_plan() {
    let plays = "FB:2,T1,chassis,G1,air,X1:1,X1:4+X1:5";
    let report = report(SMALLEST, 0, &["--plays", plays]);
    let told = told(&report);
    let kinds: Vec<&str> = told.iter().map(|(kind, _)| kind.as_str()).collect();
    assert_eq!(
        kinds,
        // X1:4 held onto X1:5 is held onto the chassis, where W2 ends.
        [
            "point", "point", "chassis", "chassis", "nothing", "nothing", "chassis"
        ],
        "{report:#}"
    );
    // One wire joins the tap, the cavity and the conductor; all are named.
    assert_eq!(told[0].1, ["X1:4", "FB:2", "T1"]);
    assert_eq!(told[1], told[0]);
    let first = &report["touches"][0];
    assert_eq!(first["leads"], serde_json::json!(["P1", "P3"]));
    assert!(
        first["say"].as_str().unwrap().contains("W1 BN"),
        "{first:#}"
    );
    assert_eq!(report["touches"][2]["points"], serde_json::json!(["X1:5"]));
}

#[test]
fn two_points_at_once_and_what_is_reached_through_a_part_are_said() {
    let report = report(VAN, 0, &["--plays", "X1:3+X1:9,X10:3,X1:7,R1:86"]);
    let says: Vec<&str> = (0..4)
        .map(|at| report["touches"][at]["say"].as_str().unwrap())
        .collect();
    assert!(
        says[0].starts_with("Two points at once: P3 (X1:3)"),
        "{report:#}"
    );
    assert!(says[0].contains("; and P9 (X1:9)"), "{report:#}");
    assert!(says[1].starts_with("X10:3, W9 PK (P27)"), "{report:#}");
    assert_eq!(report["touches"][0]["kind"], "two-points");
}

#[test]
fn an_exchanged_clip_answers_for_the_other() {
    let fault = "clips-exchanged@X10:1,with=X10:3";
    let run = touch(VAN, &["--at", "X10", "--prove", "--fault", fault]);
    assert_eq!(run.status, 1, "{run:#?}");
    for words in [
        "FAULT: 2 of 3 clips sit elsewhere",
        "P1 sits on X10:3; it belongs on X10:1.",
        "P3 sits on X10:1; it belongs on X10:3.",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    let healthy = touch(VAN, &["--at", "X10", "--prove"]);
    assert_eq!(healthy.status, 0, "{healthy:#?}");
    // Within one net as well: the two clips answer together either way.
    let fault = ["--prove", "--fault", "clips-exchanged@X1:4,with=FB:2"];
    let run = touch(SMALLEST, &fault);
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.out.contains("P1 sits on FB:2"), "{}", run.out);
}

/// The clips are put on in an order that the seed draws. What is found follows what
/// really sits there: exchanged on the bench, the same two are exchanged in the file.
#[test]
fn clips_that_were_put_on_as_they_came_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("clips.json").display().to_string();
    let make = ["--make", file.as_str(), "--leads", "16", "--seed", "5"];
    let made = sits(&report(SMALLEST, 0, &make));
    assert_eq!(made.len(), 3);
    assert_ne!(
        made["X1:4"], "P1",
        "an order that is none: take another seed"
    );
    let fault = ["--fault", "clips-exchanged@X1:4,with=X1:5"];
    let other = sits(&report(SMALLEST, 0, &[&make[..], &fault].concat()));
    assert_eq!(
        (&other["X1:4"], &other["X1:5"], &other["FB:2"]),
        (&made["X1:5"], &made["X1:4"], &made["FB:2"])
    );
    // And it is what a ring-out takes.
    report(SMALLEST, 0, &make);
    let rung = loomproof(&["ringout", SMALLEST, "--clips", &file, "--leads", "16"]);
    assert_eq!(rung.status, 0, "{rung:#?}");
    let lead = &made["X1:4"];
    let prove = report(SMALLEST, 0, &["--clips", &file, "--prove", "--leads", "16"]);
    assert_eq!(sits(&prove)["X1:4"], *lead);
    // A file of another plan is refused.
    let wrong = loomproof(&["ringout", VAN, "--defaults", "--clips", &file]);
    wrong.fails(2, &["another plan"]);
}

#[test]
fn clips_that_no_reading_tells_apart_are_asked_for() {
    let report = report(VAN, 5, &["--prove"]);
    let open = report["open"][0].as_str().unwrap();
    assert!(open.contains("--sits LEAD=POINT"), "{report:#}");
    assert!(
        report["clips"].as_array().unwrap().len() >= 39,
        "{report:#}"
    );
    // Read by the fitter, they are known.
    let sits = ["P38=F1:1", "P39=F1:2", "P40=R1:30"];
    let sits = sits.iter().flat_map(|sits| ["--sits", sits]);
    let all: Vec<&str> = std::iter::once("--prove").chain(sits).collect();
    let run = touch(VAN, &all);
    assert_eq!(run.status, 0, "{run:#?}");
    touch(VAN, &["--prove", "--sits", "P38=X9:9"]).fails(2, &["write it as P5=X1:4"]);
}

#[test]
fn something_live_is_named_and_a_live_clip_ends_it() {
    let live = ["--at", "X10", "--fault", "live@X13:1,volts=12.1"];
    let report = report(VAN, 0, &[&live[..], &["--plays", "X13:1,X10:3"]].concat());
    assert_eq!(report["touches"][0]["kind"], "live");
    let volts = report["touches"][0]["volts"].as_f64().unwrap();
    assert!((volts - 12.1).abs() < 0.2, "{volts}");
    assert_eq!(report["touches"][1]["candidates"][0], "X10:3");
    let run = touch(VAN, &["--fault", "live@X10:3,volts=12", "--plays", "X1:1"]);
    run.fails(4, &["P27 (X10:3) is live: 12", "Disconnect the battery"]);
}

/// A link that keeps the steps that were asked for.
struct Listening<L>(L, Vec<Step>);

impl<L: Link> Link for Listening<L> {
    fn hello(&self) -> &Hello {
        self.0.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        if let Request::Step(step) = request {
            self.1.push(step.clone());
        }
        self.0.exchange(request)
    }
}

/// Nothing is ever driven while the tip is on something live, and one source at most
/// otherwise: 3.3 V across 680 Ω are 4.85 mA.
#[test]
fn nothing_is_driven_onto_a_live_wire() {
    let plan = Plan::load(&top().join(VAN));
    let plan = plan.unwrap_or_else(|error| panic!("{}", error.render(false)));
    let answers = plan.options().iter();
    let answers = answers.filter_map(|it| Some((it.name.clone(), it.default.clone()?)));
    let job = plan.resolve(&answers.collect()).unwrap();
    let mut hookup = propose(&job, Place::Vehicle, 64).unwrap();
    hookup.clips.retain(|clip| clip.point.part() == "X10");
    let leads: LeadSet = hookup.clips.iter().map(|clip| clip.lead).collect();
    for (volts, on, dead) in [
        ("12.1", "X13:1", false),
        ("0.5", "X13:1", false),
        ("12.1", "X10:3", true),
    ] {
        let fault = parse(&format!("live@X13:1,volts={volts}"), &job).unwrap();
        let tip = Tip {
            lead: LeadId(60),
            on: vec![point(&job, on).unwrap()],
            chassis: false,
        };
        let bench = Bench::touched(&job, &hookup, &[fault], &tip, &Settings::default()).unwrap();
        let probe = VirtualProbe::new(bench);
        let bench = probe.bench().clone();
        let mut link = Listening(probe.session().unwrap(), Vec::new());
        let seen = look(&mut link, Place::Vehicle, tip.lead, &leads).unwrap();
        let most = bench.0.borrow().most_drive().0;
        if dead {
            assert!(
                matches!(Answer::of(&seen), Some(Answer::Leads(_))),
                "{seen:?}"
            );
            assert!(most > 1e-3 && most < 5e-3, "{most} A");
            assert!(!link.1.is_empty() && link.1.iter().all(|step| step.high.len() == 1));
        } else {
            assert!(matches!(seen, Look::Live(_)), "{volts}: {seen:?}");
            assert!(link.1.is_empty(), "{volts}: a step was asked for");
            assert_eq!(bench.0.borrow().driven().count(), 0);
        }
    }
}

#[test]
fn a_lead_that_is_clipped_is_no_tip() {
    touch(SMALLEST, &["--tip", "P1"]).fails(2, &["P1 is clipped"]);
    touch(SMALLEST, &["--tip", "P99"]).fails(2, &["64 leads"]);
    touch(SMALLEST, &["--plays", "X7:1"]).fails(2, &["the plan has no point X7:1"]);
    touch("fixtures/plans/bench-64.toml", &["--where", "bench"]).fails(2, &["none is left"]);
}
