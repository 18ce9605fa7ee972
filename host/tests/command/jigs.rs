//! Bench jigs: made, told by their number, checked, and harnesses rung out in them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use loomproof::bench::{Bench, OnJig, Settings};
use loomproof::jig::history::{Event, History, add};
use loomproof::jig::played::Played;
use loomproof::jig::{Jig, file};
use loomproof::link::VirtualProbe;
use loomproof::plan::Plan;
use loomproof_core::wire::Place;

use crate::support::{Served, loomproof, top, typed};

const VAN: &str = "fixtures/plans/bakery-van.toml";
const JIG: &str = "fixtures/jigs/bakery-van.jig.toml";

/// A shop with jig 18 for the van and jig 17 for the socket.
fn shop() -> (tempfile::TempDir, PathBuf, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let van = folder.path().join("van.jig.toml");
    std::fs::copy(top().join(JIG), &van).unwrap();
    let socket = folder.path().join("socket.jig.toml");
    let run = loomproof(&[
        "jig",
        "make",
        "fixtures/plans/socket-13-pin.toml",
        "--number",
        "17",
        "--to",
        text(&socket),
    ]);
    assert_eq!(run.status, 0, "{run:#?}");
    (folder, van, socket)
}

fn load(path: &Path) -> Jig {
    file::load(path, false).unwrap()
}

/// What is noted beside a jig's file.
fn history(path: &Path) -> History {
    History::load(&load(path)).unwrap()
}

fn note(path: &Path, event: Event) {
    add(&load(path), &event).unwrap();
}

/// Checked, and every contact touched.
fn prove(path: &Path) {
    note(path, Event::Whole);
    let wires = load(path).wires;
    note(
        path,
        Event::Touched(wires.into_iter().map(|(lead, _)| lead).collect()),
    );
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn ring<'a>(jig: &'a Path, more: &[&'a str]) -> Vec<&'a str> {
    let mut args = vec![
        "ringout",
        VAN,
        "--defaults",
        "--where",
        "bench",
        "--jig",
        text(jig),
    ];
    args.extend(more);
    args
}

/// A jig on a port, the harness plugged in or not.
fn served(jig: &Path, harness: bool) -> Served {
    let jig = file::load(jig, false).unwrap();
    Served::new(move |_| {
        let settings = Settings {
            code: Played::new(&jig, &[]).code(),
            ..Settings::default()
        };
        let bench = if harness {
            on_bench(&jig, &settings)
        } else {
            Bench::jig(&OnJig::default(), &settings).unwrap()
        };
        VirtualProbe::new(bench)
    })
}

fn on_bench(jig: &Jig, settings: &Settings) -> Bench {
    let plan = Plan::load(&top().join(VAN)).unwrap();
    let defaults = plan.options().iter();
    let answers: BTreeMap<String, String> = defaults
        .filter_map(|option| Some((option.name.clone(), option.default.clone()?)))
        .collect();
    let job = plan.resolve(&answers).unwrap();
    let hookup = jig.hookup(&job, (Place::Bench, settings.leads)).unwrap();
    Bench::new(&job, &hookup, &[], settings).unwrap()
}

#[test]
fn a_harness_in_its_jig_needs_no_clips() {
    let (folder, van, _) = shop();
    for seed in ["1", "2", "3"] {
        let there = ["--jig-there", text(&van), "--seed", seed];
        let run = loomproof(&ring(folder.path(), &there));
        assert_eq!(run.status, 0, "{run:#?}");
        assert!(run.out.starts_with("PASS"), "{}", run.out);
        run.speaks(&["Jig 18: Bakery van", "never checked with shorting plugs"]);
    }
    let run = loomproof(&ring(&van, &["--fault", "exchanged@X1:3,with=X1:9"]));
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.out.contains("lead W23"), "{}", run.out);
    // Home or not shows in a mating half, and behind a cavity that is only back-probed.
    let run = loomproof(&ring(&van, &["--fault", "unseated@X2:7"]));
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.out.contains("not home in X2 cavity 7"), "{}", run.out);
    let run = loomproof(&ring(&van, &["--fault", "clip-off@X1:3"]));
    run.speaks(&["In the jig: where a clip or probe lead is spoken of"]);
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(
        run.out.contains("probe lead meant for X1 cavity 3"),
        "{}",
        run.out
    );
    // A shorting plug does not show wires that are exchanged inside one half.
    note(&van, Event::Whole);
    let run = loomproof(&ring(&van, &["--fault", "clips-exchanged@X1:3,with=X1:9"]));
    assert!(run.out.contains("sit on each other's point"), "{}", run.out);
    // The wires of a jig that was checked and touched are not doubted.
    prove(&van);
    let run = loomproof(&ring(&van, &["--fault", "exchanged@X1:3,with=X1:9"]));
    assert_eq!(run.status, 1, "{run:#?}");
    run.speaks(&["its wires are not doubted"]);
    assert!(
        run.out.contains("FAULT: 1 thing to put right\n"),
        "{}",
        run.out
    );
    assert!(
        !run.out.contains("sit on each other's point"),
        "{}",
        run.out
    );
    assert!(!run.out.contains("free probe lead"), "{}", run.out);
}

