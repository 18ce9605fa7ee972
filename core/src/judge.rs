//! Is a reading what it should be?

use crate::expect::Band;
use crate::instrument;
use crate::units::{MicroVolts, Volts};
use crate::wire::Reading;

/// How many standard deviations outside its band a reading may lie.
///
/// A run judges some 200 quantities; at 5σ a healthy one falls outside with
/// probability 5.7e-7 (normal tables), so that a healthy run raises a false
/// alarm about once in 10,000.
pub const LIMIT: f64 = 5.0;

/// The verdict on one quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Judgement {
    /// As expected.
    Within,
    /// Below its band by this many standard deviations.
    Low(f64),
    /// Above its band by this many standard deviations.
    High(f64),
    /// The reading was still creeping; it proves nothing.
    NotSettled,
}

/// Judges a value against its band.
#[must_use]
pub fn judge(band: &Band, value: Value) -> Judgement {
    let Value::Volts(volts) = value else {
        return Judgement::NotSettled;
    };
    let excess = band.excess(volts);
    // A value that is not a number is never within.
    if excess > LIMIT {
        Judgement::High(excess)
    } else if excess < -LIMIT {
        Judgement::Low(-excess)
    } else if excess.is_finite() {
        Judgement::Within
    } else {
        Judgement::NotSettled
    }
}

/// The value of a quantity, from the readings it is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// A settled voltage.
    Volts(Volts),
    /// One of the readings was not settled.
    Unsettled,
}

impl Value {
    /// The value of one reading, or of the difference of two. A reading beyond
    /// the converter's span counts as the end of the span.
    #[must_use]
    pub fn of(plus: Reading, minus: Option<Reading>) -> Self {
        match microvolts_of(plus, minus) {
            Some(value) => Self::Volts(volts(value)),
            None => Self::Unsettled,
        }
    }
}

/// The converter's span in microvolts.
const SPAN_UV: i64 = (instrument::REFERENCE.0 * 1e6 + 0.5) as i64;

/// A difference of two readings can leave the range of one.
fn microvolts_of(plus: Reading, minus: Option<Reading>) -> Option<i64> {
    let one = |reading| match reading {
        Reading::Volts(MicroVolts(value)) => Some(i64::from(value)),
        Reading::Above => Some(SPAN_UV),
        Reading::Below => Some(0),
        Reading::NotSettled(_) => None,
    };
    match minus {
        None => one(plus),
        Some(minus) => Some(one(plus)? - one(minus)?),
    }
}

fn volts(microvolts: i64) -> Volts {
    Volts(microvolts as f64 * 1e-6)
}

/// A band as [`judge`] sees it, in whole microvolts: the least and the most at
/// which a quantity is within. Judging by it needs no fractions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Limits {
    /// The least.
    pub least: MicroVolts,
    /// The most.
    pub most: MicroVolts,
}

/// The verdict on one quantity, without how far it is off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Side {
    /// As expected.
    Within,
    /// Below its limits.
    Low,
    /// Above its limits.
    High,
    /// A reading was still creeping; it proves nothing.
    NotSettled,
}

impl From<Judgement> for Side {
    fn from(judgement: Judgement) -> Self {
        match judgement {
            Judgement::Within => Self::Within,
            Judgement::Low(_) => Self::Low,
            Judgement::High(_) => Self::High,
            Judgement::NotSettled => Self::NotSettled,
        }
    }
}

impl Limits {
    /// The limits at which [`judge`] changes its mind; `None` for a band that
    /// nothing lies within, or that is no band.
    #[must_use]
    pub fn of(band: &Band) -> Option<Self> {
        let side = |value: i32| judge(band, Value::Volts(volts(i64::from(value)))).into();
        // The first value that is no longer as asked, all before it being so.
        let first = |is: fn(Side) -> bool| {
            let (mut low, mut high) = (i64::from(i32::MIN), i64::from(i32::MAX) + 1);
            while low < high {
                let middle = (low + high).div_euclid(2);
                if i32::try_from(middle).is_ok_and(|value| is(side(value))) {
                    low = middle + 1;
                } else {
                    high = middle;
                }
            }
            low
        };
        let least = first(|side| side == Side::Low);
        let most = first(|side| side != Side::High) - 1;
        let limits = Self {
            least: MicroVolts(i32::try_from(least).ok()?),
            most: MicroVolts(i32::try_from(most).ok()?),
        };
        let within = |MicroVolts(value)| side(value) == Side::Within;
        (least <= most && within(limits.least) && within(limits.most)).then_some(limits)
    }

