//! Quantities as a person writes them: a number, a unit.

use std::time::Duration;

use super::model::Load;
use super::names::list;
use super::problem::{Complaint, quote};
use loomproof_core::units::{
    Amperes, Celsius, Hertz, Metres, Ohms, PerMinute, Percent, SquareMillimetres, Volts, Watts,
};

/// What one sort of quantity accepts.
struct Sort {
    /// What it is, for messages.
    what: &'static str,
    /// Unit spellings and their factor to the base unit.
    units: &'static [(&'static str, f64)],
    /// Least and greatest value, in the base unit. Both are plausibility
    /// limits that catch slips of the pen (common practice).
    span: (f64, f64),
    /// The same as a person says it.
    limits: &'static str,
    /// How to write one.
    example: &'static str,
}

const LENGTH: Sort = Sort {
    what: "length",
    units: &[("m", 1.0), ("cm", 0.01), ("mm", 0.001)],
    span: (0.001, 1000.0),
    limits: "1 mm to 1000 m",
    example: "1.2 m",
};
const AREA: Sort = Sort {
    what: "size",
    units: &[("mm2", 1.0), ("mm²", 1.0)],
    span: (0.03, 120.0),
    limits: "0.03 mm2 to 120 mm2",
    example: "0.5 mm2` or `20 AWG",
};
const VOLTAGE: Sort = Sort {
    what: "voltage",
    units: &[("V", 1.0), ("mV", 0.001), ("kV", 1000.0)],
    span: (0.001, 1e6),
    limits: "above 0 V",
    example: "12 V",
};
const CURRENT: Sort = Sort {
    what: "current",
    units: &[("A", 1.0), ("mA", 0.001)],
    span: (0.001, 1000.0),
    limits: "1 mA to 1000 A",
    example: "10 A",
};
const POWER: Sort = Sort {
    what: "power",
    units: &[("W", 1.0), ("mW", 0.001)],
    span: (0.001, 1000.0),
    limits: "1 mW to 1000 W",
    example: "21 W",
};
const RESISTANCE: Sort = Sort {
    what: "resistance",
    units: &[
        ("ohm", 1.0),
        ("Ω", 1.0),
        ("\u{2126}", 1.0),
        ("kohm", 1e3),
        ("kΩ", 1e3),
        ("k\u{2126}", 1e3),
        ("Mohm", 1e6),
        ("MΩ", 1e6),
        ("M\u{2126}", 1e6),
    ],
    span: (0.001, 1e9),
    limits: "1 mohm to 1000 Mohm",
    example: "85 ohm",
};
const TEMPERATURE: Sort = Sort {
    what: "temperature",
    units: &[("degC", 1.0), ("°C", 1.0), ("℃", 1.0)],
    span: (-50.0, 150.0),
    limits: "-50 degC to 150 degC",
    example: "20 degC",
};
const FLASHES: Sort = Sort {
    what: "rate of flashing",
    units: &[("/min", 1.0)],
    span: (10.0, 600.0),
    limits: "10 /min to 600 /min",
    example: "90 /min",
};
const FREQUENCY: Sort = Sort {
    what: "rate of dimming",
    units: &[("Hz", 1.0), ("kHz", 1000.0)],
    span: (20.0, 20_000.0),
    limits: "20 Hz to 20 kHz",
    example: "200 Hz",
};
const DUTY: Sort = Sort {
    what: "duty",
    units: &[("%", 1.0)],
    span: (1.0, 99.0),
    limits: "1 % to 99 %",
    example: "40 %",
};

const SMALL: Sort = Sort {
    what: "resistance",
    units: &[
        ("ohm", 1.0),
        ("Ω", 1.0),
        ("\u{2126}", 1.0),
        ("mohm", 1e-3),
        ("mΩ", 1e-3),
        ("m\u{2126}", 1e-3),
    ],
    span: (1e-4, 100.0),
    limits: "0.1 mohm to 100 ohm",
    example: "7.4 mohm",
};
const TOLERANCE: Sort = Sort {
    what: "tolerance",
    units: &[("%", 1.0)],
    span: (0.001, 50.0),
    limits: "0.001 % to 50 %",
    example: "1 %",
};
const TIME: Sort = Sort {
    what: "time",
    units: &[("s", 1.0), ("min", 60.0), ("h", 3600.0)],
    span: (1.0, 86_400.0),
    limits: "1 s to 24 h",
    example: "20 min",
};

