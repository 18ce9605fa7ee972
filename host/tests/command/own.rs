//! The vehicle's own functions, noted at arrival and gone through again after the job.

use serde_json::Value;

use crate::support::{Run, loomproof, typed};

const VAN: &str = "fixtures/plans/bakery-van.toml";

/// What nobody has to be asked for: everything that the probe cannot see.
const KNOWN: [&str; 12] = [
    "--seen",
    "K1=works",
    "--seen",
    "K3=works",
    "--seen",
    "K7=fails",
    "--seen",
    "K10=works",
    "--seen",
    "K11=works",
    "--seen",
    "K12=not-tried",
];

fn go(file: &str, stage: &str, more: &[&str]) -> Run {
    let args = ["live", VAN, "--defaults", "--own", file, "--stage", stage];
    loomproof(&[&args[..], &["--format", "json"], more].concat())
}

/// One key of one function.
#[track_caller]
fn of<'v>(report: &'v Value, name: &str, key: &str) -> &'v str {
    let functions = report["functions"].as_array().unwrap();
    let found = functions.iter().find(|it| it["name"] == name);
    found.unwrap()[key].as_str().unwrap_or("null")
}

/// At arrival with a dead feed; then the same vehicle, then one in which the harness
/// has brought something down.
#[test]
fn what_was_wrong_at_arrival_is_told_from_what_came_with_the_harness() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("arrival.json");
    let file = file.to_str().unwrap();
    let at = ["--at", "FB", "--fault", "no-ground@K4"];
    let run = go(file, "arrival", &[&at[..], &KNOWN].concat());
    assert_eq!(run.status, 1, "{run:#?}");
    run.speaks(&[
        "Stage 1 of 9",
        "P1   FB:2 wire side",
        "P2   FB:7 wire side",
        "keep it until the vehicle goes back",
    ]);
    let noted = run.json();
    assert_eq!(of(&noted, "K2", "state"), "works");
    assert_eq!(of(&noted, "K2", "how"), "measured");
    assert_eq!(of(&noted, "K4", "state"), "does not work");
    assert_eq!(of(&noted, "K7", "how"), "attested");
    assert_eq!(of(&noted, "K8", "state"), "not tried", "out of reach");
    assert_eq!(of(&noted, "K4", "means"), "null");
    let kept: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
    assert_eq!(kept, noted);
    // The harness's short takes the ignition feed's fuse with it.
    let short = ["--fault", "short@W1,with=chassis"];
    let run = go(file, "recheck", &[&at[..], &short, &KNOWN].concat());
    assert_eq!(run.status, 1, "{run:#?}");
    let report = run.json();
    assert_eq!(report["verdict"], "faults");
    assert_eq!(of(&report, "K2", "at_arrival"), "works");
    assert_eq!(of(&report, "K2", "means"), "ours");
    assert_eq!(of(&report, "K7", "means"), "not ours");
    assert_eq!(of(&report, "K8", "means"), "nothing");
}

#[test]
fn at_hand_over_everything_is_tried_by_hand() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("arrival.json");
    let path = file.to_str().unwrap();
    let nowhere = ["--at", "X10"];
    assert_eq!(
        go(path, "arrival", &[&nowhere[..], &KNOWN].concat()).status,
        1
    );
    // Typed: K1, and the rest stays untried.
    let known = ["--seen", "K3=works", "--seen", "K7=works"];
    let args = [
        "live",
        VAN,
        "--defaults",
        "--own",
        path,
        "--stage",
        "hand-over",
    ];
    let lines = format!("maybe\nn\n{}left mirror heater\n\n", "\n".repeat(9));
    let run = typed(&[&args[..], &known].concat(), &lines);
    let (out, err) = (&run.out, &run.err);
    assert_eq!(run.status, 1, "{run:#?}");
    for words in [
        "FAULT: one function worked at arrival and not now: ours to look at",
        "Nothing was measured: what is said here was tried by hand",
        "K1, wiper feed: does not work (attested)",
        "Did not work at arrival, works now:\n ok    K7, number-plate lamp: works (attested)",
        "Also noted now: left mirror heater",
    ] {
        assert!(out.contains(words), "{words:?} is not in:\n{out}");
    }
    assert!(err.contains("no probe on the wiring"), "{err}");
    assert!(err.contains("Please answer w, n or nothing."), "{err}");
}

#[test]
fn notes_are_of_one_vehicle_and_are_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("arrival.json");
    let path = file.to_str().unwrap();
    let nowhere = ["--at", "X10", "--vehicle", "4711"];
    go(path, "recheck", &nowhere).fails(2, &["nothing was noted at arrival"]);
    assert_eq!(go(path, "arrival", &nowhere).status, 5, "nothing tried");
    go(path, "arrival", &nowhere).fails(2, &["is not written over"]);
    go(path, "hand-over", &["--vehicle", "4712"]).fails(
        2,
        &["noted of vehicle 4711", "this is vehicle 4712 (--vehicle)"],
    );
    go(path, "hand-over", &[]).fails(2, &["a vehicle without number"]);
    go(path, "ring-out", &nowhere).fails(4, &["needs the battery on"]);
    go(path, "trim-on", &nowhere).fails(4, &["behind the trim"]);
    go(path, "first-power", &nowhere).fails(2, &["at arrival, in the live check"]);
    go(
        path,
        "hand-over",
        &["--vehicle", "4711", "--seen", "K99=works"],
    )
    .fails(2, &["K99", "K1, K2"]);
    go(
        path,
        "hand-over",
        &["--vehicle", "4711", "--seen", "K1=perhaps"],
    )
    .fails(2, &["K7=works, K7=fails or K7=not-tried"]);
    std::fs::write(&file, "{}").unwrap();
    go(path, "hand-over", &nowhere).fails(2, &["not what `live --stage arrival --own` keeps"]);
    loomproof(&["live", VAN, "--defaults", "--stage", "arrival"])
        .fails(2, &["the harness is not in yet", "--own FILE"]);
}

#[test]
fn it_is_kept_as_a_record() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (file, store) = (path("arrival.json"), path("records.sqlite"));
    let run = go(&file, "arrival", &["--at", "X10", "--store", &store]);
    run.speaks(&["Kept as record 1"]);
    let listed = loomproof(&["records", "list", "--store", &store, "--test", "own"]);
    assert_eq!(listed.status, 0, "{listed:#?}");
    assert!(listed.out.contains("own"), "{}", listed.out);
    let shown = loomproof(&["records", "show", "1", "--store", &store]);
    assert!(
        shown.out.contains("the vehicle's own functions"),
        "{}",
        shown.out
    );
}
