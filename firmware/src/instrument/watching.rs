//! Measuring without driving, on live wiring too: looks at leads for a while, and
//! whether anything holds them.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use loomproof_core::units::{Micros, MilliVolts};
use loomproof_core::wire::{
    AllFelt, AllSeen, Feel, Felt, LeadId, LeadSet, MAX_WATCH, MAX_WATCHED, Reading, Refusal, Seen,
    Watch,
};

use super::Instrument;
use crate::Clock;
use crate::ads8866::Sum;
use crate::front_end::{BUS_SETTLE, FrontError};
use crate::route::{Load, Route};
use crate::settling::{MAX_STEP, allowed, moved, not_settled, reading};
use crate::{interlock, seen};

/// Conversions of a pulled reading.
const FELT_SAMPLES: u8 = 16;

/// When a window was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Window {
    /// The clock when it began.
    pub at: Micros,
    /// How long it was.
    pub took: Micros,
    /// The longest time between two looks at one lead.
    pub round: Micros,
}

/// Up to 7 µs, as good as at random. One lead alone is looked at at uneven times:
/// a signal in step with the looks would else show a wrong duty, by up to one look.
#[derive(Debug)]
struct Uneven(u16);

impl Uneven {
    fn next(&mut self) -> Micros {
        // Shifts and exclusive ors that go through all numbers but 0.
        self.0 ^= self.0 << 7;
        self.0 ^= self.0 >> 9;
        self.0 ^= self.0 << 8;
        Micros(u32::from(self.0 & 7))
    }
}

fn named(leads: &LeadSet, count: u8) -> Result<(), Refusal> {
    if let Some(lead) = leads.iter().find(|LeadId(lead)| *lead >= count) {
        return Err(Refusal::NoSuchLead(lead));
    }
    if leads.is_empty() || leads.len() > MAX_WATCHED {
        return Err(Refusal::BadStep);
    }
    Ok(())
}

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
    /// Looks at leads in turn for a while; drives none.
    ///
    /// # Errors
    /// [`Refusal::NoSuchLead`], [`Refusal::BadStep`] or [`Refusal::Hardware`].
    pub fn watch_leads(&mut self, watch: &Watch, all: &mut AllSeen) -> Result<Window, Refusal> {
        named(&watch.leads, self.leads())?;
        if watch.span > MAX_WATCH || watch.low > watch.high {
            return Err(Refusal::BadStep);
        }
        all.clear();
        for _ in watch.leads.iter() {
            let _ = all.push(Seen::default());
        }
        self.front.prepare_sense()?;
        self.front.measure_zero()?;
        let window = self.look_for_a_while(watch, all);
        let parked = self.front.go(Route::Off);
        let window = window?;
        parked?;
        Ok(window)
    }

    fn look_for_a_while(&mut self, watch: &Watch, all: &mut AllSeen) -> Result<Window, FrontError> {
        let mut uneven = (watch.leads.len() == 1).then_some(Uneven(0x5EED));
        let mut window = Window::default();
        // A lead and when it was looked at; what was seen comes with the next look.
        let mut before: Option<(usize, Micros)> = None;
        let mut began_round = Micros(0);
        loop {
            for (place, lead) in watch.leads.iter().enumerate() {
                if let Some(uneven) = &mut uneven {
                    let pause = uneven.next();
                    self.front.wait(pause);
                }
                let mv = self.front.look_on(lead)?;
                let now = self.clock.now();
                if before.is_none() {
                    window.at = now;
                }
                let at = Micros(now.0.wrapping_sub(window.at.0));
                if place == 0 {
                    let since = at.0.saturating_sub(began_round.0);
                    window.round = Micros(since).max(window.round);
                    began_round = at;
                }
                if let Some((place, at)) = before.replace((place, at)) {
                    add(all, place, watch, mv, at);
                }
                window.took = at;
            }
            if window.took >= watch.span {
                break;
            }
        }
        let mv = self.front.last_look()?;
        if let Some((place, at)) = before {
            add(all, place, watch, mv, at);
        }
        // A window of one round: the next look would have come now.
        if window.round == Micros(0) {
            window.round = window.took;
        }
        for one in all.iter_mut() {
            seen::finish(one, window.took);
        }
        Ok(window)
    }

    /// Pulls leads weakly down and up, where what they carry allows it.
    ///
    /// # Errors
    /// [`Refusal::NoSuchLead`], [`Refusal::BadStep`] or [`Refusal::Hardware`].
    pub fn feel(&mut self, feel: &Feel, all: &mut AllFelt) -> Result<(), Refusal> {
        named(&feel.leads, self.leads())?;
        // Each lead waits twice, a quarter longer than it should need.
        let each = feel.pulled.0.saturating_mul(5) / 2;
        let waits = each.saturating_mul(feel.leads.len() as u32);
        if waits > MAX_STEP.0 {
            return Err(Refusal::BadStep);
        }
        all.clear();
        self.front.prepare_sense()?;
        self.front.measure_zero()?;
        let felt = self.feel_each(feel, all);
        let parked = self.front.go(Route::Off);
        felt?;
        Ok(parked?)
    }

    fn feel_each(&mut self, feel: &Feel, all: &mut AllFelt) -> Result<(), FrontError> {
        for lead in feel.leads.iter() {
            let mv = self.front.look(lead)?;
            let mut pulled = None;
            if interlock::harmless_while_driving(mv) {
                let down = self.pulled(lead, Load::PullDown, feel.pulled)?;
                let up = self.pulled(lead, Load::PullUp, feel.pulled)?;
                // Let go of empty: the pull-up left charge on it.
                self.front.go(Route::Lead(lead, Load::Wide))?;
                self.front.wait(BUS_SETTLE);
                pulled = Some((down, up));
            }
            let _ = all.push(Felt {
                wide: MilliVolts(mv),
                pulled,
            });
        }
        Ok(())
    }

    /// What a lead comes to under a pull: read when it should be there and again a
    /// quarter of the time later. A lead that is slower than the plan says has moved
    /// by then.
    fn pulled(&mut self, lead: LeadId, load: Load, settle: Micros) -> Result<Reading, FrontError> {
        self.front.go(Route::Lead(lead, load))?;
        self.front
            .wait(Micros(settle.0.saturating_add(BUS_SETTLE.0)));
        let first = reading(&self.conversions()?);
        self.front
            .wait(Micros((settle.0 / 4).saturating_add(BUS_SETTLE.0)));
        let again = reading(&self.conversions()?);
        let still = !moved(first, again, allowed(FELT_SAMPLES, FELT_SAMPLES));
        Ok(if still { again } else { not_settled(again) })
    }

    fn conversions(&mut self) -> Result<Sum, FrontError> {
        self.front.sample()?;
        let mut sum = Sum::default();
        for _ in 0..FELT_SAMPLES {
            sum.add(self.front.convert()?);
        }
        Ok(sum)
    }
}

fn add(all: &mut AllSeen, place: usize, watch: &Watch, mv: i32, at: Micros) {
    if let Some(one) = all.get_mut(place) {
        seen::look(one, watch, mv, at);
    }
}
