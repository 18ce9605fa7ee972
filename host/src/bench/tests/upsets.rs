//! Spelling upsets, and what each does in the bakery van and at the socket.

use crate::bench::tests::powered_plans::{plan, settings};
use crate::bench::upset::{KINDS, all, parse};
use crate::bench::{Bench, BenchError, Upset};
use crate::hookup::propose;
use crate::plan::model::Job;
use loomproof_core::wire::Place;
use std::collections::BTreeSet;

fn job(name: &str) -> Job {
    plan(name).resolve(&Default::default()).expect("a job")
}

fn powered(job: &Job, upsets: &[&str]) -> Bench {
    let upsets: Vec<Upset> = upsets
        .iter()
        .map(|text| parse(text, job).unwrap_or_else(|error| panic!("{error}")))
        .collect();
    let hookup = propose(job, Place::Vehicle, 128).expect("a hook-up");
    Bench::powered(job, &hookup, &[], &upsets, &settings(1, false)).expect("a bench")
}

fn stands(bench: &Bench, place: &str) -> f64 {
    bench.stands_at(place).expect("a place").value()
}

#[test]
fn every_upset_of_every_fixture_is_read_as_it_is_written_and_fits() {
    let mut kinds = BTreeSet::new();
    for name in ["smallest", "bakery-van", "socket-13-pin", "bench-64"] {
        let job = job(name);
        let hookup = propose(&job, Place::Vehicle, 128).expect("a hook-up");
        let listed = all(&job);
        let spelled: BTreeSet<String> = listed.iter().map(Upset::to_string).collect();
        assert_eq!(spelled.len(), listed.len(), "{name}: each once");
        for (number, upset) in listed.iter().enumerate() {
            kinds.insert(upset.kind());
            assert_eq!(parse(&upset.to_string(), &job).as_ref(), Ok(upset));
            // Every seventh goes on the bench, and every one that is no joint.
            if number % 7 == 0 || upset.kind() != "intermittent" {
                let upsets = std::slice::from_ref(upset);
                let bench = Bench::powered(&job, &hookup, &[], upsets, &settings(2, true));
                let bench = bench.unwrap_or_else(|error| panic!("{name} {upset}: {error}"));
                assert_eq!(bench.trouble(), None, "{name} {upset}");
            }
        }
    }
    let known: BTreeSet<&str> = KINDS.iter().map(|(kind, ..)| *kind).collect();
    assert_eq!(kinds, known);
}

#[test]
fn each_does_what_it_says_in_the_van() {
    let van = job("bakery-van");
    let mut dead = powered(&van, &["dead-feed@K2"]);
    let mut good = powered(&van, &[]);
    for bench in [&mut dead, &mut good] {
        bench.set_switch("ignition", "on").expect("a switch");
    }
    assert!(stands(&dead, "K2").abs() < 0.01 && stands(&good, "K2") > 12.0);
    assert_eq!(
        (dead.pulled_in("R1"), good.pulled_in("R1")),
        (Some(false), Some(true))
    );
    assert!(stands(&dead, "X10:1") < 0.1 && stands(&good, "X10:1") > 11.0);

    let mut aloft = powered(&van, &["no-ground@K8"]);
    for bench in [&mut aloft, &mut good] {
        bench.set_switch("door-left", "open").expect("a switch");
    }
    assert!(stands(&aloft, "K8") > 8.0 && stands(&good, "K8") < 0.05);

    let stuck = powered(&van, &["stuck@bay-light,state=on"]);
    assert!(stands(&stuck, "X11:2") < 0.5 && stands(&good, "X11:2") > 12.0);

    // Both lamps out: nothing pulls their minus side up any more but the module's 2 kΩ.
    let out = powered(
        &van,
        &[
            "bulb-out@LAMP-L",
            "bulb-out@LAMP-R",
            "stuck@bay-light,state=on",
        ],
    );
    assert!(stands(&out, "X11:2").abs() < 0.01);

    let mut low = powered(&van, &["voltage@K2,volts=7"]);
    low.set_switch("ignition", "on").expect("a switch");
    assert!((6.5..7.0).contains(&stands(&low, "K2")));
    assert_eq!(low.pulled_in("R1"), Some(false), "7 V do not pull it in");
}

