//! First power: through a stated limit, own fuses last.

use serde_json::Value;

use crate::support::{self, Run, loomproof};

const VAN: &str = "fixtures/plans/bakery-van.toml";
const STAGE: [&str; 5] = ["live", VAN, "--defaults", "--stage", "first-power"];
const SHUNT: [&str; 4] = ["--limit", "3 A", "--shunt", "0.1 ohm"];

fn power(more: &[&str]) -> Run {
    loomproof(&[&STAGE[..], &SHUNT, &["--format", "json"], more].concat())
}

fn verdicts(look: &Value) -> Vec<&str> {
    let points = look["points"].as_array().unwrap();
    points
        .iter()
        .map(|it| it["verdict"].as_str().unwrap())
        .collect()
}

/// A lamp check of four seconds, up to the limit, is no fault; in order, each step is
/// asked for.
#[test]
fn a_healthy_job_gets_its_power_and_a_lamp_check_is_no_fault() {
    let run = power(&["--draws", "asleep=100mA,awake=3A,for=4s"]);
    assert_eq!(run.status, 0, "{run:#?}");
    let steps = [
        "[1 of 4] Battery off. Own fuses out: F1",
        "[2 of 4] Battery on, through the limit of 3 A",
        "[3 of 4] Battery off. P2 to the other side",
        "[4 of 4] Battery off. Own fuses in: F1",
    ];
    let at: Vec<usize> = steps
        .iter()
        .map(|step| {
            run.err
                .find(step)
                .unwrap_or_else(|| panic!("{step}: {}", run.err))
        })
        .collect();
    assert!(at.is_sorted(), "{at:?}");
    let report = run.json();
    for look in [&report["without"], &report["with"]] {
        assert_eq!(verdicts(look), ["as expected"; 2]);
        let current = &look["current"];
        let rest = current["rest_amperes"].as_f64().unwrap();
        assert!((rest - 0.1).abs() < 0.01, "{current}");
        assert!(
            current["highest_amperes"].as_f64().unwrap() > 2.5,
            "{current}"
        );
        let more = current["more_for_seconds"].as_f64().unwrap();
        assert!((2.5..4.5).contains(&more), "{current}");
        assert_eq!(
            (&current["rests"], &current["limited"]),
            (&true.into(), &false.into())
        );
    }
    assert_eq!(
        report["without"]["points"][1]["volts"], 0.0,
        "the fuse is out"
    );
    assert!(report["with"]["points"][1]["volts"].as_f64().unwrap() > 11.0);
}

/// A powered short behind the own fuse is said before the fuse goes in.
#[test]
fn a_short_behind_the_own_fuse_is_said_before_it_goes_in() {
    for seed in ["1", "2", "3"] {
        let run = power(&["--fault", "short@W5,with=chassis", "--seed", seed]);
        assert_eq!(run.status, 1, "{run:#?}");
        assert!(!run.err.contains("Own fuses in"), "{}", run.err);
        let report = run.json();
        assert_eq!(report["with"], Value::Null);
        assert_eq!(verdicts(&report["without"]), ["as expected", "off"]);
        assert!(
            report["say"].as_str().unwrap().contains("a short"),
            "{report:#}"
        );
        assert!(
            report["do"]
                .as_str()
                .unwrap()
                .contains("Leave the fuse out")
        );
    }
    // A feed that is dead shows in front of it.
    let run = power(&["--fault", "dead-feed@C3"]);
    assert_eq!(run.status, 1, "{run:#?}");
    assert_eq!(verdicts(&run.json()["without"])[0], "off");
}

#[test]
fn what_stays_at_the_limit_ends_it() {
    let run = power(&["--draws", "asleep=2.9A,awake=1mA,for=1s"]);
    assert_eq!(run.status, 1, "{run:#?}");
    let report = run.json();
    assert_eq!(report["with"], Value::Null);
    assert_eq!(report["without"]["current"]["limited"], true);
    assert!(
        report["say"]
            .as_str()
            .unwrap()
            .contains("stays at the limit")
    );
    // A fuse that is blown when it goes in.
    let run = power(&["--fault", "blown@F1"]);
    assert_eq!(run.status, 1, "{run:#?}");
    assert_eq!(verdicts(&run.json()["with"]), ["as expected", "off"]);
}

fn typed(lines: &str) -> Run {
    support::typed(&[&STAGE[..], &["--limit", "3 A"]].concat(), lines)
}

#[test]
fn the_current_can_be_typed_in() {
    let run = typed("2,8\n0.2\nmuch\n3 A\n0.25\n");
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(
        run.out.contains("2.80 A at first, then 0.20 A at rest"),
        "{}",
        run.out
    );
    run.speaks(&["Please type amperes"]);
    let run = typed("3\n2.95\n");
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.out.contains("that is the limit"), "{}", run.out);
    let run = typed("\n\n");
    assert_eq!(run.status, 5, "{run:#?}");
    assert!(run.out.contains("the current was not read"), "{}", run.out);
}

#[test]
fn the_limit_has_to_be_stated() {
    loomproof(&STAGE).fails(2, &["--limit \"3 A\""]);
    loomproof(&[&STAGE[..], &["--limit", "much"]].concat()).fails(2, &["--limit much"]);
    let live = ["live", VAN, "--defaults", "--limit", "3 A"];
    loomproof(&live).fails(2, &["for --stage first-power"]);
}
