//! How likely a value is under a band, and how far two bands are apart.

use loomproof_core::expect::{Band, Quantity, least_sigma};
use loomproof_core::judge::Value;
use loomproof_core::units::Volts;
use loomproof_core::wire::Step;

/// What the model does not know (contact noise, thermal voltages of joints of
/// two metals): added in quadrature to every deviation when explanations are
/// compared, in volts (`common practice`: tens of microvolts each).
const MODEL_FLOOR: f64 = 1e-4;

/// The deviation that two bands must differ by to be told apart: the larger,
/// unless it is that of a lead which nothing holds.
pub(super) fn telling(a: &Band, b: &Band) -> f64 {
    let (a, b) = (widened(a).sigma.0, widened(b).sigma.0);
    if a.max(b) > ADRIFT {
        a.min(b)
    } else {
        a.max(b)
    }
}

/// A standard deviation above this, in volts, is that of a lead which nothing
/// ties to a voltage: any reading fits it.
const ADRIFT: f64 = 0.3;

/// Distance between two bands' means, in volts.
#[must_use]
pub fn gap(a: &Band, b: &Band) -> f64 {
    (b.low.0 - a.high.0).max(a.low.0 - b.high.0).max(0.0)
}

pub(super) fn widened(band: &Band) -> Band {
    Band {
        sigma: Volts((band.sigma.0 * band.sigma.0 + MODEL_FLOOR * MODEL_FLOOR).sqrt()),
        ..*band
    }
}

/// How many standard deviations a value lies outside a band.
pub(super) fn excess(band: &Band, value: Value) -> f64 {
    match value {
        Value::Volts(volts) => widened(band).excess(volts).abs(),
        Value::Unsettled => 0.0,
    }
}

/// What a reading could gain at best over the healthy band: the density of a
/// normal distribution at its centre, with the converter's deviation.
pub(super) fn spare(step: &Step, quantity: Quantity, healthy: &Band, value: Value) -> f64 {
    let Value::Volts(volts) = value else {
        return 0.0;
    };
    let best = Band {
        low: volts,
        high: volts,
        sigma: least_sigma(step, quantity, volts),
    };
    (ln_density(&best, value) - ln_density(healthy, value)).max(0.0)
}

/// Logarithm of the density of a value under a band whose unknown loads are
/// as the value wants them: normal outside the means.
pub(super) fn ln_density(band: &Band, value: Value) -> f64 {
    let Value::Volts(volts) = value else {
        return 0.0;
    };
    let band = widened(band);
    let z = band.excess(volts);
    -0.5 * z * z - normal_width(&band).ln()
}

/// How much of a band's span one value takes up, as a natural logarithm: what
/// it costs that an unknown load had to be just so. One load is one unknown
/// however often it is read, so this is counted once an island.
pub(super) fn ln_share(band: &Band) -> f64 {
    let own = normal_width(&widened(band));
    (own / (own + (band.high.0 - band.low.0))).ln()
}

/// The width that a normal distribution would have if it were flat.
fn normal_width(band: &Band) -> f64 {
    band.sigma.0 * (2.0 * std::f64::consts::PI).sqrt()
}
