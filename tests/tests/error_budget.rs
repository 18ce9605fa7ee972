//! Computes every derived number of `docs/probe-hardware.md` and compares it
//! with what the document prints, so that the two cannot drift apart.
//!
//! A sum of the document is a table row whose first cell is `S` and a number;
//! its last cell holds the result. Each such row needs an entry in [`sums::sums`]
//! and the other way round.

#[path = "error_budget/budget.rs"]
mod budget;
#[path = "error_budget/document.rs"]
mod document;
#[path = "error_budget/sums.rs"]
mod sums;

use budget::{
    Actual, Budget, LEADS, MUX_SPREAD, Method, PROTECTION_TOLERANCE, PULL_TOLERANCE, even,
    reported, root_sum,
};
use document::{bill, printed, rows, same};
use loomproof_core::instrument::{
    CLIP_SPREAD, NOISE, OFFSET, PROTECTION, PULL, SOURCE, SOURCE_SPREAD,
};
use std::collections::BTreeMap;
use sums::{
    Limit::{Least, Most},
    sums,
};

#[test]
fn every_sum_of_the_document_is_right_and_within_its_limit() {
    let mut document: BTreeMap<u32, String> = BTreeMap::new();
    for row in rows() {
        let number = row[0]
            .strip_prefix('S')
            .and_then(|digits| digits.parse().ok());
        if let Some(number) = number {
            let before = document.insert(number, row.last().unwrap().clone());
            assert!(before.is_none(), "S{number} stands twice in the document");
        }
    }
    let sums = sums();
    let mut computed: Vec<u32> = sums.iter().map(|(number, ..)| *number).collect();
    computed.sort_unstable();
    let written: Vec<u32> = document.keys().copied().collect();
    assert_eq!(computed, written, "sums in the test and in the document");
    let mut wrong = Vec::new();
    for (number, value, limit) in sums {
        same(&format!("S{number}"), &document[&number], value, &mut wrong);
        match limit {
            Most(most) if value > most => {
                wrong.push(format!("S{number}: {value:e} is over {most:e}"))
            }
            Least(least) if value < least => {
                wrong.push(format!("S{number}: {value:e} is under {least:e}"))
            }
            _ => {}
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_uncertainty_table_is_what_the_budget_gives() {
    let table: Vec<Vec<String>> = rows()
        .into_iter()
        .filter(|row| row.len() == 10 && (row[0].ends_with(" Ω") || row[0].ends_with(" kΩ")))
        .collect();
    let values: Vec<f64> = table.iter().map(|row| printed(&row[0]).0).collect();
    assert_eq!(values, [0.3, 1.0, 10.0, 100.0, 1e3, 10e3, 100e3, 300e3]);
    let mut wrong = Vec::new();
    for (row, r) in table.iter().zip(values) {
        let budget = Budget::best(r);
        let method = match budget.method {
            Method::TwoDrives => "two drives",
            Method::PullDown => "pull-down",
        };
        assert_eq!(row[1], method, "at {r} Ω");
        let uncertainty = budget.uncertainty();
        for (name, cell, value) in [
            ("source", &row[2], budget.source),
            ("clips", &row[3], budget.clips),
            ("offset", &row[4], budget.offset),
            ("noise", &row[5], budget.noise),
            ("resistors", &row[6], budget.resistors),
            ("leak", &row[7], budget.leak),
            ("uncertainty", &row[8], uncertainty),
            ("share", &row[9], uncertainty / r),
        ] {
            same(&format!("{r} Ω, {name}"), cell, value, &mut wrong);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_bill_of_materials_adds_up() {
    let bill = bill();
    assert!(bill.len() > 20, "only {} rows found", bill.len());
    let mut wrong = Vec::new();
    for (part, number, price, sum) in &bill {
        same(part, sum, number * price, &mut wrong);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let number = |part: &str| {
        bill.iter()
            .find(|row| row.0.starts_with(part))
            .map(|row| row.1)
    };
    assert_eq!(
        number("MCP23S17"),
        Some(4.0 + 4.0 + 1.0),
        "drive, gate, select"
    );
    assert_eq!(
        number("TMUX7412F"),
        Some(LEADS / 4.0 + 1.0),
        "four per bank of 16, one for C2"
    );
    assert_eq!(number("TMUX7308F"), Some(LEADS / 8.0));
}

/// The linear propagation above against drawing the deviations at random.
#[test]
fn the_budget_agrees_with_random_probes() {
    use rand::{RngExt as _, SeedableRng as _};
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    // Sum of twelve even draws: mean 0, standard deviation 1.
    let mut normal = || (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
    for r in [0.3, 10.0, 1e3, 10e3, 100e3, 300e3] {
        let budget = Budget::best(r);
        let protection = root_sum(&[
            even(PROTECTION_TOLERANCE * PROTECTION.value()),
            even(MUX_SPREAD),
        ]);
        let draws = 4000;
        let square: f64 = (0..draws)
            .map(|_| {
                let actual = Actual {
                    source: SOURCE_SPREAD * SOURCE.value() * normal(),
                    clips: CLIP_SPREAD.value() * (normal() + normal()),
                    first: OFFSET.value() * normal() + NOISE.value() / 4.0 * normal(),
                    second: OFFSET.value() * normal() + NOISE.value() / 4.0 * normal(),
                    pull: even(PULL_TOLERANCE * PULL.value()) * normal(),
                    protection: protection * normal(),
                    leak: 0.0,
                };
                (reported(budget.method, r, actual) - r).powi(2)
            })
            .sum();
        let found = (square / f64::from(draws)).sqrt();
        assert!(
            (found / budget.sigma() - 1.0).abs() < 0.06,
            "{r} Ω: random probes {found}, budget {}",
            budget.sigma()
        );
    }
}
