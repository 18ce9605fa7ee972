//! What the probe does with its front end: survey, arm, step, watch, guard.

mod guarding;
mod proof;
mod watching;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use heapless::Vec;
use loomproof_core::units::Micros;
use loomproof_core::wire::{
    ChassisCheck, LeadId, LeadSet, Look, MAX_LEADS, Place, Reading, Refusal, Sense, Step,
};

use crate::ads8866::{CONVERSION, Sum};
use crate::front_end::{BUS_SETTLE, FrontEnd, FrontError};
use crate::interlock::{self, Falling, HELD, LOOK_AGAIN, RETURNS, WATCH_DUE};
use crate::route::{Load, Route, first_leads};
use crate::settling::{self, Bus, Patience};
use crate::{Clock, Parts};

/// Length of the pulse that clears the trip latch, and the wait after it.
const REARM_PULSE: Micros = Micros(10);

/// Conversions between two checks of whether a watch look is due.
const CONVERSIONS_A_CHECK: u8 = 4;

/// Readings of a step.
pub type Readings = Vec<Reading, { loomproof_core::wire::MAX_SENSES }>;

/// The probe's hardware with its interlock.
#[derive(Debug)]
pub struct Instrument<D, G, S, A, T, R, W, C> {
    front: FrontEnd<D, G, S, A, W>,
    trip: T,
    rearm: R,
    clock: C,
    /// Leads that the watch goes round in this step.
    watchable: LeadSet,
    /// How long a look of the watch is kept away from the next conversion.
    recovery: Micros,
    /// How long the wiring settles after a look at a lead that follows.
    resettle: Micros,
    /// The lead looked at last.
    watched: u8,
    /// When that was.
    looked: Micros,
    /// The lead that last came back from outside the limits, where it then was
    /// in millivolts, and when; it is the next to be looked at.
    doubted: Option<(LeadId, i32, Micros)>,
    /// Leads that came back in this step.
    drained: LeadSet,
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
    /// Lets go of everything and counts the leads.
    pub fn start(parts: Parts<D, G, S, A, T, R, W, C>) -> Self {
        let mut instrument = Self {
            front: FrontEnd::new(
                parts.drive,
                parts.gate,
                parts.select,
                parts.adc,
                parts.delay,
            ),
            trip: parts.trip,
            rearm: parts.rearm,
            clock: parts.clock,
            watchable: LeadSet::EMPTY,
            recovery: Micros(0),
            resettle: Micros(0),
            watched: 0,
            looked: Micros(0),
            doubted: None,
            drained: LeadSet::EMPTY,
        };
        instrument.discover();
        instrument
    }

    /// How many leads can be read.
    pub const fn leads(&self) -> u8 {
        self.front.leads()
    }

    /// The clock.
    pub fn now(&mut self) -> Micros {
        self.clock.now()
    }

    /// Counts the leads if they are not known yet: the probe was started
    /// tripped, or before its front end had power.
    pub fn discover(&mut self) {
        if !self.front.can_drive() {
            // Without an answer there are no leads, and everything is refused.
            let tripped = self.clear_trip().unwrap_or(true);
            let _ = self.front.discover(tripped);
        }
    }

    /// Whether the comparators let go of all drive.
    ///
    /// # Errors
    /// [`Refusal::Hardware`] if the input cannot be read.
    pub fn tripped(&mut self) -> Result<bool, Refusal> {
        self.trip.is_high().map_err(|_| Refusal::Hardware)
    }

    /// Lets go of every bank and proves it.
    ///
    /// # Errors
    /// [`Refusal::Hardware`].
    pub fn let_go_of_all(&mut self) -> Result<(), Refusal> {
        Ok(self.front.let_go_of_all()?)
    }

    /// Clears the trip latch if it is set; true if it stays set.
    fn clear_trip(&mut self) -> Result<bool, Refusal> {
        if !self.tripped()? {
            return Ok(false);
        }
        let up = self.rearm.set_high();
        self.front.wait(REARM_PULSE);
        let down = self.rearm.set_low();
        self.front.wait(REARM_PULSE);
        if up.is_err() || down.is_err() {
            return Err(Refusal::Hardware);
        }
        self.tripped()
    }

