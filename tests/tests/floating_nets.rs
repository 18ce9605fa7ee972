//! Nets that float behind blocking diodes drift with the probe's own leakage.
//! A healthy harness with such nets is not refused, and nothing that is live on
//! it is let through.

use std::collections::BTreeSet;

use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::plan::model::{End, Ring, RingOn};
use loomproof::ringout::{Outcome, Stop};
use loomproof_core::wire::Refusal;
use loomproof_tests::campaign::site::{Loaded, drawn};
use loomproof_tests::campaign::trial::healthy;
use loomproof_tests::generator::Form;

/// Two anodes on a splice, unloaded conductors on their cathodes, and steps of
/// seconds in between.
fn site() -> Loaded {
    drawn(9, 56, Form::Vehicle).load().unwrap()
}

#[test]
fn a_healthy_harness_with_floating_nets_passes() {
    let site = site();
    let alarms: Vec<String> = (1..=100)
        .filter_map(|seed| healthy(&site, seed))
        .map(|alarm| format!("{}: {}", alarm.repeat, alarm.said))
        .collect();
    assert_eq!(alarms, Vec::<String>::new());
}

#[test]
fn whatever_is_live_on_it_is_refused() {
    let site = site();
    // The chassis takes a source of 0.5 Ω down to nothing, a cold lamp in
    // between to little more than half.
    let grounded = |ring: &&Ring| ring.on == RingOn::Chassis;
    let mut chassis: Vec<End> = (site.job.rings.iter().filter(grounded))
        .map(|ring| End::Ring(ring.name.clone()))
        .collect();
    let pairs = || {
        site.job
            .leads
            .iter()
            .flat_map(|lead| [(&lead.from, &lead.to), (&lead.to, &lead.from)])
    };
    while let Some((_, new)) =
        pairs().find(|(one, other)| chassis.contains(one) && !chassis.contains(other))
    {
        chassis.push(new.clone());
    }
    let ends: BTreeSet<String> = (site.job.leads.iter())
        .flat_map(|lead| [&lead.from, &lead.to])
        .filter(|end| **end != End::Cap && !chassis.contains(end))
        .map(ToString::to_string)
        .collect();
    let clipped = |end: &String| {
        site.hookup
            .clips
            .iter()
            .any(|clip| clip.point.end().to_string() == *end)
    };
    let high = ends.iter().flat_map(|end| [(end, "12"), (end, "-12")]);
    // Half a volt behind a diode does not reach the next probe lead.
    let touched = ends.iter().filter(|end| clipped(end));
    let low = touched.flat_map(|end| [(end, "0.5"), (end, "-0.45")]);
    let mut tried = 0;
    for (seed, (end, volts)) in (1..).zip(high.chain(low)) {
        let fault = parse(&format!("live@{end},volts={volts}"), &site.job).unwrap();
        let bench = site.settings(seed);
        let (_, outcome) = site.scan(std::slice::from_ref(&fault), &bench).unwrap();
        tried += 1;
        assert!(
            matches!(&outcome, Outcome::Refused(Stop { refusal: Refusal::Live(..), taken, .. }) if taken.is_empty()),
            "{fault} with seed {seed}"
        );
    }
    println!("{tried} live faults");
    assert!(tried > 2 * (70 + 40), "{tried}");
}

/// A tap that misses leaves a net behind a reversed diode to hang on a gigohm beside
/// milliohms: its equations go round within their rounding, and that is a solution.
#[test]
fn a_net_whose_equations_go_round_within_rounding_is_solved() {
    let site = drawn(15, 112, Form::Vehicle).load().unwrap();
    let faults: Vec<Fault> = ["reversed@D1", "tap-missed@T4"]
        .map(|fault| parse(fault, &site.job).unwrap())
        .to_vec();
    for seed in 2_000_000..2_000_010 {
        let scan = site.scan(&faults, &site.settings(seed));
        assert!(matches!(scan, Ok((_, Outcome::Complete(_)))), "seed {seed}");
    }
}
