//! The steps of a scan with the limits of what they read.

use super::read::Cursor;
use super::{Head, ImageError, Store};
use crate::expect::quantities;
use crate::judge::{Limits, Side};
use crate::scan::{Planned, Purpose};
use crate::wire::{LeadId, LeadSet, Reading, Sense, SenseMode, Senses, Step};

/// Bytes of one reading's lead and mode, and of its limits.
const LIMITS: u32 = 8;

/// The most conversions of a reading.
const MAX_SAMPLES: u8 = 64;

/// One quantity of a step, judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// The lead that was read.
    pub lead: LeadId,
    /// How it was read.
    pub mode: SenseMode,
    /// The lead whose reading was taken off it.
    pub against: Option<LeadId>,
    /// The verdict.
    pub side: Side,
}

impl Head {
    /// A step of a variant's scan; `None` past the last.
    ///
    /// # Errors
    /// [`ImageError`].
    #[inline(never)]
    pub fn step(
        &self,
        store: &mut impl Store,
        variant: u16,
        at: u16,
    ) -> Result<Option<Planned>, ImageError> {
        match self.step_at(store, variant, at)? {
            Some(at) => self.planned(&mut self.cursor(store, at)).map(Some),
            None => Ok(None),
        }
    }

    /// Judges what a step of a variant's scan read, quantity by quantity.
    ///
    /// # Errors
    /// [`ImageError`]; [`ImageError::Content`] where there are not as many readings
    /// as the step takes.
    #[inline(never)]
    pub fn judge(
        &self,
        store: &mut impl Store,
        (variant, at): (u16, u16),
        step: &Step,
        readings: &[Reading],
        found: &mut dyn FnMut(Judged),
    ) -> Result<(), ImageError> {
        let place = self.step_at(store, variant, at)?;
        let mut cursor = self.cursor(store, place.ok_or(ImageError::Content)?);
        // To the first reading, whose limits lie behind its lead and mode.
        head_of_step(&mut cursor)?;
        if readings.len() != step.senses.len() {
            return Err(ImageError::Content);
        }
        let read = |lead: LeadId| {
            let mut senses = step.senses.iter().zip(readings);
            let plain = |(sense, _): &(&Sense, &Reading)| {
                sense.lead == lead && sense.mode == SenseMode::Plain
            };
            senses.find(plain).map(|(_, reading)| *reading)
        };
        for (quantity, plus) in quantities(step).zip(readings) {
            cursor.take::<2>()?;
            let limits = limits(&mut cursor)?;
            let minus = quantity
                .minus
                .map(|lead| read(lead).ok_or(ImageError::Content));
            found(Judged {
                lead: quantity.plus.lead,
                mode: quantity.plus.mode,
                against: quantity.minus,
                side: limits.judge(*plus, minus.transpose()?),
            });
        }
        Ok(())
    }

    /// Checks a step; where the next one begins.
    pub(super) fn look_through_step(
        &self,
        store: &mut impl Store,
        at: u32,
    ) -> Result<u32, ImageError> {
        let mut cursor = self.cursor(store, at);
        let planned = self.planned(&mut cursor)?;
        let step = &planned.step;
        let known = |lead: LeadId| lead.0 < self.leads;
        let (a, b) = planned.purpose.leads();
        let sound = step.high.iter().chain(step.low.iter()).all(known)
            && step.senses.iter().all(|sense| known(sense.lead))
            && known(a)
            && b.is_none_or(known)
            && !step.high.overlaps(&step.low)
            && step.high.len() <= self.place.max_sources()
            && (1..=MAX_SAMPLES).contains(&step.samples)
            && !step.senses.is_empty();
        if sound {
            Ok(cursor.at)
        } else {
            Err(ImageError::Content)
        }
    }

    #[inline(never)]
    fn planned(&self, cursor: &mut Cursor<'_, impl Store>) -> Result<Planned, ImageError> {
        let (purpose, mut step, count) = head_of_step(cursor)?;
        for _ in 0..count {
            let lead = LeadId(cursor.u8()?);
            let mode = match cursor.u8()? {
                0 => SenseMode::Plain,
                1 => SenseMode::PullDown,
                2 => SenseMode::PullUp,
                _ => return Err(ImageError::Content),
            };
            let sense = Sense { lead, mode };
            step.senses.push(sense).map_err(|_| ImageError::Content)?;
            cursor.at = cursor.at.saturating_add(LIMITS);
        }
        Ok(Planned { step, purpose })
    }
}

/// What stands in front of a step's readings, and how many there are.
#[inline(never)]
fn head_of_step(cursor: &mut Cursor<'_, impl Store>) -> Result<(Purpose, Step, u8), ImageError> {
    let [kind, a, b, samples] = cursor.take()?;
    let (a, none) = (LeadId(a), b == u8::MAX);
    let purpose = match kind {
        0 => Purpose::Continuity(a, (!none).then_some(LeadId(b))),
        1 if none => Purpose::Isolation(a),
        2 => Purpose::Across(a, LeadId(b)),
        _ => return Err(ImageError::Content),
    };
    let settle = cursor.micros()?;
    let pulled = cursor.micros()?;
    let high: LeadSet = cursor.leads()?;
    let low = cursor.leads()?;
    let count = cursor.u8()?;
    let step = Step {
        high,
        low,
        settle,
        pulled,
        samples,
        senses: Senses::new(),
    };
    Ok((purpose, step, count))
}

fn limits(cursor: &mut Cursor<'_, impl Store>) -> Result<Limits, ImageError> {
    Ok(Limits {
        least: cursor.microvolts()?,
        most: cursor.microvolts()?,
    })
}
