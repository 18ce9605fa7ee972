//! What a comeback can tell apart, and that its effort is within a tenth of the least
//! there is, on a small case that is worked out exhaustively.

use std::collections::BTreeSet;

use loomproof::comeback::What;
use loomproof::comeback::next::alike;
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::powered::Cause;
use loomproof_tests::comebacks::{come_back, small};
use loomproof_tests::skip::top;

fn van() -> Job {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let answers = [("second-battery", "no"), ("rear-door", "hinged")];
    let answers = answers.map(|(option, value)| (option.to_owned(), value.to_owned()));
    plan.resolve(&answers.into()).unwrap()
}

/// A feed that is low may show much that a dead one does not, wherever it is read.
#[test]
fn a_feed_that_is_low_is_told_from_one_that_is_dead() {
    let job = van();
    let dead = Cause::parse("dead-feed@K2", &job).unwrap();
    let (_, inquiry, _) = come_back(&job, &[dead]).unwrap().expect("it comes back");
    let of = |kind: &'static str| {
        let suspects = inquiry.suspects.iter();
        suspects.filter(move |it| {
            let cause = it.causes.first();
            it.causes.len() == 1 && cause.is_some_and(|it| it.kind() == kind && it.place() == "K2")
        })
    };
    let dead = of("dead-feed").next().expect("suspected");
    assert!(of("voltage").next().is_some(), "suspected as well");
    let asks = &inquiry.asks;
    // Whatever was asked of one place already.
    for site in 0..asks.sites.len() {
        let asked = asks.list.iter().filter(|it| it.what == What::Volts(site));
        let barred: BTreeSet<_> = asked.copied().collect();
        for low in of("voltage") {
            let same = alike(asks, dead, low, &barred);
            let shown = asks.list.iter().zip(&dead.forecasts).zip(&low.forecasts);
            let shown: Vec<String> = shown
                .filter(|((_, one), other)| one.least != other.least || one.most != other.most)
                .map(|((ask, one), other)| format!("{ask:?}: {one:?} {other:?}"))
                .take(9)
                .collect();
            let without = &asks.sites[site].name;
            assert!(!same, "{} without {without}: {shown:#?}", low.causes[0]);
        }
    }
}

#[test]
fn the_effort_is_within_a_tenth_of_the_least() {
    let job = van();
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
