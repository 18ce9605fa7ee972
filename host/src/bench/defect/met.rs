//! Defects as the chips meet them.

use super::{Defect, Line};
use crate::bench::Device;
use crate::bench::front_end::BANK;
use loomproof_core::wire::LeadId;

/// The defects of one probe, in the form in which its chips meet them.
#[derive(Debug, Clone, Default)]
pub(in crate::bench) struct Defects(Vec<Defect>);

impl Defects {
    pub(in crate::bench) fn new(all: &[Defect]) -> Self {
        Self(all.to_vec())
    }

    /// The probe is as it should be.
    pub(in crate::bench) fn none(&self) -> bool {
        self.0.is_empty()
    }

    /// Pins of a chip that stay low, and that stay high.
    pub(in crate::bench) fn stuck(&self, device: Device, address: u8) -> (u16, u16) {
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

    pub(in crate::bench) fn deaf(&self, device: Device, address: u8) -> bool {
        self.0.contains(&Defect::Deaf(device, address))
    }

    /// The level at which the answers of a chip select stand.
    pub(in crate::bench) fn line(&self, device: Device) -> Option<bool> {
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

    pub(in crate::bench) fn disconnect(&self, channel: (usize, usize), closed: bool) -> bool {
        self.switch(
            channel,
            closed,
            Defect::DisconnectOpen,
            Defect::DisconnectClosed,
        )
    }

    pub(in crate::bench) fn sense(&self, channel: (usize, usize), closed: bool) -> bool {
        self.switch(channel, closed, Defect::SenseOpen, Defect::SenseClosed)
    }

    /// Leads joined inside the probe: channels and ohms.
    pub(in crate::bench) fn joined(&self) -> impl Iterator<Item = (usize, usize, f64)> + '_ {
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
    pub(in crate::bench) fn leak(&self, channel: usize) -> f64 {
        let leaks = self.0.iter().filter_map(|defect| match defect {
            Defect::Leak(lead, na) if usize::from(lead.0) == channel => Some(f64::from(*na) * 1e-9),
            _ => None,
        });
        leaks.sum()
    }

    /// The converter's full scale as a share of the drive supply, and the gain and
    /// offset (V) of its buffer on top of the parts' own.
    pub(in crate::bench) fn converter(&self) -> (f64, f64, f64) {
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

    pub(in crate::bench) fn tripped(&self) -> bool {
        self.0.contains(&Defect::Tripped)
    }

    /// The first that names a lead or chip that a probe with so many leads
    /// does not have.
    pub(in crate::bench) fn misplaced(&self, leads: u8) -> Option<&Defect> {
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