    /// Judges a quantity by its readings as [`judge`] does by the band.
    #[must_use]
    pub fn judge(&self, plus: Reading, minus: Option<Reading>) -> Side {
        match microvolts_of(plus, minus) {
            None => Side::NotSettled,
            Some(value) if value < i64::from(self.least.0) => Side::Low,
            Some(value) if value > i64::from(self.most.0) => Side::High,
            Some(_) => Side::Within,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MicroVolts;

    #[test]
    fn limits_are_where_they_are_said_to_be() {
        let band = Band {
            low: Volts(1.0),
            high: Volts(2.0),
            sigma: Volts(0.01),
        };
        let at = |v: f64| judge(&band, Value::Volts(Volts(v)));
        assert_eq!(at(1.5), Judgement::Within);
        assert_eq!(at(2.049), Judgement::Within);
        assert!(matches!(at(2.051), Judgement::High(_)));
        assert!(matches!(at(0.949), Judgement::Low(_)));
        assert_eq!(
            at(f64::NAN),
            Judgement::NotSettled,
            "NaN lies inside no band"
        );
        assert_eq!(judge(&band, Value::Unsettled), Judgement::NotSettled);
    }

    #[test]
    fn just_at_the_limit_is_within_and_what_is_off_is_off_by_so_much() {
        // Powers of two, so that the sums are exact.
        let band = Band {
            low: Volts(1.0),
            high: Volts(2.0),
            sigma: Volts(0.125),
        };
        let at = |v: f64| judge(&band, Value::Volts(Volts(v)));
        assert_eq!(at(2.0 + LIMIT * 0.125), Judgement::Within);
        assert_eq!(at(1.0 - LIMIT * 0.125), Judgement::Within);
        assert_eq!(at(3.0), Judgement::High(8.0));
        assert_eq!(at(0.0), Judgement::Low(8.0));
    }

    #[test]
    fn limits_judge_as_their_band_does() {
        let volts = |value| Reading::Volts(MicroVolts(value));
        let (mut within, mut off) = (0, 0);
        for (low, width, sigma) in [
            (0.0, 0.0, 1e-4),
            (1.0, 1.0, 0.01),
            (3.2999, 1e-4, 6.1e-5),
            (-0.000_3, 0.000_9, 1.0 / 3.0 * 1e-4),
        ] {
            let band = Band {
                low: Volts(low),
                high: Volts(low + width),
                sigma: Volts(sigma),
            };
            let limits = Limits::of(&band).unwrap();
            let near = |MicroVolts(edge)| edge - 3..=edge + 3;
            let mut readings: std::vec::Vec<Reading> = near(limits.least)
                .chain(near(limits.most))
                .map(volts)
                .collect();
            readings.extend([Reading::Above, Reading::Below]);
            readings.extend([i32::MIN, i32::MAX].map(volts));
            readings.push(Reading::NotSettled(MicroVolts(1)));
            for plus in &readings {
                for minus in [None, Some(volts(0)), Some(volts(17)), Some(Reading::Above)] {
                    let wanted = Side::from(judge(&band, Value::of(*plus, minus)));
                    assert_eq!(
                        limits.judge(*plus, minus),
                        wanted,
                        "{band:?} {plus:?} {minus:?}"
                    );
                    if wanted == Side::Within {
                        within += 1;
                    } else {
                        off += 1;
                    }
                }
            }
        }
        assert!(within > 40 && off > 40, "{within} {off}");
        for (low, sigma) in [(0.0, 0.0), (f64::NAN, 1.0), (0.0, f64::NAN), (1e9, 1.0)] {
            let band = Band {
                low: Volts(low),
                high: Volts(low),
                sigma: Volts(sigma),
            };
            assert_eq!(Limits::of(&band), None, "{band:?}");
        }
    }

    #[test]
    fn a_band_beyond_every_number_ends_where_the_numbers_do() {
        let band = Band {
            low: Volts(-1e9),
            high: Volts(1e9),
            sigma: Volts(1.0),
        };
        let limits = Limits {
            least: MicroVolts(i32::MIN),
            most: MicroVolts(i32::MAX),
        };
        assert_eq!(Limits::of(&band), Some(limits));
    }

    #[test]
    fn differences_need_both_readings() {
        let two = Reading::Volts(MicroVolts(2_000_000));
        let one = Reading::Volts(MicroVolts(1_000_000));
        assert_eq!(Value::of(two, Some(one)), Value::Volts(Volts(1.0)));
        assert_eq!(
            Value::of(two, Some(Reading::NotSettled(MicroVolts(0)))),
            Value::Unsettled
        );
        assert_eq!(Value::of(Reading::Above, None), Value::Volts(Volts(3.3)));
    }
}
