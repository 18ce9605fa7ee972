//! A quick campaign: the whole one is `cargo run --release -p loomproof-tests
//! --example campaign`.

use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof_core::wire::Place;
use loomproof_tests::campaign::draw::{can_meet, from_priors, together};
use loomproof_tests::campaign::goals::SEVERE;
use loomproof_tests::campaign::journal::Journal;
use loomproof_tests::campaign::results::{Counts, Results};
use loomproof_tests::campaign::same::{Referee, severity};
use loomproof_tests::campaign::site::{FIXTURES, Loaded, Site, drawn};
use loomproof_tests::campaign::trial::{Class, Right, tried};
use loomproof_tests::campaign::{Scale, plot, run_site};
use loomproof_tests::generator::Form;

/// So much is run by the test.
const QUICK: Scale = Scale {
    healthy: 45,
    pairs: 18,
    triples: 0,
    drawn: 0,
    every: 7,
    most: 20,
    verdicts: 10,
    seed: 0,
};

fn site(name: &str) -> Loaded {
    Site::of_name(name).unwrap().load().unwrap()
}

fn faults(site: &Loaded, spelled: &[&str]) -> Vec<Fault> {
    spelled
        .iter()
        .map(|fault| parse(fault, &site.job).unwrap())
        .collect()
}

#[test]
fn nothing_is_missed() {
    let mut sites: Vec<Site> = FIXTURES.to_vec();
    sites.push(drawn(11, 16, Form::Bench));
    sites.push(drawn(12, 32, Form::Vehicle));
    sites.push(drawn(13, 48, Form::Bench));
    let mut results = Results {
        wanted: sites.len(),
        ..Results::default()
    };
    for (at, site) in sites.iter().enumerate() {
        let loaded = site.load().unwrap();
        let found = run_site(
            &loaded,
            &QUICK,
            &Journal::default(),
            (at, sites.len()),
            |_| {},
        );
        results.sites.push(found);
    }
    let page = results.page(&QUICK.options(), "this one", "none");
    println!("{page}");
    assert_eq!(results.missed_goals(), Vec::<String>::new(), "{page}");
    let singles = Counts::of(results.class(Class::Single));
    let pairs = Counts::of(results.class(Class::Pair));
    assert!(
        singles.severe > 100 && pairs.severe > 14,
        "too few: {singles:?} {pairs:?}"
    );
}

/// The same seeds give the same page, however the threads ran and whether or not
/// the campaign was broken off; others another.
#[test]
fn a_campaign_repeats() {
    let loaded = site("smallest/vehicle");
    let run = |seed, journal: &Journal| {
        let scale = Scale {
            healthy: 4,
            pairs: 4,
            triples: 2,
            drawn: 4,
            every: 3,
            most: 100,
            verdicts: 1,
            seed,
        };
        let results = Results {
            sites: vec![run_site(&loaded, &scale, journal, (0, 1), |_| {})],
            wanted: 1,
        };
        let spelled: Vec<_> = results.tried().map(|t| t.spelled.clone()).collect();
        (results.page(&scale.options(), "x", "y"), spelled)
    };
    let none = Journal::default();
    let (page, spelled) = run(0, &none);
    assert_eq!((page.clone(), spelled.clone()), run(0, &none));
    assert_ne!(spelled, run(77, &none).1);

    // Broken off in the middle, and taken up again.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("runs");
    run(0, &Journal::open(&path, "x").unwrap());
    let kept = std::fs::read(&path).unwrap();
    std::fs::write(&path, &kept[..kept.len() / 2]).unwrap();
    let journal = Journal::open(&path, "x").unwrap();
    let before = journal.len();
    assert_eq!((page, spelled), run(0, &journal));
    let after = Journal::open(&path, "x").unwrap().len();
    assert!(0 < before && before < after, "{before} of {after} runs");
}

/// A campaign that finds something wrong says so, with the command to see it.
#[test]
fn a_missed_goal_is_seen() {
    let mut loaded = site("smallest/vehicle");
    // Claim that everything can be seen: what cannot is then an escape.
    for covered in &mut loaded.covered {
        covered.covered = true;
    }
    let scale = Scale {
        healthy: 0,
        pairs: 0,
        triples: 0,
        drawn: 0,
        every: 1,
        most: usize::MAX,
        verdicts: 1,
        seed: 0,
    };
    let results = Results {
        sites: vec![run_site(
            &loaded,
            &scale,
            &Journal::default(),
            (0, 1),
            |_| {},
        )],
        wanted: 1,
    };
    let escapes = Counts::of(results.tried()).escapes;
    assert!(escapes > 0);
    assert!(!results.missed_goals().is_empty());
    let page = results.page(&scale.options(), "x", "y");
    assert_eq!(page.matches("ESCAPE").count(), escapes);
    assert!(page.contains(
        "loomproof ringout fixtures/plans/smallest.toml --defaults --where vehicle --leads 64 --seed "
    ));
}

