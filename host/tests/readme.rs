//! What the README, docs/faults.md, docs/touch.md and docs/jigs.md show is what the program prints and
//! knows. A block after `<!-- shown: FILE -->` is that file (the reports there
//! are compared with the program by `golden_reports.rs`).
//! `LOOMPROOF_BLESS=1` writes the blocks anew.

use std::path::{Path, PathBuf};

use loomproof::fault::spell::KINDS;

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn read(file: &str) -> String {
    std::fs::read_to_string(top().join(file)).unwrap_or_else(|error| panic!("{file}: {error}"))
}

#[test]
fn shown_blocks_are_the_files_they_name() {
    for (page, least) in [("README.md", 3), ("docs/touch.md", 2), ("docs/jigs.md", 1)] {
        let kept = read(page);
        let mut fresh = String::new();
        let mut shown = 0;
        let mut rest = kept.as_str();
        while let Some((before, after)) = rest.split_once("<!-- shown: ") {
            let (file, after) = after
                .split_once(" -->\n```text\n")
                .expect("a text block follows");
            let (_, after) = after.split_once("```\n").expect("the block ends");
            fresh.push_str(&format!(
                "{before}<!-- shown: {file} -->\n```text\n{}\n```\n",
                read(file).trim_end()
            ));
            rest = after;
            shown += 1;
        }
        fresh.push_str(rest);
        assert!(shown >= least, "{page}: only {shown} blocks");
        if std::env::var_os("LOOMPROOF_BLESS").is_some_and(|value| value == "1") {
            std::fs::write(top().join(page), &fresh).unwrap();
        } else {
            assert!(
                fresh == kept,
                "{page} shows old output; run this with LOOMPROOF_BLESS=1"
            );
        }
    }
}

#[test]
fn the_first_command_is_the_one_whose_report_is_shown() {
    let args: Vec<String> = read("fixtures/reports/wrong-cavity.args")
        .lines()
        .map(ToOwned::to_owned)
        .collect();
    let command = format!("cargo run --release -- {}\n", args.join(" "));
    assert!(
        read("README.md").contains(&command),
        "README.md lacks: {command}"
    );
}

#[test]
fn the_documented_kinds_are_the_kinds() {
    let text = read("docs/faults.md");
    let rows: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("| `"))
        .collect();
    let wanted: Vec<String> = KINDS
        .iter()
        .map(|(kind, example, meaning)| format!("| `{kind}` | `{example}` | {meaning} |"))
        .collect();
    assert_eq!(rows, wanted);
}
