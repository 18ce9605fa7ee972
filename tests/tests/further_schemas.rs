//! The schemas of the reports of wiggle tests, comebacks, standing drains, first powers,
//! touched points and the vehicle's own functions are made
//! from the types that are printed, and what is printed fits them.

use std::time::Duration;

use loomproof::bench::{Bare, Bench, Settings, Tip};
use loomproof::drain::course::Sample;
use loomproof::drain::report::{Drained, report};
use loomproof::hookup::propose;
use loomproof::link::{Link as _, VirtualProbe};
use loomproof::plan::{Plan, read};
use loomproof::records::record::{Record, Subject};
use loomproof::ringout::report::{ProbeReport, Verdict};
use loomproof::sheet::kit::Kit;
use loomproof::sheet::language::Language;
use loomproof::touch::report::{Sits, Task};
use loomproof::touch::told::Teller;
use loomproof::touch::{Answer, Groups, look};
use loomproof::{comeback, drain, first_power, jig, live, own, touch, wiggle};
use loomproof_core::units::Volts;
use loomproof_core::wire::{LeadId, Place};
use loomproof_tests::records;
use loomproof_tests::schemas::{fits, is_made_of, validator};
use loomproof_tests::skip::top;
use serde_json::{Value, json};

const WIGGLE: &str = "schemas/wiggle.schema.json";
const COMEBACK: &str = "schemas/comeback.schema.json";
const OWN: &str = "schemas/own.schema.json";
const POWER: &str = "schemas/first-power.schema.json";
const DRAIN: &str = "schemas/drain.schema.json";
const FOLLOW: &str = "schemas/follow.schema.json";
const TOUCH: &str = "schemas/touch.schema.json";
const JIG: &str = "schemas/jig.schema.json";
const KIT: &str = "schemas/kit.schema.json";

#[test]
fn the_schemas_are_those_of_the_types() {
    is_made_of::<wiggle::Report>(WIGGLE);
    is_made_of::<comeback::report::Report>(COMEBACK);
    is_made_of::<drain::Report>(DRAIN);
    is_made_of::<own::Report>(OWN);
    is_made_of::<first_power::Report>(POWER);
    is_made_of::<live::follow::Report>(FOLLOW);
    is_made_of::<touch::report::Report>(TOUCH);
    is_made_of::<jig::report::Report>(JIG);
    is_made_of::<Kit>(KIT);
}

#[test]
fn what_a_kit_list_prints_fits() {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml"));
    let plan = plan.unwrap_or_else(|error| panic!("{}", error.render(false)));
    let answers = plan
        .options()
        .iter()
        .filter_map(|option| Some((option.name.clone(), option.default.clone()?)))
        .collect();
    let job = plan.resolve(&answers).unwrap();
    let kit = Kit::of(&plan, &job, &Language::shipped("en").unwrap());
    let schema = validator(KIT);
    let printed = serde_json::to_value(&kit).unwrap();
    fits(&schema, &printed);
    for (path, bad) in [
        ("/leads/0/count", json!("one")),
        ("/leads/0/metres", json!("0.3 m")),
        ("/parts/0/sort", json!("bolt")),
        ("/not_needed/0/name", Value::Null),
        ("/wire", json!(7)),
    ] {
        let mut spoiled = printed.clone();
        *spoiled.pointer_mut(path).unwrap() = bad.clone();
        assert!(!schema.is_valid(&spoiled), "{path} = {bad}");
    }
}

#[test]
fn what_the_check_of_a_jig_prints_fits() {
    let jig = jig::file::load(&top().join("fixtures/jigs/bakery-van.jig.toml"), false).unwrap();
    let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
    let link = VirtualProbe::new(bench).session().unwrap();
    let mut found = jig::report::Findings::new(&jig);
    found.identity(&jig::Identity::Nothing);
    found.open(LeadId(3));
    let half = jig::report::HalfReport::new("X1", 12, None);
    let history = jig::history::History::default();
    let report = found.report(ProbeReport::of(link.hello()), &history, vec![half]);
    assert_eq!(report.findings.len(), 2);
    let schema = validator(JIG);
    let printed = serde_json::to_value(&report).unwrap();
    fits(&schema, &printed);
    for (path, bad) in [
        ("/verdict", json!("whole")),
        ("/number", json!("18")),
        ("/findings/0/kind", json!("code")),
        ("/findings/1/do", Value::Null),
        ("/halves/0/worst_ohms", json!("0.1 ohm")),
    ] {
        let mut spoiled = printed.clone();
        *spoiled.pointer_mut(path).unwrap() = bad.clone();
        assert!(!schema.is_valid(&spoiled), "{path} = {bad}");
    }
}

