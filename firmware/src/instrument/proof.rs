//! The probe shows that it works: its chips, and each channel by itself.
//!
//! Every part of [`Instrument::prove`] drives one channel. It lasts less than a
//! cycle of the watch (32 conversions at an SPI clock of 1 MHz are 0.8 ms), or it
//! is a watched step.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use loomproof_core::instrument::REFERENCE;
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{
    Channel, ChassisCheck, Inspection, LeadId, LeadSet, Place, Proof, Reading, Refusal, Sense,
    SenseMode, Step, ZERO_CONVERSIONS,
};

use super::Instrument;
use crate::Clock;
use crate::front_end::BUS_SETTLE;
use crate::front_end::own::PULL_SETTLE;
use crate::interlock;
use crate::route::{Load, Route};

/// Conversions of a reading while nothing is driven, and in the watched steps.
const SAMPLES: u8 = 64;

/// Conversions of a reading while something is driven that no watch goes with.
const UNWATCHED_SAMPLES: u8 = 32;

/// Settling of the wiring in the watched steps: 36 nF behind a source (725 Ω, 12 τ).
const SETTLE: Micros = Micros(300);

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
    /// Asks the chips and looks at the sense bus; no lead is driven or joined.
    ///
    /// # Errors
    /// [`Refusal::Hardware`] if the bus itself fails.
    pub fn inspect(&mut self) -> Result<Inspection, Refusal> {
        let tripped = self.clear_trip()?;
        let found = self.front.answering()?;
        let shift = self
            .front
            .mean_at(Route::Empty(Load::Wide), BUS_SETTLE, SAMPLES)?;
        let up = self
            .front
            .mean_at(Route::Empty(Load::PullUp), PULL_SETTLE, SAMPLES)?;
        let down = self
            .front
            .mean_at(Route::Empty(Load::PullDown), PULL_SETTLE, SAMPLES)?;
        let lit = self.front.lit(ZERO_CONVERSIONS)?;
        self.front.go(Route::Off)?;
        Ok(Inspection {
            drive: found.drive,
            gate: found.gate,
            select: found.select,
            tripped,
            shift,
            up,
            down,
            lit,
        })
    }

    /// Drives and reads one channel by itself.
    ///
    /// # Errors
    /// What stands in the way; nothing is driven then.
    pub fn prove(&mut self, channel: Channel) -> Result<Proof, Refusal> {
        if let Channel::Lead(lead) = channel
            && lead.0 >= self.leads()
        {
            return Err(Refusal::NoSuchLead(lead));
        }
        if self.tripped()? {
            self.front.let_go_of_all()?;
            return Err(Refusal::Tripped);
        }
        let outcome = match channel {
            Channel::Lead(lead) => self.prove_lead(lead),
            Channel::Chassis => self.prove_chassis(),
        };
        let open = self.front.let_go();
        if self.tripped()? && !matches!(outcome, Err(Refusal::Live(..))) {
            return Err(Refusal::Tripped);
        }
        open?;
        outcome
    }

    fn prove_lead(&mut self, lead: LeadId) -> Result<Proof, Refusal> {
        let one = LeadSet::from(lead);
        let on = |load| Route::Lead(lead, load);
        self.must_be_dead(&one)?;
        let front = &mut self.front;
        let shared = front.share_charge(on(Load::Plain))?;
        let idle_up = front.mean_at(on(Load::PullUp), PULL_SETTLE, SAMPLES)?;
        let idle_down = front.mean_at(on(Load::PullDown), PULL_SETTLE, SAMPLES)?;

        self.must_be_dead(&one)?;
        let front = &mut self.front;
        front.set_pin(lead, true)?;
        let pin_high = front.pin_is_high(lead)?;
        let open_down = front.mean_at(on(Load::PullDown), BUS_SETTLE, UNWATCHED_SAMPLES)?;
        front.let_go()?;
        front.set_pin(lead, true)?;
        let open_up = front.mean_at(on(Load::PullUp), BUS_SETTLE, UNWATCHED_SAMPLES)?;
        front.let_go()?;
        front.set_pin(lead, false)?;
        let pin_low = !front.pin_is_high(lead)?;
        front.let_go()?;

        self.must_be_dead(&one)?;
        let front = &mut self.front;
        front.drive(&one, &LeadSet::EMPTY)?;
        let off_down = front.mean_at(
            Route::Beside(lead, Load::PullDown),
            PULL_SETTLE,
            UNWATCHED_SAMPLES / 4,
        )?;
        front.turn_low()?;
        front.wait(BUS_SETTLE);
        front.let_go()?;

        let modes = [SenseMode::PullUp, SenseMode::PullDown];
        let [high_up, high_down] = self.step_on(lead, true, modes)?;
        let [low_up, _] = self.step_on(lead, false, [SenseMode::PullUp; 2])?;
        Ok(Proof {
            pin_high,
            pin_low,
            shared,
            idle_up,
            idle_down,
            open_up,
            open_down,
            high_up,
            high_down,
            low_up,
            off_down,
        })
    }

    /// One lead driven and read in two ways, watched.
    fn step_on(
        &mut self,
        lead: LeadId,
        high: bool,
        modes: [SenseMode; 2],
    ) -> Result<[MicroVolts; 2], Refusal> {
        let one = LeadSet::from(lead);
        let (up, down) = if high {
            (one, LeadSet::EMPTY)
        } else {
            (LeadSet::EMPTY, one)
        };
        let step = Step {
            high: up,
            low: down,
            settle: SETTLE,
            pulled: PULL_SETTLE,
            samples: SAMPLES,
            senses: modes.map(|mode| Sense { lead, mode }).into_iter().collect(),
        };
        let mut readings = heapless::Vec::new();
        self.step(&step, Place::Vehicle, &mut readings)?;
        let at = |place: usize| level(readings.get(place).copied());
        Ok([at(0), at(1)])
    }

    fn prove_chassis(&mut self) -> Result<Proof, Refusal> {
        let front = &mut self.front;
        let undriven = interlock::chassis_undriven(front.look_at_chassis()?);
        if undriven != ChassisCheck::Agree {
            return Err(Refusal::Chassis(undriven));
        }
        let shared = front.share_charge(Route::Chassis(Load::Plain))?;
        let idle_up = front.mean_at(Route::Chassis(Load::PullUp), PULL_SETTLE, SAMPLES)?;
        let idle_down = front.mean_at(Route::Chassis(Load::PullDown), PULL_SETTLE, SAMPLES)?;
        let mut driven = |route| {
            let level = front.mean_at(route, BUS_SETTLE, UNWATCHED_SAMPLES)?;
            front.go(Route::Off)?;
            Ok::<_, Refusal>(level)
        };
        Ok(Proof {
            pin_high: true,
            pin_low: true,
            shared,
            idle_up,
            idle_down,
            open_up: idle_up,
            open_down: idle_down,
            high_up: driven(Route::ChassisDriven(Load::PullUp))?,
            high_down: driven(Route::ChassisDriven(Load::PullDown))?,
            low_up: idle_up,
            off_down: driven(Route::ChassisUnread(Load::PullDown))?,
        })
    }
}

/// The level of a reading; an end of the span counts as that end.
fn level(reading: Option<Reading>) -> MicroVolts {
    match reading {
        Some(Reading::Volts(level) | Reading::NotSettled(level)) => level,
        Some(Reading::Above) => MicroVolts((REFERENCE.0 * 1e6) as i32),
        Some(Reading::Below) | None => MicroVolts(0),
    }
}
