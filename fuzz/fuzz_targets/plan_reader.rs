//! Any text as a plan. One that is taken is written back, read again and is the
//! same plan; its variants resolve or are refused in words.
#![no_main]

use std::collections::BTreeMap;

use libfuzzer_sys::fuzz_target;
use loomproof::plan::{read, render};

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let plan = match read("plan.toml", text) {
        Ok(plan) => plan,
        Err(problems) => {
            assert!(!problems.is_empty());
            let _ = render(&problems, "plan.toml", text, false);
            return;
        }
    };
    let written = plan.to_toml();
    let again = match read("again.toml", &written) {
        Ok(again) => again,
        Err(problems) => panic!("{}\n{written}", render(&problems, "again.toml", &written, false)),
    };
    assert!(plan.same_content(&again), "{written}");
    assert_eq!(again.to_toml(), written);
    let _ = plan.resolve(&BTreeMap::new());
});
