//! Connectors open or plugged place by place, and stages that forbid a test.

use loomproof::hookup::{Mated, Within, needed, rounds::rounds};
use loomproof::plan::model::Job;
use loomproof::plan::read;
use loomproof_core::wire::Place;

use crate::support::{self, Run, loomproof, top};

const LAMP: &str = "fixtures/plans/work-lamp.toml";
const VAN: &str = "fixtures/plans/bakery-van.toml";
const PANEL: &str = "right kick panel";
const BAY: &str = "load bay";

fn job(change: impl Fn(&str) -> String) -> Job {
    let text = std::fs::read_to_string(top().join(LAMP)).unwrap();
    let plan = read("lamp", &change(&text)).unwrap();
    plan.resolve(&Default::default()).unwrap()
}

/// Open and plugged connectors while some places are rung out.
fn mated(job: &Job, at: &[&str]) -> (Vec<String>, Vec<String>) {
    let at: Vec<String> = at.iter().map(|it| (*it).to_owned()).collect();
    let within = Within::of(job, &at).unwrap();
    let hookup = rounds(job, Place::Vehicle, 64, &within).unwrap().hookups;
    let Mated { open, plugged } = hookup[0].mated.clone();
    (open.into_iter().collect(), plugged.into_iter().collect())
}

#[test]
fn a_place_that_needs_it_open_has_it_open() {
    let x5 = || vec!["X5".to_owned()];
    let lamp = job(str::to_owned);
    assert_eq!(mated(&lamp, &[PANEL]), (x5(), vec![]));
    assert_eq!(mated(&lamp, &[BAY]), (vec![], x5()));
    assert_eq!(mated(&lamp, &["X6"]), (vec![], x5()), "X6 is there");
    assert_eq!(mated(&lamp, &[PANEL, BAY]), (x5(), vec![]), "open for both");
    assert_eq!(mated(&lamp, &[]), (x5(), vec![]), "open for everything");
    let parts: Vec<String> = needed(&lamp, Place::Vehicle)
        .iter()
        .map(|point| point.part().to_owned())
        .collect();
    let all = || parts.iter().map(String::as_str);
    assert!(Mated::of(&lamp, Place::Bench, all()).is_empty());
    assert!(!Mated::of(&lamp, Place::Vehicle, all()).is_empty());
    // What is said of a place counts before what is said of all.
    let other = job(|text| text.replace("open_for = \"right kick panel\"", "open_for = \"all\""));
    assert_eq!(mated(&other, &[BAY]), (vec![], x5()));
    assert_eq!(mated(&other, &[PANEL]), (x5(), vec![]));
    // A plan that says nothing takes everything as it was.
    let silent = job(|text| {
        let kept = text
            .lines()
            .filter(|line| !line.starts_with("open_for") && !line.starts_with("plugged_for"));
        kept.collect::<Vec<_>>().join("\n")
    });
    assert_eq!(mated(&silent, &[BAY]), (vec![], vec![]));
}

fn ring_out(at: &str, more: &[&str]) -> Run {
    let args = ["ringout", LAMP, "--format", "json", "--at", at];
    loomproof(&[&args[..], more].concat())
}

/// The faults of the sets of the best group.
fn best(run: &Run) -> Vec<String> {
    let report = run.json();
    let sets = report["groups"][0]["sets"].as_array().unwrap();
    let first = |set: &serde_json::Value| {
        let faults: Vec<&str> = set
            .as_array()
            .unwrap()
            .iter()
            .map(|fault| fault["fault"].as_str().unwrap())
            .collect();
        faults.join(" + ")
    };
    sets.iter().map(first).collect()
}

#[test]
fn the_command_says_what_is_to_be_open_and_what_plugged() {
    let open = "Has to be open (pull it apart): X5 (right kick panel, body module).";
    let plugged = "Has to be plugged: X5 (right kick panel, body module).";
    ring_out(PANEL, &[]).speaks(&[open]);
    ring_out(BAY, &[]).speaks(&[plugged]);
    let listed = loomproof(&["hookup", LAMP, "--at", BAY]);
    assert!(listed.out.contains(plugged), "{}", listed.out);
    let listed = loomproof(&["hookup", LAMP, "--at", BAY, "--format", "json"]).json();
    assert_eq!(listed["plugged"][0], "X5");
    assert_eq!(listed["open"].as_array().unwrap().len(), 0);
}

