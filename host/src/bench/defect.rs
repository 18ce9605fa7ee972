//! Faults of the probe itself, put into its simulated chips.
//!
//! Spelled `KIND@PLACE`, with `,key=value` behind it where it needs a value.

use super::Device;
use super::front_end::BANK;
use loomproof_core::wire::LeadId;
use std::fmt;

/// One pin of an expander, port A first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ChipPin {
    /// [`Device::Drive`], [`Device::Gate`] or [`Device::Select`].
    pub device: Device,
    /// Address of the chip.
    pub address: u8,
    /// 0 to 15.
    pub pin: u8,
}

/// A channel: a probe lead, or chassis lead C2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Line {
    /// A probe lead.
    Lead(LeadId),
    /// Chassis lead C2.
    Chassis,
}

/// A fault of the probe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Defect {
    /// A chip takes and answers nothing.
    Deaf(Device, u8),
    /// The line on which the chips of a chip select answer stands still.
    LineStuck(Device, bool),
    /// A pin of an expander stands at one level whatever the chip is told.
    PinStuck(ChipPin, bool),
    /// A disconnect never closes.
    DisconnectOpen(Line),
    /// A disconnect never opens.
    DisconnectClosed(Line),
    /// A channel never reaches the sense bus.
    SenseOpen(Line),
    /// A channel never leaves the sense bus.
    SenseClosed(Line),
    /// Two leads are joined inside the probe by so many ohms.
    Joined(LeadId, LeadId, u32),
    /// A lead leaks so many nanoamperes, into it if above 0.
    Leak(LeadId, i32),
    /// The buffer's gain is off by so many tenths of a percent.
    Gain(i32),
    /// The converter's reference is off against the drive supply by so many
    /// tenths of a percent.
    Reference(i32),
    /// The buffer's offset is so many hundredths of a millivolt.
    Offset(i32),
    /// The comparators hold all drive off.
    Tripped,
}

/// Why a spelling is no fault of the probe.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error("--probe-fault {text}: {why}; `--probe-fault help` lists the kinds")]
pub struct DefectError {
    text: String,
    why: String,
}

/// Kinds, an example each, and what they mean.
pub const KINDS: [(&str, &str); 13] = [
    (
        "deaf@drive2",
        "a chip (drive0…7, gate0…7, select0…1) takes and answers nothing",
    ),
    (
        "line-low@gate",
        "the answers of drive, gate, select or adc stand at 0",
    ),
    ("line-high@adc", "the same, at 1"),
    (
        "pin-low@drive0:A3",
        "a pin (A0…A7, B0…B7) of an expander stays low",
    ),
    ("pin-high@select0:B1", "the same, high"),
    (
        "disconnect-open@P17",
        "the disconnect of a lead, or of C2, never closes",
    ),
    ("disconnect-closed@P17", "the same never opens"),
    (
        "sense-open@P17",
        "a lead, or C2, never reaches the sense bus",
    ),
    ("sense-closed@P17", "the same never leaves it"),
    (
        "joined@P17,with=P18,ohms=1000",
        "two leads are joined inside the probe",
    ),
    (
        "leak@P17,na=100",
        "a lead leaks so many nA (below 0: out of it)",
    ),
    (
        "gain@adc,percent=3",
        "the converter reads high (`reference@adc,percent=3`: its reference is; `offset@adc,mv=-2`: its zero is off)",
    ),
    ("tripped@comparators", "the comparators hold all drive off"),
];

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

/// The defects of one probe, in the form in which its chips meet them.
#[derive(Debug, Clone, Default)]
pub(super) struct Defects(Vec<Defect>);

impl Defects {
    pub(super) fn new(all: &[Defect]) -> Self {
        Self(all.to_vec())
    }

    /// The probe is as it should be.
    pub(super) fn none(&self) -> bool {
        self.0.is_empty()
    }

    /// Pins of a chip that stay low, and that stay high.
    pub(super) fn stuck(&self, device: Device, address: u8) -> (u16, u16) {
        let mut stuck = (0, 0);
        for defect in &self.0 {
            if let Defect::PinStuck(at, high) = defect
                && (at.device, at.address) == (device, address)
            {
                if *high {
                    stuck.1 |= 1 << at.pin;
                } else {
                    stuck.0 |= 1 << at.pin;
                }
            }
        }
        stuck
    }

