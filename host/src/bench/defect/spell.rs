//! Defects as they are written.

use super::{ChipPin, Defect, Line};
use crate::bench::Device;
use loomproof_core::wire::LeadId;
use std::fmt;

/// Why a spelling is no fault of the probe.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error("--probe-fault {text}: {why}; `--probe-fault help` lists the kinds")]
pub struct DefectError {
    text: String,
    why: String,
}

const DEVICES: [(&str, Device); 4] = [
    ("drive", Device::Drive),
    ("gate", Device::Gate),
    ("select", Device::Select),
    ("adc", Device::Adc),
];

impl Defect {
    /// Reads a spelling.
    ///
    /// # Errors
    /// [`DefectError`].
    pub fn parse(text: &str) -> Result<Self, DefectError> {
        let wrong = |why: &str| DefectError {
            text: text.to_owned(),
            why: why.to_owned(),
        };
        let mut parts = text.split(',');
        let (kind, place) = parts
            .next()
            .and_then(|head| head.split_once('@'))
            .ok_or_else(|| wrong("write it as KIND@PLACE"))?;
        let keys: Vec<(&str, &str)> = parts
            .map(|part| part.split_once('=').ok_or_else(|| wrong("write KEY=VALUE")))
            .collect::<Result<_, _>>()?;
        let key = |name: &str| {
            keys.iter()
                .find(|(key, _)| *key == name)
                .map(|(_, value)| *value)
                .ok_or_else(|| wrong(&format!("it needs {name}=…")))
        };
        let scaled = |name: &str, by: f64| -> Result<i32, DefectError> {
            let value: f64 = key(name)?
                .parse()
                .map_err(|_| wrong(&format!("{name} is no number")))?;
            Ok((value * by).round() as i32)
        };
        let line = || line(place).ok_or_else(|| wrong("the place is a lead, such as P17, or C2"));
        let one_lead = |text: &str| lead(text).ok_or_else(|| wrong("a lead is spelled P17"));
        let device =
            || device(place).ok_or_else(|| wrong("the place is drive, gate, select or adc"));
        let pin = || pin(place).ok_or_else(|| wrong("the place is a pin, such as drive0:A3"));
        Ok(match kind {
            "deaf" => match chip(place) {
                Some((device, address)) => Self::Deaf(device, address),
                None => return Err(wrong("the place is a chip, such as drive2")),
            },
            "line-low" => Self::LineStuck(device()?, false),
            "line-high" => Self::LineStuck(device()?, true),
            "pin-low" => Self::PinStuck(pin()?, false),
            "pin-high" => Self::PinStuck(pin()?, true),
            "disconnect-open" => Self::DisconnectOpen(line()?),
            "disconnect-closed" => Self::DisconnectClosed(line()?),
            "sense-open" => Self::SenseOpen(line()?),
            "sense-closed" => Self::SenseClosed(line()?),
            "joined" => {
                let ohms = scaled("ohms", 1.0)?;
                let ohms = u32::try_from(ohms).map_err(|_| wrong("ohms is below 0"))?;
                let (a, b) = (one_lead(place)?, one_lead(key("with")?)?);
                if a == b {
                    return Err(wrong("a lead cannot be joined to itself"));
                }
                Self::Joined(a, b, ohms)
            }
            "leak" => Self::Leak(one_lead(place)?, scaled("na", 1.0)?),
            "gain" => Self::Gain(scaled("percent", 10.0)?),
            "reference" => Self::Reference(scaled("percent", 10.0)?),
            "offset" => Self::Offset(scaled("mv", 100.0)?),
            "tripped" => Self::Tripped,
            _ => return Err(wrong("there is no such kind")),
        })
    }
}

fn lead(text: &str) -> Option<LeadId> {
    let number: u8 = text.strip_prefix('P')?.parse().ok()?;
    Some(LeadId(number.checked_sub(1).filter(|lead| *lead < 128)?))
}

