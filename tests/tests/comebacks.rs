//! The effort of a comeback is within a tenth of the least there is, on a small case
//! that is worked out exhaustively.

use loomproof::plan::Plan;
use loomproof::powered::Cause;
use loomproof_tests::comebacks::small;
use loomproof_tests::skip::top;

#[test]
fn the_effort_is_within_a_tenth_of_the_least() {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let answers = [("second-battery", "no"), ("rear-door", "hinged")];
    let answers = answers.map(|(option, value)| (option.to_owned(), value.to_owned()));
    let job = plan.resolve(&answers.into()).unwrap();
    let cause = Cause::parse("blown@F1", &job).unwrap();
    let (ours, least) = small(&job, &[cause]).unwrap().expect("a case");
    assert!(least >= 1.0, "at least a reading is needed: {least}");
    assert!(
        ours >= least * 0.999,
        "{ours} is less than the least, {least}"
    );
    assert!(
        ours <= least * 1.1,
        "{ours:.2}, and the least is {least:.2}"
    );
}
