//! Further steps, one after the other, with somebody who presses Enter.

use crate::support::{self, Run};

const VAN: &str = "fixtures/plans/bakery-van.toml";

/// Rings the van out with these faults and answers the questions with `typed`.
fn ring_out(faults: &[&str], typed: &str) -> Run {
    go_on(&[VAN], faults, typed)
}

/// The same of a plan, with more arguments.
fn go_on(plan: &[&str], faults: &[&str], typed: &str) -> Run {
    let mut args = vec!["ringout", "--defaults", "--go-on", "--format", "json"];
    args.extend(plan);
    for fault in faults {
        args.extend(["--fault", fault]);
    }
    support::typed(&args, typed)
}

/// The spellings of the sets of the best group, sorted.
fn best(run: &Run) -> Vec<String> {
    let report: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    let sets = report["groups"][0]["sets"].as_array().unwrap();
    let mut names: Vec<String> = sets
        .iter()
        .map(|set| {
            let faults = set.as_array().unwrap().iter();
            let names: Vec<&str> = faults.map(|f| f["fault"].as_str().unwrap()).collect();
            names.join(" + ")
        })
        .collect();
    names.sort();
    names
}

const ENTER: &str = "\n\n\n\n\n\n\n\n\n\n\n\n";

#[test]
fn an_exchange_is_told_from_exchanged_clips() {
    let fault = "exchanged@X1:9,with=X1:10";
    let before = ring_out(&[fault], "s\n");
    assert_eq!(before.status, 1);
    assert!(best(&before).len() > 1, "{:?}", best(&before));
    let after = ring_out(&[fault], ENTER);
    assert_eq!(after.status, 1);
    assert_eq!(best(&after), [fault]);
    after.speaks(&["set them anew", "Enter when done"]);
}

#[test]
fn a_clip_that_is_put_back_leaves_a_pass() {
    let run = ring_out(&["clip-off@X13:2"], ENTER);
    assert_eq!(run.status, 0, "{}", run.err);
}

#[test]
fn a_missed_tap_is_told_from_a_broken_lead() {
    let before = ring_out(&["tap-missed@T1"], "s\n");
    let after = ring_out(&["tap-missed@T1"], ENTER);
    let (before, after) = (best(&before), best(&after));
    assert!(before.len() > after.len(), "{before:?} {after:?}");
    assert!(after.contains(&"tap-missed@T1".to_owned()), "{after:?}");
    assert!(!after.contains(&"open@W1".to_owned()), "{after:?}");
}

/// With few leads the clips of the round that is blamed go on once more, then those
/// of the last one again.
#[test]
fn the_clips_of_a_round_are_set_anew() {
    let socket = ["fixtures/plans/socket-13-pin.toml", "--leads", "16"];
    // X20:1 is clipped in the first of the two rounds alone.
    let clip = "clip-off@X20:1";
    let before = go_on(&socket, &[clip], "s\n");
    assert_eq!(before.status, 1, "{}", before.err);
    assert!(best(&before).len() > 1, "{:?}", best(&before));
    let after = go_on(&socket, &[clip], ENTER);
    assert_eq!(after.status, 0, "{}", after.err);
    after.speaks(&[
        "set them anew",
        "Round 1 once more. Clip:",
        "Round 2 once more. Clip:",
    ]);
    // What is really exchanged stays so, and no clip is blamed any more.
    let fault = "exchanged@X20:1,with=X20:2";
    let before = go_on(&socket, &[fault], "s\n");
    assert!(best(&before).iter().any(|set| set.contains("clip")));
    let after = go_on(&socket, &[fault], ENTER);
    assert_eq!(after.status, 1, "{}", after.err);
    let best = best(&after);
    assert!(best.contains(&fault.to_owned()), "{best:?}");
    assert!(!best.iter().any(|set| set.contains("clip")), "{best:?}");
}
