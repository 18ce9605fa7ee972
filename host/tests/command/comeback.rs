//! From a function that does not work to the cause: answers typed through a pipe,
//! sessions that are left and taken up again, practice.

use serde_json::Value;

use crate::support::{self, Run, loomproof};

const VAN: &str = "fixtures/plans/bakery-van.toml";
const VERB: [&str; 3] = ["comeback", VAN, "--defaults"];

/// The verb with these lines typed.
fn typed(args: &[&str], lines: &str) -> Run {
    support::typed(&[&VERB[..], args].concat(), lines)
}

fn virtually(fault: &str) -> Value {
    let args = ["--probe", "virtual", "--format", "json", "--fault", fault];
    let run = loomproof(&[&VERB[..], &args].concat());
    assert_eq!(run.status, 1, "{fault}: {run:#?}");
    run.json()
}

/// Spellings of all sets of the first group.
fn first(report: &Value) -> Vec<String> {
    let sets = report["groups"][0]["sets"].as_array().unwrap();
    let each = sets.iter().flat_map(|set| set.as_array().unwrap());
    each.map(|one| {
        format!(
            "{}@{}",
            one["kind"].as_str().unwrap(),
            one["place"].as_str().unwrap()
        )
    })
    .collect()
}

#[test]
fn the_cause_in_a_virtual_vehicle_is_found() {
    for (fault, whose) in [
        ("tap-missed@T1", "ours"),
        ("dead-feed@K2", "vehicle"),
        ("bulb-out@FAN", "consumer"),
        ("blown@F1", "ours"),
    ] {
        let report = virtually(fault);
        assert!(
            first(&report).contains(&fault.to_owned()),
            "{fault}: {report:#}"
        );
        let sets = report["groups"][0]["sets"].as_array().unwrap();
        let own = sets.iter().flat_map(|set| set.as_array().unwrap());
        let own = own.filter(|one| one["fault"].as_str() == Some(fault));
        assert!(
            own.into_iter().all(|one| one["whose"] == whose),
            "{fault}: {report:#}"
        );
        let confirm = report["confirm"].as_array().unwrap();
        assert!(!confirm.is_empty(), "{fault}");
        assert!(report["effort"].as_f64().unwrap() > 0.0);
    }
}

/// A feed that gives too little leaves its fuse whole, and is not one that is dead.
#[test]
fn a_feed_that_is_low_is_told_from_one_that_is_dead() {
    let report = virtually("dead-feed@K2");
    let found = first(&report);
    assert!(found.contains(&"dead-feed@K2".to_owned()), "{found:?}");
    assert!(!found.contains(&"voltage@K2".to_owned()), "{found:?}");
}

/// A function without current is no fault where none is told.
#[test]
fn nothing_wrong_is_said_to_be_nothing_wrong() {
    let run = loomproof(&[&VERB[..], &["--probe", "virtual"]].concat());
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(run.out.contains("NOTHING WRONG"), "{run:#?}");
}

#[test]
fn a_session_is_left_undone_and_taken_up_again() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("van.json");
    let path = file.to_str().unwrap();
    let told = [
        "--fails",
        "chiller",
        "--works",
        "buzzer",
        "--battery",
        "12.6",
        "--session",
        path,
    ];
    let run = typed(&told, "skip\nquit\n");
    assert_eq!(run.status, 5, "{run:#?}");
    let kept: Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    assert_eq!(kept["entries"].as_array().unwrap().len(), 1, "{kept:#}");
    let at = kept["entries"][0]["at"].clone();

    // Taken back, then not possible again: something else is asked for.
    let run = typed(&["--session", path], "undo\nskip\nquit\n");
    assert_eq!(run.status, 5, "{run:#?}");
    run.speaks(&["Taken back"]);
    let kept: Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    assert_eq!(kept["symptoms"]["chiller"], "fails");
    assert_eq!(kept["battery_volts"], 12.6);
    assert_eq!(kept["entries"].as_array().unwrap().len(), 1, "{kept:#}");
    assert_eq!(kept["entries"][0]["at"], at);
    assert_eq!(kept["entries"][0]["reply"], "skip");
    let report = typed(&["--session", path, "--format", "json"], "quit\n").json();
    assert_ne!(report["next"]["at"], at, "{report:#}");
}

/// What the virtual vehicle with a fault tells and answers, to be typed: arguments, and
/// a line for each answer.
fn played(fault: &str) -> (Vec<String>, String) {
    let report = virtually(fault);
    let mut told = vec!["--battery".to_owned(), report["battery_volts"].to_string()];
    for (function, how) in report["symptoms"].as_object().unwrap() {
        told.extend([format!("--{}", how.as_str().unwrap()), function.clone()]);
    }
    let asked = report["asked"].as_array().unwrap().iter();
    let lines = asked.map(|one| format!("{}\n", one["reply"].as_str().unwrap()));
    (told, lines.collect())
}