#[test]
fn what_touching_points_prints_fits() {
    let plan = Plan::load(&top().join("fixtures/plans/smallest.toml"));
    let plan = plan.unwrap_or_else(|error| panic!("{}", error.render(false)));
    let job = plan.resolve(&Default::default()).unwrap();
    let hookup = propose(&job, Place::Vehicle, 16).unwrap();
    let tip = Tip {
        lead: LeadId(15),
        on: vec![hookup.clips[0].point.clone()],
        chassis: false,
    };
    let settings = Settings {
        leads: 16,
        ..Settings::default()
    };
    let bench = Bench::touched(&job, &hookup, &[], &tip, &settings).unwrap();
    let mut link = VirtualProbe::new(bench).session().unwrap();
    let clips = hookup.clips.iter().map(|clip| clip.lead).collect();
    let seen = look(&mut link, Place::Vehicle, tip.lead, &clips).unwrap();
    let groups = Groups {
        apart: vec![[LeadId(0), LeadId(2)].into_iter().collect()],
        chassis: [LeadId(1)].into_iter().collect(),
    };
    let told = Teller::new(&job, &hookup, &groups).tell(&Answer::of(&seen).unwrap());
    assert_eq!(told.candidates, ["X1:4", "FB:2", "T1"]);
    let report = touch::report::Report {
        verdict: Verdict::Pass,
        title: job.title.clone(),
        plan_digest: job.digest.clone(),
        answers: job.answers.clone(),
        place: "vehicle".to_owned(),
        probe: ProbeReport::of(link.hello()),
        tip: tip.lead.to_string(),
        task: Task::Tell,
        touches: vec![told],
        clips: vec![Sits {
            lead: "P1".to_owned(),
            point: "X1:4".to_owned(),
            meant: None,
        }],
        open: Vec::new(),
        broken_off: false,
    };
    let schema = validator(TOUCH);
    let printed = serde_json::to_value(&report).unwrap();
    fits(&schema, &printed);
    for (path, bad) in [
        ("/verdict", json!("told")),
        ("/task", json!("guess")),
        ("/touches/0/kind", json!("air")),
        ("/touches/0/candidates", json!("X1:4")),
        ("/touches/0/volts", json!("12 V")),
        ("/clips/0/point", Value::Null),
    ] {
        let mut spoiled = printed.clone();
        *spoiled.pointer_mut(path).unwrap() = bad.clone();
        assert!(!schema.is_valid(&spoiled), "{path} = {bad}");
    }
}

/// A report as it was printed fits; spoiled in any of these ways it does not.
fn holds(file: &str, record: &Record, spoils: &[(&str, Value)]) {
    let schema = validator(file);
    fits(&schema, &record.report);
    for (path, bad) in spoils {
        let mut spoiled = record.report.clone();
        let place = spoiled.pointer_mut(path);
        *place.unwrap_or_else(|| panic!("{path}: {:#}", record.report)) = bad.clone();
        assert!(!schema.is_valid(&spoiled), "{file}: {path} = {bad}");
    }
    for key in ["verdict", "title", "answers"] {
        let mut spoiled = record.report.clone();
        spoiled.as_object_mut().unwrap().remove(key);
        assert!(!schema.is_valid(&spoiled), "{file}: without {key}");
    }
}

#[test]
fn what_a_wiggle_test_prints_fits() {
    let record = records::wiggle("intermittent@G1,gap=2ms,every=40ms");
    let apart = record.report["events"].as_array().unwrap();
    assert!(!apart.is_empty(), "nothing came apart");
    holds(
        WIGGLE,
        &record,
        &[
            ("/verdict", json!("good")),
            ("/joints/0/count", json!("twice")),
            ("/joints/0/watched_percent", Value::Null),
            ("/events/0/at_seconds", json!("soon")),
            ("/not_watched", json!([{"place": "X1:1"}])),
            ("/probe/leads", json!(-1)),
        ],
    );
}

#[test]
fn what_a_comeback_prints_fits() {
    let record = records::comeback();
    assert!(!record.report["groups"].as_array().unwrap().is_empty());
    holds(
        COMEBACK,
        &record,
        &[
            ("/groups/0/sets/0/0/whose", json!("nobody")),
            ("/groups/0/sets/0/0/say", Value::Null),
            ("/symptoms/chiller", json!("hums")),
            ("/next/bits", json!("many")),
            ("/battery_volts", json!("full")),
            ("/readings", json!(-1)),
        ],
    );
}