#[test]
fn another_jig_or_plan_is_said_and_nothing_is_judged() {
    let (folder, van, socket) = shop();
    let run = loomproof(&ring(&van, &["--jig-there", text(&socket)]));
    run.fails(
        3,
        &["plugged in is jig 17", "is jig 18", "Plug in the right one"],
    );
    let run = loomproof(&ring(folder.path(), &["--jig-there", text(&socket)]));
    run.fails(
        2,
        &[
            "jig 17 is for \"13-pin trailer socket\"",
            "\"Bakery van: load-bay harness\"",
        ],
    );
    let run = loomproof(&ring(folder.path(), &[]));
    run.fails(2, &["--jig-there"]);
    let run = loomproof(&["ringout", VAN, "--defaults", "--jig", text(&van)]);
    run.fails(2, &["--where bench"]);
    let run = loomproof(&ring(&van, &["--leads", "32"]));
    run.fails(2, &["uses lead P33", "this probe has 32"]);
    let wired = std::fs::read_to_string(&van).unwrap();
    std::fs::write(&van, wired.replace("P9 = \"X1:6\"\n", "")).unwrap();
    // An empty cavity is not needed.
    assert_eq!(loomproof(&ring(&van, &[])).status, 0);
    for stray in ["X1:99", "X77:1", "T99"] {
        std::fs::write(&van, wired.replace("\"X1:6\"", &format!("\"{stray}\""))).unwrap();
        let said = format!("P9 = \"{stray}\"");
        loomproof(&ring(&van, &[])).fails(2, &["no variant of this plan has", &said]);
    }
    std::fs::write(&van, wired.replace("P6 = \"X1:3\"\n", "")).unwrap();
    loomproof(&ring(&van, &[])).fails(2, &["ends at X1:3", "wire it"]);
    std::fs::write(&socket, wired.replace("P6", "P2")).unwrap();
    let two = loomproof(&ring(folder.path(), &["--jig-there", text(&socket)]));
    two.fails(
        2,
        &["socket.jig.toml:", "P1, P2 and P3 carry the jig's number"],
    );
}

#[test]
fn what_is_plugged_in_is_known_by_its_number() {
    let (folder, van, _) = shop();
    let identify = |more: &[&str]| {
        let mut args = vec!["jig", "identify", text(folder.path())];
        args.extend(more);
        loomproof(&args)
    };
    let run = identify(&["--jig-there", text(&van), "--format", "json"]);
    assert_eq!(run.status, 0, "{run:#?}");
    assert_eq!(run.json()["number"], 18);
    identify(&[]).fails(2, &["--jig-there"]);
    let file = loomproof(&["jig", "identify", text(&van), "--jig-there", text(&van)]);
    file.fails(2, &["give the folder"]);
    let there = ["--jig-there", text(&van), "--jig-fault"];
    for dirt in [
        "high-resistance@P2,ohms=500",
        "high-resistance@P1,ohms=800",
        "open@P3",
    ] {
        let run = identify(&[&there[..], &[dirt]].concat());
        run.fails(3, &["cannot be read", "Clean the contacts"]);
    }
    let swapped = loomproof(&[
        "jig",
        "check",
        text(&van),
        "--jig-fault",
        "exchanged@P1,with=P2",
    ]);
    assert_eq!(swapped.status, 1, "{swapped:#?}");
    assert!(swapped.out.contains("in another order"), "{}", swapped.out);
    let run = identify(&[&there[..], &["open@P60"]].concat());
    run.fails(2, &["this jig has no lead P60"]);
    // A file that does not read hides no other; one number twice is said where it counts.
    std::fs::write(folder.path().join("torn.jig.toml"), "jig = 1\n").unwrap();
    assert_eq!(identify(&["--jig-there", text(&van)]).status, 0);
    std::fs::copy(&van, folder.path().join("copy.jig.toml")).unwrap();
    identify(&["--jig-there", text(&van)]).fails(2, &["are both jig 18"]);
    let run = identify(&[&there[..], &["open@P200"]].concat());
    run.fails(2, &["a fault of a jig is written like"]);
}

