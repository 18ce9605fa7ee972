//! `live --drain`: what flows with everything asleep, against Ohm's law by hand.

use serde_json::Value;

use crate::recorded::Bench;
use crate::support::Run;

/// The smallest plan with a place for the standing drain.
struct Parked {
    bench: Bench,
    plan: String,
}

impl Parked {
    fn new(table: &str) -> Self {
        let bench = Bench::new();
        let plan = bench.file("plan.toml");
        let text =
            std::fs::read_to_string(crate::support::top().join("fixtures/plans/smallest.toml"));
        std::fs::write(&plan, format!("{}\n[drain.main]\n{table}\n", text.unwrap())).unwrap();
        Self { bench, plan }
    }

    fn run(&self, more: &[&str]) -> Run {
        self.bench
            .run(&[&["live", &self.plan, "--drain"], more].concat())
    }

    fn report(&self, status: i32, plays: &str) -> Value {
        let run = self.run(&["--format", "json", "--plays", plays]);
        assert_eq!(run.status, status, "{run:#?}");
        run.json()
    }
}

const SHUNT: &str = "shunt = \"1 ohm\"\nlimit = \"50 mA\"\nasleep_after = \"5 min\"\n\
                     place = \"fuse 12 in the fuse box\"";
const FUSE: &str = "fuse_cold = [\"7 mohm\", \"8 mohm\"]\nlimit = \"50 mA\"\n\
                    asleep_after = \"5 min\"\nplace = \"fuse 12 in the fuse box\"";

/// Least, estimate and most of a current of the report, milliamperes.
fn current(report: &Value, which: &str) -> [f64; 3] {
    ["least", "estimate", "most"].map(|key| report[which][key].as_f64().unwrap())
}

/// 12.6 V across 12.6 V / 20 mA = 630 Ω and the shunt's 1 Ω are 19.97 mA; awake 12.6 V /
/// 2 A = 6.3 Ω beside it, 6.238 Ω and the shunt's 1 Ω are 1.741 A.
#[test]
fn a_shunt_shows_what_flows_asleep_and_awake() {
    let parked = Parked::new(SHUNT);
    let report = parked.report(0, "asleep=20mA,awake=2A,for=60s,every=1h");
    let [least, estimate, most] = current(&report, "settled");
    assert!((estimate - 19.97).abs() < 1.5, "{report:#}");
    assert!(
        least < 19.97 && 19.97 < most && most - least < 4.0,
        "{report:#}"
    );
    let [least, _, most] = current(&report, "highest");
    assert!(least < 1741.0 && 1741.0 < most, "{report:#}");
    assert_eq!(
        (&report["verdict"], &report["woke"]),
        (&"pass".into(), &0.into())
    );
    let asleep = report["asleep_after_seconds"].as_f64().unwrap();
    assert!(
        (175.0..200.0).contains(&asleep),
        "two minutes quiet after one awake: {asleep}"
    );
    // Kept, and told again.
    let record = parked.bench.json(&["records", "show", "1"])["record"].clone();
    assert_eq!(
        (&record["test"], &record["report"]),
        (&"drain".into(), &report)
    );
    let text = parked.bench.run(&["records", "show", "1"]).out;
    for words in [
        "PASS: the standing drain is below 50 mA",
        "Settled:",
        "Highest:  1.7",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}

/// 12.6 V across 126 Ω and 1 Ω: 99.2 mA.
#[test]
fn a_drain_above_the_limit_is_named() {
    let parked = Parked::new(SHUNT);
    let run = parked.run(&["--plays", "asleep=100mA"]);
    assert_eq!(run.status, 1, "{run:#?}");
    for words in [
        "FAULT: the standing drain is above 50 mA",
        "Do: Pull the fuses",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    let report = parked.report(1, "asleep=100mA");
    let [least, _, most] = current(&report, "settled");
    assert!(least > 50.0 && least < 99.2 && 99.2 < most, "{report:#}");
    // By its average, where something keeps waking up: 20 mA and 1.74 A for a thirtieth.
    let report = parked.report(1, "asleep=20mA,awake=2A,for=10s,every=5min");
    assert!(current(&report, "settled")[2] < 50.0, "{report:#}");
    assert!(current(&report, "average")[0] > 50.0, "{report:#}");
    assert!(report["woke"].as_u64().unwrap() >= 1, "{report:#}");
}

/// 20 mA across 7.5 mΩ are 0.15 mV; the probe knows 1.3 mV.
#[test]
fn what_a_fuse_cannot_tell_is_said_with_the_shunt_that_could() {
    let parked = Parked::new(FUSE);
    let run = parked.run(&["--plays", "asleep=20mA"]);
    assert_eq!(run.status, 5, "{run:#?}");
    for words in [
        "CANNOT TELL whether the standing drain is above 50 mA",
        "a shunt of 0.47 Ω",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    let report = parked.report(5, "asleep=20mA");
    assert_eq!(report["shunt_ohms"], 0.47);
    let [least, _, most] = current(&report, "settled");
    assert!(least < 20.0 && 50.0 < most, "{report:#}");
    // Two amperes that stay awake are seen across it: 15 mV.
    let report = parked.report(1, "asleep=2A");
    let [least, _, most] = current(&report, "settled");
    assert!(
        least > 50.0 && least < 2000.0 && most > 1990.0,
        "{report:#}"
    );
}

#[test]
fn what_never_rests_is_not_judged() {
    let parked = Parked::new(SHUNT);
    let report = parked.report(5, "asleep=20mA,awake=1A,for=10s,every=60s");
    assert_eq!(report["settled"], Value::Null, "{report:#}");
    assert!(
        report["say"].as_str().unwrap().contains("did not settle"),
        "{report:#}"
    );
    assert!(report["seconds"].as_f64().unwrap() >= 900.0, "{report:#}");
}

#[test]
fn what_the_plan_or_the_command_gets_wrong_is_said() {
    let limit = "limit = \"50 mA\"\nplace = \"fuse 12\"";
    for (table, words) in [
        (limit.to_owned(), "`shunt` is missing"),
        (
            format!("{limit}\n{FUSE_ALONE}\nshunt = \"1 ohm\""),
            "both `shunt` and `fuse_cold`",
        ),
        (
            format!("{limit}\n{FUSE_ALONE}\ntolerance = \"1 %\""),
            "`tolerance` without `shunt`",
        ),
        (
            format!("{limit}\nfuse_cold = [\"8 mohm\", \"7 mohm\"]"),
            "`fuse_cold` falls",
        ),
        (
            format!("{limit}\nfuse_cold = \"8 mohm\""),
            "is not two resistances",
        ),
        (
            "shunt = \"1 ohm\"\nplace = \"fuse 12\"".to_owned(),
            "`limit` is missing",
        ),
    ] {
        Parked::new(&table).run(&[]).fails(2, &[words]);
    }
    let parked = Parked::new(SHUNT);
    parked
        .run(&["--plays", "asleep"])
        .fails(2, &["asleep: write it as asleep=20mA"]);
    parked
        .run(&["--plays", "for=2h,every=1h"])
        .fails(2, &["for must be shorter"]);
    let bench = Bench::new();
    bench
        .run(&["live", "fixtures/plans/smallest.toml", "--drain"])
        .fails(
            2,
            &["states no place where the standing drain", "[drain.NAME]"],
        );
    bench
        .run(&["live", &parked.plan, "--drain=other"])
        .fails(2, &["--drain=main"]);
}

const FUSE_ALONE: &str = "fuse_cold = [\"7 mohm\", \"8 mohm\"]";
