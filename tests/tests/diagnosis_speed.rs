//! The speed of the diagnosis, on a small sample; the whole measurement is
//! `cargo run --release -p loomproof-tests --example diagnosis_speed`.

use loomproof_tests::speed::document::{APART, FASTER, Found, SECONDS};
use loomproof_tests::speed::explaining::{INJECTED, injected};
use loomproof_tests::speed::growth::grown;
use loomproof_tests::speed::plot;
use loomproof_tests::speed::rates::{Effort, Which, rates};
use loomproof_tests::speed::subject::Subject;

/// Times may be longer than the goals by this on a slow or busy machine.
const NOISY: f64 = 3.0;

#[test]
fn trees_and_chords_are_faster_than_lu_and_find_the_same() {
    let effort = Effort {
        whole: 24,
        touched: 120,
        rounds: 3,
        conditions: 2,
    };
    let linear = Subject::bench_64_linear().unwrap();
    let diodes = Subject::bench_64().unwrap();
    assert_eq!((linear.points(), linear.diodes()), (64, 0));
    assert_eq!((diodes.points(), diodes.diodes()), (64, 2));
    let (all, at) = (Which::All, Which::AtDiodes);
    for (subject, which, wanted) in [
        (&linear, all, FASTER.0),
        (&diodes, all, FASTER.1),
        (&diodes, at, FASTER.1),
    ] {
        let rates = rates(subject, which, effort).unwrap();
        println!("{rates:?}");
        let (times, touched) = (rates.faster(), rates.faster_touched());
        assert!(times >= wanted, "{}: {times} times", rates.name);
        // Even where LU is told which islands to solve.
        assert!(touched > 3.0, "{}: {touched} times", rates.name);
        assert!(rates.apart < APART, "{}: {} V", rates.name, rates.apart);
        assert!(rates.compared.0 > 200, "{:?} compared", rates.compared);
        assert!(
            rates.compared.1 * 20 < rates.compared.0,
            "{:?}",
            rates.compared
        );
        assert!(rates.condition.2 < 1e12, "{:?}", rates.condition);
        if which == at {
            assert!(
                rates.hypotheses > 100 && rates.iterations > 1.2,
                "{rates:?}"
            );
        }
    }
}

#[test]
fn the_best_of_all_pairs_is_proved_in_time() {
    let bench = Subject::bench_64().unwrap();
    for one in injected(&bench, INJECTED, 1).unwrap() {
        println!("{one:?}");
        // All pairs are in the space, and hardly any need be scored.
        let n = one.hypotheses as u64;
        assert_eq!((one.proof.size, one.proof.sets), (2, n + n * (n - 1) / 2));
        assert!(one.proof.scored * 20 < one.proof.sets, "{one:?}");
        assert!(one.singles < one.pairs, "{one:?}");
        if !cfg!(debug_assertions) {
            assert!(one.singles < NOISY * SECONDS.0, "{one:?}");
            assert!(one.pairs < NOISY * SECONDS.1, "{one:?}");
        }
    }
}

/// A diode that carries nothing comes to rest: rounding alone moved its junction
/// to and fro here.
#[test]
fn a_diode_without_current_comes_to_rest() {
    let drawn = Subject::drawn(1, 48).unwrap();
    for sets in [["unseated@X5:7"], ["short@W10,with=W43"]] {
        let found = injected(&drawn, &[&sets], 1).unwrap();
        assert_eq!(found[0].proof.size, 2);
    }
}

/// The page shows what was found, and what was missed.
#[test]
fn the_page_tells_of_a_missed_goal() {
    let mut found = Found {
        rates: Vec::new(),
        explaining: injected(&Subject::bench_64().unwrap(), &INJECTED[1..2], 1).unwrap(),
        grown: vec![grown(1, 16).unwrap(), grown(1, 24).unwrap()],
    };
    for one in &mut found.explaining {
        (one.singles, one.pairs) = (0.1, 1.0);
    }
    assert_eq!(found.missed(), Vec::<String>::new());
    found.explaining[0].pairs = 2.1;
    found.grown[1].rates.apart = f64::INFINITY;
    assert_eq!(found.missed().len(), 2);
    let page = found.page("this one", "picture.svg");
    assert_eq!(page.matches("**Missed:**").count(), 2);
    assert!(page.contains("](picture.svg)") && page.contains("`open@W7`"));
    assert_eq!(page.matches(" 3 of 3 ").count(), 2);
    let svg = plot::growth(&found.curves());
    assert_eq!(svg.matches("<polyline").count(), 4);
    assert_eq!(svg.matches("<circle").count(), 8);
    assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
}
