use std::collections::BTreeSet;
use std::path::Path;

use super::*;
use crate::diagnosis::words::Speaker;
use crate::fault::catalogue;
use crate::hookup::propose;
use crate::plan::Plan;
use loomproof_core::wire::Place;

/// The sources that make sentences, each string on one line as it is printed.
fn sources() -> String {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut text = String::new();
    for folder in ["fault/kinds", "diagnosis", "ringout"] {
        for entry in std::fs::read_dir(top.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|ending| ending == "rs") {
                text.push_str(&std::fs::read_to_string(path).unwrap());
            }
        }
    }
    let mut lines = text.split("\\\n");
    let mut joined = lines.next().unwrap_or_default().to_owned();
    lines.for_each(|line| joined.push_str(line.trim_start()));
    joined
}

/// Names in braces.
fn names(text: &str) -> BTreeSet<&str> {
    let parts = text.split('{').skip(1);
    parts
        .filter_map(|part| Some(part.split_once('}')?.0))
        .collect()
}

#[test]
fn every_sentence_that_is_made_is_in_the_catalogue_and_the_other_way_round() {
    let german = Phrases::of("de").unwrap();
    let sources = sources();
    let mut made = 0;
    for part in sources.split(".fill(").skip(1) {
        let Some(text) = part.trim_start().strip_prefix('"') else {
            continue;
        };
        let text = text.split('"').next().unwrap();
        assert!(german.find(text).is_some(), "no German for: {text}");
        made += 1;
    }
    assert!(made > 80, "{made}");
    for (english, said) in german.all() {
        for literal in english
            .split('{')
            .map(|part| part.split_once('}').map_or(part, |p| p.1))
        {
            // Of the clips that sit one off one word is put in, after or before.
            let literal = literal.split(" after it").next().unwrap_or_default();
            let literal = literal.split(" before it").next().unwrap_or_default();
            assert!(sources.contains(literal), "nothing says: {english}");
        }
        assert_eq!(names(english), names(said), "{english}");
        assert!(!said.trim().is_empty());
    }
}

/// Without what stands in brackets: places and functions are as the plan has them.
fn bare(text: &str) -> String {
    let mut depth = 0_usize;
    let kept = text.chars().filter(|c| {
        depth += usize::from(*c == '(');
        let kept = depth == 0;
        depth -= usize::from(*c == ')' && depth > 0);
        kept
    });
    kept.collect()
}

/// In German nothing of the English is left, for every fault of every fixture.
#[test]
fn every_fault_of_every_fixture_is_said_in_german() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans");
    let mut said = 0;
    for entry in std::fs::read_dir(top).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|ending| ending != "toml") {
            continue;
        }
        let plan = Plan::load(&path).unwrap_or_else(|error| {
            panic!("{}", error.render(false));
        });
        let answers = plan
            .options()
            .iter()
            .filter_map(|option| Some((option.name.clone(), option.default.clone()?)))
            .collect();
        let Ok(job) = plan.resolve(&answers) else {
            continue;
        };
        let Ok(hookup) = propose(&job, Place::Vehicle, 128) else {
            continue;
        };
        for fault in catalogue::all(&job, &hookup) {
            let english = Speaker::new(&job).fault(&fault);
            let german = Speaker::in_language(&job, "de").fault(&fault);
            for (english, german) in [(english.say, german.say), (english.act, german.act)] {
                assert_ne!(english, german, "{fault}");
                let words = bare(&german);
                for word in [
                    " the ", " lead ", "cavity", " and ", " from ", " with ", " its ",
                ] {
                    assert!(!words.contains(word), "{fault}: {german}");
                }
                assert!(!german.contains('{'), "{german}");
                said += 1;
            }
        }
    }
    assert!(said > 1000, "{said}");
}

#[test]
fn names_of_a_filled_sentence_are_found_again() {
    let text = "{place}: {points} not rung out yet.";
    let said = "left: pillar: X1:4, X2:1 not rung out yet.";
    let found = names_in(text, said).unwrap();
    // Each as short as can be; put together it is what it was.
    assert_eq!(found, [("place", "left"), ("points", "pillar: X1:4, X2:1")]);
    assert_eq!(fill(text, &found), said);
    for other in [
        "",
        "left:  not rung out yet.",
        "left: X1:4 not rung out yet",
    ] {
        assert_eq!(names_in(text, other), None, "{other}");
    }
    assert_eq!(names_in("as it is", "as it is"), Some(Vec::new()));
    let german = Phrases::of("de").unwrap();
    assert_eq!(
        german
            .heard("There are 0.31 V between the two chassis leads.")
            .unwrap(),
        "Zwischen den beiden Massekabeln liegen 0.31 V."
    );
    assert_eq!(german.heard("Something else."), None);
    assert!(Phrases::of("en").is_none());
}