#[test]
fn a_jig_is_checked_with_shorting_plugs() {
    let (_folder, van, _) = shop();
    let check = |more: &[&str]| {
        let mut args = vec!["jig", "check", text(&van), "--format", "json"];
        args.extend(more);
        loomproof(&args)
    };
    let run = check(&[]);
    assert_eq!(run.status, 0, "{run:#?}");
    assert_eq!(run.json()["findings"], serde_json::json!([]));
    let jig = file::load(&van, false).unwrap();
    for (at, (lead, point)) in jig.wires.iter().enumerate() {
        let half = |point: &str| point.split(':').next().unwrap().to_owned();
        let far = jig
            .wires
            .iter()
            .rev()
            .find(|(_, other)| half(other) != half(point));
        let (other, _) = far.unwrap();
        let (next, _) = &jig.wires[(at + 1) % jig.wires.len()];
        for (fault, kind, count) in [
            (format!("open@{lead}"), "open", 1),
            (format!("high-resistance@{lead},ohms=2"), "poor", 1),
            (format!("short@{lead},with={next}"), "touching", 1),
            (format!("exchanged@{lead},with={other}"), "elsewhere", 2),
        ] {
            if at % 9 != 0 && (kind != "open" || at % 3 != 0) {
                continue;
            }
            let run = check(&["--jig-fault", &fault, "--seed", &at.to_string()]);
            assert_eq!(run.status, 1, "{fault}: {run:#?}");
            let report = run.json();
            let found = report["findings"].as_array().unwrap();
            assert_eq!(found.len(), count, "{fault}: {found:#?}");
            assert_eq!(found[0]["kind"], kind, "{fault}");
            let named = found.iter().flat_map(|it| it["leads"].as_array().unwrap());
            assert!(
                named.clone().any(|it| it == &lead.to_string()),
                "{fault}: {found:#?}"
            );
        }
    }
    // A virtual jig leaves no trace in a real one's history.
    assert_eq!(history(&van), History::default());
}

#[test]
fn matings_are_counted_on_a_port_and_a_jig_at_fault_judges_nothing() {
    let (folder, van, _) = shop();
    let port = served(&van, true);
    for count in 1..=2 {
        let run = loomproof(&ring(folder.path(), &["--probe", &port.path]));
        assert_eq!(run.status, 0, "{run:#?}");
        assert_eq!(history(&van).matings, count);
    }
    // Another jig's file: nothing is found out of a jig that is not there.
    let socket = folder.path().join("socket.jig.toml");
    let check = ["jig", "check", text(&socket), "--probe", &port.path];
    typed(&check, "\n").fails(3, &["plugged in is jig 18", "is jig 17"]);
    assert_eq!(history(&socket), History::default());
    // Nothing is joined to a shorting plug that nobody plugs in.
    let empty = served(&van, false);
    let run = typed(
        &["jig", "check", text(&van), "--probe", &empty.path],
        &"\n".repeat(40),
    );
    assert_eq!(run.status, 1, "{run:#?}");
    run.speaks(&[
        "plug nothing into its halves",
        "Put the shorting plug (or a bar) on X10",
    ]);
    let ended = typed(
        &["jig", "check", text(&van), "--probe", &empty.path],
        "\n\n",
    );
    ended.fails(2, &["the input ended"]);
    let run = loomproof(&ring(folder.path(), &["--probe", &port.path]));
    run.fails(3, &["found this jig at fault", "check it again"]);
    let run = loomproof(&ring(folder.path(), &["--probe", &empty.path]));
    run.fails(3, &["found this jig at fault"]);
    // Whatever its name, and whatever became of its wires.
    let link = folder.path().join("link.jig.toml");
    std::os::unix::fs::symlink(&van, &link).unwrap();
    let run = loomproof(&ring(&link, &["--probe", &port.path]));
    run.fails(3, &["found this jig at fault"]);
    std::fs::remove_file(&link).unwrap();
    let run = loomproof(&["jig", "renewed", text(&van)]);
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(run.out.contains("after 2 matings"), "{}", run.out);
    assert_eq!(history(&van), History::default());
    note(&van, Event::Whole);
    let run = loomproof(&[
        "jig",
        "identify",
        text(folder.path()),
        "--probe",
        &port.path,
    ]);
    assert!(run.out.contains("Checked: whole"), "{run:#?}");
    // Not a virtual one's wear.
    assert_eq!(loomproof(&ring(&van, &[])).status, 0);
    assert_eq!(history(&van).matings, 0);
}

