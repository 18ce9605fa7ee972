//! Compares what was observed with what the plan expects.

use loomproof_core::units::Volts;

use super::observe::Observed;
use super::rhythm::Rhythm;
use crate::plan::model::Signal;
use crate::powered::{Level, Shown};

/// One standard deviation of a voltage: what is fixed (two looks' noise and offset,
/// drops in the vehicle's own wires) and a part of the voltage (accuracy at 12 V,
/// 76 mV: S54 of `docs/probe-hardware.md`; consumers differ by some percent).
const FIXED: f64 = 0.04;
const PART: f64 = 0.008;

/// One standard deviation of a voltage behind the weak pull: the pull's and the
/// divider's tolerances, leakage of wet insulation.
const PULL_SIGMA: f64 = 0.15;

/// So many standard deviations outside what is expected is off.
pub const OFF: f64 = 5.0;

/// The most that one reading can speak for or against, in squares of its standard
/// deviation: beyond that it is wrong, and how wrong tells nothing more.
const MOST: f64 = 144.0;

/// Density of a normal distribution at its mean, for a standard deviation of 1.
const DENSITY: f64 = 0.398_942_280_401_432_7;

/// What a reading on a net of which the plan says nothing costs: it explains
/// everything a little, nothing well.
const UNKNOWN: f64 = 9.0;

/// Rates may differ by this factor, on-times by this much, and still be what the plan
/// says (flashers: ±30 of 90 a minute, UN R53 6.3.8.1 quoted, read).
const RATE: f64 = 1.34;

/// How far an observation is from what is shown: the sum of squared deviations in
/// standard deviations, each bounded; and the largest one unbounded.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Distance {
    /// Sum of bounded squares.
    pub squares: f64,
    /// Largest deviation, in standard deviations.
    pub worst: f64,
}

impl Distance {
    fn add(&mut self, sigmas: f64) {
        self.squares += (sigmas * sigmas).min(MOST);
        self.worst = self.worst.max(sigmas);
    }

    /// A prediction that leaves room says less than one that does not: the density of a
    /// reading that may be anywhere in it is so much lower.
    fn room(&mut self, level: &Level, sigma: f64) {
        let width = (level.most - level.least).0 / sigma;
        self.squares += 2.0 * (1.0 + width * DENSITY).ln();
    }

    /// Whether it is off.
    #[must_use]
    pub fn off(&self) -> bool {
        self.worst > OFF
    }
}

fn sigma(level: &Level) -> f64 {
    let most = level.least.0.abs().max(level.most.0.abs());
    FIXED.hypot(PART * most).hypot(level.sigma.0)
}

fn apart(seen: Volts, level: &Level, sigma: f64) -> f64 {
    let below = level.least.0 - seen.0;
    let above = seen.0 - level.most.0;
    below.max(above).max(0.0) / sigma
}

/// How far what was seen is from what is shown.
#[must_use]
pub fn distance(seen: &Observed, shown: &Shown) -> Distance {
    let mut distance = Distance::default();
    match shown {
        Shown::Unknown => distance.squares = UNKNOWN,
        Shown::Known {
            on,
            off,
            pulled,
            signal,
        } => {
            distance.add(apart(seen.on, on, sigma(on)));
            distance.room(on, sigma(on));
            if seen.rhythm != Rhythm::Steady || *signal != Signal::Steady {
                distance.add(apart(seen.off, off, sigma(off)));
                if !fits(seen.rhythm, *signal) {
                    distance.add(2.0 * OFF);
                }
            }
            if let (Some((_, up)), Some(level)) = (seen.pulled, pulled) {
                distance.add(apart(up, level, PULL_SIGMA.hypot(level.sigma.0)));
            }
        }
    }
    distance
}

/// Whether a rhythm is what the plan says.
#[must_use]
pub fn fits(rhythm: Rhythm, signal: Signal) -> bool {
    let near = |one: f64, other: f64| one < other * RATE && other < one * RATE;
    match (rhythm, signal) {
        (Rhythm::Steady, Signal::Steady) => true,
        (Rhythm::Flashing { per_minute, .. }, Signal::Flashing { rate, .. }) => {
            near(per_minute, rate.0)
        }
        (Rhythm::Dimmed { hertz, .. }, Signal::Dimmed { rate, .. }) => near(hertz, rate.0),
        _ => false,
    }
}

/// Whether no observation could tell two predictions apart.
#[must_use]
pub fn alike(one: &Shown, other: &Shown) -> bool {
    let (
        Shown::Known {
            on,
            off,
            pulled,
            signal,
        },
        Shown::Known {
            on: on2,
            off: off2,
            pulled: pulled2,
            signal: signal2,
        },
    ) = (one, other)
    else {
        // What is not known is like anything.
        return true;
    };
    let near = |a: &Level, b: &Level, sigma: f64| {
        let gap = (a.least.0 - b.most.0).max(b.least.0 - a.most.0);
        gap <= 3.0 * sigma
    };
    near(on, on2, sigma(on))
        && near(off, off2, sigma(off))
        && signal == signal2
        && match (pulled, pulled2) {
            (Some(a), Some(b)) => near(a, b, PULL_SIGMA),
            _ => true,
        }
}
