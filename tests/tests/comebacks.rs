//! Comebacks: what is forecast for a cause is what the vehicle with it shows, and the
//! effort is within a tenth of the least there is.

use loomproof::bench::Settings;
use loomproof::comeback::suspects::Suspect;
use loomproof::comeback::{Inquiry, VirtualVehicle, belief};
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::powered::Cause;
use loomproof_tests::comebacks::{Workshop, causes_of, small};
use loomproof_tests::skip::top;

fn van() -> Job {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let answers = [("second-battery", "no"), ("rear-door", "hinged")];
    let answers = answers.map(|(option, value)| (option.to_owned(), value.to_owned()));
    plan.resolve(&answers.into()).unwrap()
}

#[test]
fn the_effort_is_within_a_tenth_of_the_least() {
    let job = van();
    let cause = Cause::parse("blown@F1", &job).unwrap();
    let (ours, least) = small(&Workshop::new(&job), &[cause])
        .unwrap()
        .expect("a case");
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

/// Everything that can be asked, asked of a vehicle: how much of it a suspect does not
/// explain.
fn misfits(vehicle: &mut VirtualVehicle, inquiry: &Inquiry<'_>, suspect: &Suspect) -> usize {
    let mut misfits = 0;
    for ask in &inquiry.asks.list {
        let number = belief::number(&inquiry.asks, ask).unwrap();
        let reply = vehicle.reply(inquiry, ask).unwrap();
        misfits += usize::from(!belief::fits(&suspect.forecasts[number], &reply));
    }
    misfits
}

/// The bench has values of its own for joints, feeds and touches, and knows nothing of
/// the model; three digits of noise in a reading now and then are more than is allowed.
fn explained(workshop: &Workshop<'_>, cause: &Cause) -> Option<Result<(), String>> {
    let came = workshop.come_back(std::slice::from_ref(cause)).unwrap();
    let (mut vehicle, inquiry, _) = came?;
    let own = inquiry.suspects.iter();
    let own = own.filter(|it| matches!(it.causes.as_slice(), [one] if one.name() == cause.name()));
    let least = own
        .map(|suspect| misfits(&mut vehicle, &inquiry, suspect))
        .min();
    Some(match least {
        Some(least) if least * 100 <= inquiry.asks.list.len() => Ok(()),
        Some(least) => Err(format!("{cause}: {least} answers are not explained")),
        None => Err(format!("{cause}: not suspected")),
    })
}

/// Shorts that blow a fuse in another state, that blow either of two fuses of 20 A one
/// behind the other, and that blow none.
#[test]
fn what_a_short_does_to_fuses_is_forecast() {
    let job = van();
    let workshop = Workshop::new(&job);
    for text in [
        "short@W11,with=W19",
        "short@W7,with=W8",
        "short@W12,with=W3",
    ] {
        let cause = Cause::parse(text, &job).unwrap();
        let explained = explained(&workshop, &cause).expect("a function fails");
        assert_eq!(explained, Ok(()));
        let vehicle = VirtualVehicle::new(&job, &[], &Settings::default());
        let mut healthy = vehicle.unwrap();
        let (_, inquiry, _) = workshop.come_back(&[cause]).unwrap().unwrap();
        let first = inquiry.suspects.first().expect("suspects");
        assert!(
            misfits(&mut healthy, &inquiry, first) > 5,
            "it does not show"
        );
    }
}

#[test]
fn what_is_forecast_for_a_cause_is_what_the_vehicle_shows() {
    let job = van();
    let all = causes_of(&job).unwrap();
    let workshop = Workshop::new(&job);
    let each = all.iter().step_by(23);
    let each: Vec<_> = each
        .filter_map(|cause| explained(&workshop, cause))
        .collect();
    assert!(each.len() > 6, "{} fail", each.len());
    let wrong: Vec<String> = each.into_iter().filter_map(Result::err).collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}
