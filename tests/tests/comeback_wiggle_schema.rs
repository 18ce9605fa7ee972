//! The schemas of the reports of wiggle tests and comebacks are made from the types
//! that are printed, and what is printed fits them.

use loomproof::records::record::Record;
use loomproof::{comeback, wiggle};
use loomproof_tests::records;
use loomproof_tests::schemas::{fits, is_made_of, validator};
use serde_json::{Value, json};

const WIGGLE: &str = "schemas/wiggle.schema.json";
const COMEBACK: &str = "schemas/comeback.schema.json";

#[test]
fn the_schemas_are_those_of_the_types() {
    is_made_of::<wiggle::Report>(WIGGLE);
    is_made_of::<comeback::report::Report>(COMEBACK);
}

/// A report as it was printed fits; spoiled in any of these ways it does not.
fn holds(file: &str, record: &Record, spoils: &[(&str, Value)]) {
    let schema = validator(file);
    fits(&schema, &record.report);
    for (path, bad) in spoils {
        let mut spoiled = record.report.clone();
        let place = spoiled.pointer_mut(path);
        *place.unwrap_or_else(|| panic!("{path}: {:#}", record.report)) = bad.clone();
        assert!(!schema.is_valid(&spoiled), "{file}: {path} = {bad}");
    }
    for key in ["verdict", "title", "answers"] {
        let mut spoiled = record.report.clone();
        spoiled.as_object_mut().unwrap().remove(key);
        assert!(!schema.is_valid(&spoiled), "{file}: without {key}");
    }
}

#[test]
fn what_a_wiggle_test_prints_fits() {
    let record = records::wiggle("intermittent@G1,gap=2ms,every=40ms");
    let apart = record.report["events"].as_array().unwrap();
    assert!(!apart.is_empty(), "nothing came apart");
    holds(
        WIGGLE,
        &record,
        &[
            ("/verdict", json!("good")),
            ("/joints/0/count", json!("twice")),
            ("/joints/0/watched_percent", Value::Null),
            ("/events/0/at_seconds", json!("soon")),
            ("/not_watched", json!([{"place": "X1:1"}])),
            ("/probe/leads", json!(-1)),
        ],
    );
}

#[test]
fn what_a_comeback_prints_fits() {
    let record = records::comeback();
    assert!(!record.report["groups"].as_array().unwrap().is_empty());
    holds(
        COMEBACK,
        &record,
        &[
            ("/groups/0/sets/0/0/whose", json!("nobody")),
            ("/groups/0/sets/0/0/say", Value::Null),
            ("/symptoms/chiller", json!("hums")),
            ("/next/bits", json!("many")),
            ("/battery_volts", json!("full")),
            ("/readings", json!(-1)),
        ],
    );
}
