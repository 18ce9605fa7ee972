//! An occupied cavity: the lead is capped, and the wire that sits there has to be proved.

use std::path::Path;

use serde_json::Value;

use crate::support::{Run, loomproof};

/// A socket module that takes the reversing light from a spare cavity; some vans have a
/// wire in it already, and then the module's other input taps that wire.
const PLAN: &str = r#"
plan = 1
title = "Socket module: reversing light"

[option.reverse-wire]
ask = "Is there a wire in X1 cavity 4 already?"
default = "no"

[switch.ignition]
[switch.reverse]
states = ["out", "in"]
[switch.brake]
[switch.lights]

[connector.X1]
cavities = 6
rows = 2
place = "left rear pillar"
access = "mating side"

[connector.X2]
cavities = 4
place = "socket module"
access = "mating side"
with = "harness"

[conductor.K20]
at = "X1:4"
colour = "WH/GY"
function = "reversing light"
load = "10 ohm to 1 kohm"
plus_when = "ignition and reverse == in"
draws = "21 W"
when = "reverse-wire"

[conductor.K1]
at = "X1:1"
function = "brake light"
load = "10 ohm to 1 kohm"
plus_when = "brake"
draws = "21 W"

[conductor.K2]
at = "X1:2"
function = "ignition feed"
plus_when = "ignition"

# Like K20, but not while the brake is on: told apart by one step more.
[conductor.K3]
at = "X1:3"
function = "reversing camera"
plus_when = "ignition and reverse == in and not brake"

[conductor.K5]
at = "X1:5"
function = "permanent feed"
plus_when = "always"

[pin.C4]
at = "X1:4"
function = "reversing light"
plus_when = "ignition and reverse == in"
when = "not reverse-wire"

[tap.T1]
on = "K20"
place = "left rear pillar"
when = "reverse-wire"

[ring.G1]
on = "chassis"
place = "left rear pillar"

[lead.W1]
colour = "YE"
size = "0.75 mm2"
length = "1.5 m"
from = "X2:1"
to = "X1:4"
occupied_by = "K20"

[lead.W2]
colour = "YE/BN"
size = "0.75 mm2"
length = "1.2 m"
from = "X2:2"
to = "T1"
when = "reverse-wire"

[lead.W3]
colour = "BN"
size = "1 mm2"
length = "0.8 m"
from = "X2:3"
to = "G1"
"#;

struct Bay {
    folder: tempfile::TempDir,
}

impl Bay {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("plan.toml"), PLAN).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    fn run(&self, verb: &str, more: &[&str]) -> Run {
        let plan = self.path("plan.toml");
        loomproof(&[&[verb, &plan], more].concat())
    }
}

const OCCUPIED: [&str; 2] = ["--answer", "reverse-wire=yes"];

fn proof(report: &Value) -> Value {
    let checks = report["hand_checks"].as_array().unwrap();
    let found = checks.iter().find(|check| check["place"] == "X1:4");
    found.cloned().unwrap_or(Value::Null)
}

#[test]
fn a_free_cavity_asks_for_no_proof() {
    let bay = Bay::new();
    let run = bay.run("ringout", &["--defaults", "--format", "json"]);
    assert_eq!(run.status, 0, "{run:#?}");
    assert_eq!(proof(&run.json()), Value::Null);
}

#[test]
fn without_proof_the_verdict_names_the_cavity_and_the_wire() {
    let bay = Bay::new();
    let run = bay.run("ringout", &OCCUPIED);
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(
        run.out
            .starts_with("PASS: electrically good, proof of K20 in X1:4 open"),
        "{}",
        run.out
    );
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "[ ] X1:4: Before W1 is capped: prove that the wire in X1:4",
        "reversing light",
        "--follow K20",
        "See that the capped end is insulated",
    ] {
        assert!(flat.contains(words), "{words}: {flat}");
    }
    // Nobody vouches for it in a crowd.
    let all = bay.run("ringout", &[&OCCUPIED[..], &["--attest", "all"]].concat());
    assert!(all.out.contains("proof of K20 in X1:4 open"), "{}", all.out);
    let own = [&OCCUPIED[..], &["--attest", "all,X1:4"]].concat();
    let own = bay.run("ringout", &own);
    assert!(
        own.out
            .starts_with("PASS: as planned, hand checks attested"),
        "{}",
        own.out
    );
    // On the bench there is no vehicle.
    let bench = [&OCCUPIED[..], &["--where", "bench"]].concat();
    let bench = bay.run("ringout", &bench);
    assert!(!bench.out.contains("K20"), "{}", bench.out);
}

