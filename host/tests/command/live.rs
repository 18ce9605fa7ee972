//! The live check, on the virtual vehicle.

use crate::support::loomproof;

const VAN: &str = "fixtures/plans/bakery-van.toml";

#[test]
fn a_healthy_van_passes_and_every_function_works() {
    let run = loomproof(&["live", VAN, "--defaults"]);
    assert_eq!(run.status, 0, "{run:#?}");
    run.speaks(&[
        "The battery is on",
        "[1 of 9] Battery on, everything at rest",
        "on now: chiller, buzzer",
    ]);
    for words in [
        "PASS: every function that was tried works",
        "ok    chiller works",
        "ok    buzzer works",
        "ok    bay-lamps-hinged works",
        "Not tested by this check:",
        "FB:3",
    ] {
        assert!(run.out.contains(words), "{words:?} is not in {}", run.out);
    }
}

#[test]
fn a_dead_feed_is_the_vehicles() {
    let args = ["live", VAN, "--defaults", "--format", "json"];
    let run = loomproof(&[&args[..], &["--fault", "dead-feed@C7"]].concat());
    assert_eq!(run.status, 1, "{run:#?}");
    let report = run.json();
    assert_eq!(report["verdict"], "faults");
    let sets = report["groups"][0]["sets"].as_array().unwrap();
    let named = sets.iter().find(|set| set[0]["fault"] == "dead-feed@C7");
    let say = named.unwrap()[0]["say"].as_str().unwrap();
    assert!(say.contains("pin C7"), "{say}");
    let lamps = report["functions"].as_array().unwrap();
    let lamps = lamps.iter().find(|it| it["name"] == "bay-lamps-hinged");
    assert_eq!(lamps.unwrap()["verdict"], "fails");
}

#[test]
fn what_is_not_a_live_check_is_told() {
    loomproof(&["live", VAN, "--defaults", "--where", "bench"])
        .fails(2, &["a live check is made in the vehicle"]);
    loomproof(&["live", VAN, "--defaults", "--fault", "dead-feed@K99"]).fails(2, &["K99"]);
    loomproof(&["live", VAN, "--defaults", "--fault", "open@X9:1"]).fails(2, &["X9"]);
    loomproof(&["live", VAN, "--defaults", "--leads", "16"]).fails(2, &["--at"]);
}

/// A feed that gives too little leaves its fuse whole: it has what it gives.
#[test]
fn a_feed_that_is_low_shows_what_it_gives() {
    use loomproof::hookup::Point;
    use loomproof::live::causes::expected_under;
    use loomproof::powered::{Cause, Powered, Shown};
    use loomproof_core::units::Volts;
    let plan = loomproof::plan::Plan::load(&crate::support::top().join(VAN)).unwrap();
    let job = plan.resolve(&Default::default()).unwrap();
    let hookup = loomproof::hookup::propose(&job, loomproof_core::wire::Place::Vehicle, 64);
    let hookup = hookup.unwrap().battery_on();
    let powered = Powered::new(&job, &hookup).unwrap();
    let at = powered.points.iter().position(|touched| {
        matches!(&touched.point, Point::Cavity { connector, cavity: 2, .. } if connector == "FB")
    });
    let steps = loomproof::live::steps(&job);
    let on = steps.iter().position(|step| step.switches[0] == 1).unwrap();
    for (cause, wanted) in [
        ("voltage@K2,volts=8", 7.5..8.1),
        ("dead-feed@K2", -0.1..0.5),
    ] {
        let scenario = Cause::parse(cause, &job).unwrap();
        let scenario = scenario.scenario(&powered, &job).unwrap();
        let course = expected_under(&powered, &scenario, &steps, Volts(12.6)).unwrap();
        let Shown::Known { on: level, .. } = &course[on][at.unwrap()] else {
            panic!("{cause}: nothing is known");
        };
        let middle = level.middle().0;
        assert!(wanted.contains(&middle), "{cause}: {middle} V");
    }
}