/// Number (with sign), unit, and where the unit starts.
fn split<'t>(text: &'t str, sort: &Sort) -> Result<(f64, &'t str, usize), Complaint> {
    let example = format!("write the {} as `{}`", sort.what, sort.example);
    let end = text
        .char_indices()
        .find(|(at, c)| !(c.is_ascii_digit() || *c == '.' || (*at == 0 && matches!(c, '-' | '+'))))
        .map_or(text.len(), |(at, _)| at);
    let (number, rest) = text.split_at(end);
    if rest.starts_with(',') {
        return Err(Complaint::new(
            format!("{} has a decimal comma", quote(text)),
            "write the number with a decimal point",
        )
        .on(end..end + 1));
    }
    let value = number
        .parse::<f64>()
        .ok()
        .filter(|v| v.is_finite() && number.contains(|c: char| c.is_ascii_digit()));
    let Some(value) = value else {
        return Err(Complaint::new(
            format!("{} does not start with a number", quote(text)),
            example,
        ));
    };
    let unit = rest.trim_start();
    if unit.is_empty() {
        return Err(Complaint::new(
            format!("{} has no unit", quote(text)),
            example,
        ));
    }
    Ok((value, unit, text.len() - unit.len()))
}

/// A quantity of this sort, in its base unit.
fn parse(text: &str, sort: &Sort) -> Result<f64, Complaint> {
    let (number, unit, unit_at) = split(text, sort)?;
    let Some((_, factor)) = sort.units.iter().find(|(name, _)| *name == unit) else {
        let units = list(
            sort.units
                .iter()
                .map(|(name, _)| *name)
                .filter(|n| n.is_ascii()),
        );
        return Err(Complaint::new(
            format!("{} is not a unit of {}", quote(unit), sort.what),
            format!(
                "the unit is {units}: write the {} as `{}`",
                sort.what, sort.example
            ),
        )
        .on(unit_at..text.len()));
    };
    let value = number * factor;
    if value < sort.span.0 || value > sort.span.1 {
        return Err(Complaint::new(
            format!("a {} of {} cannot be right", sort.what, quote(text)),
            format!("expected {}", sort.limits),
        ));
    }
    Ok(value)
}

/// A length: `1.2 m`, `80 cm`, `350 mm`.
///
/// # Errors
/// When it is not a number with a unit of length, or is absurd; likewise for
/// every function of this module.
pub fn length(text: &str) -> Result<Metres, Complaint> {
    parse(text, &LENGTH).map(Metres)
}

/// A voltage: `12 V`.
///
/// # Errors
/// See [`length`].
pub fn voltage(text: &str) -> Result<Volts, Complaint> {
    parse(text, &VOLTAGE).map(Volts)
}

/// A current: `10 A`.
///
/// # Errors
/// See [`length`].
pub fn current(text: &str) -> Result<Amperes, Complaint> {
    parse(text, &CURRENT).map(Amperes)
}

/// A power: `21 W`.
///
/// # Errors
/// See [`length`].
pub fn power(text: &str) -> Result<Watts, Complaint> {
    parse(text, &POWER).map(Watts)
}

/// A resistance: `85 ohm`, `4.7 kohm`, `1 MΩ`.
///
/// # Errors
/// See [`length`].
pub fn resistance(text: &str) -> Result<Ohms, Complaint> {
    parse(text, &RESISTANCE).map(Ohms)
}

/// A temperature: `20 degC`.
///
/// # Errors
/// See [`length`].
pub fn temperature(text: &str) -> Result<Celsius, Complaint> {
    parse(text, &TEMPERATURE).map(Celsius)
}

