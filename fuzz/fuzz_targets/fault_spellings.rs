//! Any text as the spelling of a fault: a fault that is spelled and read the same
//! again, or refused in words.
#![no_main]

use std::collections::BTreeMap;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use loomproof::fault::spell::parse;
use loomproof::plan::model::Job;
use loomproof::plan::read;

static JOB: LazyLock<Job> = LazyLock::new(|| {
    let text = include_str!("../../fixtures/plans/bakery-van.toml");
    let Ok(plan) = read("plan.toml", text) else {
        panic!("the fixture is a plan");
    };
    plan.resolve(&BTreeMap::new()).unwrap_or_else(|_| panic!("with answers of its own"))
});

fuzz_target!(|text: &str| {
    match parse(text, &JOB) {
        Ok(fault) => {
            let spelled = fault.to_string();
            assert_eq!(parse(&spelled, &JOB), Ok(fault), "{spelled}");
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
