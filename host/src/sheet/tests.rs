use std::collections::BTreeMap;

use super::language::{Language, SHIPPED};
use crate::stage::Stage;

/// Names in braces of a text.
fn names(text: &str) -> Vec<&str> {
    let mut names: Vec<&str> = text
        .split('{')
        .skip(1)
        .filter_map(|rest| Some(rest.split_once('}')?.0))
        .collect();
    names.sort_unstable();
    names.dedup();
    names
}

#[test]
fn every_language_says_the_same_things() {
    let english = Language::shipped("en").unwrap();
    let wanted: BTreeMap<&str, Vec<&str>> = english
        .texts()
        .map(|(key, text)| (key, names(text)))
        .collect();
    assert!(wanted.len() > 150, "{}", wanted.len());
    for (code, _) in SHIPPED {
        let language = Language::shipped(code).unwrap();
        assert_eq!(language.code(), code);
        let found: BTreeMap<&str, Vec<&str>> = language
            .texts()
            .map(|(key, text)| (key, names(text)))
            .collect();
        assert_eq!(found, wanted, "{code}");
        for (key, text) in language.texts() {
            assert!(!text.trim().is_empty(), "{code}: {key}");
        }
    }
    assert!(Language::shipped("xx").is_err());
}

/// Every key that is asked for is in the catalogue, and none is there for
/// nothing.
#[test]
fn what_is_said_is_in_the_catalogue() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/sheet");
    let mut sources = String::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "rs") && !path.ends_with("tests.rs") {
            sources += &std::fs::read_to_string(path).unwrap();
        }
    }
    let english = Language::shipped("en").unwrap();
    for (key, _) in english.texts().filter(|(key, _)| key.contains('.')) {
        let named = sources.contains(&format!("\"{key}\""));
        let made = key.starts_with("colour.") || key.starts_with("kind.");
        let stage = key.strip_prefix("stage.").and_then(Stage::of);
        assert!(named || made || stage.is_some(), "nothing says {key}");
    }
    for (section, _) in english.texts().filter_map(|(key, _)| key.split_once('.')) {
        for part in sources.split(&format!("\"{section}.")).skip(1) {
            let name = part.split('"').next().unwrap_or_default();
            // `sheet.css` is a file.
            if name.contains('{') || name == "css" {
                continue;
            }
            let key = format!("{section}.{name}");
            assert_ne!(english.say(&key), key, "{key} is not in the catalogue");
        }
    }
}

#[test]
fn every_kind_of_fault_and_every_colour_has_a_word() {
    let english = Language::shipped("en").unwrap();
    for (kind, _, _) in crate::fault::spell::KINDS {
        let key = format!("kind.{kind}");
        assert_ne!(english.say(&key), key, "{key}");
    }
    for stage in Stage::IN_ORDER.into_iter().chain([Stage::Bench]) {
        let key = format!("stage.{}", stage.word());
        assert_ne!(english.say(&key), key, "{key}");
    }
    assert_eq!(english.colour("OG/BK"), "orange with black tracer");
    let german = Language::shipped("de").unwrap();
    assert_eq!(german.colour("GNYE"), "grün-gelb");
}

#[test]
fn names_are_filled_in_as_they_are() {
    let english = Language::shipped("en").unwrap();
    let said = english.fill("order.into", &[("lead", "{end}"), ("end", "X1:3")]);
    assert_eq!(
        said, "{end} into X1:3",
        "what is filled in is not read again"
    );
}