/// Found on the way: the answer changes, the probe follows the wire, and what it saw is
/// kept with what was rung out.
#[test]
fn the_right_wire_is_proved_and_kept() {
    let bay = Bay::new();
    let file = bay.path("job.json");
    let so_far = ["--so-far", file.as_str()];
    assert_eq!(bay.run("ringout", &so_far).status, 0);
    let nothing_yet = [&["--follow", "K2"], &so_far[..]].concat();
    bay.run("live", &nothing_yet)
        .fails(2, &["nothing to keep", "option"]);
    let follow = [&["--follow", "K20"], &OCCUPIED[..], &so_far[..]].concat();
    let run = bay.run("live", &follow);
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(run.out.starts_with("PASS: X1:4 is K20"), "{}", run.out);
    run.speaks(&[
        "Stage 2 of 9, find the conductors: battery on",
        "W1 stays out of X1:4",
        "Answer changed: reverse-wire is yes, it was no.",
        "ignition: on · reverse: in",
        "brake: on",
        "Kept in",
    ]);
    // The answer and the proof are in the file now.
    let again = [&["--format", "json"], &so_far[..]].concat();
    let run = bay.run("ringout", &again);
    assert_eq!(run.status, 0, "{run:#?}");
    let report = run.json();
    assert_eq!(report["answers"]["reverse-wire"], "yes");
    assert_eq!(proof(&report)["state"], "measured");
    assert_eq!(proof(&report)["wire"], "K20");
    let from = bay.run("ringout", &["--from", &file, "--attest", "all"]);
    assert!(
        from.out
            .starts_with("PASS: as planned, hand checks attested"),
        "{}",
        from.out
    );
    assert!(from.out.contains("(measured)"), "{}", from.out);
    // The old answer's readings do not stand in the way of power.
    let live = bay.run("live", &["--rung-out", &file]);
    live.speaks(&["rung out, nothing is off"]);
    assert_ne!(live.status, 4, "{live:#?}");
}

/// Every other wire of the plan in the cavity, and none.
#[test]
fn a_wrong_wire_is_seen_and_named() {
    let bay = Bay::new();
    for other in ["K1", "K2", "K3", "K5"] {
        let more = ["--follow", "K20", "--really", other, "--format", "json"];
        let run = bay.run("live", &[&OCCUPIED[..], &more].concat());
        assert_eq!(run.status, 1, "{other}: {run:#?}");
        let report = run.json();
        assert_eq!(report["verdict"], "faults");
        let like: Vec<&str> = report["like"]
            .as_array()
            .unwrap()
            .iter()
            .map(|it| it.as_str().unwrap())
            .collect();
        // One that never changes is like nothing that could be named.
        let named = if other == "K5" { vec![] } else { vec![other] };
        assert_eq!(like, named, "{report:#}");
        assert!(report["do"].as_str().unwrap().contains("do not cap W1"));
    }
    let dead = ["--follow", "K20", "--fault", "dead-feed@K20"];
    let run = bay.run("live", &[&OCCUPIED[..], &dead].concat());
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.out.starts_with("FAULT: X1:4 is not K20"), "{}", run.out);
}

/// A wire that was refuted keeps the ring-out from passing, and power off.
#[test]
fn a_refuted_wire_stands_in_the_way_of_a_pass() {
    let bay = Bay::new();
    let file = bay.path("job.json");
    let so_far = ["--so-far", file.as_str()];
    // Followed first of all: there is no reading in the file yet.
    let wrong = ["--follow", "K20", "--really", "K1"];
    let run = bay.run("live", &[&wrong[..], &OCCUPIED, &so_far].concat());
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(Path::new(&file).exists());
    bay.run("ringout", &["--from", &file])
        .fails(2, &["nothing"]);
    let run = bay.run("ringout", &so_far);
    assert_eq!(run.status, 5, "{run:#?}");
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.starts_with("SO FAR GOOD"), "{flat}");
    assert!(flat.contains("Do not cap W1 for it"), "{flat}");
    assert!(flat.contains("[!] X1:4"), "{flat}");
    bay.run("live", &["--rung-out", &file])
        .fails(4, &["does not do what the plan says of K20"]);
    // Attested does not undo what was measured; the right wire does.
    let attest = [&["--attest", "X1:4"], &so_far[..]].concat();
    assert_eq!(bay.run("ringout", &attest).status, 5);
    let right = [&["--follow", "K20"], &so_far[..]].concat();
    assert_eq!(bay.run("live", &right).status, 0);
    assert_eq!(bay.run("ringout", &["--from", &file]).status, 0);
}

