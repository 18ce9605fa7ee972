//! The report that a fitter reads, for one fault of each kind:
//! `fixtures/reports/NAME.args` is the command line, one argument a line,
//! `NAME.txt` what is printed. `LOOMPROOF_BLESS=1` writes the texts anew.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use loomproof::fault::spell::KINDS;

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every kept command line, by name.
fn kept() -> Vec<(PathBuf, Vec<String>)> {
    let mut kept = Vec::new();
    for entry in std::fs::read_dir(top().join("fixtures/reports")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "args") {
            let text = std::fs::read_to_string(&path).unwrap();
            let args = text.lines().map(ToOwned::to_owned).collect();
            kept.push((path.with_extension("txt"), args));
        }
    }
    kept.sort();
    kept
}

/// The faults of a command line.
fn faults(args: &[String]) -> Vec<&str> {
    let after = args.iter().zip(args.iter().skip(1));
    after
        .filter(|(flag, _)| *flag == "--fault")
        .map(|(_, fault)| fault.as_str())
        .collect()
}

#[test]
fn the_reports_are_as_kept() {
    let bless = std::env::var_os("LOOMPROOF_BLESS").is_some_and(|value| value == "1");
    let mut changed = Vec::new();
    for (file, args) in kept() {
        let output = Command::new(env!("CARGO_BIN_EXE_loomproof"))
            .args(&args)
            .env("LOOMPROOF_STORE", "none")
            .current_dir(top())
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        let status = match faults(&args).as_slice() {
            [] => i32::from(args.iter().any(|arg| arg == "--jig-fault")),
            [one] if one.starts_with("live@") => 4,
            _ => 1,
        };
        assert_eq!(
            output.status.code(),
            Some(status),
            "{args:?}: {text}{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let before = std::fs::read_to_string(&file).unwrap_or_default();
        if bless {
            std::fs::write(&file, &text).unwrap();
        } else if before != text {
            changed.push(format!("{}:\n{text}", file.display()));
        }
    }
    assert!(
        changed.is_empty(),
        "not as kept; read them, and if they are better run this with LOOMPROOF_BLESS=1:\n{}",
        changed.join("\n")
    );
}

/// Each kind of fault has its report, and there is a healthy one and one with
/// two faults.
#[test]
fn every_kind_has_its_report() {
    let kept = kept();
    let mut missing: BTreeSet<&str> = KINDS.iter().map(|(kind, ..)| *kind).collect();
    let mut numbers = BTreeSet::new();
    for (file, args) in &kept {
        let faults = faults(args);
        for fault in &faults {
            missing.remove(fault.split('@').next().unwrap());
        }
        numbers.insert(faults.len());
        assert!(file.exists(), "{} is missing", file.display());
    }
    assert_eq!(missing, BTreeSet::new());
    assert_eq!(numbers, BTreeSet::from([0, 1, 2]));
}