#[test]
fn a_wrong_rate_flashes_at_that_rate() {
    let socket = job("socket-13-pin");
    let mut bench = powered(&socket, &["wrong-rate@K1,rate=180"]);
    bench.set_switch("indicators", "hazard").expect("a switch");
    let both = |bench: &Bench| (stands(bench, "X20:1") > 6.0, stands(bench, "X20:4") > 6.0);
    assert_eq!(both(&bench), (true, true));
    bench.wait(200_000_000);
    assert_eq!(
        both(&bench),
        (false, true),
        "180 a minute is off after 167 ms"
    );
    bench.wait(200_000_000);
    assert_eq!(
        both(&bench),
        (true, false),
        "90 a minute is off after 333 ms"
    );
}

#[test]
fn what_is_spelled_wrong_is_named() {
    let van = job("bakery-van");
    for (text, said) in [
        ("open@X1:3", "\"open\" is not a kind of upset"),
        ("dead-feed@", "no place after the @"),
        ("dead-feed@K99", "there is no conductor or pin K99"),
        ("dead-feed@K8", "never joins K8 to plus"),
        ("no-ground@K2", "never joins K2 to chassis"),
        (
            "dead-feed@K2,volts=3",
            "\"volts\" does not belong to this kind",
        ),
        ("stuck@ignition", "it needs state=…"),
        (
            "stuck@ignition,state=half",
            "ignition has no state half; it has off, on",
        ),
        ("stuck@choke,state=on", "there is no switch choke"),
        ("bulb-out@K2", "there is no load or lamp K2"),
        ("intermittent@X1:3,gap=300us", "it needs every=…"),
        (
            "intermittent@X1:3,gap=300,every=2s",
            "gap is a time such as 300us",
        ),
        ("intermittent@X1:3,gap=3s,every=2s", "shorter than every"),
        ("intermittent@X1:3,gap=0us,every=2s", "gap is above 0"),
        ("intermittent@X1:3,gap=1us,every=2h", "every is a time"),
        ("intermittent@S1,gap=1us,every=2s", "it needs lead=…"),
        (
            "intermittent@X1:3,gap=1us,every=2s,ohms=0",
            "ohms must be a number",
        ),
        ("wrong-rate@K2,rate=150", "K2 does not flash"),
        ("voltage@K2,volts=99", "volts must be a number from 0 to 36"),
        ("voltage@K8,volts=9", "never joins K8 to plus"),
    ] {
        let error = parse(text, &van).expect_err(text).to_string();
        assert!(error.contains(said), "{text}: {error}");
        assert!(error.contains("KIND@PLACE"), "{error}");
    }
}

#[test]
fn an_upset_that_no_spelling_gave_is_checked_as_well() {
    let van = job("bakery-van");
    let hookup = propose(&van, Place::Vehicle, 128).expect("a hook-up");
    let wrong = [Upset::DeadFeed("K99".into())];
    let bench = Bench::powered(&van, &hookup, &[], &wrong, &settings(1, false));
    assert!(matches!(bench.err(), Some(BenchError::Senseless { .. })));
    let twice = parse("intermittent@X1:3,gap=1us,every=2s", &van).expect("an upset");
    let twice = [twice.clone(), twice];
    let bench = Bench::upset(&van, &hookup, &[], &twice, &settings(1, false));
    assert!(matches!(bench.err(), Some(BenchError::Senseless { .. })));
}

#[test]
fn the_documented_kinds_are_the_kinds() {
    let text = include_str!("../../../../docs/upsets.md");
    let rows: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("| `"))
        .collect();
    let wanted: Vec<String> = KINDS
        .iter()
        .map(|(kind, example, meaning)| format!("| `{kind}` | `{example}` | {meaning} |"))
        .collect();
    assert_eq!(rows, wanted);
}
