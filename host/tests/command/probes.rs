//! `probe self-test`, `probe null`, and a ring-out with a probe at fault.

use crate::support::loomproof;

const VAN: [&str; 3] = ["ringout", "fixtures/plans/bakery-van.toml", "--defaults"];

fn ringout(more: &[&str]) -> crate::support::Run {
    loomproof(&[&VAN[..], more].concat())
}

#[test]
fn a_healthy_probe_is_said_to_work_and_what_was_not_tested() {
    let run = loomproof(&["probe", "self-test"]);
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(
        run.out
            .starts_with("The probe works.\nTested: 65 channels, 2016 pairs of leads")
    );
    assert!(
        run.out
            .contains("Not tested:\n - whether the comparators trip")
    );
    run.speaks(&["hang free", "clip C1 and C2 together"]);
    let json = loomproof(&["probe", "self-test", "--leads", "16", "--format", "json"]).json();
    assert_eq!(json["works"], true);
    assert_eq!(json["channels_tested"], 17);
}

#[test]
fn a_probe_at_fault_is_said_with_what_to_do_and_gives_no_verdict() {
    let fault = ["--probe-fault", "disconnect-open@P17"];
    let run = loomproof(&[&["probe", "self-test"], &fault[..]].concat());
    assert_eq!(run.status, 3);
    assert!(
        run.out
            .contains("1. Lead 17 cannot drive: its disconnect does not close."),
        "{}",
        run.out
    );
    assert!(
        run.out.contains("   Do: Do not clip this lead;"),
        "{}",
        run.out
    );
    let json = loomproof(&[&["probe", "self-test", "--format", "json"], &fault[..]].concat());
    assert_eq!(
        json.json()["troubles"][0]["say"],
        "Lead 17 cannot drive: its disconnect does not close."
    );
    ringout(&fault).fails(
        3,
        &[
            "the probe itself is at fault",
            "Lead 17 cannot drive",
            "probe self-test",
        ],
    );
    ringout(&["--probe-fault", "line-low@adc"]).fails(3, &["The converter gives 0.000 V"]);
}

#[test]
fn faults_of_the_probe_are_listed_and_slips_are_told() {
    let run = ringout(&["--probe-fault", "help"]);
    assert_eq!(run.status, 0);
    for (example, _) in loomproof::bench::DEFECTS {
        assert!(
            run.out.contains(example),
            "{example} is not in:\n{}",
            run.out
        );
        let listed = loomproof(&["probe", "self-test", "--probe-fault", example]);
        assert_eq!(
            listed.status, 3,
            "{example} is an example that does something: {listed:#?}"
        );
    }
    ringout(&["--probe-fault", "worn@P1"]).fails(2, &["worn@P1", "no such kind", "help"]);
    ringout(&["--probe-fault", "leak@P99,na=1"])
        .fails(2, &["a probe with 64 leads has no such place"]);
    ringout(&["--probe", "/dev/null", "--probe-fault", "leak@P9,na=1"]).fails(
        2,
        &["--probe-fault and --probe-memory are of the virtual probe"],
    );
}

#[test]
fn nulled_clips_are_kept_and_taken_into_account() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("memory");
    let memory = ["--probe-memory", file.to_str().unwrap()];
    let shown = loomproof(&[&["probe", "null", "--show"], &memory[..]].concat());
    assert_eq!(shown.status, 0);
    assert!(shown.out.contains("Not nulled: P1, P2"), "{}", shown.out);
    let run = loomproof(&[&["probe", "null"], &memory[..]].concat());
    assert_eq!(run.status, 0, "{run:#?}");
    assert!(run.out.contains("Kept in the probe"), "{}", run.out);
    let kept = loomproof(
        &[
            &["probe", "null", "--show", "--format", "json"],
            &memory[..],
        ]
        .concat(),
    );
    let clips = kept.json();
    assert_eq!(clips.as_array().unwrap().len(), 64);
    let first = clips[0]["ohms"].as_f64().unwrap();
    assert!((0.01..0.3).contains(&first), "{first} Ω");
    // A scan remembers what its clips were nulled to, and is judged alike from the file.
    let scan = folder.path().join("scan.json");
    let scan = scan.to_str().unwrap();
    let now = ringout(&[&["--save", scan, "--format", "json"], &memory[..]].concat());
    assert_eq!(now.status, 0, "{now:#?}");
    let text = std::fs::read_to_string(scan).unwrap();
    assert!(text.contains("\"nulls\""));
    let later = loomproof(&["ringout", VAN[1], "--from", scan, "--format", "json"]);
    assert_eq!(later.json(), now.json());
    std::fs::write(&file, "no flash").unwrap();
    ringout(&memory).fails(2, &["this is no probe memory"]);
}

/// The short test before a wiggle test falls upon the joint while it is open: the
/// harness is not held against the probe.
#[test]
fn a_joint_that_lets_go_is_no_fault_of_the_probe() {
    let run = loomproof(&[
        "wiggle",
        "fixtures/plans/bakery-van.toml",
        "--defaults",
        "--fault",
        "intermittent@G1,gap=2ms,every=40ms",
        "--for",
        "0.1",
    ]);
    assert!(
        !run.err.contains("the probe itself is at fault"),
        "{run:#?}"
    );
    assert!(run.out.starts_with("Wiggle test of"), "{run:#?}");
}