/// The same wiring, healthy, whether the module is there or not: expectations
/// follow the plan.
#[test]
fn a_healthy_harness_is_healthy_in_either_state() {
    for seed in ["1", "2", "3"] {
        for at in [PANEL, BAY] {
            let run = ring_out(at, &["--seed", seed]);
            // Nothing is off; the other place is still to do.
            assert_eq!(run.status, 5, "{run:#?}");
            assert!(run.json()["groups"].as_array().unwrap().is_empty());
        }
    }
}

#[test]
fn a_connector_in_the_wrong_state_is_a_finding() {
    for seed in ["1", "2", "3"] {
        let seed = ["--seed", seed];
        let run = ring_out(
            PANEL,
            &[&["--fault", "left-plugged@X5"], &seed[..]].concat(),
        );
        assert_eq!(run.status, 1, "{run:#?}");
        assert_eq!(best(&run), ["left-plugged@X5"]);
        let run = ring_out(BAY, &[&["--fault", "left-open@X5"], &seed[..]].concat());
        assert_eq!(run.status, 1, "{run:#?}");
        assert_eq!(best(&run), ["left-open@X5"]);
    }
    // It cannot be left plugged where it has to be plugged.
    ring_out(BAY, &["--fault", "left-plugged@X5"]).fails(2, &["not open while these places"]);
    ring_out(PANEL, &["--fault", "left-open@X5"]).fails(2, &["does not say that it is plugged"]);
    ring_out(BAY, &["--fault", "left-open@X6"]).fails(2, &["no plugged_for"]);
}

/// A terminal that is not home shows through the module's input, from the far end.
#[test]
fn the_plugged_module_proves_seating() {
    let listed = |at: &str| {
        let run = ring_out(at, &["--fault", "help"]);
        let faults = run.json();
        let faults = faults.as_array().unwrap().clone();
        faults
            .into_iter()
            .find(|fault| fault["fault"] == "unseated@X5:4")
            .unwrap()["covered"]
            .as_bool()
            .unwrap()
    };
    assert!(listed(BAY));
    assert!(!listed(PANEL));
    let run = ring_out(BAY, &["--fault", "unseated@X5:4"]);
    assert!(best(&run).contains(&"unseated@X5:4".to_owned()), "{run:#?}");
    assert!(!best(&run).contains(&"left-open@X5".to_owned()), "{run:#?}");
}

/// Places with different states add up in one file; a live check waits for it.
#[test]
fn places_add_up_and_power_waits_for_them() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lamp.json");
    let file = file.to_str().unwrap();
    let live = || loomproof(&["live", LAMP, "--rung-out", file]);
    live().fails(4, &["refused", "nothing is rung out yet", "ringout"]);
    let more = ["--so-far", file];
    assert_eq!(ring_out(PANEL, &more).status, 5);
    live().fails(4, &["not whole yet", "load bay", "stage 4 of 9"]);
    let kept = std::fs::read_to_string(file).unwrap();
    assert!(kept.contains("\"open\": ["), "the state is kept");
    assert_eq!(ring_out(BAY, &more).status, 0);
    let again = loomproof(&["ringout", LAMP, "--from", file]);
    assert_eq!(again.status, 0, "{again:#?}");
    let run = live();
    run.speaks(&[
        "rung out, nothing is off",
        "Stage 6 of 9, live check: battery on",
    ]);
    assert_ne!(run.status, 4, "{run:#?}");
    // With a fault in it: not before that is put right.
    let other = folder.path().join("fault.json");
    let other = other.to_str().unwrap();
    let fault = ["--fault", "short@W2,with=chassis", "--save", other];
    let everything = loomproof(&[&["ringout", LAMP], &fault[..]].concat());
    assert_eq!(everything.status, 1, "{everything:#?}");
    loomproof(&["live", LAMP, "--rung-out", other]).fails(4, &["found faults"]);
}

