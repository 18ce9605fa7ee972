//! Few probe leads, and a job that is done place by place.

use std::path::Path;

use crate::support::{Run, loomproof};

const VAN: &str = "fixtures/plans/bakery-van.toml";
const SOCKET: &str = "fixtures/plans/socket-13-pin.toml";

#[test]
fn few_leads_make_rounds() {
    let run = loomproof(&["hookup", SOCKET, "--defaults", "--leads", "8"]);
    assert_eq!(run.status, 0, "{run:#?}");
    for words in [
        "4 rounds of clips; no hook-up with so few probe leads needs fewer than 4.",
        "Round 4\n",
        "(stays)",
    ] {
        assert!(run.out.contains(words), "{words:?} is not in {}", run.out);
    }
    let listed = loomproof(&[
        "hookup",
        SOCKET,
        "--defaults",
        "--leads",
        "8",
        "--format",
        "json",
    ]);
    let listed = listed.json();
    let rounds = listed["rounds"].as_array().unwrap();
    assert_eq!(rounds.len(), 4);
    for round in rounds {
        assert!(round.as_array().unwrap().len() <= 8, "{round}");
    }
    loomproof(&["hookup", SOCKET, "--defaults", "--leads", "1"]).fails(2, &["2..=128"]);
}

#[test]
fn a_ring_out_in_rounds_says_which_clips_to_move_and_gives_one_verdict() {
    let args = ["ringout", VAN, "--defaults", "--leads", "16"];
    let healthy = loomproof(&args);
    assert_eq!(healthy.status, 0, "{healthy:#?}");
    healthy.speaks(&["Round 1 of 3. Clip:", "Round 3 of 3. Clip:", "(off X1:3)"]);
    let fault = [&args[..], &["--fault", "exchanged@X10:1,with=X10:2"]].concat();
    let run = loomproof(&[&fault[..], &["--format", "json"]].concat());
    assert_eq!(run.status, 1, "{run:#?}");
    let report = run.json();
    assert_eq!(report["rounds"], 3);
    let sets = report["groups"][0]["sets"].as_array().unwrap();
    let named = |set: &serde_json::Value| {
        set[0]["fault"] == "exchanged@X10:1,with=X10:2" && set[0]["round"].is_null()
    };
    assert!(sets.iter().any(named), "{sets:#?}");
}

/// A clip that sits wrong is put on in one round, and that round is named.
#[test]
fn a_clip_is_blamed_for_its_round() {
    let run = loomproof(&[
        "ringout",
        VAN,
        "--defaults",
        "--leads",
        "16",
        "--fault",
        "clip-misplaced@X10:2,to=X10:1",
        "--format",
        "json",
    ]);
    assert_eq!(run.status, 1, "{run:#?}");
    let report = run.json();
    let sets = report["groups"][0]["sets"].as_array().unwrap();
    let set = sets
        .iter()
        .find(|set| set[0]["fault"] == "clip-misplaced@X10:2,to=X10:1")
        .unwrap();
    let round = set[0]["round"].as_u64().unwrap();
    let say = set[0]["say"].as_str().unwrap();
    assert!(say.starts_with(&format!("Round {round}: ")), "{say}");
}

/// Whatever the probe has leads for.
#[test]
fn a_clip_that_no_round_has_is_refused_and_one_that_a_large_probe_has_is_not() {
    let args = ["ringout", VAN, "--defaults", "--fault"];
    for leads in ["16", "64", "128"] {
        let nowhere = [&args[..], &["clip-off@FB:4", "--leads", leads]].concat();
        loomproof(&nowhere).fails(2, &["there is no probe lead on FB:4"]);
        let there = [
            &args[..],
            &["clip-misplaced@X10:2,to=X10:1", "--leads", leads],
        ]
        .concat();
        assert_eq!(loomproof(&there).status, 1, "{leads} leads");
    }
}

