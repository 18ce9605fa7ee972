//! docs/first-plan.md writes a plan block by block; every block is read, and
//! what the tutorial says comes out.

use loomproof::plan::{read, render};
use loomproof::review::{Settings, review, text};

use crate::support::{plan, top};

/// A block of the tutorial: its language and its text.
fn blocks(document: &str) -> Vec<(String, String)> {
    let mut blocks = Vec::new();
    let mut open: Option<(String, String)> = None;
    for line in document.lines() {
        match (&mut open, line.strip_prefix("```")) {
            (None, Some(language)) => open = Some((language.to_owned(), String::new())),
            (Some(_), Some("")) => blocks.extend(open.take()),
            (Some((_, body)), _) => {
                body.push_str(line);
                body.push('\n');
            }
            _ => {}
        }
    }
    assert!(open.is_none(), "a block is not closed");
    blocks
}

/// `toml` blocks are added to the plan one after the other, `toml instead` blocks
/// take the place of a table; a `text` block
/// behind one is what reading or reviewing the plan so far prints (all of it,
/// or the lines around `…`); `sh` blocks are commands.
#[test]
fn every_block_does_what_is_said() {
    let document = std::fs::read_to_string(top().join("docs/first-plan.md")).unwrap();
    let mut so_far = String::new();
    let (mut read_well, mut shown) = (0, 0);
    let mut step = String::new();
    for (language, body) in blocks(&document) {
        match language.as_str() {
            "toml" | "toml instead" => {
                if language == "toml" {
                    so_far += &body;
                    so_far += "\n";
                } else {
                    // In the place of the table of the same name.
                    let header = body.lines().next().unwrap();
                    let at = so_far.find(header).unwrap_or_else(|| panic!("no {header}"));
                    let end = at + so_far[at..].find("\n\n").unwrap() + 1;
                    so_far.replace_range(at..end, &body);
                }
                step = printed(&so_far);
                read_well += usize::from(read("first.toml", &so_far).is_ok());
            }
            "text" => {
                for part in body.split("…\n") {
                    assert!(
                        step.contains(part.trim_end()),
                        "expected:\n{part}\nprinted:\n{step}"
                    );
                }
                shown += 1;
            }
            "sh" => assert!(
                body.lines().all(|line| line.starts_with("loomproof ")),
                "{body}"
            ),
            other => panic!("a block of {other}"),
        }
    }
    assert!(
        read_well >= 5 && shown >= 3,
        "{read_well} blocks, {shown} shown"
    );
    let finished = review(&plan(&so_far), &Settings::default()).unwrap();
    assert!(finished.findings.is_empty(), "{:#?}", finished.findings);
}

/// What the command prints for a plan.
fn printed(source: &str) -> String {
    match read("first.toml", source) {
        Err(problems) => render(&problems, "first.toml", source, false),
        Ok(plan) => match review(&plan, &Settings::default()) {
            Err(problems) => plan.render(&problems, false),
            Ok(review) => text::text(&review),
        },
    }
}

#[test]
fn the_outline_reads_and_has_no_finding() {
    let review = review(&plan(loomproof::plan::outline()), &Settings::default()).unwrap();
    assert!(review.findings.is_empty(), "{:#?}", review.findings);
    // What is commented out reads too.
    let all = loomproof::plan::outline().lines().map(|line| {
        let code = line.strip_prefix("# ").filter(|code| {
            code.starts_with('[')
                || (code.contains(" = ") && !code.contains(','))
                || code.starts_with("place = ")
        });
        code.unwrap_or(line)
    });
    let all = all.collect::<Vec<_>>().join("\n");
    let problems = read("outline.toml", &all).err().unwrap_or_default();
    let said: Vec<_> = problems.iter().map(|it| it.message.as_str()).collect();
    assert_eq!(said, ["tap T1 has no lead"]);
}
