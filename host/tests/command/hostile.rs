//! Plans and files that were made to do harm, and disks that take nothing.

use std::fmt::Write as _;
use std::path::Path;

use super::support::{command, loomproof, top};

/// The smallest plan, with this title and this place of X1.
fn plan(folder: &Path, title: &str, place: &str) -> String {
    let text = std::fs::read_to_string(top().join("fixtures/plans/smallest.toml")).unwrap();
    let text = text
        .replace("\"Two wires and a tap\"", title)
        .replace("\"left kick panel\"", place);
    let file = folder.join("plan.toml");
    std::fs::write(&file, text).unwrap();
    file.to_str().unwrap().to_owned()
}

#[test]
fn a_plan_of_a_million_leads_is_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut text = String::from("plan = 1\ntitle = \"many\"\n");
    for n in 0..1_000_000 {
        let _ = writeln!(text, "[lead.W{n}]");
    }
    for (most, words) in [(text.len(), "longer than 1 MiB"), (900_000, "at most 512")] {
        let end = text[..most].rfind('\n').unwrap();
        let file = folder.path().join("many.toml");
        std::fs::write(&file, &text[..end]).unwrap();
        let run = loomproof(&["review", file.to_str().unwrap()]);
        run.fails(2, &[words]);
        // Not one for each.
        let said = run.err.matches("error:").count();
        assert!((1..1_000).contains(&said), "{said}");
    }
}

#[test]
fn numbers_that_are_none_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(top().join("fixtures/plans/smallest.toml")).unwrap();
    for number in ["nan", "inf", "-1", "0", "1e400", "99999999999999999999"] {
        for (from, to) in [
            ("length = \"2 m\"", format!("length = \"{number} m\"")),
            ("size = \"0.5 mm2\"", format!("size = \"{number} mm2\"")),
            ("cavities = 6", format!("cavities = {number}")),
        ] {
            let spoiled = text.replace(from, &to);
            assert_ne!(spoiled, text);
            let file = folder.path().join("plan.toml");
            std::fs::write(&file, spoiled).unwrap();
            loomproof(&["review", file.to_str().unwrap()]).fails(2, &["plan.toml"]);
        }
    }
}

#[test]
fn text_that_turns_round_what_is_read_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    for character in ["\\u202e", "\\u2066", "\\u0007", "\\n"] {
        let file = plan(folder.path(), &format!("\"a{character}b\""), "\"here\"");
        loomproof(&["review", &file]).fails(2, &["`title`", "control character"]);
    }
}

#[test]
fn names_from_a_plan_are_text_in_the_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let title = r#""</title><script>alert(1)</script> ../../etc/passwd""#;
    let place = r#""<img src=x onerror=alert(1)>'>&amp;=HYPERLINK(1)""#;
    let file = plan(folder.path(), title, place);
    let run = loomproof(&["sheet", &file]);
    assert_eq!(run.status, 0, "{run:?}");
    for tag in ["<script>alert", "<img src=x"] {
        assert!(!run.out.contains(tag), "{tag} went through");
    }
    assert!(run.out.contains("&lt;script&gt;alert(1)"));
    assert!(run.out.contains("&lt;img src=x"));
    // No name of a plan names a file.
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

#[cfg(target_os = "linux")]
#[test]
fn a_report_that_cannot_be_written_is_no_pass() {
    let full = || {
        std::fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")
            .unwrap()
    };
    for format in ["text", "json"] {
        let args = [
            "ringout",
            "fixtures/plans/smallest.toml",
            "--format",
            format,
        ];
        let output = command(&args).stdout(full()).output().unwrap();
        assert_eq!(output.status.code(), Some(2));
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains("cannot write the report"), "{said}");
    }
    let args = [
        "ringout",
        "fixtures/plans/smallest.toml",
        "--save",
        "/dev/full",
    ];
    loomproof(&args).fails(2, &["/dev/full", "not a file"]);
}

#[test]
fn two_commands_that_save_to_one_file_leave_one_whole_scan() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("scan.json");
    let file = file.to_str().unwrap();
    let save = ["ringout", "fixtures/plans/smallest.toml", "--save", file];
    for _ in 0..5 {
        let children: Vec<_> = (0..4)
            .map(|_| {
                let mut one = command(&save);
                one.stdout(std::process::Stdio::null());
                one.stderr(std::process::Stdio::null());
                one.spawn().unwrap()
            })
            .collect();
        for mut child in children {
            assert_eq!(child.wait().unwrap().code(), Some(0));
        }
        let judged = ["ringout", "fixtures/plans/smallest.toml", "--from", file];
        assert_eq!(loomproof(&judged).status, 0);
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}
