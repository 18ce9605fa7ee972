//! The ohms of a bad joint are said with a 95 % interval: over many benches the
//! ohms that were put in lie in it about so often.

use loomproof::bench::Settings;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::space::explain;
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::ringout::Outcome;
use loomproof_core::units::Ohms;
use loomproof_tests::campaign::site::Site;

/// Ohms put in, from the lowest that shows for certain to a tenth of the span.
const OHMS: [f64; 6] = [1.0, 3.0, 10.0, 100.0, 1e3, 3e4];

/// Runs for each.
const RUNS: usize = 20;

#[test]
fn injected_ohms_lie_in_the_interval_about_19_times_in_20() {
    let site = Site::of_name("socket-13-pin/bench")
        .unwrap()
        .load()
        .unwrap();
    let catalogue: Vec<Fault> = site.covered.iter().map(|c| c.fault.clone()).collect();
    let bad = |c: &&loomproof::diagnosis::coverage::Covered| {
        c.covered && c.fault.kind() == "high-resistance"
    };
    let joints: Vec<&Fault> = site.covered.iter().filter(bad).map(|c| &c.fault).collect();
    let (mut all, mut inside, mut widest) = (0, 0, 0.0_f64);
    for (at, ohms) in OHMS.iter().cycle().take(OHMS.len() * RUNS).enumerate() {
        let joint = joints[at * 7 % joints.len()];
        let injected = joint.with_ohms(Ohms(*ohms)).unwrap();
        let bench = Settings {
            seed: 7_000 + at as u64,
            leads: site.probe_leads,
            ..Settings::default()
        };
        let (_, outcome) = site.scan(&[injected], &bench).unwrap();
        let Outcome::Complete(taken) = outcome else {
            panic!("refused");
        };
        let evidence = Evidence::new(&site.model, &taken).unwrap();
        let explained = explain(&evidence, &catalogue).unwrap();
        let best = &explained.candidates[0];
        let estimate = best.estimates[0].unwrap_or_else(|| panic!("{:?}", best.faults));
        all += 1;
        inside += usize::from((estimate.low..=estimate.high).contains(ohms));
        widest = widest.max(estimate.high / estimate.low);
    }
    println!("{inside} of {all} in their interval; the widest spans a factor of {widest:.2}");
    // 95 % of 120 are 114; by chance 106 to 120 (binomial, 4 σ).
    assert!(inside * 100 >= all * 88, "{inside} of {all}");
    // Nor is it so wide that it says nothing.
    assert!(widest < 2.0, "{widest}");
}

/// The vehicle's conductor may have any load: the ohms of a joint before it can lie
/// anywhere between 7.7 and 10 Ω by these readings, and the middle is said, not an end.
#[test]
fn a_joint_beside_an_unknown_load_is_said_in_the_middle() {
    let site = Site::of_name("smallest/vehicle").unwrap().load().unwrap();
    let joint: Fault = parse("high-resistance@X1:4,ohms=10", &site.job).unwrap();
    for seed in 1..=10 {
        let report = site.ring_out(std::slice::from_ref(&joint), seed).unwrap();
        let said = report.groups[0].sets.iter().flatten();
        let ohms = said.filter_map(|fault| parse(&fault.fault, &site.job).unwrap().ohms());
        let all: Vec<f64> = ohms.map(|ohms| ohms.0).collect();
        assert!(!all.is_empty(), "seed {seed}");
        assert!(
            all.iter().all(|ohms| (8.5..11.8).contains(ohms)),
            "seed {seed}: {all:?}"
        );
    }
}