#[test]
fn what_somebody_vouches_for_stays_in_the_file() {
    let bay = Bay::new();
    let file = bay.path("job.json");
    let so_far = ["--so-far", file.as_str()];
    let vouched = [&OCCUPIED[..], &["--attest", "X1:4"], &so_far].concat();
    assert_eq!(bay.run("ringout", &vouched).status, 0);
    let from = bay.run("ringout", &["--from", &file, "--format", "json"]);
    assert_eq!(proof(&from.json())["state"], "attested");
}

#[test]
fn what_never_changes_proves_nothing() {
    let bay = Bay::new();
    let run = bay.run("live", &["--defaults", "--follow", "K5"]);
    assert_eq!(run.status, 5, "{run:#?}");
    assert!(
        run.out.starts_with("UNDECIDED: X1:5 may be K5"),
        "{}",
        run.out
    );
    let tap = bay.run("live", &["--defaults", "--follow", "K1"]);
    assert_eq!(tap.status, 0, "{tap:#?}");
    assert!(
        tap.out.contains("This is the conductor to tap."),
        "{}",
        tap.out
    );
    let none = ["--defaults", "--follow", "K20"];
    bay.run("live", &none)
        .fails(2, &["no conductor K20 in this variant", "K1"]);
    let dead = ["--defaults", "--follow", "K1", "--stage", "ring-out"];
    bay.run("live", &dead).fails(4, &["needs the battery on"]);
}

/// The plan is written back as it is, and the lead is capped in that variant only.
#[test]
fn the_lead_gives_way_where_the_wire_is() {
    let plan = loomproof::plan::read("plan", PLAN).unwrap();
    let again = loomproof::plan::read("again", &plan.to_toml()).unwrap();
    assert!(again.same_content(&plan), "{}", plan.to_toml());
    let resolved = |answer: &str| {
        let answers = [("reverse-wire".to_owned(), answer.to_owned())];
        plan.resolve(&answers.into()).unwrap()
    };
    let end = |answer: &str| resolved(answer).leads[0].to.to_string();
    assert_eq!(end("no"), "X1:4");
    assert_eq!(end("yes"), "cap");
    assert!(resolved("no").electrics.occupied.is_empty());
    let occupied = &resolved("yes").electrics.occupied;
    assert_eq!(occupied.len(), 1);
    assert_eq!(occupied[0].place(), "X1:4");
    assert_eq!(plan.check_variants(100), Ok(2));
}

/// Both variants are reviewed, and nobody takes the two for terminals in one cavity.
#[test]
fn the_review_looks_at_both_variants() {
    let bay = Bay::new();
    let run = bay.run("review", &["--format", "json"]);
    assert!(run.status <= 1, "{run:#?}");
    let text = run.out;
    assert!(text.contains("\"findings\""), "{text}");
    assert!(!text.contains("one cavity"), "{text}");
}

/// The sheet says what has to be proved before the lead is capped, and the record of a
/// ring-out how that stands.
#[test]
fn the_sheet_says_what_is_to_be_proved() {
    let bay = Bay::new();
    let file = bay.path("sheet.html");
    let run = bay.run("sheet", &[&OCCUPIED[..], &["--to", &file]].concat());
    assert_eq!(run.status, 0, "{run:#?}");
    let sheet = std::fs::read_to_string(&file).unwrap();
    let words = "Once it is proved that the wire in X1:4 is K20: cap the free end of W1";
    assert!(sheet.contains(words), "{words}");
    let usual = bay.run("sheet", &["--defaults", "--to", &file]);
    assert_eq!(usual.status, 0, "{usual:#?}");
    let sheet = std::fs::read_to_string(&file).unwrap();
    assert!(!sheet.contains("Once it is proved"));
}
