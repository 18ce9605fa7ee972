//! Any bytes as a recorded scan of the smallest plan: a verdict, or refused in
//! words. What is taken is written and read the same again.
#![no_main]

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use loomproof::circuit::build;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::plan::model::Job;
use loomproof::plan::read;
use loomproof::probe::nulls;
use loomproof::ringout::Rung;
use loomproof::ringout::recording::Recording;
use loomproof::ringout::verdict::verdict;

static JOB: LazyLock<Job> = LazyLock::new(|| {
    let text = include_str!("../../fixtures/plans/smallest.toml");
    let Ok(plan) = read("plan.toml", text) else {
        panic!("the fixture is a plan");
    };
    plan.resolve(&BTreeMap::new()).unwrap_or_else(|_| panic!("without options"))
});

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("scan.json");
    let Ok(recording) = Recording::read(path, bytes) else {
        return;
    };
    let _ = recording.hello();
    let written = serde_json::to_vec(&recording).expect("what was read can be written");
    let again = Recording::read(path, &written).expect("what was written can be read");
    assert_eq!(serde_json::to_vec(&again).expect("as before"), written);
    let Ok(rounds) = recording.rounds(path, &JOB) else {
        return;
    };
    let mut rungs = Vec::new();
    for (at, (hookup, taken, clips)) in rounds.into_iter().enumerate() {
        let Ok(mut model) = build(&JOB, &hookup) else {
            return;
        };
        nulls::apply(&mut model, &clips);
        let set_anew = recording.was_set_anew(at);
        rungs.push(Rung { hookup, model, taken, clips, set_anew });
    }
    let whole = rungs.iter().all(Rung::is_whole);
    let evidence = Evidence::of_rounds(rungs.iter().map(|rung| (&rung.model, rung.taken.as_slice())));
    if let (true, Ok(evidence)) = (whole, evidence) {
        let _ = verdict(&evidence);
    }
});
