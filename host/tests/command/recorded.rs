//! `ringout` keeps every run, and `records` and `sheet` find it again.

use serde_json::Value;

use crate::support::{Run, command};

/// A folder with a store of its own.
pub struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    pub fn file(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    pub fn run(&self, args: &[&str]) -> Run {
        let output = command(args)
            .env("LOOMPROOF_STORE", self.file("r.sqlite"))
            .output()
            .unwrap();
        Run {
            status: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    pub fn ring_out(&self, more: &[&str]) -> Run {
        let plan = ["ringout", "fixtures/plans/smallest.toml", "--defaults"];
        self.run(&[&plan, more].concat())
    }

    pub fn json(&self, args: &[&str]) -> Value {
        self.run(&[args, &["--format", "json"]].concat()).json()
    }
}

const FAULT: [&str; 2] = ["--fault", "exchanged@X1:4,with=X1:5"];

#[test]
fn every_run_is_kept_as_it_was_printed() {
    let bench = Bench::new();
    let who = [
        "--who",
        "Ann",
        "--unit",
        "U1",
        "--vehicle",
        "V1",
        "--batch",
        "B1",
    ];
    bench
        .ring_out(&who)
        .speaks(&["Kept as record 1 (", "r.sqlite"]);
    let printed = bench.ring_out(&[&FAULT[..], &["--format", "json", "--attest", "X1"]].concat());
    assert_eq!(printed.status, 1);
    printed.speaks(&["Kept as record 2 ("]);
    let list = bench.json(&["records", "list"]);
    assert_eq!(
        (&list["shows"], &list["records"]),
        (&"list".into(), &2.into())
    );
    assert_eq!(list["lines"][0]["number"], 2, "the latest first");
    assert_eq!(list["lines"][1]["who"], "Ann");
    assert_eq!(list["lines"][1]["simulated"], true);
    let shown = bench.json(&["records", "show", "2"]);
    assert_eq!(
        shown["record"]["report"],
        printed.json(),
        "the report as it was printed"
    );
    assert!(shown["record"]["scan"]["plan_digest"].is_string());
    let digest = shown["digest"].as_str().unwrap();
    assert_eq!(bench.json(&["records", "show", &digest[..10]])["number"], 2);
    let text = bench.run(&["records", "show", "2"]);
    assert!(text.out.contains("The record is as it was kept.") && text.out.contains("FAULT"));
    assert_eq!(
        bench.json(&["records", "list", "--unit", "U1"])["records"],
        1
    );
    assert_eq!(
        bench.json(&["records", "list", "--verdict", "faults"])["records"],
        1
    );
    let compared = bench.json(&["records", "compare", "1", "2"]);
    assert_eq!(compared["earlier"]["verdict"], "pass");
    assert!(!compared["new"].as_array().unwrap().is_empty());
    let shop = bench.json(&["records", "shop", "--simulated"]);
    assert_eq!(shop["plans"][0]["first_pass"], 1);
    assert_eq!(shop["plans"][0]["unnamed"], 1);
    let place = bench.run(&["records", "where"]);
    assert_eq!(place.out.trim(), bench.file("r.sqlite"));
}

/// The scan of a record is what `--save` keeps: it can be judged again.
#[test]
fn the_scan_of_a_record_is_judged_alike() {
    let bench = Bench::new();
    let scan = bench.file("scan.json");
    let printed = bench.ring_out(&[&FAULT[..], &["--format", "json", "--save", &scan]].concat());
    let kept: Value = serde_json::from_str(&std::fs::read_to_string(&scan).unwrap()).unwrap();
    assert_eq!(
        bench.json(&["records", "show", "1"])["record"]["scan"],
        kept
    );
    let again = bench.run(&[
        "ringout",
        "fixtures/plans/smallest.toml",
        "--from",
        &scan,
        "--format",
        "json",
    ]);
    assert_eq!(again.json(), printed.json());
    assert_eq!(
        bench.json(&["records", "list"])["records"],
        1,
        "judging is no run"
    );
    bench.run(&["ringout", "fixtures/plans/smallest.toml", "--fault", "help"]);
    assert_eq!(
        bench.json(&["records", "list"])["records"],
        1,
        "a list is no run"
    );
}

/// Only an ordinary file is ever replaced.
#[test]
fn sheet_and_export_leave_a_link_alone() {
    let bench = Bench::new();
    bench.ring_out(&[]);
    let (kept, link) = (bench.file("precious"), bench.file("link"));
    std::fs::write(&kept, "kept").unwrap();
    std::os::unix::fs::symlink(&kept, &link).unwrap();
    let plan = "fixtures/plans/smallest.toml";
    for args in [
        &["sheet", plan, "--defaults", "--to", &link][..],
        &["records", "export", "--format", "json", "--to", &link],
    ] {
        bench
            .run(args)
            .fails(2, &["only an ordinary file is replaced"]);
        assert!(std::fs::symlink_metadata(&link).unwrap().is_symlink());
    }
    assert_eq!(std::fs::read_to_string(&kept).unwrap(), "kept");
}

/// The clips that were nulled belong to a scan, in a file and in a record.
#[test]
fn a_record_holds_the_scan_that_the_file_holds() {
    let bench = Bench::new();
    let (memory, file) = (bench.file("probe"), bench.file("scan.json"));
    let nulled = bench.run(&["probe", "null", "--probe-memory", &memory]);
    assert_eq!(nulled.status, 0, "{nulled:#?}");
    let run = bench.ring_out(&["--probe-memory", &memory, "--save", &file]);
    assert_eq!(run.status, 0, "{run:#?}");
    let saved: Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    assert!(saved["nulls"][0].is_f64(), "{}", saved["nulls"]);
    let shown = bench.json(&["records", "show", "1"]);
    assert_eq!(shown["record"]["scan"], saved);
}

#[test]
fn two_commands_at_once_keep_both_runs() {
    let bench = Bench::new();
    let children: Vec<_> = (0..6)
        .map(|seed| {
            let seed = format!("--seed={seed}");
            command(&[
                "ringout",
                "fixtures/plans/smallest.toml",
                "--defaults",
                &seed,
            ])
            .env("LOOMPROOF_STORE", bench.file("r.sqlite"))
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap()
        })
        .collect();
    for mut child in children {
        assert_eq!(child.wait().unwrap().code(), Some(0));
    }
    let checked = bench.json(&["records", "check"]);
    assert_eq!(
        (&checked["records"], &checked["wrong"]),
        (&6.into(), &Value::Array(vec![]))
    );
}

#[test]
fn an_altered_store_is_told_by_the_exit_status() {
    let bench = Bench::new();
    bench.ring_out(&[]);
    bench.ring_out(&["--who", "Ann"]);
    let checked = bench.run(&["records", "check"]);
    assert_eq!(checked.status, 0, "{checked:?}");
    let head = checked
        .out
        .split_once("Head: ")
        .unwrap()
        .1
        .lines()
        .next()
        .unwrap()
        .to_owned();
    assert_eq!(bench.run(&["records", "check", "--head", &head]).status, 0);
    let other = "0123456789abcdef".repeat(4);
    let checked = bench.run(&["records", "check", "--head", &other]);
    assert_eq!(checked.status, 1);
    assert!(checked.out.contains("ALTERED"), "{checked:?}");
    bench
        .run(&["records", "check", "--head", "12"])
        .fails(2, &["64 hexadecimal"]);
    let db = rusqlite::Connection::open(bench.file("r.sqlite")).unwrap();
    db.execute("UPDATE record SET who = 'Bob' WHERE seq = 2", [])
        .unwrap();
    drop(db);
    let checked = bench.run(&["records", "check"]);
    assert_eq!(checked.status, 1);
    assert!(checked.out.contains("ALTERED: record 2") && checked.out.contains("person"));
    bench
        .run(&["records", "show", "2"])
        .fails(2, &["record 2", "altered since it was kept"]);
    let file = bench.file("all.json");
    let exported = bench.run(&["records", "export", "--format", "json", "--to", &file]);
    assert_eq!(exported.status, 1);
    exported.speaks(&["record 2 is left out"]);
    bench
        .run(&["records", "show", "9"])
        .fails(2, &["no record 9", "records list"]);
}

#[test]
fn records_go_to_another_machine_and_into_a_table() {
    let (here, there) = (Bench::new(), Bench::new());
    here.ring_out(&["--who", "=1+1"]);
    here.ring_out(&FAULT);
    let file = here.file("all.json");
    here.run(&["records", "export", "--format", "json", "--to", &file])
        .speaks(&["Written to"]);
    let taken = there.run(&["records", "import", &file]);
    assert!(
        taken
            .out
            .contains("2 records taken in, 0 were there already"),
        "{taken:?}"
    );
    let taken = there.run(&["records", "import", &file]);
    assert!(
        taken
            .out
            .contains("0 records taken in, 2 were there already"),
        "{taken:?}"
    );
    let table = there.run(&["records", "export", "--format", "csv"]);
    assert!(table.out.contains(",'=1+1,"), "{}", table.out);
    assert_eq!(table.out.matches("\r\n").count(), 3);
    there
        .run(&["records", "import", "README.md"])
        .fails(2, &["README.md", "not an export"]);
    there
        .run(&["records", "import", "no.json"])
        .fails(2, &["no.json"]);
}

#[test]
fn where_nothing_can_be_kept_is_said_and_the_verdict_stands() {
    let bench = Bench::new();
    // A store that was named must work, and is tried before anything is measured.
    let named = bench.ring_out(&["--store", "/dev/null/r.sqlite"]);
    named.fails(2, &["/dev/null/r.sqlite", "--store"]);
    // The user's own is not worth a verdict.
    let output = command(&["ringout", "fixtures/plans/smallest.toml", "--defaults"])
        .env_remove("LOOMPROOF_STORE")
        .env("XDG_DATA_HOME", "/dev/null")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("will not be kept"), "{said}");
    assert!(String::from_utf8_lossy(&output.stdout).contains("PASS"));
    // And where it is not said otherwise, it is in the user's data folder.
    let output = command(&["ringout", "fixtures/plans/smallest.toml", "--defaults"])
        .env_remove("LOOMPROOF_STORE")
        .env("XDG_DATA_HOME", bench.folder.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("loomproof/records.sqlite"), "{said}");
    assert!(
        bench
            .folder
            .path()
            .join("loomproof/records.sqlite")
            .is_file()
    );
    let silent = bench.ring_out(&["--store", "none"]);
    assert!(!silent.err.contains("Kept"), "{silent:?}");
    bench.ring_out(&["--who", ""]).fails(2, &["--who", "empty"]);
    bench
        .ring_out(&["--unit", "a\nb"])
        .fails(2, &["--unit", "line break"]);
    Bench::new()
        .run(&["records", "list"])
        .fails(2, &["there are no records yet"]);
}

#[test]
fn a_sheet_is_written_for_a_plan_a_scan_and_a_record() {
    let bench = Bench::new();
    let (plan, scan) = ("fixtures/plans/smallest.toml", bench.file("scan.json"));
    bench.ring_out(
        &[
            &FAULT[..],
            &["--save", &scan, "--who", "Ann & Bo", "--unit", "U<1>"],
        ]
        .concat(),
    );
    let job = bench.run(&["sheet", plan, "--defaults"]);
    assert_eq!(job.status, 0);
    assert!(job.out.starts_with("<!DOCTYPE html>") && !job.out.contains("id=\"report\""));
    let file = bench.file("r.html");
    let report = bench.run(&["sheet", plan, "--record", "1", "--to", &file]);
    assert_eq!(
        (report.status, report.out.as_str()),
        (1, ""),
        "the status is the verdict's"
    );
    let html = std::fs::read_to_string(&file).unwrap();
    let shown = bench.json(&["records", "show", "1"]);
    for word in [
        "Ann &amp; Bo",
        "U&lt;1&gt;",
        "FAULT",
        shown["digest"].as_str().unwrap(),
        shown["head"].as_str().unwrap(),
        shown["record"]["plan_digest"].as_str().unwrap(),
    ] {
        assert!(html.contains(word), "{word}");
    }
    let german = bench.run(&["sheet", plan, "--from", &scan, "--language", "de"]);
    assert!(german.out.contains("lang=\"de\"") && german.out.contains("FEHLER"));
    assert!(
        german.out.contains("nicht bei den Messungen vermerkt"),
        "a scan has no date"
    );
    bench
        .run(&[
            "sheet",
            "fixtures/plans/bench-64.toml",
            "--defaults",
            "--record",
            "1",
        ])
        .fails(2, &["is not that file", "give the plan"]);
    bench
        .run(&["sheet", plan, "--record", "7"])
        .fails(2, &["no record 7"]);
    bench
        .run(&["sheet", plan, "--to", "/dev/null/x.html"])
        .fails(2, &["/dev/null/x.html"]);
}

/// From a batch to its vehicles and back, and plots, as somebody types them.
#[test]
fn a_batch_is_followed_and_drawn() {
    let bench = Bench::new();
    let unit = |unit: &'static str| ["--unit", unit];
    let batch = ["--batch", "B-17"];
    let on_bench = ["--where", "bench"];
    let into = |vehicle: &'static str| ["--vehicle", vehicle];
    let run = |args: &[&[&str]]| bench.ring_out(&args.concat());
    run(&[&unit("U1"), &batch, &on_bench]);
    run(&[&unit("U2"), &batch, &on_bench, &FAULT]);
    assert_eq!(run(&[&unit("U1"), &into("V9")]).status, 0);
    let text = bench.run(&["records", "batch", "B-17", "--simulated"]).out;
    for say in [
        "Batch B-17: 2 harnesses with a number, 1 of them seen in a vehicle, 1 not; 1 vehicle in \
         all (simulated runs only; no real wire was measured)",
        "Unit U1 (",
        "    vehicle V9: ",
        "Never seen in a vehicle: U2",
        "Every vehicle: V9",
        "Comebacks of these vehicles: none",
    ] {
        assert!(text.contains(say), "{say}\n{text}");
    }
    let json = bench.json(&["records", "batch", "B-17", "--simulated"]);
    assert_eq!(json["shows"], "batch");
    assert_eq!(json["units"][1]["bench"]["last"]["verdict"], "faults");
    let text = bench.run(&["records", "vehicle", "V9", "--simulated"]).out;
    assert!(text.contains("Unit U1, batch B-17 ("), "{text}");
    let text = bench.run(&["records", "batch", "B-17"]).out;
    let hint = "2 runs of simulated wires not looked at (--simulated shows them).";
    assert!(text.contains(hint), "{text}");
    bench
        .run(&["records", "batch", "B-18"])
        .fails(2, &["no run names batch B-18"]);
    for (args, words) in [
        (
            &["drift", "--unit", "U1"][..],
            "Drift of unit U1 (simulated)",
        ),
        (
            &["yield"],
            "First-pass yield by month: all plans (simulated)",
        ),
        (&["faults"], "exchanged"),
    ] {
        let args = [&["records", "plot"], args, &["--simulated"]].concat();
        let printed = bench.run(&args);
        assert!(printed.out.starts_with("<svg ") && printed.out.contains(words));
        let file = bench.file("plot.svg");
        let written = bench.run(&[&args[..], &["--to", &file]].concat());
        assert_eq!((written.status, written.out.as_str()), (0, ""));
        assert_eq!(std::fs::read_to_string(&file).unwrap(), printed.out);
    }
    for (args, why) in [
        (&["drift"][..], "drift of which harness?"),
        (&["yield", "--unit", "U1"], "belong to `records plot drift`"),
        (&["drift", "--unit", "U7"], "no ring-out of that is kept"),
        (
            &["yield", "--to", "/no/such/folder/x.svg"],
            "no such folder",
        ),
    ] {
        bench
            .run(&[&["records", "plot"], args].concat())
            .fails(2, &[why]);
    }
}
