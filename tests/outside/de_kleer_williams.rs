//! The circuit of three multipliers and two adders of de Kleer & Williams 1987,
//! A…E = 3, 2, 2, 3, 3, F = 10, G = 12: university lecture slides on it (partly
//! *read*), all values computed beforehand (*ran*; the posteriors are not the
//! paper's).

use std::collections::BTreeSet;

use loomproof::diagnosis::search::search;

use super::check::{Check, Limit, Ours, Status, Value};
use super::textbook::{
    Device, EXPLAINS, Names, Works, conflicts, minimal, printed, settings,
};

const SLIDES: &str = "de Kleer & Williams 1987, lecture slides";

/// Three multipliers, two adders; A…E = 3, 2, 2, 3, 3, F = 10, G = 12, and
/// perhaps one more reading of X or Y.
fn polybox(x_read: Option<i32>, y_read: Option<i32>) -> Device {
    let consistent = move |works: Works<'_>| {
        let given = |name: &str, by_inputs: i32| works(name).then_some(by_inputs);
        // Values that x = A·C, y = B·D and z = C·E could have had.
        let tried = -30..=30;
        let fits = |value: i32, forced: Option<i32>| forced.is_none_or(|f| f == value);
        tried.clone().any(|x| {
            tried.clone().any(|y| {
                tried.clone().any(|z| {
                    fits(x, given("M1", 6))
                        && fits(y, given("M2", 6))
                        && fits(z, given("M3", 6))
                        && fits(x, x_read)
                        && fits(y, y_read)
                        && (!works("A1") || x + y == 10)
                        && (!works("A2") || y + z == 12)
                })
            })
        })
    };
    Device {
        components: vec!["A1", "A2", "M1", "M2", "M3"],
        consistent: Box::new(consistent),
        ln_odds: (0.01_f64 / 0.99).ln(),
    }
}

fn diagnoses(x: Option<i32>, y: Option<i32>) -> BTreeSet<Names> {
    let device = polybox(x, y);
    let names = device.components.clone();
    minimal(&device, &names, EXPLAINS)
}

/// The diagnoses that one more reading leaves.
fn left(x: Option<i32>, y: Option<i32>) -> Value {
    let all = diagnoses(None, None);
    let still = diagnoses(x, y);
    let left: BTreeSet<Names> = all.intersection(&still).cloned().collect();
    printed(&left).into()
}

/// How much likelier a single fault is than a minimal pair, by our search.
fn single_to_pair() -> f64 {
    let Ok(searched) = search(&polybox(None, None), &settings()) else {
        return f64::NAN;
    };
    let of = |size: usize| {
        let mut found = searched.found.iter();
        found.find(|f| f.set.len() == size && f.gain >= EXPLAINS)
    };
    match (of(1), of(2)) {
        (Some(single), Some(pair)) => (single.weight - pair.weight).exp(),
        _ => f64::NAN,
    }
}

/// Candidates of 32 that what is observed allows.
fn survivors() -> f64 {
    let device = polybox(None, None);
    let explains = |mask: &u32| {
        let broken: Vec<usize> = (0..5).filter(|at| mask >> at & 1 == 1).collect();
        device.explains(&broken)
    };
    (0..32_u32).filter(explains).count() as f64
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let check = |what: &str, status, theirs: Value, limit, ours: Ours, test| Check {
        what: what.to_owned(),
        source: SLIDES,
        status,
        theirs,
        limit,
        ours,
        test,
    };
    let mut checks = vec![
        check(
            "three multipliers and two adders: minimal diagnoses",
            Status::Read,
            "{A1} {M1} {A2,M2} {M2,M3}".into(),
            Limit::Same,
            Box::new(|| printed(&diagnoses(None, None)).into()),
            "diagnoses_and_conflicts",
        ),
        check(
            "the same: minimal conflicts",
            Status::Read,
            "{A1,M1,M2} {A1,A2,M1,M3}".into(),
            Limit::Same,
            Box::new(|| printed(&conflicts(&diagnoses(None, None))).into()),
            "diagnoses_and_conflicts",
        ),
    ];
    let further: [(&str, Option<i32>, Option<i32>, &str); 4] = [
        ("X = 4", Some(4), None, "{M1}"),
        ("X = 6", Some(6), None, "{A1} {A2,M2} {M2,M3}"),
        ("Y = 6", None, Some(6), "{A1} {M1}"),
        ("Y = 4", None, Some(4), "{A2,M2} {M2,M3}"),
    ];
    for (reading, x, y, theirs) in further {
        checks.push(check(
            &format!("what is left of them after {reading}"),
            Status::Ran,
            theirs.into(),
            Limit::Same,
            Box::new(move || left(x, y)),
            "a_further_reading",
        ));
    }
    checks.push(check(
        "candidates of 32 that survive",
        Status::Ran,
        27.0.into(),
        Limit::Same,
        Box::new(|| survivors().into()),
        "posteriors",
    ));
    checks.push(check(
        "a single fault over a minimal pair, p = 0.01 each: 0.478026 over 0.0048285",
        Status::Ran,
        (0.478_026 / 0.004_828_5).into(),
        Limit::Off(0.01),
        Box::new(|| single_to_pair().into()),
        "posteriors",
    ));
    checks
}

crate::checked!(diagnoses_and_conflicts, a_further_reading, posteriors);