fn line(text: &str) -> Option<Line> {
    if text == "C2" {
        Some(Line::Chassis)
    } else {
        lead(text).map(Line::Lead)
    }
}

fn device(text: &str) -> Option<Device> {
    let found = DEVICES.iter().find(|(name, _)| *name == text);
    found.map(|(_, device)| *device)
}

fn chip(text: &str) -> Option<(Device, u8)> {
    let at = text.find(|c: char| c.is_ascii_digit())?;
    let (name, number) = text.split_at(at);
    let device = device(name).filter(|device| *device != Device::Adc)?;
    let most = if device == Device::Select { 2 } else { 8 };
    Some((device, number.parse().ok().filter(|n| *n < most)?))
}

fn pin(text: &str) -> Option<ChipPin> {
    let (chip_name, pin) = text.split_once(':')?;
    let (device, address) = chip(chip_name)?;
    let (port, number) = pin.split_at_checked(1)?;
    let number: u8 = number.parse().ok().filter(|n| *n < 8)?;
    let first = match port {
        "A" => 0,
        "B" => 8,
        _ => return None,
    };
    Some(ChipPin {
        device,
        address,
        pin: first + number,
    })
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lead(lead) => lead.fmt(f),
            Self::Chassis => f.write_str("C2"),
        }
    }
}

fn name(device: Device) -> &'static str {
    let found = DEVICES.iter().find(|(_, known)| *known == device);
    found.map_or("", |(name, _)| name)
}

fn level(high: bool) -> &'static str {
    if high { "high" } else { "low" }
}

impl fmt::Display for Defect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Deaf(device, address) => write!(f, "deaf@{}{address}", name(device)),
            Self::LineStuck(device, high) => write!(f, "line-{}@{}", level(high), name(device)),
            Self::PinStuck(at, high) => {
                let port = if at.pin < 8 { 'A' } else { 'B' };
                let chip = name(at.device);
                let (address, pin) = (at.address, at.pin % 8);
                write!(f, "pin-{}@{chip}{address}:{port}{pin}", level(high))
            }
            Self::DisconnectOpen(line) => write!(f, "disconnect-open@{line}"),
            Self::DisconnectClosed(line) => write!(f, "disconnect-closed@{line}"),
            Self::SenseOpen(line) => write!(f, "sense-open@{line}"),
            Self::SenseClosed(line) => write!(f, "sense-closed@{line}"),
            Self::Joined(a, b, ohms) => write!(f, "joined@{a},with={b},ohms={ohms}"),
            Self::Leak(lead, na) => write!(f, "leak@{lead},na={na}"),
            Self::Gain(tenths) => write!(f, "gain@adc,percent={}", f64::from(tenths) / 10.0),
            Self::Reference(tenths) => {
                write!(f, "reference@adc,percent={}", f64::from(tenths) / 10.0)
            }
            Self::Offset(hundredths) => {
                write!(f, "offset@adc,mv={}", f64::from(hundredths) / 100.0)
            }
            Self::Tripped => f.write_str("tripped@comparators"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::defect::KINDS;

    #[test]
    fn spellings_come_back() {
        for (example, _) in KINDS {
            let defect = Defect::parse(example).unwrap();
            assert_eq!(defect.to_string(), example);
        }
        for more in [
            "reference@adc,percent=-3",
            "offset@adc,mv=-0.5",
            "sense-open@C2",
        ] {
            assert_eq!(Defect::parse(more).unwrap().to_string(), more);
        }
        for bad in [
            "deaf",
            "deaf@adc0",
            "pin-low@drive0:A8",
            "pin-low@drive8:A1",
            "leak@P0,na=1",
            "leak@P1",
            "joined@P1,with=P1,ohms=1",
            "gain@adc,percent=x",
            "worn@P1",
        ] {
            assert!(Defect::parse(bad).is_err(), "{bad}");
        }
    }
}