/// 20 mV across 1 Ω for ten minutes.
#[test]
fn what_a_standing_drain_prints_fits() {
    let smallest = std::fs::read_to_string(top().join("fixtures/plans/smallest.toml")).unwrap();
    let table = "[drain.main]\nshunt = \"1 ohm\"\nlimit = \"50 mA\"\nasleep_after = \"5 min\"\n\
                 place = \"fuse 12\"\n";
    let plan = read("parked.toml", &format!("{smallest}\n{table}")).unwrap();
    let job = plan.resolve(&Default::default()).unwrap();
    // Back as it was written.
    let again = read("again.toml", &plan.to_toml()).unwrap();
    assert!(again.same_content(&plan), "{}", plan.to_toml());
    let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
    let link = VirtualProbe::new(bench).session().unwrap();
    let samples: Vec<Sample> = (0..300)
        .map(|at| Sample {
            at: Duration::from_secs(2 * at),
            across: Volts(0.02),
        })
        .collect();
    let report = report(&Drained {
        job: &job,
        drain: &job.electrics.drains[0],
        hello: link.hello(),
        battery: Volts(12.6),
        samples: &samples,
        broken_off: false,
    });
    // 20 mA less 12.6 V / 23 kΩ.
    assert!(
        (report.settled.unwrap().estimate - 19.452).abs() < 0.01,
        "{report:#?}"
    );
    let record = Record::of(&report, Subject::default()).unwrap();
    assert_eq!(record.format, 2);
    holds(
        DRAIN,
        &record,
        &[
            ("/verdict", json!("asleep")),
            ("/settled/most", Value::Null),
            ("/ohms", json!([1.0])),
            ("/woke", json!(-1)),
            ("/across", json!(1)),
            ("/limit_milliamperes", json!("50 mA")),
        ],
    );
}

fn smallest() -> loomproof::plan::model::Job {
    let text = std::fs::read_to_string(top().join("fixtures/plans/smallest.toml")).unwrap();
    let plan = read("smallest.toml", &text).unwrap();
    plan.resolve(&Default::default()).unwrap()
}

/// Nothing measured, K1 tried by hand.
#[test]
fn what_is_noted_at_arrival_fits() {
    use own::report::{Gone, State, report};
    let job = smallest();
    let own = own::list(&job);
    let said = [("K1".to_owned(), State::Works)].into();
    let gone = |stage, said, arrival| {
        report(Gone {
            job: &job,
            own: &own,
            stage,
            vehicle: None,
            measured: None,
            said,
            remarks: vec!["radio".to_owned()],
            arrival,
            broken_off: false,
        })
    };
    let then = gone("arrival", &said, None);
    let now = gone(
        "hand-over",
        &[("K1".to_owned(), State::Fails)].into(),
        Some(&then),
    );
    let record = Record::of(&now, Subject::default()).unwrap();
    assert_eq!(record.report["functions"][0]["means"], "ours");
    holds(
        OWN,
        &record,
        &[
            ("/verdict", json!("noted")),
            ("/functions/0/state", json!("hums")),
            ("/functions/0/means", json!("yours")),
            ("/functions/0/how", Value::Null),
            ("/remarks", json!("radio")),
            ("/stage", json!(1)),
        ],
    );
}

#[test]
fn what_a_first_power_prints_fits() {
    use first_power::course::Course;
    use first_power::report::{PowerReport, Powered, report};
    use loomproof_core::units::Amperes;
    let job = smallest();
    let limit = Amperes(3.0);
    let look = PowerReport {
        points: Vec::new(),
        current: Some(Course::typed(Amperes(2.0), Amperes(0.1), limit)),
    };
    let report = report(Powered {
        job: &job,
        limit,
        shunt: false,
        probe: None,
        looks: (Some(look.clone()), Some(look)),
        broken_off: false,
    });
    let record = Record::of(&report, Subject::default()).unwrap();
    holds(
        POWER,
        &record,
        &[
            ("/verdict", json!("on")),
            ("/limit_amperes", json!("3 A")),
            ("/without/points", Value::Null),
            ("/with/current/rests", json!("yes")),
            ("/fuses", json!("F1")),
            ("/say", Value::Null),
        ],
    );
}
