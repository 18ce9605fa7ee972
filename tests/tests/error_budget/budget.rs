//! The uncertainty of one resistance, from the constants of the instrument.

use loomproof_core::instrument::{
    CLIP, CLIP_SPREAD, LEAKAGE, NOISE, OFFSET, PROTECTION, PULL, REFERENCE, SOURCE, SOURCE_SPREAD,
};

/// Design values that stand in the document only.
pub const SAMPLES: f64 = 16.0;
pub const PULL_TOLERANCE: f64 = 0.001;
pub const PROTECTION_TOLERANCE: f64 = 0.005;
pub const MUX_SPREAD: f64 = 80.0;
pub const LEADS: f64 = 64.0;
pub const SETTLE_16_BIT: f64 = 17.0 * std::f64::consts::LN_2;

pub fn parallel(a: f64, b: f64) -> f64 {
    a * b / (a + b)
}

pub fn root_sum(parts: &[f64]) -> f64 {
    parts.iter().map(|part| part * part).sum::<f64>().sqrt()
}

/// Standard deviation of a quantity spread evenly over ± `limit`.
pub fn even(limit: f64) -> f64 {
    limit / 3f64.sqrt()
}

/// How a resistance is measured.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Method {
    /// One lead driven high, the other low, both read without load.
    TwoDrives,
    /// One lead driven high, the other read with the weak pull-down.
    PullDown,
}

/// The probe as it is, against the nominal one that the result assumes.
#[derive(Clone, Copy, Default)]
pub struct Actual {
    pub source: f64,
    pub clips: f64,
    pub first: f64,
    pub second: f64,
    pub pull: f64,
    pub protection: f64,
    pub leak: f64,
}

/// Solves the circuit with the deviations `actual`, then works the
/// resistance back with nominal values: what the probe would report for `r`.
pub fn reported(method: Method, r: f64, actual: Actual) -> f64 {
    let clips = 2.0 * CLIP.value() + actual.clips;
    let supply = REFERENCE.value();
    match method {
        Method::TwoDrives => {
            let (top, bottom) = (SOURCE.value(), SOURCE.value() + actual.source);
            let middle = r + clips;
            // The leak enters at the low lead.
            let low =
                (supply / (top + middle) + actual.leak) / (1.0 / (top + middle) + 1.0 / bottom);
            let high = supply - (supply - low) * top / (top + middle);
            let (high, low) = (high + actual.first, low + actual.second);
            SOURCE.value() * (high - low) / low - 2.0 * CLIP.value()
        }
        Method::PullDown => {
            let series = SOURCE.value() + actual.source + r + clips;
            let (protection, pull) = (
                PROTECTION.value() + actual.protection,
                PULL.value() + actual.pull,
            );
            let lead = (supply / series + actual.leak) / (1.0 / series + 1.0 / (protection + pull));
            let bus = lead * pull / (protection + pull) + actual.first;
            PULL.value() * (supply / bus - 1.0)
                - PROTECTION.value()
                - SOURCE.value()
                - 2.0 * CLIP.value()
        }
    }
}

/// Uncertainty of one resistance: parts as standard deviations, in ohms.
pub struct Budget {
    pub method: Method,
    pub source: f64,
    pub clips: f64,
    pub offset: f64,
    pub noise: f64,
    pub resistors: f64,
    pub leak: f64,
}

impl Budget {
    pub fn of(method: Method, r: f64) -> Self {
        let shift = |actual: Actual| {
            (reported(method, r, actual) - reported(method, r, Actual::default())).abs()
        };
        let reading = |volts: f64| {
            let mut parts = vec![shift(Actual {
                first: volts,
                ..Actual::default()
            })];
            if method == Method::TwoDrives {
                parts.push(shift(Actual {
                    second: volts,
                    ..Actual::default()
                }));
            }
            root_sum(&parts)
        };
        let protection = root_sum(&[
            even(PROTECTION_TOLERANCE * PROTECTION.value()),
            even(MUX_SPREAD),
        ]);
        Self {
            method,
            source: shift(Actual {
                source: SOURCE_SPREAD * SOURCE.value(),
                ..Actual::default()
            }),
            clips: 2f64.sqrt() * CLIP_SPREAD.value(),
            offset: reading(OFFSET.value()),
            noise: reading(NOISE.value() / SAMPLES.sqrt()),
            resistors: root_sum(&[
                shift(Actual {
                    pull: even(PULL_TOLERANCE * PULL.value()),
                    ..Actual::default()
                }),
                shift(Actual {
                    protection,
                    ..Actual::default()
                }),
            ]),
            leak: shift(Actual {
                leak: LEAKAGE,
                ..Actual::default()
            }),
        }
    }

    pub fn best(r: f64) -> Self {
        let (low, high) = (
            Self::of(Method::TwoDrives, r),
            Self::of(Method::PullDown, r),
        );
        if low.uncertainty() <= high.uncertainty() {
            low
        } else {
            high
        }
    }

    pub fn sigma(&self) -> f64 {
        root_sum(&[
            self.source,
            self.clips,
            self.offset,
            self.noise,
            self.resistors,
        ])
    }

    /// Two standard deviations, and the leakage at its limit on top.
    pub fn uncertainty(&self) -> f64 {
        2.0 * self.sigma() + self.leak
    }
}

/// Where a rising function crosses zero.
pub fn root(mut low: f64, mut high: f64, rises: impl Fn(f64) -> f64) -> f64 {
    assert!(
        rises(low) < 0.0 && rises(high) > 0.0,
        "no crossing between {low} and {high}"
    );
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if rises(middle) < 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    low
}
