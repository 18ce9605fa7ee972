//! What the probe measured by itself, read, explained and kept by the commands.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use loomproof::alone::{collect, rung};
use loomproof::bench::VirtualFlash;
use loomproof::link::{Link, VirtualProbe};
use loomproof::ringout::Outcome;
use loomproof::ringout::report::Verdict;
use loomproof::ringout::verdict::report;
use loomproof_core::image;
use loomproof_firmware::alone::{Alone, Ended};

use super::{Shown, V, bench, image_of, loaded, plan, ring, top};

fn command(args: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_loomproof"))
        .args(args)
        .current_dir(top())
        .env("LOOMPROOF_STORE", "none")
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

#[test]
fn the_command_loads_and_collects_into_the_records() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (memory, store) = (path("memory"), path("records"));
    let van = "fixtures/plans/bakery-van.toml";
    let kept = ["--probe-memory", &memory];
    let (status, out, err) = command(&[&["probe", "load", van], &kept[..]].concat());
    assert_eq!(status, 0, "{err}");
    assert!(
        out.contains("is in the probe now, for the vehicle: 4 variants"),
        "{out}"
    );
    let (_, out, _) = command(&[&["probe", "load", van, "--format", "json"], &kept[..]].concat());
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (&json["was_there"], &json["variants"]),
        (&true.into(), &4.into())
    );
    let (status, _, err) = command(&[&["probe", "results", van], &kept[..]].concat());
    assert_eq!(status, 0);
    assert!(err.contains("The probe keeps no results."), "{err}");

    // Rung out by itself, with a fault, in another variant than the defaults.
    let plan = plan("bakery-van");
    let answers = plan.variants(&BTreeMap::new(), 16).pop().unwrap();
    let job = plan.resolve(&answers).unwrap();
    let flash = VirtualFlash::in_file(Path::new(&memory)).unwrap();
    let faults = ["high-resistance@X10:2,ohms=8"];
    let bench = bench(&job, V, &faults, 9);
    let mut probe = VirtualProbe::with_flash(bench, flash);
    let (mut alone, mut shown) = (Alone::new(), Shown::default());
    ring(&mut probe, &mut alone, &mut shown, &plan, &job);
    assert_eq!(
        alone.ended(),
        Some(Ended::Verdict(image::Verdict::Faults, true))
    );

    let results = [
        "probe",
        "results",
        van,
        "--format",
        "json",
        "--vehicle",
        "7",
    ];
    let (status, out, err) = command(&[&results[..], &kept[..]].concat());
    assert_eq!(status, 1, "{err}");
    assert!(err.contains("the probe keeps its results still"), "{err}");
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    let one = &json[0];
    assert_eq!(
        (&one["number"], &one["probe_said"]),
        (&1.into(), &"faults".into())
    );
    let best = &one["report"]["groups"][0]["sets"][0][0];
    assert_eq!(
        (&best["kind"], &best["place"]),
        (&"high-resistance".into(), &"X10:2".into())
    );

    let stored = [&results[..], &kept[..], &["--store", &store]].concat();
    let (status, _, err) = command(&stored);
    assert_eq!(status, 1, "{err}");
    assert!(err.contains("Kept as record 1"), "{err}");
    let (status, _, err) = command(&stored);
    assert_eq!(
        (status, err.contains("The probe keeps no results.")),
        (0, true),
        "{err}"
    );
    let (status, out, err) = command(&["records", "list", "--store", &store]);
    assert_eq!(status, 0, "{err}");
    assert!(out.contains('7'), "{out}");
}

/// The report of a collected result is that of the host's own first pass.
#[test]
fn a_collected_result_is_explained() {
    let plan = plan("bakery-van");
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    let flash = loaded(&plan, V);
    let faults = ["short@W17,with=W23"];
    let mut probe = VirtualProbe::with_flash(bench(&job, V, &faults, 11), flash);
    let (mut alone, mut shown) = (Alone::new(), Shown::default());
    ring(&mut probe, &mut alone, &mut shown, &plan, &job);
    let mut link = probe.session().unwrap();
    let collected = collect(&mut link).unwrap().remove(0);
    let clips = vec![None; 64];
    let image = image_of(&plan, V);
    let (job, rung) = rung(&plan, (&image, 64), &clips, &collected).unwrap();
    let outcome = Outcome::Complete(rung.taken.clone());
    let report = report(&job, &rung.hookup, &rung.model, link.hello(), &outcome).unwrap();
    assert_eq!(report.verdict, Verdict::Faults);
    let named = report
        .groups
        .iter()
        .flat_map(|group| group.sets.iter().flatten());
    assert!(
        named.into_iter().any(|fault| fault.kind == "short"),
        "{:#?}",
        report.groups
    );
}