    /// Looks at every lead undriven, all once and then all again, and at the
    /// chassis leads.
    ///
    /// # Errors
    /// [`Refusal::Hardware`].
    pub fn survey(&mut self, looks: &mut Vec<Look, MAX_LEADS>) -> Result<ChassisCheck, Refusal> {
        if self.leads() == 0 {
            return Err(Refusal::Hardware);
        }
        self.front.prepare_sense()?;
        Ok(self.look_twice(looks)?)
    }

    fn look_twice(&mut self, looks: &mut Vec<Look, MAX_LEADS>) -> Result<ChassisCheck, FrontError> {
        let all = first_leads(self.leads());
        self.front.measure_zero()?;
        looks.clear();
        let began = self.clock.now();
        self.front.look_each(&all, |_, mv| {
            let _ = looks.push(Look {
                first_mv: mv,
                second_mv: mv,
            });
        })?;
        let spent = self.clock.now().0.wrapping_sub(began.0);
        self.front.wait(Micros(LOOK_AGAIN.0.saturating_sub(spent)));
        let mut again = looks.iter_mut();
        self.front.look_each(&all, |_, mv| {
            if let Some(look) = again.next() {
                look.second_mv = mv;
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
            let chassis = self.survey(&mut looks)?;
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
    fn drain(&mut self, leads: &LeadSet, span: Micros) -> Result<(), FrontError> {
        let share = span.0 / u32::try_from(leads.len().max(1)).unwrap_or(u32::MAX);
        for lead in leads.iter() {
            self.front.go(Route::Lead(lead, Load::Wide))?;
            self.front.wait(Micros(share));
        }
        Ok(())
    }

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

    /// Looks at leads that are about to be driven; waits stored charge out.
    fn must_be_dead(&mut self, leads: &LeadSet) -> Result<(), Refusal> {
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

    /// Takes the readings of a step, again with longer waits while they creep; true
    /// where one creeps to the last.
    fn measure(&mut self, step: &Step, readings: &mut Readings) -> Result<bool, Refusal> {
        if step.senses.is_empty() {
            self.pause(step.settle, Route::Off)?;
            readings.clear();
            return Ok(false);
        }
        self.read_all(step, Micros(0), Bus::Driven, readings)?;
        let samples = settling::repeat_samples(step.samples);
        let allowed = settling::allowed(step.samples, samples);
        let mut still = true;
        for (at, sense) in settling::repeats(step) {
            let again = self.read(step, sense, Micros(0), Bus::Moved, samples)?;
            still &= readings
                .get(at)
                .is_some_and(|reading| !settling::moved(*reading, again, allowed));
        }
        if still {
            return Ok(false);
        }
        let allowed = settling::allowed(step.samples, step.samples);
        let mut patience = Patience::new(step);
        let mut next = Readings::new();
        loop {
            let (extra, last) = patience.longer();
            self.read_all(step, extra, Bus::Moved, &mut next)?;
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

    fn read_all(
        &mut self,
        step: &Step,
        extra: Micros,
        first: Bus,
        readings: &mut Readings,
    ) -> Result<(), Refusal> {
        readings.clear();
        let mut bus = first;
        for sense in &step.senses {
            let reading = self.read(step, *sense, extra, bus, step.samples)?;
            // There are as many places as senses.
            let _ = readings.push(reading);
            bus = Bus::Moved;
        }
        Ok(())
    }

    fn read(
        &mut self,
        step: &Step,
        sense: Sense,
        extra: Micros,
        bus: Bus,
        samples: u8,
    ) -> Result<Reading, Refusal> {
        let route = Route::Lead(sense.lead, sense.mode.into());
        let bus = match bus {
            Bus::Moved if self.front.is_at(route) => Bus::Stayed,
            other => other,
        };
        self.front.go(route)?;
        let wait = settling::wait(step, sense.mode, bus);
        // Once more after every look that loaded what is read; each lead does so once.
        let sum = loop {
            self.pause(Micros(wait.0.saturating_add(extra.0)), route)?;
            if let Some(sum) = self.convert_undisturbed(samples, route)? {
                break sum;
            }
            self.pause(self.resettle, route)?;
        };
        if sum.above() || sum.at_zero() {
            // The converter cannot tell the end of its span from beyond it.
            if !interlock::harmless_while_driving(self.front.look(sense.lead)?) {
                let left = self.must_come_back(sense.lead)?;
                self.pause(WATCH_DUE, Route::Off)?;
                let seen = self.front.look(sense.lead)?;
                if interlock::returns(left, seen) {
                    return Err(Refusal::Live(sense.lead, seen));
                }
            }
        }
        Ok(settling::reading(&sum))
    }

    /// A lead was seen outside the limits of the watch: charge that leakage left
    /// on a floating net runs off, anything else is live. Returns where the
    /// lead is then, in millivolts; the bus is on nothing.
    fn must_come_back(&mut self, lead: LeadId) -> Result<i32, Refusal> {
        let left = self.front.drain_until(lead, HELD, interlock::came_back)?;
        if interlock::harmless_while_driving(left) {
            Ok(left)
        } else {
            Err(Refusal::Live(lead, left))
        }
    }

    /// Conversions, with the watch between them; `None` when a look loaded
    /// what is read.
    fn convert_undisturbed(&mut self, samples: u8, route: Route) -> Result<Option<Sum>, Refusal> {
        self.front.sample()?;
        let mut sum = Sum::default();
        for taken in 1..=samples {
            sum.add(self.front.convert()?);
            let due = taken % CONVERSIONS_A_CHECK == 0 && taken < samples && self.watch_is_due();
            if due && self.watch(route)? {
                return Ok(None);
            }
        }
        Ok(Some(sum))
    }

    /// Waits while driving: the trip input and the other leads are watched.
    /// After a look at a lead that follows what is driven, the wiring settles
    /// anew.
    fn pause(&mut self, span: Micros, route: Route) -> Result<(), Refusal> {
        let mut left = span.0;
        loop {
            if self.tripped()? {
                return Err(Refusal::Tripped);
            }
            // A look leaves a conversion running, which must not be cut short.
            if left >= CONVERSION.0 && self.watch_is_due() && self.watch(route)? {
                left = left.max(self.resettle.0);
            }
            let age = self.clock.now().0.wrapping_sub(self.looked.0);
            let slice = left.min(self.watch_due().saturating_sub(age).max(CONVERSION.0));
            self.front.wait(Micros(slice));
            left -= slice;
            if left == 0 {
                return Ok(());
            }
        }
    }

    /// Age of the last look at which the next is due, in microseconds: the
    /// longer a look takes, the earlier.
    fn watch_due(&self) -> u32 {
        WATCH_DUE
            .0
            .saturating_sub(self.recovery.0.saturating_sub(BUS_SETTLE.0))
    }

    fn watch_is_due(&mut self) -> bool {
        self.clock.now().0.wrapping_sub(self.looked.0) >= self.watch_due()
    }

    /// Looks at the next lead that is neither driven nor read. A lead that
    /// carries a voltage follows what is driven, and the look loads it: `true`
    /// is returned, and it is not looked at again in this step (what is read
    /// of its net watches it better). A lead outside the limits is drained and
    /// looked at again, and once more by the next look; `true` is returned the
    /// first time in a step, since it may hang on what is read.
    fn watch(&mut self, route: Route) -> Result<bool, Refusal> {
        let doubted = self.doubted.take().filter(|(lead, _, since)| {
            let now = self.clock.now();
            self.watchable.contains(*lead) && !interlock::passed(*since, now, RETURNS)
        });
        let next = doubted
            .map(|(lead, ..)| lead)
            .or_else(|| self.next_in_turn());
        let mut loaded = false;
        if let Some(lead) = next {
            let mv = self.front.glance(lead, route, self.recovery)?;
            if doubted.is_some_and(|(_, left, _)| interlock::returns(left, mv)) {
                return Err(Refusal::Live(lead, mv));
            }
            if !interlock::harmless_while_driving(mv) {
                let left = self.must_come_back(lead)?;
                self.doubted = Some((lead, left, self.clock.now()));
                self.front.go(route)?;
                self.front.wait(self.recovery);
                self.front.sample()?;
                loaded = !self.drained.contains(lead);
                self.drained.insert(lead);
            } else if interlock::follows(mv) {
                self.watchable.remove(lead);
                loaded = true;
            }
        }
        self.looked = self.clock.now();
        Ok(loaded)
    }

    /// The lead whose turn it is to be looked at.
    fn next_in_turn(&mut self) -> Option<LeadId> {
        let leads = u16::from(self.leads());
        let start = u16::from(self.watched) + 1;
        let next = (0..leads)
            .filter_map(|on| u8::try_from((start + on) % leads).ok())
            .find(|lead| self.watchable.contains(LeadId(*lead)));
        self.watched = next.unwrap_or(self.watched);
        next.map(LeadId)
    }
}
