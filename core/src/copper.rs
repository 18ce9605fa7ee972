//! Resistance of copper wire.

use crate::units::{Celsius, Metres, Ohms, SquareMillimetres};

/// Resistivity of annealed copper at 20 °C, Ω·mm²/m (NBS Handbook 100).
pub const RESISTIVITY: f64 = 0.017_241;

/// Temperature coefficient of copper at 20 °C, 1/K (a power-engineering
/// handbook, p. 970, as noted in `fixtures/reference/README.md`).
pub const COEFFICIENT: f64 = 3.93e-3;

/// Resistance of a copper wire: `ρ20·l/A·(1 + α20·(T − 20 °C))`.
#[must_use]
pub fn resistance(length: Metres, area: SquareMillimetres, at: Celsius) -> Ohms {
    Ohms(RESISTIVITY * length.0 / area.0 * (1.0 + COEFFICIENT * (at.0 - 20.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fifty_degrees_cost_twelve_percent() {
        // fixtures/reference/README.md: the factor at 50 °C from α is 1.11790.
        let wire = |t| resistance(Metres(1.0), SquareMillimetres(1.0), Celsius(t)).0;
        assert!((wire(50.0) / wire(20.0) - 1.1179).abs() < 1e-5);
    }
}
