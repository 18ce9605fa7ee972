//! What a wire size carries.

use loomproof_core::units::{Amperes, SquareMillimetres};

use crate::plan::quantity::awg_area;

/// AWG, circuit breaker (A), fuse (A) for copper wire: FAA AC 43.13-1B,
/// Table 11-3, p. 11-15 (read at landseaskyspace.com/ac4313/p11-15.html). The
/// breaker column ends at AWG 2.
pub const TABLE: [(u8, f64, f64); 11] = [
    (22, 5.0, 5.0),
    (20, 7.5, 5.0),
    (18, 10.0, 10.0),
    (16, 15.0, 10.0),
    (14, 20.0, 15.0),
    (12, 30.0, 20.0),
    (10, 40.0, 30.0),
    (8, 50.0, 50.0),
    (6, 80.0, 70.0),
    (4, 100.0, 70.0),
    (2, 125.0, 100.0),
];

/// A column of the table at any cross-section: straight lines between the
/// sizes of the table on logarithmic scales, proportional to the cross-section
/// beyond its ends (common practice).
fn column(size: SquareMillimetres, pick: fn(&(u8, f64, f64)) -> f64) -> Amperes {
    let points = TABLE.map(|row| (awg_area(f64::from(row.0)).0, pick(&row)));
    let (thin, thick) = (points[0], points[points.len() - 1]);
    if size.0 <= thin.0 {
        return Amperes(thin.1 * size.0 / thin.0);
    }
    for pair in points.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        if size.0 <= x1 {
            let share = (size.0 / x0).ln() / (x1 / x0).ln();
            return Amperes((y0.ln() + share * (y1 / y0).ln()).exp());
        }
    }
    Amperes(thick.1 * size.0 / thick.0)
}

/// The most that a size may carry and be protected at: the breaker column.
#[must_use]
pub fn carries(size: SquareMillimetres) -> Amperes {
    column(size, |row| row.1)
}

/// The fuse that the table recommends: its fuse column, lower than what the
/// size carries.
#[must_use]
pub fn recommended(size: SquareMillimetres) -> Amperes {
    column(size, |row| row.2)
}

/// Sizes that are sold, in mm² (ISO 19642 steps, from memory).
const SOLD: [f64; 13] = [
    0.22, 0.35, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0,
];

/// The least size that is sold and carries a current.
#[must_use]
pub fn whole(amperes: f64) -> f64 {
    let fits = |size: &&f64| carries(SquareMillimetres(**size)).0 >= amperes;
    SOLD.iter().find(fits).copied().unwrap_or(50.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_of_the_table_give_the_table() {
        for (awg, breaker, fuse) in TABLE {
            let size = awg_area(f64::from(awg));
            assert!((carries(size).0 - breaker).abs() < 1e-9, "{awg}");
            assert!((recommended(size).0 - fuse).abs() < 1e-9, "{awg}");
        }
    }

    #[test]
    fn between_and_beyond_it_rises() {
        let mut before = 0.0;
        for n in 1..600 {
            let now = carries(SquareMillimetres(f64::from(n) * 0.1)).0;
            assert!(now > before);
            before = now;
        }
        assert_eq!((whole(16.0), whole(17.0)), (1.5, 2.5));
        assert_eq!(whole(1.0), 0.22);
    }
}
