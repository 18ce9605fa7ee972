//! How well the probe knows a small voltage between two live points.
//!
//! Both are read through the wide divider (docs/probe-hardware.md, watching live
//! wiring). What two leads have in common (offset, shift, the converter's reference)
//! drops out of their difference; what they differ by (each has its own protection
//! resistor) is measured with both on one point and taken off. What is left is noise, how
//! well those resistors keep together in between, and the ratio of the divider.

use loomproof_core::instrument::{NOISE, PROTECTION, WIDE_LEG};
use loomproof_core::units::{Ohms, Volts};

/// The ratio of the divider, as a limit (S52 of docs/probe-hardware.md).
const RATIO: f64 = 0.006;

/// How far the protection resistors of two leads drift apart between the two readings,
/// as a part of the voltage, one standard deviation: parts of one batch on one board,
/// some kelvins (`common practice`).
const DRIFT: f64 = 50e-6;

/// A shunt is asked for at which the uncertainty is this part of the limit
/// (MIL-STD-202 method 303, as in docs/probe-hardware.md: a tenth).
const PART: f64 = 0.1;

/// Shunts that are to be had (IEC 60063, series E3).
const SHUNTS: [f64; 10] = [0.01, 0.022, 0.047, 0.1, 0.22, 0.47, 1.0, 2.2, 4.7, 10.0];

/// What a lead's wide divider draws from the point it looks at.
pub const LOADS: Ohms = Ohms(PROTECTION.0 + WIDE_LEG.0);

/// The lead's volts for one volt at the converter.
fn ratio() -> f64 {
    LOADS.0 / WIDE_LEG.0
}

/// One standard deviation of the mean of so many single looks at one lead, by the
/// converter's noise.
#[must_use]
pub fn noise(looks: usize) -> Volts {
    Volts(ratio() * NOISE.0 / (looks.max(1) as f64).sqrt())
}

/// The expanded uncertainty (twice the standard deviation, and the ratio's limit) of a
/// difference between two leads at about `at`, from so many looks at each, after so many
/// looks at both on one point.
#[must_use]
pub fn uncertainty(difference: Volts, at: Volts, looks: usize, nulled: usize) -> Volts {
    let pair = |looks| noise(looks).0.powi(2) * 2.0;
    let drift = at.0 * DRIFT;
    let random = (pair(looks) + pair(nulled) + drift * drift).sqrt();
    Volts(2.0 * random + RATIO * difference.0.abs())
}

/// The smallest usual shunt across which a current of `limit` could be judged with the
/// uncertainty that `uncertainty` leaves; `None` where none is large enough.
#[must_use]
pub fn shunt(limit: f64, uncertainty: Volts) -> Option<Ohms> {
    let needed = uncertainty.0 / (PART * limit);
    SHUNTS.into_iter().find(|ohms| *ohms >= needed).map(Ohms)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 23 · 60 µV is 1.38 mV a look; two leads of 64 looks each are
    /// 1.38 mV · √2 / 8 = 0.244 mV; 1024 looks: 0.061 mV; drift 12.6 V · 50 ppm =
    /// 0.63 mV; twice their root of squares is 1.357 mV.
    #[test]
    fn the_sum_is_that_of_the_hand() {
        assert!((noise(1).0 - 1.38e-3).abs() < 1e-9);
        let u = uncertainty(Volts(0.0), Volts(12.6), 64, 1024);
        assert!((u.0 - 1.357e-3).abs() < 1e-6, "{u:?}");
        // And 0.6 % of 50 mV are 0.3 mV more.
        let more = uncertainty(Volts(0.05), Volts(12.6), 64, 1024);
        assert!((more.0 - u.0 - 0.3e-3).abs() < 1e-9);
    }

    /// 1.36 mV at 50 mA to a tenth: 0.27 Ω, so 0.47 Ω; at 1 mA nothing usual is enough.
    #[test]
    fn the_shunt_is_the_next_usual_one() {
        assert_eq!(shunt(0.05, Volts(1.36e-3)), Some(Ohms(0.47)));
        assert_eq!(shunt(0.05, Volts(1.0e-3)), Some(Ohms(0.22)));
        assert_eq!(shunt(0.001, Volts(1.36e-3)), None);
    }
}
