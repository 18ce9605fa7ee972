//! Nets that float behind blocking diodes drift with the probe's own leakage.
//! A healthy harness with such nets is not refused, and nothing that is live on
//! it is let through.

use std::collections::BTreeSet;

use loomproof::fault::spell::parse;
use loomproof::plan::model::End;
use loomproof::ringout::{Outcome, Stop};
use loomproof_core::layout::Layout;
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
    let layout = Layout::of(&site.model.circuit, &[]);
    let ends: BTreeSet<String> = (site.job.leads.iter())
        .flat_map(|lead| [&lead.from, &lead.to])
        .filter(|end| **end != End::Cap)
        .map(ToString::to_string)
        .collect();
    // What lies on the chassis takes the half volt of a source of 0.5 Ω down
    // to 20 mV, and what no probe lead touches may be told of at a diode's distance.
    let lifted: BTreeSet<String> = (site.hookup.clips.iter())
        .filter(|clip| !layout.on_chassis(clip.lead))
        .map(|clip| clip.point.end().to_string())
        .filter(|end| ends.contains(end))
        .collect();
    let high = ends.iter().flat_map(|end| [(end, "12"), (end, "-12")]);
    let low = lifted.iter().flat_map(|end| [(end, "0.5"), (end, "-0.3")]);
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
    assert!(tried > 2 * (80 + 40), "{tried}");
}
