//! Looking at every lead before anything is driven: survey, permission, stored charge.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use heapless::Vec;
use loomproof_core::units::Micros;
use loomproof_core::wire::{ChassisCheck, LeadId, LeadSet, Look, MAX_LEADS, Refusal};

use super::Instrument;
use crate::Clock;
use crate::ads8866::CONVERSION;
use crate::front_end::FrontError;
use crate::interlock::{self, Falling, HELD, LOOK_AGAIN};
use crate::route::{Load, Route, first_leads};

impl<D, G, S, A, T, R, W, C> Instrument<D, G, S, A, T, R, W, C>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    T: InputPin,
    R: OutputPin,
    W: DelayNs,
    C: Clock,
{
    /// Looks at every lead undriven, all once and then all again, and at the
    /// chassis leads.
    ///
    /// # Errors
    /// [`Refusal::Hardware`].
    pub fn survey(&mut self, looks: &mut Vec<Look, MAX_LEADS>) -> Result<ChassisCheck, Refusal> {
        self.look_twice(looks, false)
    }

    /// Looks at every lead, waits, and looks again. With `drained` what carries a
    /// voltage at first, mostly what leakage left on a lead since the last scan, is
    /// drained for up to [`HELD`] and counts as it is then, if it has run off.
    fn look_twice(
        &mut self,
        looks: &mut Vec<Look, MAX_LEADS>,
        drained: bool,
    ) -> Result<ChassisCheck, Refusal> {
        if self.leads() == 0 {
            return Err(Refusal::Hardware);
        }
        self.front.prepare_sense()?;
        let all = first_leads(self.leads());
        self.front.measure_zero()?;
        looks.clear();
        let mut charged = LeadSet::EMPTY;
        let mut began = self.clock.now();
        self.front.look_each(&all, |lead, mv| {
            if drained && !interlock::empty(mv) {
                charged.insert(lead);
            }
            let _ = looks.push(Look {
                first_mv: mv,
                second_mv: mv,
            });
        })?;
        for lead in charged.iter() {
            let left = self.front.drain_until(lead, HELD, interlock::empty)?;
            // So much later than the first look of the next round is the one at this lead.
            let later = u32::from(lead.0) * CONVERSION.0;
            let as_if = self.clock.now().0.wrapping_sub(later);
            if as_if.wrapping_sub(began.0) < u32::MAX / 2 {
                began = Micros(as_if);
            }
            if let Some(look) = looks.get_mut(usize::from(lead.0)) {
                look.second_mv = left;
                if interlock::empty(left) {
                    look.first_mv = left;
                } else if !interlock::moves_by_itself(*look) {
                    look.second_mv = look.first_mv;
                }
            }
        }
        let spent = self.clock.now().0.wrapping_sub(began.0);
        self.front.wait(Micros(LOOK_AGAIN.0.saturating_sub(spent)));
        let mut again = looks.iter_mut();
        self.front.look_each(&all, |_, mv| {
            if let Some(look) = again.next() {
                // What moved by itself while it was drained is known already.
                if !interlock::moves_by_itself(*look) {
                    look.second_mv = mv;
                }
            }
        })?;
        self.front.go(Route::Off)?;
        let mut chassis = interlock::chassis_undriven(self.front.look_at_chassis()?);
        if chassis == ChassisCheck::Agree {
            chassis = interlock::chassis_driven(self.front.drive_chassis()?);
        }
        Ok(chassis)
    }

    /// Surveys, waits stored charge out, and sets the chips up for driving.
    ///
    /// # Errors
    /// Whatever stands in the way of driving.
    #[inline(never)]
    pub fn arm(&mut self) -> Result<(), Refusal> {
        let mut falling = Falling::default();
        let mut looks = Vec::new();
        loop {
            let chassis = self.look_twice(&mut looks, true)?;
            let mut charged = LeadSet::EMPTY;
            let mut level = 0;
            for (lead, look) in (0..=u8::MAX).map(LeadId).zip(&looks) {
                if interlock::suspicious(*look) {
                    charged.insert(lead);
                    level = interlock::more(level, interlock::worst(*look));
                }
            }
            let by_itself = looks.iter().any(|look| interlock::moves_by_itself(*look));
            if charged.is_empty() || by_itself || !falling.goes_on(level) {
                interlock::judge(&looks, chassis)?;
                break;
            }
            self.drain(&charged, falling.share())?;
        }
        if self.clear_trip()? {
            return Err(Refusal::Tripped);
        }
        self.discover();
        if !self.front.can_drive() {
            return Err(Refusal::Hardware);
        }
        self.front.prepare_drive()?;
        if self.tripped()? {
            Err(Refusal::Tripped)
        } else {
            Ok(())
        }
    }

    /// Lets stored charge off through the wide divider.
    pub(super) fn drain(&mut self, leads: &LeadSet, span: Micros) -> Result<(), FrontError> {
        let share = span.0 / u32::try_from(leads.len().max(1)).unwrap_or(u32::MAX);
        for lead in leads.iter() {
            self.front.go(Route::Lead(lead, Load::Wide))?;
            self.front.wait(Micros(share));
        }
        Ok(())
    }

    /// Looks at leads that are about to be driven; waits stored charge out.
    pub(super) fn must_be_dead(&mut self, leads: &LeadSet) -> Result<(), Refusal> {
        let mut falling = Falling::default();
        loop {
            let mut charged = LeadSet::EMPTY;
            let mut first = None;
            let mut level = 0;
            self.front.look_each(leads, |lead, mv| {
                if !interlock::dead(mv) {
                    charged.insert(lead);
                    first = first.or(Some(Refusal::Live(lead, mv)));
                    level = interlock::more(level, mv);
                }
            })?;
            match first {
                None => return Ok(()),
                Some(refusal) if !falling.goes_on(level) => return Err(refusal),
                Some(_) => self.drain(&charged, falling.share())?,
            }
        }
    }
}
