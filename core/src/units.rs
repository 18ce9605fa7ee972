//! Physical quantities as types.
//!
//! Everything that is computed carries its unit in its type; what crosses the
//! serial link is an integer with a unit ([`MicroVolts`], [`Micros`]).

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f64);

        impl $name {
            /// The bare number, in the unit of this type.
            #[must_use]
            pub const fn value(self) -> f64 {
                self.0
            }
        }

        impl core::fmt::Display for $name {
            fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                match f.precision() {
                    Some(p) => write!(f, "{:.*} {}", p, self.0, $symbol),
                    None => write!(f, "{} {}", self.0, $symbol),
                }
            }
        }

        impl core::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl core::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl core::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
    };
}

quantity!(
    /// Electric potential or potential difference, in volts.
    Volts, "V"
);
quantity!(
    /// Electric current, in amperes.
    Amperes, "A"
);
quantity!(
    /// Electric resistance, in ohms.
    Ohms, "Ω"
);
quantity!(
    /// Capacitance, in farads.
    Farads, "F"
);
quantity!(
    /// Power, in watts.
    Watts, "W"
);
quantity!(
    /// Temperature, in degrees Celsius.
    Celsius, "°C"
);
quantity!(
    /// Length, in metres.
    Metres, "m"
);
quantity!(
    /// Conductor cross-section, in square millimetres.
    SquareMillimetres, "mm²"
);

quantity!(
    /// How often something happens in a second, in hertz.
    Hertz, "Hz"
);
quantity!(
    /// How often something happens in a minute.
    PerMinute, "/min"
);
quantity!(
    /// A share of the whole, in parts of a hundred.
    Percent, "%"
);

/// A voltage on the serial link: a whole number of microvolts.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Hash, Serialize, Deserialize,
)]
pub struct MicroVolts(pub i32);

impl MicroVolts {
    /// The same voltage as a [`Volts`].
    #[must_use]
    pub fn volts(self) -> Volts {
        Volts(f64::from(self.0) * 1e-6)
    }
}

/// A duration on the serial link: a whole number of microseconds.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Hash, Serialize, Deserialize,
)]
pub struct Micros(pub u32);