/// What was looked at and is not so is not named again; what is put right is tried.
#[test]
fn after_a_look_the_session_goes_on() {
    let (told, answers) = played("blown@F1");
    let told: Vec<&str> = told.iter().map(String::as_str).collect();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("van.json");
    let session = ["--session", file.to_str().unwrap()];
    let run = typed(&[&told[..], &session].concat(), &answers);
    assert_eq!(run.status, 1, "{run:#?}");
    run.speaks(&["Look there."]);

    // Sound: something else is asked for or named, and a look can be taken back.
    let json = ["--format", "json"];
    let again = [&session[..], &json].concat();
    let named = first(&typed(&again, "").json());
    assert!(named.contains(&"blown@F1".to_owned()), "{named:?}");
    let report = typed(&again, "n\n").json();
    let again_named = first(&report).iter().any(|it| named.contains(it));
    assert!(
        report["verdict"] != "faults" || !again_named,
        "named again: {report:#}"
    );
    let sound = report["sound"].as_array().unwrap();
    assert!(
        sound.iter().any(|one| one["fault"] == "blown@F1"),
        "{sound:#?}"
    );
    assert_ne!(report["verdict"], "pass");
    let report = typed(&again, "undo\n").json();
    assert!(
        first(&report).contains(&"blown@F1".to_owned()),
        "{report:#}"
    );
    assert_eq!(report.get("sound"), None, "{report:#}");

    // Put right, and it still fails: the cause is looked for anew, without that one.
    let which = first(&report)
        .iter()
        .position(|it| it == "blown@F1")
        .unwrap();
    let several = report["groups"][0]["sets"].as_array().unwrap().len() > 1;
    let which = if several {
        char::from(b'a' + u8::try_from(which).unwrap())
    } else {
        'y'
    };
    let left = typed(&again, &format!("{which}\n")).json();
    assert_eq!(
        left["verdict"], "faults",
        "the input ended before it was tried: {left:#}"
    );
    assert_eq!(left.get("repaired"), None, "{left:#}");
    let report = typed(&again, &format!("{which}\n\nn\ny\ny\ny\nquit\n")).json();
    assert_eq!(report["repaired"][0]["fault"], "blown@F1", "{report:#}");
    assert_eq!(report["readings"], 0, "what was read before counts no more");
    assert_ne!(first(&report)[0], "blown@F1", "{report:#}");
    let kept: Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    assert!(!kept["open"].as_array().unwrap().is_empty(), "{kept:#}");

    // The repair is taken back, made again, and everything works.
    let run = typed(&session, &format!("undo\n{which}\ny\ny\ny\n"));
    assert_eq!(run.status, 0, "{run:#?}");
    run.speaks(&["Taken back", "put right"]);
    assert!(run.out.contains("PUT RIGHT: every function"), "{run:#?}");
}

#[test]
fn a_session_of_another_job_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("van.json");
    let path = file.to_str().unwrap();
    let told = ["--fails", "chiller", "--battery", "12", "--session", path];
    assert_eq!(typed(&told, "quit\n").status, 5);
    let sliding = ["--answer", "rear-door=sliding", "--session", path];
    typed(&sliding, "").fails(2, &["another variant of this plan", path]);
    let kept = std::fs::read_to_string(&file).unwrap();
    let digest = kept
        .split("\"plan_digest\": \"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    std::fs::write(&file, kept.replace(digest, "0")).unwrap();
    typed(&["--session", path], "").fails(2, &["another plan"]);
    std::fs::write(&file, "[]").unwrap();
    typed(&["--session", path], "").fails(2, &["no comeback session"]);
}

#[test]
fn what_cannot_be_asked_is_said() {
    typed(&["--fails", "toaster", "--battery", "12"], "").fails(2, &["toaster", "chiller"]);
    typed(&["--battery", "120"], "").fails(2, &["no battery of 12 V"]);
    typed(
        &["--fails", "chiller", "--battery", "12", "--open", "moon"],
        "",
    )
    .fails(2, &["moon", "fuse box"]);
    let smallest = [
        "comeback",
        "fixtures/plans/smallest.toml",
        "--battery",
        "12",
    ];
    loomproof(&smallest).fails(2, &["does not say enough"]);
}

/// A place that is open is asked for before one that is closed.
#[test]
fn open_places_come_first() {
    let told = [
        "--fails",
        "chiller",
        "--works",
        "buzzer",
        "--works",
        "bay-lamps-hinged",
        "--battery",
        "12.6",
    ];
    let ask = |more: &[&str]| {
        let args = [&told[..], more, &["--format", "json"]].concat();
        typed(&args, "quit\n").json()["next"].clone()
    };
    let closed = ask(&[]);
    let open = ask(&["--open", "bulkhead"]);
    assert!(closed["effort"].as_f64().unwrap() > 10.0, "{closed:#}");
    assert!(open["effort"].as_f64().unwrap() < 10.0, "{open:#}");
    assert!(open["at"].as_str().unwrap().starts_with("P1"), "{open:#}");
}

#[test]
fn practice_tells_how_it_went() {
    let hidden = ["--practice", "--fault", "tap-missed@T1"];
    let run = typed(
        &hidden,
        "set ignition on\ntry chiller\nat T1\nsay tap-missed@T1\n",
    );
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(run.out.contains("RIGHT"), "{run:#?}");
    assert!(run.out.contains("You: 2 readings"), "{run:#?}");
    let run = typed(&hidden, "say blown@F1\n");
    assert_eq!(run.status, 1, "{run:#?}");
    assert!(
        run.out.contains("WRONG") && run.out.contains("tap-missed@T1"),
        "{run:#?}"
    );
    // Drawn by the seed: the same one twice.
    let drawn = |seed| typed(&["--practice", "--seed", seed], "give up\n").out;
    assert!(drawn("3").contains("Hidden was"));
    assert_eq!(drawn("3"), drawn("3"));
}
