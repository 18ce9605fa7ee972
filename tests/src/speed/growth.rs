//! How times grow with the number of test points.

use super::explaining::explaining;
use super::rates::{Effort, Rates, Which, rates};
use super::subject::Subject;
use super::{exponent, median};

/// Test points of the generated harnesses.
pub const SIZES: &[u16] = &[16, 24, 32, 48, 64, 96, 128];

/// Harnesses of each size; their seeds count from 1.
pub const SEEDS: u64 = 2;

/// Faults injected into each harness, evenly spread over its catalogue.
const FAULTS: usize = 3;

/// What is timed on each.
const EFFORT: Effort = Effort {
    whole: 12,
    touched: 60,
    rounds: 3,
    conditions: 0,
};

/// One harness.
#[derive(Debug, Clone)]
pub struct Grown {
    /// Test points asked for.
    pub size: u16,
    /// Times per hypothesis.
    pub rates: Rates,
    /// Seconds of the whole explanation: median over the injected faults.
    pub whole: f64,
    /// Whether the best of all pairs was proved, for each of them.
    pub proved: Vec<bool>,
}

/// Times a generated harness.
///
/// # Errors
/// See [`rates`] and [`explaining`].
pub fn grown(seed: u64, size: u16) -> Result<Grown, String> {
    let subject = Subject::drawn(seed, size)?;
    let rates = rates(&subject, Which::All, EFFORT)?;
    let (mut times, mut proved) = (Vec::new(), Vec::new());
    let catalogue = &subject.catalogue;
    let count = catalogue.len();
    for k in 0..FAULTS {
        let from = (2 * k + 1) * count / (2 * FAULTS);
        // The next one on that can be put on the bench alone and shows.
        for fault in catalogue.iter().cycle().skip(from).take(count) {
            let one = std::slice::from_ref(fault);
            if fault.kind() == "live" || !subject.loaded.accepts(one) {
                continue;
            }
            if let Some(found) = explaining(&subject, one, 1)? {
                times.push(found.whole);
                proved.push(found.proof.size == 2);
                break;
            }
        }
    }
    Ok(Grown {
        size,
        rates,
        whole: median(&times),
        proved,
    })
}

/// Something that grows: mean by geometric mean over the harnesses of a size.
#[must_use]
pub fn curve(all: &[Grown], of: impl Fn(&Grown) -> f64) -> Vec<(f64, f64)> {
    let mut sizes: Vec<u16> = all.iter().map(|grown| grown.size).collect();
    sizes.dedup();
    let at = |size: &u16| {
        let own = all.iter().filter(|grown| grown.size == *size);
        let logs: Vec<f64> = own.map(|grown| of(grown).ln()).collect();
        let mean = logs.iter().sum::<f64>() / logs.len() as f64;
        (f64::from(*size), mean.exp())
    };
    sizes.iter().map(at).collect()
}

/// The exponent of a [`curve`] over test points.
#[must_use]
pub fn growth(all: &[Grown], of: impl Fn(&Grown) -> f64) -> f64 {
    exponent(&curve(all, of))
}