/// How often a lamp flashes: `90 /min`.
///
/// # Errors
/// See [`length`].
pub fn flashes(text: &str) -> Result<PerMinute, Complaint> {
    parse(text, &FLASHES).map(PerMinute)
}

/// How often a dimmed output switches: `200 Hz`.
///
/// # Errors
/// See [`length`].
pub fn frequency(text: &str) -> Result<Hertz, Complaint> {
    parse(text, &FREQUENCY).map(Hertz)
}

/// The part of the time in which something is on: `40 %`.
///
/// # Errors
/// See [`length`].
pub fn duty(text: &str) -> Result<Percent, Complaint> {
    parse(text, &DUTY).map(Percent)
}

/// The resistance of a fuse or a shunt: `7.4 mohm`, `0.1 ohm`.
///
/// # Errors
/// See [`length`].
pub fn small(text: &str) -> Result<Ohms, Complaint> {
    parse(text, &SMALL).map(Ohms)
}

/// How far a value may be off: `1 %`.
///
/// # Errors
/// See [`length`].
pub fn tolerance(text: &str) -> Result<Percent, Complaint> {
    parse(text, &TOLERANCE).map(Percent)
}

/// A time: `90 s`, `20 min`, `1 h`.
///
/// # Errors
/// See [`length`].
pub fn time(text: &str) -> Result<Duration, Complaint> {
    parse(text, &TIME).map(Duration::from_secs_f64)
}

/// A cross-section: `0.5 mm2` or `20 AWG`.
///
/// # Errors
/// See [`length`].
pub fn size(text: &str) -> Result<SquareMillimetres, Complaint> {
    match split(text, &AREA)? {
        (number, "AWG", _) => {
            if number.fract() != 0.0 || !(0.0..=36.0).contains(&number) {
                return Err(Complaint::new(
                    format!("a size of {} cannot be right", quote(text)),
                    "expected a whole number from 0 AWG to 36 AWG",
                ));
            }
            Ok(awg_area(number))
        }
        _ => parse(text, &AREA).map(SquareMillimetres),
    }
}

/// The cross-section of a solid round wire of this AWG number.
///
/// d = 0.005 in · 92^((36 − n)/39), ASTM B258-02 as quoted at liquisearch.com
/// (read); 1 in = 25.4 mm.
#[must_use]
pub fn awg_area(number: f64) -> SquareMillimetres {
    let diameter_mm = 0.005 * 25.4 * 92_f64.powf((36.0 - number) / 39.0);
    SquareMillimetres(std::f64::consts::PI / 4.0 * diameter_mm * diameter_mm)
}

/// What hangs on a conductor: `none`, `unknown`, `85 ohm` or `1 kohm to 1 Mohm`.
///
/// # Errors
/// See [`length`].
pub fn load(text: &str) -> Result<Load, Complaint> {
    match text {
        "none" => return Ok(Load::None),
        "unknown" => return Ok(UNKNOWN_LOAD),
        _ => {}
    }
    let help = "write `none`, `unknown`, a resistance such as `85 ohm`, or a range such as \
                `1 kohm to 1 Mohm`";
    let with_help = |mut complaint: Complaint, start: usize, len: usize| {
        let part = complaint.part.unwrap_or(0..len);
        complaint.part = Some(part.start + start..part.end + start);
        complaint.help = Some(help.to_owned());
        complaint
    };
    let Some((low, high)) = text.split_once(" to ") else {
        let value = resistance(text).map_err(|c| with_help(c, 0, text.len()))?;
        return Ok(Load::Range {
            least: value,
            most: value,
        });
    };
    let high_at = low.len() + " to ".len();
    let least = resistance(low).map_err(|c| with_help(c, 0, low.len()))?;
    let most = resistance(high).map_err(|c| with_help(c, high_at, high.len()))?;
    if least.value() > most.value() {
        return Err(Complaint::new(
            format!("the range {} runs backwards", quote(text)),
            format!("write `{high} to {low}`"),
        ));
    }
    Ok(Load::Range { least, most })
}

