//! What the probe does with its front end: survey, arm, step, watch, guard.

mod arming;
mod guarding;
mod proof;
mod stepping;
mod watching;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use heapless::Vec;
use loomproof_core::units::Micros;
use loomproof_core::wire::{LeadId, LeadSet, Reading, Refusal};

use crate::ads8866::CONVERSION;
use crate::front_end::{BUS_SETTLE, FrontEnd};
use crate::interlock::{self, HELD, RETURNS, WATCH_DUE};
use crate::route::Route;
use crate::{Clock, Parts};

/// Length of the pulse that clears the trip latch, and the wait after it.
const REARM_PULSE: Micros = Micros(10);

/// Readings of a step.
pub type Readings = Vec<Reading, { loomproof_core::wire::MAX_SENSES }>;

/// What came of the turn of the watch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Turn {
    /// No lead is left to be looked at.
    NoLead,
    /// A lead was looked at; the bus is back, and was waited for.
    Harmless,
    /// The same, but the look loaded what is read.
    Loaded,
}

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

    /// Waits while driving: the trip input and the other leads are watched. What a
    /// look waits for at its end, the bus back on `route`, is part of the wait.
    /// After a look at a lead that follows what is driven, the wiring settles anew.
    fn pause(&mut self, span: Micros, route: Route) -> Result<(), Refusal> {
        let mut left = span.0;
        loop {
            if self.tripped()? {
                return Err(Refusal::Tripped);
            }
            // A look leaves a conversion running, which must not be cut short.
            if left >= CONVERSION.0 && self.watch_is_due() {
                left = match self.watch(route)? {
                    Turn::NoLead => left,
                    Turn::Harmless => left.saturating_sub(self.recovery.0).max(CONVERSION.0),
                    Turn::Loaded => left.max(self.resettle.0),
                };
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
    /// carries a voltage follows what is driven, and the look loads it:
    /// [`Turn::Loaded`] is returned, and it is not looked at again in this step (what
    /// is read of its net watches it better). A lead outside the limits is drained and
    /// looked at again, and once more by the next look; [`Turn::Loaded`] is returned
    /// the first time in a step, since it may hang on what is read.
    fn watch(&mut self, route: Route) -> Result<Turn, Refusal> {
        let doubted = self.doubted.take().filter(|(lead, _, since)| {
            let now = self.clock.now();
            self.watchable.contains(*lead) && !interlock::passed(*since, now, RETURNS)
        });
        let next = doubted
            .map(|(lead, ..)| lead)
            .or_else(|| self.next_in_turn());
        let mut turn = Turn::NoLead;
        if let Some(lead) = next {
            turn = Turn::Harmless;
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
                if !self.drained.contains(lead) {
                    turn = Turn::Loaded;
                }
                self.drained.insert(lead);
            } else if interlock::follows(mv) {
                self.watchable.remove(lead);
                turn = Turn::Loaded;
            }
        }
        self.looked = self.clock.now();
        Ok(turn)
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