#[test]
fn the_hook_up_of_a_jig_is_proved_by_touching() {
    let args = [
        "touch",
        VAN,
        "--defaults",
        "--where",
        "bench",
        "--jig",
        JIG,
        "--prove",
    ];
    let run = loomproof(&args);
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(run.out.starts_with("PASS: all "), "{}", run.out);
    run.speaks(&["Not touched, because this variant does not have them"]);
    run.speaks(&["Take the harness out"]);
    let crossed = [&args[..], &["--fault", "clips-exchanged@X1:3,with=X1:9"]].concat();
    let run = loomproof(&crossed);
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(run.out.contains("it belongs on X1:3"), "{}", run.out);
}

#[test]
fn a_new_jig_has_a_lead_for_every_point_of_every_variant() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("van.jig.toml");
    let make = |number: &str, to: &Path, more: &[&str]| {
        let args = [
            "jig",
            "make",
            VAN,
            "--number",
            number,
            "--to",
            text(to),
            "--format",
            "json",
        ];
        loomproof(&[&args[..], more].concat())
    };
    let run = make(
        "18",
        &to,
        &["--parts", "--matings", "500", "--check-every", "100"],
    );
    assert_eq!(run.status, 0, "{run:#?}");
    let kept = file::load(&top().join(JIG), false).unwrap();
    let new = file::load(&to, false).unwrap();
    assert_eq!(
        Jig {
            path: PathBuf::new(),
            ..new.clone()
        },
        Jig {
            path: PathBuf::new(),
            ..kept
        }
    );
    assert_eq!(
        run.json()["wires"].as_array().unwrap().len(),
        new.wires.len()
    );
    // Without the parts' terminals, but with every other point.
    let less = folder.path().join("less.jig.toml");
    assert_eq!(make("19", &less, &[]).status, 0);
    let less = file::load(&less, false).unwrap();
    let gone = new
        .wires
        .iter()
        .filter(|(_, point)| !less.wires.iter().any(|(_, it)| it == point));
    let gone: Vec<&str> = gone.map(|(_, point)| point.as_str()).collect();
    assert!(
        gone.contains(&"R1:87") && gone.contains(&"F1:1"),
        "{gone:?}"
    );
    assert!(!gone.iter().any(|point| point.starts_with('X')), "{gone:?}");
    let plan = Plan::load(&top().join(VAN)).unwrap();
    for answers in plan.variants(&BTreeMap::new(), 100) {
        let job = plan.resolve(&answers).unwrap();
        let hookup = new.hookup(&job, (Place::Bench, 64));
        assert!(hookup.is_ok(), "{answers:?}: {hookup:?}");
    }
    // A harness is not judged by the history of a jig that is gone.
    note(&to, Event::Whole);
    std::fs::remove_file(&to).unwrap();
    make("18", &to, &[]).fails(2, &[".history: there is such a file already"]);
    make("19", &folder.path().join("c.jig.toml"), &[]).fails(2, &["is jig 19 already"]);
    std::fs::copy(top().join(JIG), &to).unwrap();
    make("20", &to, &[]).fails(2, &["there is such a file already"]);
    make("145", &folder.path().join("b.jig.toml"), &[]).fails(2, &["from 1 to 133"]);
    make("4", &folder.path().join("b.toml"), &[]).fails(2, &["end in .jig.toml"]);
}
