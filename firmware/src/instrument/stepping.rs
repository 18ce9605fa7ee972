//! One step: a pattern is driven, read, and let go of.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use heapless::Vec;
use loomproof_core::units::Micros;
use loomproof_core::wire::{LeadSet, Place, Reading, Refusal, Sense, Step};

use super::{Instrument, Readings, Turn};
use crate::Clock;
use crate::ads8866::Sum;
use crate::interlock::{self, WATCH_DUE};
use crate::route::{Route, first_leads};
use crate::settling::{self, Bus, Patience};

/// Conversions between two checks of whether a watch look is due.
const CONVERSIONS_A_CHECK: u8 = 4;

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
    /// Drives a pattern, reads, lets go.
    ///
    /// # Errors
    /// Why it was not carried out or was broken off; nothing is driven then.
    pub fn step(
        &mut self,
        step: &Step,
        place: Place,
        readings: &mut Readings,
    ) -> Result<(), Refusal> {
        settling::check(step, place, self.leads())?;
        if self.tripped()? {
            self.front.let_go_of_all()?;
            return Err(Refusal::Tripped);
        }
        let outcome = self.drive_and_read(step, readings);
        let open = self.front.let_go();
        // A trip resets the chips, which can look like broken hardware.
        if self.tripped()? && !matches!(outcome, Err(Refusal::Live(..))) {
            return Err(Refusal::Tripped);
        }
        open?;
        outcome
    }

    fn drive_and_read(&mut self, step: &Step, readings: &mut Readings) -> Result<(), Refusal> {
        let driven = step.high.joined(&step.low);
        // Where nothing is driven there is nothing to let go of.
        let watched = if driven.is_empty() { 0 } else { self.leads() };
        self.watchable = first_leads(watched);
        for lead in driven
            .iter()
            .chain(step.senses.iter().map(|sense| sense.lead))
        {
            self.watchable.remove(lead);
        }
        self.recovery = settling::recovery(step);
        self.resettle = settling::anew(step);
        self.drained = LeadSet::EMPTY;
        self.must_be_dead(&driven)?;
        if self.tripped()? {
            return Err(Refusal::Tripped);
        }
        // On the first lead before the drive changes, so that both settle together.
        self.front
            .go(step.senses.first().map_or(Route::Off, |sense| {
                Route::Lead(sense.lead, sense.mode.into())
            }))?;
        self.front.drive(&step.high, &step.low)?;
        self.looked = self.clock.now();
        let creeping = self.measure(step, readings)?;
        if !step.high.is_empty() {
            // What the sources charged would read as live before the next step.
            self.front.turn_low()?;
            self.pause(settling::discharge(step), self.front.route())?;
            if creeping {
                self.run_off(&step.high)?;
            }
        }
        Ok(())
    }

    /// Holds leads low until a large capacitor that their sources charged is empty, or
    /// for as long as that may take.
    fn run_off(&mut self, leads: &LeadSet) -> Result<(), Refusal> {
        let mut left = settling::RUN_OFF.0;
        loop {
            let mut empty = true;
            self.front
                .look_each(leads, |_, mv| empty &= interlock::empty(mv))?;
            if empty || left == 0 {
                return Ok(());
            }
            let round = left.min(interlock::DRAIN.0);
            self.pause(Micros(round), Route::Off)?;
            left -= round;
        }
    }

    /// Takes the readings of a step, again with longer waits while they creep; true
    /// where one creeps to the last.
    fn measure(&mut self, step: &Step, readings: &mut Readings) -> Result<bool, Refusal> {
        if step.senses.is_empty() {
            self.pause(step.settle, Route::Off)?;
            readings.clear();
            return Ok(false);
        }
        if self.read_first(step, readings)? {
            return Ok(false);
        }
        let allowed = settling::allowed(step.samples, step.samples);
        let mut patience = Patience::new(step);
        let mut next = Readings::new();
        loop {
            let (extra, last) = patience.longer();
            next.clear();
            for sense in &step.senses {
                let (reading, _) =
                    self.read(step, *sense, Bus::Moved, extra, step.samples, false)?;
                let _ = next.push(reading);
            }
            let mut creeping = false;
            for (was, reading) in readings.iter_mut().zip(next.iter().copied()) {
                let moved = settling::moved(*was, reading, allowed);
                creeping |= moved;
                *was = if moved && last {
                    settling::not_settled(reading)
                } else {
                    reading
                };
            }
            if !creeping || last {
                return Ok(creeping);
            }
        }
    }

    /// Takes each reading once, and those that may be of something that still
    /// moves a second time; true where nothing moves.
    fn read_first(&mut self, step: &Step, readings: &mut Readings) -> Result<bool, Refusal> {
        readings.clear();
        let mut doubtful: Vec<(Sense, Reading), 2> = Vec::new();
        let mut bus = Bus::Driven;
        for (at, sense) in step.senses.iter().enumerate() {
            let early = settling::firsts(step).any(|first| first == at);
            let (reading, moved) = self.read(step, *sense, bus, Micros(0), step.samples, early)?;
            if early && (moved || settling::may_be_filling(step, *sense, reading)) {
                let _ = doubtful.push((*sense, reading));
            }
            // There are as many places as senses.
            let _ = readings.push(reading);
            bus = Bus::Moved;
        }
        let samples = settling::repeat_samples(step.samples);
        let allowed = settling::allowed(step.samples, samples);
        let mut still = true;
        for (sense, was) in doubtful {
            let (again, _) = self.read(step, sense, Bus::Moved, Micros(0), samples, false)?;
            still &= !settling::moved(was, again, allowed);
        }
        Ok(still)
    }

    /// A reading, waited for by so much longer; and, with an early look at half of its
    /// wait, whether it moved since.
    fn read(
        &mut self,
        step: &Step,
        sense: Sense,
        bus: Bus,
        extra: Micros,
        samples: u8,
        early: bool,
    ) -> Result<(Reading, bool), Refusal> {
        let route = Route::Lead(sense.lead, sense.mode.into());
        let bus = match bus {
            Bus::Moved if self.front.is_at(route) => Bus::Stayed,
            other => other,
        };
        self.front.go(route)?;
        let mut wait = settling::wait(step, sense.mode, bus);
        wait.0 = wait.0.saturating_add(extra.0);
        let looked = settling::early_samples(samples);
        let mut was = None;
        if early {
            let (before, after) = settling::around(wait, looked);
            self.pause(before, route)?;
            was = self.convert_undisturbed(looked, route)?;
            wait = after;
        }
        let sum = self.convert(samples, wait, route)?;
        self.within_span(sense, &sum)?;
        let reading = settling::reading(&sum);
        let moved = early
            && was.is_none_or(|was| {
                let allowed = settling::allowed(looked, samples);
                settling::moved(settling::reading(&was), reading, allowed)
            });
        Ok((reading, moved))
    }

    /// Waits and converts; once more after every look that loaded what is read, and
    /// each lead does so once.
    fn convert(&mut self, samples: u8, wait: Micros, route: Route) -> Result<Sum, Refusal> {
        self.pause(wait, route)?;
        loop {
            if let Some(sum) = self.convert_undisturbed(samples, route)? {
                return Ok(sum);
            }
            self.pause(self.resettle, route)?;
            self.pause(wait, route)?;
        }
    }

    /// Looks at a lead that reads an end of the converter's span, which cannot tell
    /// that end from beyond it.
    fn within_span(&mut self, sense: Sense, sum: &Sum) -> Result<(), Refusal> {
        if !sum.above() && !sum.at_zero() {
            return Ok(());
        }
        if !interlock::harmless_while_driving(self.front.look(sense.lead)?) {
            let left = self.must_come_back(sense.lead)?;
            self.pause(WATCH_DUE, Route::Off)?;
            let seen = self.front.look(sense.lead)?;
            if interlock::returns(left, seen) {
                return Err(Refusal::Live(sense.lead, seen));
            }
        }
        Ok(())
    }

    /// Conversions, with the watch between them; `None` when a look loaded
    /// what is read.
    fn convert_undisturbed(&mut self, samples: u8, route: Route) -> Result<Option<Sum>, Refusal> {
        self.front.sample()?;
        let mut sum = Sum::default();
        for taken in 1..=samples {
            sum.add(self.front.convert()?);
            let due = taken % CONVERSIONS_A_CHECK == 0 && taken < samples && self.watch_is_due();
            if due && self.watch(route)? == Turn::Loaded {
                return Ok(None);
            }
        }
        Ok(Some(sum))
    }
}
