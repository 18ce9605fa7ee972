//! The schema of the review is made from the types that are printed, and real
//! reviews fit it.

use jsonschema::Validator;
use loomproof::plan::Plan;
use loomproof::review::{Review, Settings, review};
use loomproof_tests::schemas::{fits, is_made_of, validator};
use loomproof_tests::skip::top;
use serde_json::{Value, json};

const FILE: &str = "schemas/review.schema.json";

fn schema() -> Validator {
    validator(FILE)
}

fn reviewed(folder: &str) -> Vec<Value> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(top().join("fixtures").join(folder)).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "toml") {
            let plan = Plan::load(&path).unwrap();
            let review = review(&plan, &Settings::default()).unwrap();
            all.push(serde_json::to_value(review).unwrap());
        }
    }
    all
}

#[test]
fn the_schema_is_that_of_the_types() {
    is_made_of::<Review>(FILE);
}

#[test]
fn real_reviews_fit() {
    let schema = schema();
    let reviews: Vec<Value> = ["plans", "sneak"].into_iter().flat_map(reviewed).collect();
    assert!(reviews.len() >= 20);
    let mut findings = 0;
    for review in &reviews {
        fits(&schema, review);
        let all = review["findings"].as_array().unwrap();
        findings += all.len();
        let wrong = all.iter().any(|finding| finding["level"] == "wrong");
        assert_eq!(review["verdict"], if wrong { "findings" } else { "pass" });
        for finding in all {
            for key in ["rule", "source", "place", "say", "fix"] {
                assert!(
                    !finding[key].as_str().unwrap().is_empty(),
                    "{key}: {finding}"
                );
            }
            assert!(
                !finding["variants"].as_array().unwrap().is_empty(),
                "{finding}"
            );
        }
    }
    assert!(findings > 20, "{findings}");
}

/// Every spoiled review is refused: the schema says something.
#[test]
fn spoiled_reviews_are_refused() {
    let schema = schema();
    let reviews = reviewed("sneak");
    let mut with_findings = reviews.iter().filter(|it| it["verdict"] == "findings");
    let good = with_findings.next().unwrap();
    assert!(schema.is_valid(good));
    type Spoil<'a> = &'a dyn Fn(&mut Value);
    let spoiled: &[(&str, Spoil<'_>)] = &[
        ("verdict", &|r| r["verdict"] = json!("good")),
        ("level", &|r| r["findings"][0]["level"] = json!("bad")),
        ("route", &|r| r["findings"][0]["route"] = json!("W1")),
        ("variants", &|r| r["findings"][0]["variants"] = json!("all")),
        ("value", &|r| {
            r["findings"][0]["values"][0]["value"] = json!("1 A")
        }),
        ("amperes", &|r| r["leads"][0]["amperes"] = json!("1 A")),
        ("states", &|r| r["states"]["complete"] = json!("yes")),
    ];
    for (what, spoil) in spoiled {
        let mut bad = good.clone();
        spoil(&mut bad);
        assert!(!schema.is_valid(&bad), "{what} was accepted");
    }
    for key in ["verdict", "findings", "variants", "states", "leads"] {
        let mut bad = good.clone();
        bad.as_object_mut().unwrap().remove(key);
        assert!(!schema.is_valid(&bad), "no {key} was accepted");
    }
}
