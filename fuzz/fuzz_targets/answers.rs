//! Any answers to a plan's options: a job, or refused in words. What is answered
//! and taken stays what it is.
#![no_main]

use std::collections::BTreeMap;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use loomproof::plan::{Plan, read};

static PLAN: LazyLock<Plan> = LazyLock::new(|| {
    let text = include_str!("../../fixtures/plans/bakery-van.toml");
    read("plan.toml", text).unwrap_or_else(|_| panic!("the fixture is a plan"))
});

fuzz_target!(|text: &str| {
    let pairs = text.lines().filter_map(|line| line.split_once('='));
    let answers: BTreeMap<String, String> =
        pairs.map(|(option, value)| (option.to_owned(), value.to_owned())).collect();
    let _ = PLAN.open_questions(&answers);
    let _ = PLAN.unanswered(&answers);
    match PLAN.resolve(&answers) {
        Ok(job) => {
            for (option, value) in &answers {
                assert_eq!(job.answers.get(option), Some(value));
            }
        }
        Err(problems) => {
            assert!(!problems.is_empty());
            let _ = PLAN.render(&problems, false);
        }
    }
});
