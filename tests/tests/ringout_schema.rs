//! The schema of the ring-out report is made from the types that are printed,
//! and real reports fit it.

use jsonschema::Validator;
use loomproof::fault::spell::parse;
use loomproof::ringout::report::Report;
use loomproof_core::wire::Place;
use loomproof_tests::campaign::site::{Site, Source};
use loomproof_tests::schemas::{fits, is_made_of, validator};
use serde_json::{Value, json};

const FILE: &str = "schemas/ringout.schema.json";

fn schema() -> Validator {
    validator(FILE)
}

#[test]
fn the_schema_is_that_of_the_types() {
    is_made_of::<Report>(FILE);
}

/// The report of a plan in the vehicle with these faults, as it is printed.
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

fn reports() -> Vec<(&'static str, Value)> {
    vec![
        ("pass", report("smallest", &[])),
        ("faults", report("smallest", &["exchanged@X1:4,with=X1:5"])),
        ("faults", report("bakery-van", &["tap-missed@T6"])),
        ("refused", report("bakery-van", &["live@X1:3,volts=12"])),
    ]
}

#[test]
fn real_reports_fit_and_keep_the_contract() {
    let schema = schema();
    for (verdict, report) in reports() {
        fits(&schema, &report);
        assert_eq!(report["verdict"], verdict);
        let groups = report["groups"].as_array().unwrap();
        assert_eq!(groups.is_empty(), verdict == "pass");
        let mut before = 1.0;
        let mut sum = 0.0;
        for group in groups {
            let p = group["probability"].as_f64().unwrap();
            assert!(
                (0.0..=before).contains(&p),
                "best first: {p} after {before}"
            );
            before = p;
            sum += p;
            let sets = group["sets"].as_array().unwrap();
            assert!(!sets.is_empty());
            for fault in sets.iter().flat_map(|set| set.as_array().unwrap()) {
                for key in ["kind", "place", "say", "do"] {
                    assert!(!fault[key].as_str().unwrap().is_empty(), "{key}: {fault}");
                }
                let (kind, place) = (&fault["kind"], &fault["place"]);
                let start = format!("{}@{}", kind.as_str().unwrap(), place.as_str().unwrap());
                assert!(
                    fault["fault"].as_str().unwrap().starts_with(&start),
                    "{fault}"
                );
            }
        }
        assert!(sum < 1.0 + 1e-6, "{sum}");
        assert!(report["undecided"].is_array());
        assert!(report["next_reading"].is_null() || report["next_reading"]["say"].is_string());
        let coverage = &report["coverage"];
        let seen = coverage["covered"].as_u64().unwrap();
        let unseen = coverage["not_covered"].as_array().unwrap().len() as u64;
        assert_eq!(coverage["faults"].as_u64().unwrap(), seen + unseen);
        let checks = report["hand_checks"].as_array().unwrap();
        assert!(!checks.is_empty());
        assert!(
            checks.iter().all(|check| check["state"] == "open"),
            "never measured"
        );
        let readings = report["readings"].as_array().unwrap();
        assert_eq!(readings.is_empty(), verdict == "refused");
        let off = readings.iter().filter(|r| r["verdict"] != "within").count();
        assert_eq!(off > 0, verdict == "faults");
    }
}

/// Every spoiled report is refused: the schema says something.
#[test]
fn spoiled_reports_are_refused() {
    let schema = schema();
    let good = report("smallest", &["exchanged@X1:4,with=X1:5"]);
    fits(&schema, &good);
    type Spoil<'a> = &'a dyn Fn(&mut Value);
    let spoiled: &[(&str, Spoil<'_>)] = &[
        ("verdict", &|r| r["verdict"] = json!("good")),
        ("verdict's case", &|r| r["verdict"] = json!("Pass")),
        ("probability", &|r| {
            r["groups"][0]["probability"] = json!("high")
        }),
        ("a set that is no list", &|r| {
            r["groups"][0]["sets"][0] = r["groups"][0]["sets"][0][0].clone();
        }),
        ("coverage", &|r| r["coverage"]["covered"] = json!(-1)),
        ("a reading", &|r| {
            r["readings"][0]["measured_uv"] = json!(0.5)
        }),
        ("next reading", &|r| r["next_reading"] = json!("touch it")),
    ];
    for (what, spoil) in spoiled {
        let mut bad = good.clone();
        spoil(&mut bad);
        assert!(!schema.is_valid(&bad), "{what} was accepted");
    }
    for key in [
        "verdict",
        "groups",
        "undecided",
        "coverage",
        "hand_checks",
        "readings",
    ] {
        let mut bad = good.clone();
        bad.as_object_mut().unwrap().remove(key);
        assert!(!schema.is_valid(&bad), "no {key} was accepted");
    }
    for key in ["kind", "place", "say", "do"] {
        let mut bad = good.clone();
        bad["groups"][0]["sets"][0][0]
            .as_object_mut()
            .unwrap()
            .remove(key);
        assert!(!schema.is_valid(&bad), "a fault with no {key} was accepted");
    }
}
