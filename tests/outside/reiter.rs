//! The full adder and the family of conflicts of Reiter 1987: set-ups from
//! *memory*, answers computed beforehand (*ran*).

use std::collections::BTreeSet;

use super::check::{Check, Limit, Ours, Status};
use super::textbook::{
    Device, EXPLAINS, Names, Works, conflicts, hitting_sets, minimal, printed,
};

const SOURCE: &str = "Reiter 1987, set-up from memory";

/// X1 = a⊕b, X2 = X1⊕c is the sum; A1 = a∧b, A2 = X1∧c, O1 = A1∨A2 is the
/// carry; inputs 1, 0, 1 give sum 1 and carry 0.
fn full_adder() -> BTreeSet<Names> {
    let consistent = |works: Works<'_>| {
        let free = [false, true];
        free.iter().any(|&x1| {
            free.iter().any(|&a1| {
                free.iter().any(|&a2| {
                    (!works("X1") || x1)
                        && (!works("A1") || !a1)
                        && (!works("A2") || a2 == x1)
                        && (!works("X2") || !x1)
                        && (!works("O1") || !(a1 || a2))
                })
            })
        })
    };
    let device = Device {
        components: vec!["A1", "A2", "O1", "X1", "X2"],
        consistent: Box::new(consistent),
        ln_odds: (0.01_f64 / 0.99).ln(),
    };
    let names = device.components.clone();
    minimal(&device, &names, EXPLAINS)
}

/// The family of his figure 1.
const FAMILY: [&[&str]; 7] = [
    &["2", "4", "5"],
    &["1", "2", "3"],
    &["1", "3", "5"],
    &["2", "4", "6"],
    &["2", "4"],
    &["2", "3", "5"],
    &["1", "6"],
];

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let check = |what: &str, theirs: &str, ours: Ours, test| Check {
        what: what.to_owned(),
        source: SOURCE,
        status: Status::Ran,
        theirs: theirs.into(),
        limit: Limit::Same,
        ours,
        test,
    };
    vec![
        check(
            "full adder, 1, 0, 1 gives sum 1, carry 0: minimal diagnoses",
            "{X1} {A2,X2} {O1,X2}",
            Box::new(|| printed(&full_adder()).into()),
            "full_adder",
        ),
        check(
            "the same: minimal conflicts",
            "{X1,X2} {A2,O1,X1}",
            Box::new(|| printed(&conflicts(&full_adder())).into()),
            "full_adder",
        ),
        check(
            "minimal hitting sets of {2,4,5} {1,2,3} {1,3,5} {2,4,6} {2,4} {2,3,5} {1,6}",
            "{1,2} {1,3,4} {1,4,5} {2,3,6} {2,5,6} {3,4,6}",
            Box::new(|| printed(&hitting_sets(&FAMILY)).into()),
            "family_of_conflicts",
        ),
    ]
}

crate::checked!(full_adder, family_of_conflicts);
