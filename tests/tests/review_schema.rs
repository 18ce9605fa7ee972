//! The schema of the review is made from the types that are printed, and real
//! reviews fit it.

use jsonschema::Validator;
use loomproof::plan::Plan;
use loomproof::review::{Review, Settings, review};
use loomproof_tests::skip::top;
use serde_json::{Value, json};

const FILE: &str = "schemas/review.schema.json";

fn made() -> String {
    let settings = schemars::generate::SchemaSettings::draft2020_12().for_serialize();
    let schema = settings.into_generator().into_root_schema_for::<Review>();
    serde_json::to_string_pretty(&schema).unwrap() + "\n"
}

fn schema() -> Validator {
    let schema: Value =
        serde_json::from_str(&std::fs::read_to_string(top().join(FILE)).unwrap()).unwrap();
    jsonschema::meta::validate(&schema).unwrap_or_else(|error| panic!("{error}"));
    jsonschema::validator_for(&schema).unwrap_or_else(|error| panic!("{error}"))
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
    let path = top().join(FILE);
    if std::env::var_os("LOOMPROOF_BLESS").is_some_and(|value| value == "1") {
        std::fs::write(&path, made()).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        kept == made(),
        "{FILE} is not what the review's types say; run this test with LOOMPROOF_BLESS=1"
    );
}

#[test]
fn real_reviews_fit() {
    let schema = schema();
    let reviews: Vec<Value> = ["plans", "sneak"].into_iter().flat_map(reviewed).collect();
    assert!(reviews.len() >= 20);
    let mut findings = 0;
    for review in &reviews {
        let errors: Vec<String> = schema
            .iter_errors(review)
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert_eq!(errors, Vec::<String>::new());
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
