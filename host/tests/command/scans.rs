//! Verdicts, JSON on stdout alone, and scans that are kept and judged again.

use std::path::Path;

use crate::support::{loomproof, top};
use serde_json::Value;

const VAN: &str = "fixtures/plans/bakery-van.toml";

fn kinds_and_places(report: &Value) -> Vec<(String, String)> {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    report["groups"][0]["sets"][0]
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| (text(&fault["kind"]), text(&fault["place"])))
        .collect()
}

#[test]
fn a_healthy_harness_passes() {
    for place in ["bench", "vehicle"] {
        let run = loomproof(&["ringout", VAN, "--defaults", "--where", place]);
        assert_eq!(run.status, 0, "{run:#?}");
        for words in [
            "PASS",
            "Tested: ",
            "Not tested by this hook-up:",
            "hand checks open",
        ] {
            assert!(run.out.contains(words), "{words}: {}", run.out);
        }
        // The cautions come with every ring-out in a vehicle.
        let caution = run.err.contains("Disconnect the battery before a ring-out");
        assert_eq!(caution, place == "vehicle", "{}", run.err);
    }
}

#[test]
fn json_is_alone_on_stdout() {
    let run = loomproof(&["ringout", VAN, "--defaults", "--format", "json"]);
    assert_eq!(run.status, 0);
    let report = run.json();
    assert_eq!(report["verdict"], "pass");
    assert_eq!(report["place"], "vehicle", "where nothing else is said");
    assert_eq!(report["groups"], Value::Array(Vec::new()));
    assert!(
        run.err.contains("Disconnect the battery"),
        "notes go to stderr"
    );
}

#[test]
fn a_fault_is_found() {
    let fault = "wrong-cavity@X1:10,to=X1:4";
    let run = loomproof(&["ringout", VAN, "--fault", fault, "--format", "json"]);
    assert_eq!(run.status, 1, "{run:#?}");
    let report = run.json();
    assert_eq!(report["verdict"], "faults");
    assert_eq!(report["groups"][0]["sets"][0][0]["fault"], fault);
    let expected = [("wrong-cavity".to_owned(), "X1:10".to_owned())];
    assert_eq!(kinds_and_places(&report), expected);
}

#[test]
fn a_live_lead_is_refused() {
    let run = loomproof(&["ringout", VAN, "--fault", "live@X1:3,volts=12"]);
    assert_eq!(run.status, 4, "{run:#?}");
    for words in ["REFUSED", "live", "X1", "Disconnect the battery"] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    let json = loomproof(&[
        "ringout",
        VAN,
        "--fault",
        "live@X1:3,volts=12",
        "--format",
        "json",
    ]);
    assert_eq!(json.status, 4);
    let report = json.json();
    assert_eq!(report["verdict"], "refused");
    assert_eq!(report["groups"][0]["sets"][0][0]["place"], "X1:3");
    let volts = report["refusal"]["say"].as_str().unwrap();
    assert!(
        volts.contains("12.0 V") || volts.contains("11.9 V"),
        "{volts}"
    );
}

/// A refusal outweighs faults, and faults outweigh a pass.
#[test]
fn a_live_lead_outweighs_a_fault() {
    let run = loomproof(&[
        "ringout",
        VAN,
        "--fault",
        "live@X1:3,volts=12",
        "--fault",
        "open@X10:2",
    ]);
    assert_eq!(run.status, 4, "{run:#?}");
}

#[test]
fn the_list_of_faults() {
    let run = loomproof(&["ringout", VAN, "--fault", "help", "--format", "json"]);
    assert_eq!(run.status, 0);
    let list = run.json();
    let list = list.as_array().unwrap();
    assert!(list.len() > 500, "{}", list.len());
    for entry in list {
        let text = |key: &str| entry[key].as_str().unwrap();
        assert!(
            text("fault").starts_with(&format!("{}@{}", text("kind"), text("place"))),
            "{entry}"
        );
        assert!(entry["covered"].is_boolean(), "{entry}");
    }
    let uncovered = list.iter().filter(|e| e["covered"] == false).count();
    assert!(0 < uncovered && uncovered < list.len() / 2, "{uncovered}");
    // The text names the same faults, the unseen ones marked.
    let text = loomproof(&["ringout", VAN, "--fault", "help"]).out;
    assert_eq!(
        text.lines().filter(|l| l.starts_with("- ")).count(),
        uncovered
    );
    assert_eq!(text.lines().count(), list.len() + 1);
}

#[test]
fn a_kept_scan_gives_the_same_report() {
    let folder = tempfile::tempdir().unwrap();
    for (name, faults, status) in [
        ("good", &[][..], 0),
        ("bad", &["--fault", "exchanged@X1:9,with=X1:10"][..], 1),
    ] {
        let file = folder.path().join(name);
        let file = file.to_str().unwrap();
        let answer = ["--answer", "rear-door=sliding", "--format", "json"];
        let args = [&["ringout", VAN, "--save", file][..], faults, &answer].concat();
        let first = loomproof(&args);
        assert_eq!(first.status, status, "{first:#?}");
        assert!(first.err.contains("Scan kept in "), "{}", first.err);
        // The scan brings the answers along.
        let again = loomproof(&["ringout", VAN, "--from", file, "--format", "json"]);
        assert_eq!(again.status, status, "{again:#?}");
        assert_eq!(again.json(), first.json(), "{name}");
        assert_eq!(again.json()["answers"]["rear-door"], "sliding");
    }
}