    pub(super) fn deaf(&self, device: Device, address: u8) -> bool {
        self.0.contains(&Defect::Deaf(device, address))
    }

    /// The level at which the answers of a chip select stand.
    pub(super) fn line(&self, device: Device) -> Option<bool> {
        self.0.iter().find_map(|defect| match defect {
            Defect::LineStuck(stuck, high) if *stuck == device => Some(*high),
            _ => None,
        })
    }

    /// A switch of a channel, closed or open by its chip, as it really is; the
    /// channels are those of the leads, then C2.
    fn switch(
        &self,
        (channel, leads): (usize, usize),
        closed: bool,
        never: fn(Line) -> Defect,
        always: fn(Line) -> Defect,
    ) -> bool {
        let line = if channel == leads {
            Line::Chassis
        } else {
            Line::Lead(LeadId(channel as u8))
        };
        closed && !self.0.contains(&never(line)) || self.0.contains(&always(line))
    }

    pub(super) fn disconnect(&self, channel: (usize, usize), closed: bool) -> bool {
        self.switch(
            channel,
            closed,
            Defect::DisconnectOpen,
            Defect::DisconnectClosed,
        )
    }

    pub(super) fn sense(&self, channel: (usize, usize), closed: bool) -> bool {
        self.switch(channel, closed, Defect::SenseOpen, Defect::SenseClosed)
    }

    /// Leads joined inside the probe: channels and ohms.
    pub(super) fn joined(&self) -> impl Iterator<Item = (usize, usize, f64)> + '_ {
        self.0.iter().filter_map(|defect| match defect {
            Defect::Joined(a, b, ohms) => Some((
                usize::from(a.0),
                usize::from(b.0),
                f64::from(*ohms).max(0.1),
            )),
            _ => None,
        })
    }

    /// What a lead leaks on top, A.
    pub(super) fn leak(&self, channel: usize) -> f64 {
        let leaks = self.0.iter().filter_map(|defect| match defect {
            Defect::Leak(lead, na) if usize::from(lead.0) == channel => Some(f64::from(*na) * 1e-9),
            _ => None,
        });
        leaks.sum()
    }

    /// The converter's full scale as a share of the drive supply, and the gain and
    /// offset (V) of its buffer on top of the parts' own.
    pub(super) fn converter(&self) -> (f64, f64, f64) {
        self.0.iter().fold(
            (1.0, 1.0, 0.0),
            |(full, gain, offset), defect| match defect {
                Defect::Reference(tenths) => (full + f64::from(*tenths) * 1e-3, gain, offset),
                Defect::Gain(tenths) => (full, gain + f64::from(*tenths) * 1e-3, offset),
                Defect::Offset(hundredths) => (full, gain, offset + f64::from(*hundredths) * 1e-5),
                _ => (full, gain, offset),
            },
        )
    }

    pub(super) fn tripped(&self) -> bool {
        self.0.contains(&Defect::Tripped)
    }

    /// The first that names a lead or chip that a probe with so many leads
    /// does not have.
    pub(super) fn misplaced(&self, leads: u8) -> Option<&Defect> {
        let banks = leads / BANK as u8;
        let has_chip = |device: Device, address: u8| match device {
            Device::Select => address < leads.div_ceil(64),
            _ => address < banks,
        };
        self.0.iter().find(|defect| match **defect {
            Defect::Deaf(device, address) => !has_chip(device, address),
            Defect::PinStuck(at, _) => !has_chip(at.device, at.address),
            Defect::DisconnectOpen(Line::Lead(lead))
            | Defect::DisconnectClosed(Line::Lead(lead))
            | Defect::SenseOpen(Line::Lead(lead))
            | Defect::SenseClosed(Line::Lead(lead))
            | Defect::Leak(lead, _) => lead.0 >= leads,
            Defect::Joined(a, b, _) => a.0.max(b.0) >= leads,
            _ => false,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