#[test]
fn a_kept_scan_in_rounds_is_judged_again_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("scan.json");
    let path = file.to_str().unwrap();
    let fault = ["--fault", "high-resistance@X2:7,ohms=8"];
    let args = [
        "ringout",
        VAN,
        "--defaults",
        "--leads",
        "16",
        "--format",
        "json",
    ];
    let taken = loomproof(&[&args[..], &fault, &["--save", path]].concat());
    assert_eq!(taken.status, 1, "{taken:#?}");
    let kept = loomproof(&[
        "ringout",
        VAN,
        "--defaults",
        "--from",
        path,
        "--format",
        "json",
    ]);
    assert_eq!(kept.status, 1, "{kept:#?}");
    assert_eq!(kept.json()["groups"], taken.json()["groups"]);
    assert_eq!(kept.json()["rounds"], 3);
}

fn at(file: &Path, places: &[&str], more: &[&str]) -> Run {
    let mut args = vec!["ringout", VAN, "--so-far", file.to_str().unwrap()];
    for place in places {
        args.extend(["--at", place]);
    }
    args.extend(more);
    loomproof(&args)
}

#[test]
fn places_add_up_to_one_verdict() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("van.json");
    let first = at(&file, &["kick panel", "fuse box"], &["--defaults"]);
    assert_eq!(first.status, 5, "{first:#?}");
    for words in [
        "SO FAR GOOD",
        "load bay, front wall: X10:1, X10:2, X10:3 not rung out yet.",
    ] {
        assert!(
            first.out.contains(words),
            "{words:?} is not in {}",
            first.out
        );
    }
    // Whatever is left, with what it leads to.
    let rest = at(
        &file,
        &["kick panel", "load bay", "rear pillar", "cluster"],
        &[],
    );
    assert_eq!(rest.status, 0, "{rest:#?}");
    assert!(rest.out.starts_with("PASS"), "{}", rest.out);
    let whole = loomproof(&[
        "ringout",
        VAN,
        "--defaults",
        "--from",
        file.to_str().unwrap(),
    ]);
    assert_eq!(whole.status, 0, "{whole:#?}");
}

/// A lead that ends in two places is proved once both were within reach
/// together, and a fault between them is seen then.
#[test]
fn a_fault_between_two_places_shows_when_both_are_there() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("van.json");
    let fault = ["--defaults", "--fault", "open@W5"];
    let first = at(&file, &["fuse box"], &fault);
    assert_eq!(first.status, 5, "{first:#?}");
    let second = at(&file, &["left kick panel", "load bay"], &fault);
    assert_eq!(second.status, 1, "{second:#?}");
    assert!(second.out.contains("W5"), "{}", second.out);
    // What is left to do is said beside it.
    assert!(second.out.contains("Still to do:"), "{}", second.out);
}

#[test]
fn an_answer_that_changes_keeps_what_was_read() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("van.json");
    let everything = at(&file, &[], &["--defaults"]);
    assert_eq!(everything.status, 0, "{everything:#?}");
    let changed = at(&file, &["fuse box"], &["--answer", "second-battery=yes"]);
    changed.speaks(&[
        "Answer changed: second-battery is yes, it was no.",
        "What was read before is judged by the new answers.",
    ]);
    // The virtual bench has the wiring of the new answer from now on; what was
    // read of the old one does not show all of it, or contradicts it.
    assert!([1, 5].contains(&changed.status), "{changed:#?}");
}

#[test]
fn a_place_that_is_not_there() {
    loomproof(&["ringout", VAN, "--defaults", "--at", "glove box"]).fails(
        2,
        &[
            "nothing of this plan is at \"glove box\"",
            "left kick panel",
        ],
    );
    loomproof(&["hookup", VAN, "--defaults", "--at", "R1"])
        .fails(2, &["nothing to touch at the places given"]);
}

#[test]
fn a_file_of_another_plan_or_place_is_not_added_to() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("van.json");
    assert_eq!(at(&file, &["fuse box"], &["--defaults"]).status, 5);
    let before = std::fs::read(&file).unwrap();
    let path = file.to_str().unwrap();
    loomproof(&["ringout", SOCKET, "--defaults", "--so-far", path]).fails(2, &["plan"]);
    at(&file, &["fuse box"], &["--defaults", "--where", "bench"])
        .fails(2, &["taken elsewhere", "--where vehicle"]);
    assert_eq!(std::fs::read(&file).unwrap(), before);
}
