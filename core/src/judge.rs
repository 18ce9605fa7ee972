//! Is a reading what it should be?

use crate::expect::Band;
use crate::instrument;
use crate::units::Volts;
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
        match (volts(plus), minus.map(volts)) {
            (Some(plus), None) => Self::Volts(plus),
            (Some(plus), Some(Some(minus))) => Self::Volts(plus - minus),
            _ => Self::Unsettled,
        }
    }
}

fn volts(reading: Reading) -> Option<Volts> {
    match reading {
        Reading::Volts(value) => Some(value.volts()),
        Reading::Above => Some(instrument::REFERENCE),
        Reading::Below => Some(Volts(0.0)),
        Reading::NotSettled(_) => None,
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
