//! Resistances that a fault leaves open, and are estimated.

use super::evidence::Stretch;

/// The least and greatest ohms that an unknown resistance is looked for at: the
/// span that the probe measures (`docs/probe-hardware.md`); beyond it a joint
/// is open.
pub(super) const OHMS: (f64, f64) = (0.3, 300e3);

/// Points of the sweep over [`OHMS`].
pub(super) const SWEEP: u32 = 9;

/// Narrowings of the ohms' range after the sweep; 0.618¹⁴ of a decade is 0.3 %.
pub(super) const REFINEMENTS: u32 = 14;

/// Half the width of the middle 95 % of a normal distribution, in standard
/// deviations (`tests/tests/quantiles.rs`).
const NORMAL_95: f64 = 1.96;

/// An estimated resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Lower end of the 95 % interval, in ohms.
    pub low: f64,
    /// Upper end of the 95 % interval, in ohms.
    pub high: f64,
}

impl Estimate {
    /// Logarithm of the chance that a resistance, before it is measured, is just
    /// this one: evenly distributed by its logarithm over the whole span, and
    /// known to within a normal distribution of this interval.
    pub(super) fn ln_chance(self) -> f64 {
        let deviation = (self.high / self.low).ln() / (2.0 * NORMAL_95);
        let width = deviation * (2.0 * std::f64::consts::PI).sqrt();
        (width / (OHMS.1 / OHMS.0).ln()).clamp(1e-3, 1.0).ln()
    }

    /// The middle of the interval, by the logarithm, in ohms.
    pub(super) fn middle(self) -> f64 {
        (self.low * self.high).sqrt()
    }

    /// Whether the best resistance lies so near an end of the interval that the likelihood
    /// is flat beyond it: within a fifth of it, by the logarithm (an allowance of ours; a normal
    /// one has it in the middle).
    pub(super) fn is_lopsided(self, best: f64) -> bool {
        let share = (best / self.low).ln() / (self.high / self.low).ln();
        !self.is_open_above() && !(0.2..=0.8).contains(&share)
    }

    /// Whether the readings set no upper end.
    #[must_use]
    pub fn is_open_above(self) -> bool {
        self.high > 0.99 * OHMS.1
    }
}

/// The logarithm of the ohms at a knot of the sweep, from 0 to [`SWEEP`].
pub(super) fn knot(k: u32) -> f64 {
    OHMS.0.ln() + (OHMS.1 / OHMS.0).ln() / f64::from(SWEEP) * f64::from(k)
}

/// A function's value somewhere, and the logarithm of the ohms there.
pub(super) type Peak = (f64, f64);

/// Where a function of the logarithm of ohms is greatest, and its value there: a coarse
/// sweep over decades, and around the best of it, or of where to start, more closely.
///
/// The second argument of `gain` is a floor: what is less may be said to be
/// minus infinity.
pub(super) fn peak(
    gain: impl Fn(f64, f64) -> Result<f64, String>,
    start: Peak,
) -> Result<Peak, String> {
    let stride = knot(1) - knot(0);
    let mut best = start;
    for k in 0..=SWEEP {
        let here = gain(knot(k), best.0)?;
        if here > best.0 {
            best = (here, knot(k));
        }
    }
    let ends = (
        (best.1 - stride).max(knot(0)),
        (best.1 + stride).min(knot(SWEEP)),
    );
    closely(&gain, ends, best)
}

/// As [`peak`], stretch by stretch: `stretches` are those in which anything can be gained,
/// with the function's values at their two ends. No peak above `least` is missed, however
/// narrow it is, as long as a stretch has one and what is likely holds.
pub(super) fn peak_in(
    gain: impl Fn(f64, f64) -> Result<f64, String>,
    mut stretches: Vec<Stretch>,
    least: f64,
    start: Peak,
) -> Result<Peak, String> {
    stretches.sort_by(|a, b| b.likely.total_cmp(&a.likely));
    let mut best = start;
    for stretch in &stretches {
        for (here, k) in stretch.corners.iter().zip(stretch.number..) {
            if *here > best.0 {
                best = (*here, knot(k));
            }
        }
    }
    for stretch in stretches {
        if stretch.likely <= best.0.max(least) {
            break;
        }
        let ends = (knot(stretch.number), knot(stretch.number + 1));
        best = closely(&gain, ends, best)?;
    }
    Ok(best)
}

/// Golden-section search (Kiefer 1953, `from memory`) between two ends; the best of it and
/// of what is known.
fn closely(
    gain: &impl Fn(f64, f64) -> Result<f64, String>,
    (mut a, mut b): (f64, f64),
    mut best: Peak,
) -> Result<Peak, String> {
    let gain = |x: f64| gain(x, f64::NEG_INFINITY);
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut x1, mut x2) = (b - golden * (b - a), a + golden * (b - a));
    let (mut f1, mut f2) = (gain(x1)?, gain(x2)?);
    for _ in 0..REFINEMENTS {
        if f1 > f2 {
            (b, x2, f2) = (x2, x1, f1);
            x1 = b - golden * (b - a);
            f1 = gain(x1)?;
        } else {
            (a, x1, f1) = (x1, x2, f2);
            x2 = a + golden * (b - a);
            f2 = gain(x2)?;
        }
    }
    for (value, x) in [(f1, x1), (f2, x2)] {
        if value > best.0 {
            best = (value, x);
        }
    }
    Ok(best)
}

/// Rounded to three digits: more than any contact keeps.
pub(super) fn three_digits(ohms: f64) -> f64 {
    format!("{ohms:.2e}").parse().unwrap_or(ohms)
}
