//! Interconnect tests: ⌈log2(n + 2)⌉ patterns tell n separate nets apart (Wagner
//! 1987, from *memory*; the numbers *ran*). It is the least that any scan can
//! do; the bound that is printed beside every scan must have it right.

use std::fmt::Write as _;

use loomproof::plan::model::Job;
use loomproof_core::wire::Place;

use super::check::{Check, Limit, Ours, Status};
use super::ours::{circuit, job, plan};
use crate::bound::bound;

/// n capped leads in one connector: n separate nets.
fn separate(n: usize) -> Job {
    let mut text = format!("plan = 1\ntitle = \"t\"\n[connector.X1]\ncavities = {n}\nwith = \"harness\"\n");
    for at in 1..=n {
        let _ = write!(
            text,
            "[lead.W{at}]\ncolour = \"BN\"\nsize = \"1 mm2\"\nlength = \"1 m\"\nfrom = \"X1:{at}\"\nto = \"cap\"\n"
        );
    }
    job(&plan(&text))
}

fn patterns(n: usize) -> f64 {
    let job = separate(n);
    let (hookup, _) = circuit(&job, Place::Bench);
    f64::from(bound(&job, &hookup, 128, 1_000_000).information)
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let one = |(n, theirs): (usize, f64)| {
        let ours: Ours = Box::new(move || patterns(n).into());
        Check {
            what: format!("patterns that tell {n} separate nets apart, at least"),
            source: "⌈log2(n + 2)⌉, Wagner 1987 from memory",
            status: Status::Ran,
            theirs: theirs.into(),
            limit: Limit::Same,
            ours,
            test: "counting_sequence",
        }
    };
    let values = [(2, 2.0), (3, 3.0), (6, 3.0), (7, 4.0), (126, 7.0), (127, 8.0), (128, 8.0)];
    values.into_iter().map(one).collect()
}

crate::checked!(counting_sequence);