/// A load of which nothing is said: 1 kΩ to 10 MΩ, a module input (common
/// practice).
pub const UNKNOWN_LOAD: Load = Load::Range {
    least: Ohms(1e3),
    most: Ohms(10e6),
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn message<T: std::fmt::Debug>(result: Result<T, Complaint>) -> String {
        let complaint = result.unwrap_err();
        format!("{}; {}", complaint.message, complaint.help.unwrap())
    }

    #[test]
    fn reads_what_a_person_writes() {
        assert_eq!(length("1.2 m").unwrap(), Metres(1.2));
        assert_eq!(length("80cm").unwrap(), Metres(0.8));
        assert_eq!(size("0.5 mm2").unwrap(), SquareMillimetres(0.5));
        assert_eq!(resistance("4.7 kΩ").unwrap(), Ohms(4700.0));
        assert_eq!(temperature("-10 degC").unwrap(), Celsius(-10.0));
        assert_eq!(current("10 A").unwrap(), Amperes(10.0));
        assert_eq!(power("21 W").unwrap(), Watts(21.0));
        assert_eq!(voltage("12 V").unwrap(), Volts(12.0));
    }

    /// Resistance per kilometre of solid copper at 20 °C: table at wp.1728.org
    /// (read); ρ20 = 0.017241 Ω·mm²/m, NBS Handbook 100 (read through a page of
    /// notes).
    #[test]
    fn awg_gives_the_tabled_resistance() {
        let table = [
            ("10 AWG", 3.28),
            ("12 AWG", 5.21),
            ("14 AWG", 8.28),
            ("16 AWG", 13.17),
            ("18 AWG", 20.94),
            ("20 AWG", 33.29),
            ("22 AWG", 52.94),
            ("24 AWG", 84.20),
        ];
        for (text, ohms_per_km) in table {
            let here = 0.017241 * 1000.0 / size(text).unwrap().value();
            assert!((here / ohms_per_km - 1.0).abs() < 1e-3, "{text}: {here}");
        }
    }

    #[test]
    fn says_what_is_wrong() {
        assert!(message(length("2")).contains("no unit"));
        assert!(message(length("two m")).contains("does not start with a number"));
        assert!(message(length("nan m")).contains("does not start with a number"));
        assert!(message(length("inf m")).contains("does not start with a number"));
        assert!(message(length("1e9 m")).contains("`e9 m` is not a unit of length"));
        assert!(message(length("0 m")).contains("cannot be right"));
        assert!(message(length("-1 m")).contains("cannot be right"));
        assert!(message(length("1001 m")).contains("1 mm to 1000 m"));
        assert!(message(size("0,5 mm2")).contains("decimal point"));
        assert!(message(size("20.5 AWG")).contains("whole number"));
        assert!(message(size("40 AWG")).contains("0 AWG to 36 AWG"));
        assert!(message(load("1 Mohm to 1 kohm")).contains("write `1 kohm to 1 Mohm`"));
    }

    #[test]
    fn reads_loads() {
        assert_eq!(load("none").unwrap(), Load::None);
        assert_eq!(load("unknown").unwrap(), UNKNOWN_LOAD);
        let range = Load::Range {
            least: Ohms(1e3),
            most: Ohms(1e6),
        };
        assert_eq!(load("1 kohm to 1 Mohm").unwrap(), range);
        assert_eq!(load("1 kohm to 1 Mhm").unwrap_err().part, Some(12..15));
    }

    proptest! {
        /// Neighbouring sizes differ by the ratio that ASTM B258 states for
        /// diameters, 1.1229322 (read).
        #[test]
        fn awg_steps_by_a_fixed_ratio(n in 0_u8..36) {
            let ratio = awg_area(f64::from(n)).value() / awg_area(f64::from(n) + 1.0).value();
            prop_assert!((ratio.sqrt() - 1.122_932_2).abs() < 1e-6);
        }

        #[test]
        fn any_string_is_read_or_complained_about(text in ".*") {
            for result in [length(&text).is_ok(), size(&text).is_ok(), load(&text).is_ok()] {
                prop_assert!(!result || text.chars().any(|c| c.is_ascii_digit())
                    || text == "none" || text == "unknown");
            }
        }
    }
}
