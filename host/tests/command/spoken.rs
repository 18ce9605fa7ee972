//! What `ringout` says when it is asked for more, and what is attested.

use serde_json::Value;

use crate::support::loomproof;

const VAN: &str = "fixtures/plans/bakery-van.toml";

fn states(checks: &Value) -> Vec<(String, String)> {
    let text = |check: &Value, key: &str| check[key].as_str().unwrap().to_owned();
    let checks = checks.as_array().unwrap().iter();
    checks
        .map(|c| (text(c, "place"), text(c, "state")))
        .collect()
}

#[test]
fn a_place_is_attested_and_the_others_stay_open() {
    let run = loomproof(&[
        "ringout",
        VAN,
        "--defaults",
        "--attest",
        "X1",
        "--format",
        "json",
    ]);
    assert_eq!(run.status, 0, "{}", run.err);
    let report: Value = serde_json::from_str(&run.out).unwrap();
    let states = states(&report["hand_checks"]);
    assert!(states.len() > 5);
    for (place, state) in states {
        assert_eq!(
            state,
            if place == "X1" { "attested" } else { "open" },
            "{place}"
        );
    }
}

#[test]
fn a_pass_says_how_its_hand_checks_stand() {
    let open = loomproof(&["ringout", VAN, "--defaults"]);
    assert!(
        open.out
            .starts_with("PASS: electrically good, hand checks open"),
        "{}",
        open.out
    );
    assert!(open.out.contains(" [ ] X1"));
    let done = loomproof(&["ringout", VAN, "--defaults", "--attest", "all"]);
    assert!(
        done.out
            .starts_with("PASS: as planned, hand checks attested"),
        "{}",
        done.out
    );
    assert!(
        done.out.contains(" [x] X1") && !done.out.contains(" [ ] "),
        "{}",
        done.out
    );
}

#[test]
fn a_place_without_hand_checks_is_told_before_anything_is_measured() {
    let run = loomproof(&["ringout", VAN, "--defaults", "--attest", "X99"]);
    run.fails(2, &["--attest X99", "X1", "all"]);
}

#[test]
fn readings_for_and_against_are_shown_when_asked_for() {
    let fault = "exchanged@X1:9,with=X1:10";
    let plain = loomproof(&["ringout", VAN, "--defaults", "--fault", fault]);
    assert!(!plain.out.contains("speak for it"));
    let explained = loomproof(&["ringout", VAN, "--defaults", "--fault", fault, "--explain"]);
    let (_, readings) = explained
        .out
        .split_once("Readings that speak for it:")
        .unwrap();
    // What is exchanged is read where it should not be.
    assert!(
        readings.contains("(X1:9)") && readings.contains("(X1:10)"),
        "{readings}"
    );
    assert!(
        readings.contains("by the plan") && readings.contains("with this"),
        "{readings}"
    );
    // In the data, what speaks for it makes the reading likelier.
    let json = loomproof(&[
        "ringout",
        VAN,
        "--defaults",
        "--fault",
        fault,
        "--format",
        "json",
    ]);
    let report: Value = serde_json::from_str(&json.out).unwrap();
    let best = report["groups"][0]["because"].as_array().unwrap();
    assert!(
        best.iter().any(|one| one["weight"].as_f64().unwrap() > 3.0),
        "{best:?}"
    );
    let readings = report["readings"].as_array().unwrap();
    for one in best {
        let at = one["reading"].as_u64().unwrap() as usize;
        let point = readings[at]["point"].as_str().unwrap();
        assert!(one["say"].as_str().unwrap().contains(point), "{one}");
    }
}

#[test]
fn further_test_points_show_what_they_are_said_to() {
    let run = loomproof(&["hookup", VAN, "--defaults", "--format", "json"]);
    let listing: Value = serde_json::from_str(&run.out).unwrap();
    let hidden: Vec<&str> = listing["not_covered"]
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| fault.as_str().unwrap())
        .collect();
    let extras = listing["extra_points"].as_array().unwrap();
    assert!(!extras.is_empty());
    let mut shown = Vec::new();
    for extra in extras {
        for fault in extra["shows"].as_array().unwrap() {
            let fault = fault.as_str().unwrap();
            assert!(hidden.contains(&fault), "{fault} was seen already");
            assert!(!shown.contains(&fault), "{fault} is shown twice");
            shown.push(fault);
        }
    }
    let isolated = listing["isolated"].as_u64().unwrap();
    let covered = listing["covered"].as_u64().unwrap();
    assert!(
        0 < isolated && isolated < covered,
        "{isolated} of {covered}"
    );
}
