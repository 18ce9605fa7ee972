//! "None of all sets of one or two faults explains the readings better": every
//! set is worked out here, without a bound, and held against what the search
//! says is the best.

use loomproof::bench::Settings as Bench;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::search::{Settings, Space, search};
use loomproof::diagnosis::space::Catalogue;
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::ringout::Outcome;
use loomproof_tests::campaign::draw::together;
use loomproof_tests::campaign::site::{Loaded, Site};

/// What two ways of adding the same numbers up may differ by, at weights of
/// 1e9: in units of the natural logarithm.
const ROUNDING: f64 = 1e-4;

fn load(name: &str) -> Loaded {
    Site::of_name(name).unwrap().load().unwrap()
}

/// Searches, works every set out, and compares; how many sets there were.
fn nothing_is_better(site: &Loaded, faults: &[Fault], seed: u64) -> u64 {
    let bench = Bench {
        seed,
        leads: site.probe_leads,
        ..Bench::default()
    };
    let (_, outcome) = site.scan(faults, &bench).unwrap();
    let Outcome::Complete(taken) = outcome else {
        panic!("{faults:?} was refused");
    };
    let evidence = Evidence::new(&site.model, &taken).unwrap();
    if evidence.off().is_empty() {
        return 0;
    }
    let catalogue: Vec<Fault> = site.covered.iter().map(|c| c.fault.clone()).collect();
    let settings = Settings {
        most: 2,
        ..Settings::default()
    };
    let outcome = search(&Catalogue::new(&evidence, &catalogue), &settings).unwrap();
    assert_eq!(outcome.proof.size, 2, "{faults:?}");
    let best = outcome.found.first().map_or(0.0, |found| found.weight);

    // Another catalogue: nothing that the search worked out is known to it.
    let all = Catalogue::new(&evidence, &catalogue);
    let enough: Vec<bool> = (0..all.len())
        .map(|one| all.suffices(one).unwrap())
        .collect();
    let weight = |set: &[usize]| {
        let gain = all.gain(set, f64::NEG_INFINITY).unwrap().unwrap();
        gain + set.iter().map(|one| all.ln_prior(*one)).sum::<f64>()
    };
    let mut sets = 0;
    for a in 0..all.len() {
        sets += 1;
        assert!(weight(&[a]) <= best + ROUNDING, "{faults:?}: single {a}");
        for b in a + 1..all.len() {
            sets += 1;
            // What holds a whole explanation is none of its own.
            if all.compatible(a, b) && !enough[a] && !enough[b] {
                let own = weight(&[a, b]);
                assert!(
                    own <= best + ROUNDING,
                    "{faults:?}: {a} and {b}: {own} > {best}"
                );
            }
        }
    }
    assert_eq!(outcome.proof.sets, sets, "{faults:?}");
    assert!(outcome.proof.scored <= sets);
    sets
}

#[test]
fn every_single_fault_of_the_smallest_plan() {
    let site = load("smallest/vehicle");
    let mut sets = 0;
    for (at, covered) in site.covered.iter().enumerate() {
        if covered.fault.kind() != "live" {
            let fault = std::slice::from_ref(&covered.fault);
            sets += nothing_is_better(&site, fault, 40 + at as u64);
        }
    }
    assert!(sets > 10_000, "{sets}");
}

#[test]
fn pairs_of_faults() {
    for (name, seeds) in [("smallest/vehicle", 12), ("bench-008-s1/bench", 1)] {
        let site = load(name);
        for seed in 0..seeds {
            let faults = together(&site, 2, seed).unwrap();
            nothing_is_better(&site, &faults, 90 + seed);
        }
    }
}

/// With little effort the likeliest pairs are scored all the same; only the proof is less.
#[test]
fn what_would_take_too_long_is_not_proved_and_found_all_the_same() {
    let site = load("bakery-van/bench");
    let faults = ["open@X1:9", "short@W3,with=W23"].map(|text| parse(text, &site.job).unwrap());
    let bench = Bench {
        seed: 7,
        leads: site.probe_leads,
        ..Bench::default()
    };
    let (_, outcome) = site.scan(&faults, &bench).unwrap();
    let Outcome::Complete(taken) = outcome else {
        panic!("{faults:?} was refused");
    };
    let evidence = Evidence::new(&site.model, &taken).unwrap();
    let catalogue: Vec<Fault> = site.covered.iter().map(|c| c.fault.clone()).collect();
    let found = |effort: u64| {
        let settings = Settings {
            most: 2,
            effort,
            ..Settings::default()
        };
        search(&Catalogue::new(&evidence, &catalogue), &settings).unwrap()
    };
    let (whole, part) = (found(u64::MAX), found(1_000_000));
    assert_eq!((whole.proof.size, part.proof.size), (2, 1));
    assert_eq!(part.proof.sets, catalogue_len(&evidence, &catalogue));
    assert!(part.proof.scored < whole.proof.scored, "{part:?}");
    // The best that is known is hardly less likely: by less than one more fault has to gain.
    let best = whole.found[0].weight;
    assert!(best >= part.found[0].weight - ROUNDING, "{best}");
    assert!(
        best - part.found[0].weight < Settings::default().least_gain,
        "{best} {:?}",
        part.found[0]
    );
    assert_eq!((whole.found[0].set.len(), part.found[0].set.len()), (2, 2));
}

fn catalogue_len(evidence: &Evidence<'_>, catalogue: &[Fault]) -> u64 {
    Catalogue::new(evidence, catalogue).len() as u64
}
