//! Schemas that are kept in the project, made from the types that are printed.

use jsonschema::Validator;
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::Value;

use crate::skip::top;

/// Asserts that a kept schema is what a type says, as it is printed (not as it
/// would be read); with `LOOMPROOF_BLESS=1` in the environment it is written.
///
/// # Panics
/// When it is not.
pub fn is_made_of<T: JsonSchema>(file: &str) {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    let schema = settings.into_generator().into_root_schema_for::<T>();
    let made = serde_json::to_string_pretty(&schema).expect("a schema") + "\n";
    let path = top().join(file);
    if std::env::var_os("LOOMPROOF_BLESS").is_some_and(|value| value == "1") {
        std::fs::write(&path, &made).expect("written");
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        kept == made,
        "{file} is not what the printed types say; run this test with LOOMPROOF_BLESS=1"
    );
}

/// A kept schema, a valid one itself.
///
/// # Panics
/// When it is not.
#[must_use]
pub fn validator(file: &str) -> Validator {
    let text = std::fs::read_to_string(top().join(file)).expect("a kept schema");
    let schema: Value = serde_json::from_str(&text).expect("JSON");
    jsonschema::meta::validate(&schema).unwrap_or_else(|error| panic!("{error}"));
    jsonschema::validator_for(&schema).unwrap_or_else(|error| panic!("{error}"))
}

/// Asserts that a value fits a schema.
///
/// # Panics
/// When it does not, with every error.
#[track_caller]
pub fn fits(schema: &Validator, value: &Value) {
    let errors: Vec<String> = schema
        .iter_errors(value)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect();
    assert_eq!(errors, Vec::<String>::new());
}
