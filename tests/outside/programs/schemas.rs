//! The schemas of what is printed, and of the plan, by PyPI's jsonschema beside the
//! crate of that name: real documents, and the same with one thing spoiled.

use loomproof::fault::spell::parse;
use loomproof::plan::Plan;
use loomproof::review::{Settings, review};
use loomproof_core::wire::Place;
use serde_json::{Value, json};

use super::DOCUMENTS;
use super::python::ask;
use crate::campaign::site::{Site, Source};
use crate::records::ring_out;
use crate::schemas::validator;
use crate::skip::top;

fn report(plan: &'static str, faults: &[&str]) -> Value {
    let site = Site {
        source: Source::Fixture(plan),
        place: Place::Vehicle,
    };
    let site = site.load().unwrap();
    let faults: Vec<_> = faults
        .iter()
        .map(|f| parse(f, &site.job).unwrap())
        .collect();
    serde_json::to_value(site.ring_out(&faults, 3).unwrap()).unwrap()
}

fn reports() -> Vec<Value> {
    vec![
        report("smallest", &[]),
        report("smallest", &["exchanged@X1:4,with=X1:5"]),
        report("bakery-van", &["tap-missed@T6"]),
        report("bakery-van", &["live@X1:3,volts=12"]),
    ]
}

fn plan_files() -> Vec<(std::path::PathBuf, Value)> {
    let mut all = Vec::new();
    for folder in ["plans", "sneak"] {
        for entry in std::fs::read_dir(top().join("fixtures").join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|ending| ending == "toml") {
                let text = std::fs::read_to_string(&path).unwrap();
                all.push((path, toml::from_str(&text).unwrap()));
            }
        }
    }
    all.sort_by(|(a, _), (b, _)| a.cmp(b));
    all
}

fn reviews() -> Vec<Value> {
    let one = |(path, _): (std::path::PathBuf, Value)| {
        let plan = Plan::load(&path).unwrap();
        serde_json::to_value(review(&plan, &Settings::default()).unwrap()).unwrap()
    };
    plan_files().into_iter().map(one).collect()
}

fn records() -> Vec<Value> {
    let one = |faults: &[&str]| serde_json::to_value(ring_out("bakery-van", faults, 2)).unwrap();
    vec![one(&[]), one(&["high-resistance@G1,ohms=2"])]
}

/// The places in a document, the first of every list only, at most so deep.
fn places(document: &Value, at: &str, deep: usize, into: &mut Vec<String>) {
    if deep == 0 {
        return;
    }
    let mut inside = |key: &str, value: &Value| {
        let at = format!("{at}/{}", key.replace('~', "~0").replace('/', "~1"));
        into.push(at.clone());
        places(value, &at, deep - 1, into);
    };
    match document {
        Value::Object(keys) => keys.iter().for_each(|(key, value)| inside(key, value)),
        Value::Array(items) => items.iter().take(1).for_each(|value| inside("0", value)),
        _ => {}
    }
}

/// The document with one value of each place made another, and without it.
fn spoiled(document: &Value) -> Vec<Value> {
    let mut all = Vec::new();
    let mut at = Vec::new();
    places(document, "", 4, &mut at);
    for place in at {
        let other = match document.pointer(&place) {
            Some(Value::String(_)) => json!(7),
            Some(Value::Number(_)) => json!("seven"),
            _ => json!(0.5),
        };
        let mut changed = document.clone();
        if let Some(value) = changed.pointer_mut(&place) {
            *value = other;
        }
        all.push(changed);
        let (parent, key) = place.rsplit_once('/').unwrap();
        let key = key.replace("~1", "/").replace("~0", "~");
        let mut without = document.clone();
        if let Some(Value::Object(keys)) = without.pointer_mut(parent) {
            keys.remove(&key);
            all.push(without);
        }
    }
    all
}

#[test]
fn documents_fit_or_do_not_for_both() {
    let plans: Vec<Value> = plan_files().into_iter().map(|(_, value)| value).collect();
    let sorts = [
        ("schemas/ringout.schema.json", reports()),
        ("schemas/review.schema.json", reviews()),
        ("schemas/record.schema.json", records()),
        ("schemas/plan.schema.json", plans),
    ];
    let (mut questions, mut ours) = (Vec::new(), Vec::new());
    for (file, good) in &sorts {
        let (schema, text) = (
            validator(file),
            std::fs::read_to_string(top().join(file)).unwrap(),
        );
        let mut documents = good.clone();
        // Of each sort two are spoiled everywhere.
        documents.extend(good.iter().rev().take(2).flat_map(spoiled));
        ours.push(
            documents
                .iter()
                .map(|it| schema.is_valid(it))
                .collect::<Vec<bool>>(),
        );
        let text: Value = serde_json::from_str(&text).unwrap();
        questions.push(json!({"schema": text, "documents": documents}));
    }
    let Some(answers) = ask("schemas.py", &json!(questions)) else {
        return;
    };
    let mut count = [0, 0];
    for (((file, good), ours), theirs) in sorts.iter().zip(&ours).zip(answers.as_array().unwrap()) {
        assert_eq!(json!(ours), *theirs, "{file}");
        assert!(ours[..good.len()].iter().all(|fits| *fits), "{file}");
        let bad = ours.iter().filter(|fits| !**fits).count();
        println!("{file}: {} fit, {bad} do not, for both", ours.len() - bad);
        assert!(bad > 10, "{file}: {bad} do not fit");
        count[0] += ours.len();
        count[1] += bad;
    }
    assert!(count[0] >= DOCUMENTS.cases, "{count:?}");
}