#[test]
fn a_verb_says_its_stage_and_is_refused_where_the_stage_forbids_it() {
    let said = "Stage 4 of 9, fit and ring out, place by place: battery off;";
    let run = loomproof(&["ringout", VAN, "--defaults"]);
    assert!(
        run.err.lines().any(|line| line.starts_with(said)),
        "{}",
        run.err
    );
    let run = loomproof(&["ringout", VAN, "--defaults", "--where", "bench"]);
    run.speaks(&["The harness alone on the bench: no vehicle and no battery"]);
    let dead = ["--defaults", "--stage"];
    for (verb, stage, words) in [
        ("ringout", "live-check", "the battery is on"),
        ("ringout", "first-power", "the battery is on"),
        (
            "ringout",
            "battery-off",
            "comes when the battery is off and the harness is in",
        ),
        ("wiggle", "recheck", "the battery is on"),
        ("live", "ring-out", "needs the battery on"),
        ("live", "trim-on", "behind the trim"),
    ] {
        let run = loomproof(&[&[verb, VAN], &dead[..], &[stage]].concat());
        run.fails(4, &["refused: ", words]);
    }
    loomproof(&["wiggle", VAN, "--defaults", "--live", "--stage", "ring-out"])
        .fails(4, &["needs the battery on"]);
    loomproof(&["ringout", VAN, "--stage", "lunch"]).fails(2, &["first-power"]);
    let run = loomproof(&["ringout", VAN, "--defaults", "--stage", "ring-out"]);
    assert_eq!(run.status, 0, "{run:#?}");
}

/// What a module shows is learned before the harness is joined, and judged by.
fn learn(file: &str, more: &[&str]) -> Run {
    let args = ["ringout", LAMP, "--at", BAY, "--learn", file];
    loomproof(&[&args[..], more].concat())
}

const FAR_OFF: [&str; 2] = ["--hangs", "K1=3 kohm"];

/// A module whose input is far from what the plan says: without learning it is taken
/// for a fault, with it the harness passes, and a real fault is still found.
#[test]
fn a_learned_module_is_judged_by_what_it_showed() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("learned.json");
    let file = file.to_str().unwrap();
    let false_alarm = ring_out(BAY, &FAR_OFF);
    assert_eq!(false_alarm.status, 1, "{false_alarm:#?}");
    let run = learn(file, &FAR_OFF);
    // C4 has nothing to touch before the harness's terminal is in its cavity.
    assert_eq!(run.status, 5, "{run:#?}");
    assert!(run.out.contains("C4"), "{}", run.out);
    assert!(run.out.contains("cannot be reached here"), "{}", run.out);
    run.speaks(&[
        "Before the harness is joined",
        "X6:2",
        "Has to be plugged: X5",
    ]);
    let kept: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    let ohms = |at: usize| kept["loads"]["K1"][at].as_f64().unwrap();
    assert!(ohms(0) < 3e3 && 3e3 < ohms(1), "{kept}");
    assert!(
        ohms(0) > 2.5e3 && ohms(1) < 3.5e3,
        "close around it: {kept}"
    );
    for seed in ["1", "2", "3"] {
        let more = [&FAR_OFF[..], &["--learned", file, "--seed", seed]].concat();
        let run = ring_out(BAY, &more);
        assert_eq!(run.status, 5, "nothing is off: {run:#?}");
        run.speaks(&["Judged by what was learned of K1."]);
        let missed = [&more[..], &["--fault", "tap-missed@T1"]].concat();
        let run = ring_out(BAY, &missed);
        assert_eq!(run.status, 1, "{run:#?}");
        assert!(best(&run).contains(&"tap-missed@T1".to_owned()), "{run:#?}");
    }
}

/// The narrower range shows what the plan's could not.
#[test]
fn what_was_learned_goes_on_in_the_file_of_the_ring_out() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (learned, scan) = (path("learned.json"), path("scan.json"));
    learn(&learned, &FAR_OFF);
    let more = [&FAR_OFF[..], &["--learned", &learned, "--so-far", &scan]].concat();
    assert_eq!(ring_out(BAY, &more).status, 5);
    // Judged again, and gone on with, without naming what was learned.
    let panel = [&FAR_OFF[..], &["--so-far", &scan]].concat();
    assert_eq!(ring_out(PANEL, &panel).status, 0);
    let again = loomproof(&["ringout", LAMP, "--from", &scan]);
    assert_eq!(again.status, 0, "{again:#?}");
}

