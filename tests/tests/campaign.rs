//! A quick campaign: the whole one is `cargo run --release -p loomproof-tests
//! --example campaign`.

use loomproof_core::wire::Place;
use loomproof_tests::campaign::table::{Counts, Results};
use loomproof_tests::campaign::{SITES, Site, faulty, healthy};

/// Healthy harnesses per site: 60 over all.
const HEALTHY: usize = 10;

/// How-manyth fault of a plan is tried; the large plans' catalogues are long.
fn every(site: Site) -> usize {
    match site.plan {
        "bench-64" => 7 * 29,
        "bakery-van" => 7 * 11,
        _ => 7,
    }
}

#[test]
fn nothing_is_missed() {
    let mut results = Results::default();
    for site in SITES {
        let loaded = site.load().unwrap();
        let healthy = healthy(&loaded, HEALTHY);
        let faulty = faulty(&loaded, every(*site), |_| {});
        results.sites.push((site.name(), healthy, faulty));
    }
    println!("{}\n{}", results.tables(), results.times());
    assert_eq!(
        results.missed_goals(),
        Vec::<String>::new(),
        "{}",
        results.misses()
    );
    let all = Counts::of(
        results
            .sites
            .iter()
            .flat_map(|(_, _, faulty)| &faulty.tried),
    );
    assert!(all.detected > 60, "too few to say anything: {all:?}");
}

/// The same seeds give the same, however the threads ran; other faults another.
#[test]
fn a_campaign_repeats() {
    let site = Site {
        plan: "smallest",
        place: Place::Vehicle,
    };
    let run = |every| {
        let loaded = site.load().unwrap();
        let results = Results {
            sites: vec![(
                site.name(),
                healthy(&loaded, 5),
                faulty(&loaded, every, |_| {}),
            )],
        };
        let said: Vec<_> = results.sites[0]
            .2
            .tried
            .iter()
            .map(|t| t.said.clone())
            .collect();
        (results.tables(), said)
    };
    assert_eq!(run(3), run(3));
    assert_ne!(run(3), run(4));
}

/// A campaign that finds something wrong says so.
#[test]
fn a_missed_goal_is_seen() {
    let site = Site {
        plan: "smallest",
        place: Place::Vehicle,
    };
    let mut loaded = site.load().unwrap();
    // Claim that everything can be seen: what cannot is then an escape.
    for (_, covered) in &mut loaded.faults {
        *covered = true;
    }
    let results = Results {
        sites: vec![(site.name(), healthy(&loaded, 1), faulty(&loaded, 1, |_| {}))],
    };
    let escapes = Counts::of(results.sites[0].2.tried.iter()).escapes;
    assert!(escapes > 0);
    assert!(!results.missed_goals().is_empty());
    assert_eq!(results.misses().matches("ESCAPE").count(), escapes);
}
