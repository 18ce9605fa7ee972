//! What is linked, against `deny.toml` and the Rust version that is promised: the part
//! of `cargo deny check` that needs no network. Advisories are not looked at here.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn metadata() -> Value {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let target = format!("{}-unknown-linux-gnu", std::env::consts::ARCH);
    let output = Command::new(cargo)
        .args(["metadata", "--locked", "--format-version", "1"])
        .args(["--filter-platform", &target])
        .current_dir(top())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn rules() -> toml::Table {
    let text = std::fs::read_to_string(top().join("deny.toml")).unwrap();
    toml::from_str(&text).unwrap()
}

fn packages(metadata: &Value) -> impl Iterator<Item = (&str, &Value)> {
    let packages = metadata["packages"].as_array().unwrap();
    packages
        .iter()
        .map(|own| (own["name"].as_str().unwrap(), own))
}

/// Whether an SPDX expression (the slash of old is OR) can be met by licences that
/// are allowed. AND binds more than OR (SPDX 2.3, annex D.4.5; from memory).
fn allowed(expression: &str, by: &dyn Fn(&str) -> bool) -> bool {
    let spaced = expression.replace('/', " OR ");
    let spaced = spaced.replace('(', " ( ").replace(')', " ) ");
    let tokens: Vec<&str> = spaced.split_whitespace().collect();
    let mut rest = tokens.as_slice();
    let found = any_of(&mut rest, by);
    found && rest.is_empty()
}

fn any_of(rest: &mut &[&str], by: &dyn Fn(&str) -> bool) -> bool {
    let mut any = all_of(rest, by);
    while let ["OR", after @ ..] = *rest {
        *rest = after;
        any |= all_of(rest, by);
    }
    any
}

fn all_of(rest: &mut &[&str], by: &dyn Fn(&str) -> bool) -> bool {
    let mut all = one(rest, by);
    while let ["AND", after @ ..] = *rest {
        *rest = after;
        all &= one(rest, by);
    }
    all
}

fn one(rest: &mut &[&str], by: &dyn Fn(&str) -> bool) -> bool {
    match *rest {
        ["(", after @ ..] => {
            *rest = after;
            let inner = any_of(rest, by);
            let [")", after @ ..] = *rest else {
                return false;
            };
            *rest = after;
            inner
        }
        [name, "WITH", exception, after @ ..] => {
            *rest = after;
            by(&format!("{name} WITH {exception}"))
        }
        [name, after @ ..] => {
            *rest = after;
            by(name)
        }
        [] => false,
    }
}

#[test]
fn expressions_are_read_as_they_are_meant() {
    let by = |name: &str| ["MIT", "Unicode-3.0", "Apache-2.0"].contains(&name);
    for good in [
        "MIT",
        "MIT/Apache-2.0",
        "(MIT OR GPL-3.0) AND Unicode-3.0",
        "GPL-3.0 OR MIT",
    ] {
        assert!(allowed(good, &by), "{good}");
    }
    for bad in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "(MIT",
        "",
        "MIT WITH X",
        "MIT Apache-2.0",
    ] {
        assert!(!allowed(bad, &by), "{bad}");
    }
}

#[test]
fn every_licence_is_allowed() {
    let (metadata, rules) = (metadata(), rules());
    let allow = rules["licenses"]["allow"].as_array().unwrap();
    let by = |name: &str| allow.iter().any(|own| own.as_str() == Some(name));
    let mut seen = 0;
    for (name, package) in packages(&metadata) {
        let licence = package["license"].as_str().unwrap_or_default();
        assert!(allowed(licence, &by), "{name}: {licence:?}");
        seen += 1;
    }
    assert!(seen > 100, "{seen} packages");
}

#[test]
fn nothing_banned_is_linked_and_all_comes_from_the_registry() {
    let (metadata, rules) = (metadata(), rules());
    let deny = rules["bans"]["deny"].as_array().unwrap();
    let registry = rules["sources"]["allow-registry"][0].as_str().unwrap();
    for (name, package) in packages(&metadata) {
        assert!(
            deny.iter().all(|own| own["name"].as_str() != Some(name)),
            "{name}"
        );
        if let Some(source) = package["source"].as_str() {
            assert_eq!(source, format!("registry+{registry}"), "{name}");
        }
    }
}

/// A promise that a dependency does not keep is none.
#[test]
fn the_promised_rust_is_enough_for_all_that_is_linked() {
    let metadata = metadata();
    let number = |text: &str| -> Vec<u32> {
        let mut parts: Vec<u32> = text.split('.').map(|part| part.parse().unwrap()).collect();
        parts.resize(3, 0);
        parts
    };
    let promised = packages(&metadata)
        .find(|(name, _)| *name == "loomproof")
        .unwrap()
        .1;
    let promised = number(promised["rust_version"].as_str().unwrap());
    for (name, package) in packages(&metadata) {
        if let Some(needed) = package["rust_version"].as_str() {
            assert!(number(needed) <= promised, "{name} needs Rust {needed}");
        }
    }
}
