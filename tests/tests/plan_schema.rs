//! The plan's JSON Schema against the plans in `fixtures/` and against the
//! reader: the schema says no more than the reader does, and not nothing.

use jsonschema::Validator;
use loomproof_tests::schemas::validator;
use loomproof_tests::skip::top;
use serde_json::Value;

fn schema() -> Validator {
    validator("schemas/plan.schema.json")
}

/// Name and text of each plan in a folder.
fn plans(folder: &str) -> Vec<(String, String)> {
    let mut plans = Vec::new();
    for entry in std::fs::read_dir(top().join("fixtures").join(folder)).unwrap() {
        let path = entry.unwrap().path();
        if path
            .extension()
            .is_some_and(|extension| extension == "toml")
        {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            plans.push((name, std::fs::read_to_string(&path).unwrap()));
        }
    }
    plans.sort();
    plans
}

/// What the schema says against a plan; `None` when it is not TOML.
fn complaints(schema: &Validator, text: &str) -> Option<Vec<String>> {
    let plan: Value = toml::from_str(text).ok()?;
    let errors = schema.iter_errors(&plan);
    Some(
        errors
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect(),
    )
}

#[test]
fn every_accepted_plan_fits_the_schema() {
    let schema = schema();
    let mut plans = plans("plans");
    plans.extend(self::plans("sneak"));
    assert!(plans.len() >= 20);
    for (name, text) in plans {
        assert_eq!(complaints(&schema, &text), Some(Vec::new()), "{name}");
    }
}

#[test]
fn a_plan_of_wrong_shape_is_refused() {
    let schema = schema();
    let refused: Vec<String> = plans("broken-plans")
        .into_iter()
        .filter(|(_, text)| complaints(&schema, text).is_some_and(|c| !c.is_empty()))
        .map(|(name, _)| name)
        .collect();
    // The others are wrong between tables, which a schema does not see.
    let shape = [
        "another-version",
        "colours",
        "five-mistakes",
        "latch-edge",
        "lengths",
        "load-between",
        "load-draws",
        "load-sort",
        "names",
        "nothing-in-it",
        "options",
        "pin-place",
        "plug-ways",
        "quantities",
        "relay-ratings",
        "relay-terminals",
        "ring-on-what",
        "signals",
        "supply",
        "supply-too-high",
        "switch-contact",
        "switch-states",
        "tap-on-nothing",
        "types",
        "unknown-tables",
    ];
    assert_eq!(refused, shape);
}

/// Take away or spoil one line at a time: what the reader accepts, the schema
/// accepts; and many a loss is seen by both.
#[test]
fn the_schema_is_never_stricter_than_the_reader() {
    let schema = schema();
    let mut both = 0;
    for (name, text) in plans("plans") {
        let lines: Vec<&str> = text.lines().collect();
        for (number, line) in lines.iter().enumerate() {
            for changed in [
                "",
                &line.replace('m', "x"),
                &line.replace('1', "2 "),
                &line.replace(':', ""),
            ] {
                if changed == *line {
                    continue;
                }
                let mut lines = lines.clone();
                lines[number] = changed;
                let text = lines.join("\n");
                let Some(found) = complaints(&schema, &text) else {
                    continue;
                };
                match loomproof::plan::read(&name, &text) {
                    Ok(_) => assert_eq!(
                        found,
                        Vec::<String>::new(),
                        "{name}, line {number}: {changed}"
                    ),
                    Err(_) => both += usize::from(!found.is_empty()),
                }
            }
        }
    }
    assert!(both > 200, "only {both} spoiled plans were refused by both");
}

/// Losing any key that a lead needs is seen by the schema and by the reader.
#[test]
fn both_ask_for_every_key_of_a_lead() {
    let schema = schema();
    let text = loomproof::plan::starter();
    for key in ["colour", "size", "length", "from", "to"] {
        let at = text.rfind(&format!("\n{key} = ")).unwrap() + 1;
        let end = at + text[at..].find('\n').unwrap();
        let without = format!("{}{}", &text[..at], &text[end..]);
        assert!(!complaints(&schema, &without).unwrap().is_empty(), "{key}");
        assert!(loomproof::plan::read("t", &without).is_err(), "{key}");
    }
}