#[test]
fn what_was_learned_elsewhere_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let file = path("learned.json");
    assert_eq!(learn(&file, &["--vehicle", "VAN 7"]).status, 5);
    ring_out(BAY, &["--learned", &file, "--vehicle", "VAN 8"])
        .fails(2, &["learned of vehicle VAN 7", "this is vehicle VAN 8"]);
    ring_out(BAY, &["--learned", &file]).fails(2, &["a vehicle without number", "--vehicle"]);
    let other = [
        "ringout",
        "fixtures/plans/smallest.toml",
        "--learned",
        &file,
    ];
    loomproof(&[&other[..], &["--vehicle", "VAN 7"]].concat()).fails(2, &["another plan"]);
    let none = path("none.json");
    ring_out(BAY, &["--learned", &none]).fails(2, &["none.json"]);
    std::fs::write(&none, "{}").unwrap();
    ring_out(BAY, &["--learned", &none]).fails(2, &["not what `ringout --learn` keeps"]);
    // On the bench, with the module open, and with the clip off there is nothing.
    let learn_at = |at: &str, more: &[&str]| {
        let args = ["ringout", LAMP, "--at", at, "--learn", &none];
        loomproof(&[&args[..], more].concat())
    };
    learn_at(BAY, &["--where", "bench"]).fails(2, &["no module is plugged"]);
    learn_at(PANEL, &[]).fails(2, &["nothing to learn within reach"]);
    let run = learn_at(BAY, &["--hangs", "K1=none"]);
    assert_eq!(run.status, 5, "{run:#?}");
    assert!(run.out.contains("shows nothing"), "{}", run.out);
    ring_out(BAY, &["--hangs", "K9=none"]).fails(2, &["no such conductor or pin"]);
}

/// One file, the same place twice: what was put right in between counts as it is now.
#[test]
fn a_place_that_is_rung_out_again_counts_as_it_is_now() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lamp.json");
    let more = ["--so-far", file.to_str().unwrap()];
    let broken = [&more[..], &["--fault", "open@W2"]].concat();
    assert_eq!(ring_out(BAY, &broken).status, 1);
    let run = ring_out(BAY, &more);
    assert_eq!(run.status, 5, "nothing is off any more: {run:#?}");
    assert_eq!(run.json()["rounds"], 1);
    assert_eq!(ring_out(PANEL, &more).status, 0);
    // Of another place the readings stay, and what is off in them is told with a way out.
    assert_eq!(ring_out(BAY, &broken).status, 1);
    let run = ring_out(PANEL, &more);
    assert_eq!(run.status, 1, "{run:#?}");
    run.speaks(&["Readings of earlier calls", "the same --at"]);
    assert_eq!(ring_out(BAY, &more).status, 0);
}

/// A clip that was set anew on the way is not blamed by the calls that follow, and its
/// first readings are gone.
#[test]
fn a_clip_set_anew_is_known_to_the_calls_that_follow() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lamp.json");
    let file = file.to_str().unwrap();
    let more = ["--so-far", file];
    let slip = [&more[..], &["--fault", "clip-off@X7:1", "--go-on"]].concat();
    let args = ["ringout", LAMP, "--format", "json", "--at", BAY];
    let run = with_enter(&[&args[..], &slip].concat());
    assert_eq!(run.status, 5, "{run:#?}");
    run.speaks(&["Enter when done"]);
    let kept: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    assert_eq!(kept["set_anew"], true);
    assert_eq!(ring_out(PANEL, &more).status, 0);
    let from = loomproof(&["ringout", LAMP, "--from", file]);
    assert_eq!(from.status, 0, "{from:#?}");
}

/// Runs the command for somebody who presses Enter whenever asked.
fn with_enter(args: &[&str]) -> Run {
    support::typed(args, &"\n".repeat(12))
}

/// A probe that carries a plan does not say what is to be open: the computer does when
/// it loads it.
#[test]
fn loading_a_probe_says_what_is_to_be_open() {
    let run = loomproof(&["probe", "load", LAMP]);
    assert_eq!(run.status, 0, "{run:#?}");
    let open = "Has to be open (pull it apart): X5 (right kick panel, body module).";
    assert!(run.out.contains("Before each run"), "{}", run.out);
    assert!(run.out.contains(open), "{}", run.out);
    let listed = loomproof(&["probe", "load", LAMP, "--format", "json"]).json();
    assert_eq!(listed["before"][0], open);
    // On the bench there is nothing to open, nor in a plan that says nothing.
    for more in [
        ["probe", "load", LAMP, "--where", "bench"],
        ["probe", "load", VAN, "--probe", "virtual"],
    ] {
        let run = loomproof(&more);
        assert_eq!(run.status, 0, "{run:#?}");
        assert!(!run.out.contains("Before each run"), "{}", run.out);
    }
}
