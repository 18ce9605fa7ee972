//! What docs/comeback.md claims, held on small cases: the effort of a comeback is within
//! a tenth of the least there is.

use loomproof::plan::Plan;
use loomproof::powered::Cause;
use loomproof_tests::comebacks::small;
use loomproof_tests::skip::top;

/// Of different sorts: a blown fuse, a missed tap, a dead feed, a joint that is open.
const CAUSES: [&str; 4] = ["blown@F1", "tap-missed@T1", "dead-feed@K2", "open@X13:1"];

#[test]
fn the_effort_is_within_a_tenth_of_the_least() {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let job = plan.resolve(&Default::default()).unwrap();
    let (mut ours, mut best) = (0.0, 0.0);
    for cause in CAUSES {
        let cause = Cause::parse(cause, &job).unwrap();
        let (own, least) = small(&job, &[cause]).unwrap().expect("a case");
        assert!(
            own >= least * 0.999,
            "{own} is less than the least, {least}"
        );
        ours += own;
        best += least;
    }
    assert!(best > 4.0, "four cases that need a reading each: {best}");
    assert!(ours <= best * 1.1, "{ours:.2}, and the least is {best:.2}");
    let page = std::fs::read_to_string(top().join("docs/comeback.md")).unwrap();
    let row = page.lines().last().unwrap_or_default();
    let ratio: f64 = row.split('|').nth(4).unwrap().trim().parse().unwrap();
    assert!((0.999..=1.1).contains(&ratio), "the page says {ratio}");
}
