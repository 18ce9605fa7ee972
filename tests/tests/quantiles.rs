//! Quantiles that the product writes down, by a general statistics library
//! (`statrs`).

use loomproof_core::judge::LIMIT;
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// Half of the 95 % quantile of χ² with one degree of freedom: how far the log
/// likelihood falls to the ends of an interval of ohms
/// (`host/src/diagnosis/space.rs`).
#[test]
fn the_fall_of_a_95_percent_interval() {
    let quantile = ChiSquared::new(1.0).unwrap().inverse_cdf(0.95);
    assert!((quantile - 3.841).abs() < 5e-4, "{quantile}");
    assert!((quantile / 2.0 - 1.92).abs() < 2e-3, "{quantile}");
}

/// Half the width of the middle 95 % of a normal distribution
/// (`host/src/diagnosis/ohms.rs`).
#[test]
fn the_middle_95_percent() {
    let quantile = Normal::standard().inverse_cdf(0.975);
    assert!((quantile - 1.96).abs() < 1e-4, "{quantile}");
}

/// A healthy quantity falls outside the limit with probability 5.7e-7
/// (`core/src/judge.rs`).
#[test]
fn a_healthy_reading_beyond_the_limit() {
    let outside = 2.0 * Normal::standard().cdf(-LIMIT);
    assert!((outside / 5.7e-7 - 1.0).abs() < 0.01, "{outside:e}");
}