/// The bench tells apart what a reading tells apart, and nothing else.
#[test]
fn the_referee_knows_what_is_the_same() {
    let socket = site("socket-13-pin/bench");
    let sigmas = |site: &Loaded, a: &[&str], others: &[&[&str]]| -> Vec<f64> {
        let referee = Referee::new(site, &faults(site, a), site.first.clone()).unwrap();
        let apart = |b: &&[&str]| referee.apart(&faults(site, b)).unwrap().sigmas;
        others.iter().map(apart).collect()
    };
    // A lead broken anywhere reads the same, so does its terminal not home,
    // and one fault more behind the break.
    let broken = sigmas(
        &socket,
        &["open@W1"],
        &[
            &["open@X20:1"],
            &["unseated@X20:1"],
            &["open@W1", "open@X20:1"],
            &["open@W4"],
            &["open@W1", "open@W4"],
        ],
    );
    assert!(broken[..3].iter().all(|apart| *apart < 3.0), "{broken:?}");
    assert!(broken[3..].iter().all(|apart| *apart > 100.0), "{broken:?}");
    // Ohms count as they are said.
    let ohms = sigmas(
        &socket,
        &["high-resistance@X20:1,ohms=10"],
        &[
            &["high-resistance@W1,ohms=10"],
            &["high-resistance@W1,ohms=12"],
        ],
    );
    assert!(ohms[0] < 3.0 && ohms[1] > 3.0, "{ohms:?}");
    // A wire-side probe touches the crimp: not home reads like home.
    let van = site("bakery-van/vehicle");
    let home = sigmas(&van, &[], &[&["unseated@X2:7"], &["unseated@X1:3"]]);
    assert!(home[0] < 3.0 && home[1] > 100.0, "{home:?}");
    // Ten ohms before a coil whose own spread is nearly as large: 24 benches say 3.0 σ,
    // 400 say less.
    let coil = sigmas(
        &site("bench-048-s8/bench"),
        &["clip-off@X4:2", "high-resistance@R1:85,ohms=10"],
        &[&["clip-off@X4:2"]],
    );
    assert!((2.0..3.0).contains(&coil[0]), "{coil:?}");
}

#[test]
fn severity_is_what_the_bench_measures() {
    let bench = site("bench-64/bench");
    let of = |fault: &str| severity(&bench, &faults(&bench, &[fault])).unwrap();
    assert!(severity(&bench, &[]).unwrap() < 1.0);
    assert!(of("open@W1") > 100.0);
    // The wires' own spread hides milliohms, ten ohms stand out.
    assert!(of("high-resistance@W1,ohms=0.1") < of("high-resistance@W1,ohms=1"));
    assert!(of("high-resistance@W1,ohms=10") > SEVERE);
}

/// A wrong answer is no right one: the bench holds another fault than asked for.
#[test]
fn a_wrong_answer_is_a_miss() {
    let bench = site("socket-13-pin/bench");
    let injected = faults(&bench, &["open@W1"]);
    let good = tried(&bench, Class::Single, &injected, true, 5);
    assert_eq!((good.right, good.miss()), (Right::Named, None));
    let mut liar = site("socket-13-pin/bench");
    // A product that does not know of this lead's faults cannot name them.
    liar.covered.retain(|c| {
        let spelled = c.fault.to_string();
        !["W1", "X20:1", "T1"]
            .iter()
            .any(|name| spelled.split(['@', ',', '=']).any(|part| part == *name))
    });
    let bad = tried(&liar, Class::Single, &injected, true, 5);
    assert!(bad.miss().is_some(), "{bad:?}");
    assert_eq!(bad.right, Right::No);
}

#[test]
fn random_sets_can_exist() {
    for name in [
        "bakery-van/vehicle",
        "bench-64/bench",
        "vehicle-024-s3/vehicle",
    ] {
        let site = site(name);
        let mut kinds = std::collections::BTreeSet::new();
        for seed in 0..40 {
            let pair = together(&site, 2, seed).unwrap();
            assert_eq!(pair, together(&site, 2, seed).unwrap());
            assert!(can_meet(&pair) && site.accepts(&pair));
            assert!(pair.iter().all(|fault| fault.kind() != "live"));
            kinds.extend(pair.iter().map(Fault::kind));
            assert_eq!(together(&site, 3, seed).unwrap().len(), 3);
            assert!(!from_priors(&site, seed).unwrap().is_empty());
        }
        assert!(kinds.len() >= 5, "{kinds:?}");
    }
    let bench = site("bench-64/bench");
    let meet = |list: &[&str]| can_meet(&faults(&bench, list));
    assert!(meet(&["open@X1:1", "open@X1:2"]));
    assert!(!meet(&["open@X1:1", "high-resistance@X1:1,ohms=4"]));
    assert!(!meet(&[
        "exchanged@X1:1,with=X1:2",
        "exchanged@X1:2,with=X1:3"
    ]));
    assert!(!meet(&["short@W1,with=W2", "short@W2,with=W1"]));
    assert!(meet(&["short@W1,with=W2", "short@W2,with=W3"]));
}

/// The picture shows every bin that holds runs.
#[test]
fn the_plot_has_a_dot_for_each_bin() {
    let bins = loomproof_tests::campaign::stats::bins(
        [(0.15, true), (0.95, true), (0.97, false)].into_iter(),
    );
    let svg = plot::calibration(&bins);
    assert_eq!(svg.matches("<circle").count(), 2);
    assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
    assert!(svg.contains("3 runs drawn"));
}

/// The place is that of the form.
#[test]
fn names_of_sites_are_read_back() {
    let site = drawn(9, 64, Form::Vehicle);
    assert_eq!(site.place, Place::Vehicle);
    assert_eq!(Site::of_name(&site.name()), Some(site));
    assert_eq!(Site::of_name("no-such/bench"), None);
}