/// A scan of `args`, kept; its text.
fn kept(file: &Path, args: &[&str]) -> String {
    let args = [&["ringout"], args, &["--save", file.to_str().unwrap()]].concat();
    assert_eq!(loomproof(&args).status, 0);
    std::fs::read_to_string(file).unwrap()
}

#[test]
fn a_spoiled_scan_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("scan.json");
    let path = file.to_str().unwrap();
    let whole = kept(&file, &["fixtures/plans/smallest.toml"]);
    let judge = || loomproof(&["ringout", "fixtures/plans/smallest.toml", "--from", path]);
    assert_eq!(judge().status, 0);

    for length in [0, 1, whole.len() / 3, whole.len() / 2, whole.len() - 3] {
        std::fs::write(&file, &whole[..length]).unwrap();
        judge().fails(
            2,
            &[path, "not a whole recorded scan", "record the scan again"],
        );
    }
    std::fs::write(&file, whole.replacen("\"format\": 1", "\"format\": 99", 1)).unwrap();
    judge().fails(2, &["its format is 99"]);
    std::fs::write(&file, whole.replacen("\"lead\"", "\"laed\"", 1)).unwrap();
    judge().fails(2, &["not a whole recorded scan", "laed"]);

    // A step less: still good JSON, but it proves nothing.
    let mut scan: Value = serde_json::from_str(&whole).unwrap();
    scan["steps"].as_array_mut().unwrap().pop();
    std::fs::write(&file, scan.to_string()).unwrap();
    judge().fails(2, &[path, "readings of the first pass are missing"]);
    // So does a reading less.
    let mut scan: Value = serde_json::from_str(&whole).unwrap();
    scan["steps"][0]["readings"].as_array_mut().unwrap().pop();
    std::fs::write(&file, scan.to_string()).unwrap();
    judge().fails(2, &[path]);

    let missing = folder.path().join("nothing.json");
    loomproof(&[
        "ringout",
        "fixtures/plans/smallest.toml",
        "--from",
        missing.to_str().unwrap(),
    ])
    .fails(2, &["nothing.json", "check the path"]);
}

#[test]
fn a_scan_of_another_plan_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("scan.json");
    kept(&file, &["fixtures/plans/smallest.toml"]);
    let path = file.to_str().unwrap();
    let args = [
        "ringout",
        "fixtures/plans/socket-13-pin.toml",
        "--from",
        path,
    ];
    loomproof(&args).fails(2, &["taken of another plan"]);
    // Or of the same plan, before it was changed.
    let changed = folder.path().join("changed.toml");
    let text = std::fs::read_to_string(top().join("fixtures/plans/smallest.toml")).unwrap();
    std::fs::write(&changed, text.replace("2 m", "3 m")).unwrap();
    let args = ["ringout", changed.to_str().unwrap(), "--from", path];
    loomproof(&args).fails(2, &["taken of another plan", "changed since"]);
}

#[test]
fn another_variant_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("scan.json");
    kept(&file, &[VAN, "--defaults"]);
    let path = file.to_str().unwrap();
    loomproof(&[
        "ringout",
        VAN,
        "--from",
        path,
        "--answer",
        "rear-door=sliding",
    ])
    .fails(2, &["rear-door"]);
}

#[test]
fn nothing_is_left_half_written() {
    let folder = tempfile::tempdir().unwrap();
    let inside = |name: &str| folder.path().join(name);
    // A folder that is missing, and one that is a file.
    std::fs::write(inside("file"), "kept").unwrap();
    for target in [inside("missing/scan.json"), inside("file/scan.json")] {
        let path = target.to_str().unwrap();
        loomproof(&["ringout", VAN, "--save", path]).fails(2, &["scan.json", "check the path"]);
    }
    // A target that cannot be replaced: a folder.
    std::fs::create_dir(inside("folder")).unwrap();
    std::fs::write(inside("folder/precious"), "kept").unwrap();
    let path = inside("folder");
    loomproof(&["ringout", VAN, "--save", path.to_str().unwrap()]).fails(2, &["folder"]);
    let mut left: Vec<String> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    left.sort();
    assert_eq!(left, ["file", "folder"]);
    assert_eq!(std::fs::read_to_string(inside("file")).unwrap(), "kept");
    assert!(inside("folder/precious").exists());
}

/// What is there already is replaced by a whole scan, or stays.
#[test]
fn a_refused_scan_keeps_the_older_one() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("scan.json");
    let before = kept(&file, &[VAN, "--defaults"]);
    let path = file.to_str().unwrap();
    let run = loomproof(&[
        "ringout",
        VAN,
        "--fault",
        "live@X1:3,volts=12",
        "--save",
        path,
    ]);
    assert_eq!(run.status, 4, "{run:#?}");
    run.speaks(&["The scan was broken off; nothing is kept in the file."]);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), before);
}
