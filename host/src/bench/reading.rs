//! What the probe's chips read: the converter, and the inputs of the drive expanders.

use super::Bench;
use super::front_end::BANK;
use loomproof_core::instrument::{REFERENCE, WIDE_SHIFT};

/// Converter noise of one conversion, one standard deviation, V.
const CONVERTER_NOISE: f64 = 50e-6;
/// Unrest of a clip's contact from conversion to conversion, one standard
/// deviation, Ω (common practice: a few milliohms). It acts on the current of
/// the lead that is read.
const CLIP_UNREST: f64 = 0.003;

/// What a drive expander's input surely takes for low and for high, as a part of the
/// supply (Schmitt inputs; from memory).
const INPUT_LOW: f64 = 0.2;
const INPUT_HIGH: f64 = 0.8;

impl Bench {
    /// The logic levels at the drive expanders' pins: that of the lead where its
    /// disconnect is closed, otherwise that of its pull. An input keeps its level between
    /// [`INPUT_LOW`] and [`INPUT_HIGH`].
    pub(super) fn drive_levels(&mut self) -> Vec<u16> {
        let c2 = self.drive.len() * BANK;
        let chips = self.drive.iter().zip(&self.gate).zip(&mut self.levels);
        chips
            .enumerate()
            .map(|(bank, ((drive, gate), levels))| {
                for place in 0..BANK {
                    let channel = bank * BANK + place;
                    let closed = gate.high() >> place & 1 == 1;
                    let guarded = drive.interrupts_low();
                    let volts = if self.defects.disconnect((channel, c2), closed) {
                        let volts = self.plant.channel_volts(channel, self.now);
                        let pin = guarded.then(|| self.parts.guarded_pin(channel, volts));
                        pin.flatten().unwrap_or(volts)
                    } else if guarded || drive.pull_ups() >> place & 1 == 1 {
                        REFERENCE.value()
                    } else {
                        0.0
                    };
                    let part = volts / REFERENCE.value();
                    if part > INPUT_HIGH {
                        *levels |= 1 << place;
                    } else if part < INPUT_LOW {
                        *levels &= !(1 << place);
                    }
                }
                *levels
            })
            .collect()
    }

    /// What the converter makes of the sense bus at this moment.
    pub(super) fn sample(&mut self) -> u16 {
        if self.trouble.is_some() {
            return u16::MAX;
        }
        let current = self
            .plant
            .sensed_current(self.now, &self.parts)
            .unwrap_or(0.0);
        let unrest = self.noise.draw(CLIP_UNREST) * current;
        let mut volts = self.plant.bus_volts(self.now) - unrest;
        if self.plant.state().wide {
            volts += WIDE_SHIFT.value();
        }
        let (full, gain, offset) = self.defects.converter();
        let volts = volts * self.parts.gain * gain
            + self.parts.offset
            + offset
            + self.noise.draw(CONVERTER_NOISE);
        // A float-to-integer cast ends at the type's limits, as the converter does.
        (volts / (REFERENCE.value() * full) * 65_536.0).round() as u16
    }
}
