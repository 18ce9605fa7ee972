//! The command: exit status, what goes where, what is refused.

use std::process::{Command, Output};

use crate::support::top;

fn loomproof(args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_loomproof"));
    command
        .args(args)
        .current_dir(top())
        .env("LOOMPROOF_STORE", "none")
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn exit_status_and_streams() {
    for (plan, status, words) in [
        (
            "fixtures/plans/smallest.toml",
            0,
            "REVIEW: nothing to put right",
        ),
        (
            "fixtures/plans/socket-13-pin.toml",
            0,
            "REVIEW: nothing to put right",
        ),
        (
            "fixtures/plans/bakery-van.toml",
            1,
            "REVIEW: 2 things to put right",
        ),
    ] {
        let run = loomproof(&["review", plan]);
        assert_eq!(run.status.code(), Some(status), "{plan}");
        assert!(
            text(&run.stdout).starts_with(words),
            "{plan}: {}",
            text(&run.stdout)
        );
        let run = loomproof(&["review", plan, "--format", "json"]);
        assert_eq!(run.status.code(), Some(status), "{plan}");
        let value: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
        let verdict = if status == 0 { "pass" } else { "findings" };
        assert_eq!(value["verdict"], verdict);
        assert_eq!(text(&run.stderr), "");
    }
}

#[test]
fn plan_errors_and_refusals() {
    let run = loomproof(&["review", "fixtures/broken-plans/five-mistakes.toml"]);
    assert_eq!(run.status.code(), Some(2));
    assert_eq!(text(&run.stderr).matches("error: ").count(), 5);
    let run = loomproof(&["review", "fixtures/broken-plans/gone-in-a-variant.toml"]);
    assert_eq!(
        run.status.code(),
        Some(2),
        "a variant that does not resolve"
    );
    for plan in ["restraint", "high-voltage", "load-at-restraint"] {
        let run = loomproof(&[
            "review",
            &format!("fixtures/broken-plans/{plan}.toml"),
            "--format",
            "json",
        ]);
        assert_eq!(run.status.code(), Some(4), "{plan}");
        assert_eq!(text(&run.stdout), "");
        let said = text(&run.stderr);
        assert!(
            said.contains("refused: ") && said.contains("Keep off restraint circuits"),
            "{said}"
        );
        assert!(said.contains("licensed practice come first"), "{said}");
    }
    let run = loomproof(&[
        "review",
        "fixtures/plans/bakery-van.toml",
        "--answer",
        "rear-door=none",
    ]);
    assert_eq!(run.status.code(), Some(2));
    assert!(
        text(&run.stderr).contains("cannot be answered by `none`"),
        "{}",
        text(&run.stderr)
    );
}

#[test]
fn answers_leave_other_variants_out() {
    let van = "fixtures/plans/bakery-van.toml";
    let run = loomproof(&["review", van, "--answer", "rear-door=sliding"]);
    assert!(
        text(&run.stdout).starts_with("REVIEW: 1 thing to put right"),
        "{}",
        text(&run.stdout)
    );
    let run = loomproof(&["review", van, "--defaults", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(value["variants"]["variants"], 1);
    assert_eq!(value["findings"][0]["place"], "K5");
}

#[test]
fn begin_writes_once_and_never_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("new.toml");
    let path = path.to_str().unwrap();
    let run = loomproof(&["begin", path]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    assert_eq!(loomproof(&["review", path]).status.code(), Some(0));
    std::fs::write(path, "mine").unwrap();
    let run = loomproof(&["begin", path]);
    assert_eq!(run.status.code(), Some(2));
    assert!(text(&run.stderr).contains("is there already and is left as it is"));
    assert_eq!(std::fs::read_to_string(path).unwrap(), "mine");
    let nowhere = folder.path().join("no/folder.toml");
    assert_eq!(
        loomproof(&["begin", nowhere.to_str().unwrap()])
            .status
            .code(),
        Some(2)
    );
}

/// The review that the README shows is the one that is printed; LOOMPROOF_BLESS=1
/// writes it anew.
#[test]
fn the_shown_review_is_what_is_printed() {
    let shown = top().join("fixtures/reports/review.txt");
    let run = loomproof(&[
        "review",
        "fixtures/plans/bakery-van.toml",
        "--answer",
        "rear-door=hinged",
    ]);
    let printed = text(&run.stdout);
    if std::env::var_os("LOOMPROOF_BLESS").is_some_and(|value| value == "1") {
        std::fs::write(&shown, &printed).unwrap();
    }
    assert_eq!(std::fs::read_to_string(shown).unwrap_or_default(), printed);
}
