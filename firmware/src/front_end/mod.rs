//! Drive, gate, sense select and converter as one instrument: the only place
//! that knows which register bit is which switch (`docs/probe-hardware.md`).
//!
//! Between steps every drive and gate pin is an input and the sense bus is
//! connected to nothing. A gate pin's latch stands at 1, so one direction
//! write closes or opens the disconnects of a bank.

mod driving;
pub mod guarding;
mod looking;
pub mod own;

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::{ErrorKind, SpiDevice};
use loomproof_core::units::Micros;
use loomproof_core::wire::{MAX_LEADS, Refusal};

use crate::ads8866::Ads8866;
use crate::interlock::WIDE_ZERO;
use crate::mcp23s17::{Expanders, MAX_CHIPS, Register, WRITE_TIME};
use crate::route::{HALF, Route};

/// How long the sense bus needs after it moved: protection resistor 22 kΩ into
/// the bus, 150 pF (`core::instrument`), is τ = 3.3 µs; half a step of 16 bits
/// takes ln 2^17 = 11.8 τ = 38.9 µs. What the wiring needs on top is the
/// step's `settle`. The wide divider's 1 kΩ leg makes τ 0.14 µs, so there one
/// conversion time is plenty.
pub const BUS_SETTLE: Micros = Micros(40);

/// Pins are all inputs.
const UNDRIVEN: u16 = 0xFFFF;

/// Latch of the gate pins, ready to close.
const GATE_LATCH: u16 = 0xFFFF;

/// Why the front end did not do as told. Either way the probe refuses and lets
/// go; the chips are set up afresh by the next arm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrontError {
    /// The bus failed.
    Spi(ErrorKind),
    /// A register does not read back as it was written.
    ReadBack,
    /// The sense bus does not stand at the shift of the wide range with no lead
    /// on it.
    Shift,
}

impl From<FrontError> for Refusal {
    fn from(_: FrontError) -> Self {
        Self::Hardware
    }
}

fn bus(error: impl embedded_hal::spi::Error) -> FrontError {
    FrontError::Spi(error.kind())
}

/// The chips of the probe, with shadows of what was written to them.
#[derive(Debug)]
pub struct FrontEnd<D, G, S, A, W> {
    drive: Expanders<D>,
    gate: Expanders<G>,
    select: Expanders<S>,
    adc: Ads8866<A>,
    delay: W,
    banks: usize,
    leads: u8,
    latches: [u16; MAX_CHIPS],
    /// Pins that are, or by a failed write may be, driven.
    driven: [u16; MAX_CHIPS],
    /// The pulls of guarded leads are, or by a failed write may be, on.
    pulls: bool,
    route: Route,
    /// Code of the shift of the wide range.
    zero: u16,
}

impl<D, G, S, A, W> FrontEnd<D, G, S, A, W>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    W: DelayNs,
{
    /// A front end without leads; [`Self::discover`] finds them.
    pub const fn new(drive: D, gate: G, select: S, adc: A, delay: W) -> Self {
        Self {
            drive: Expanders::new(drive),
            gate: Expanders::new(gate),
            select: Expanders::new(select),
            adc: Ads8866::new(adc),
            delay,
            banks: 0,
            leads: 0,
            latches: [0; MAX_CHIPS],
            driven: [0; MAX_CHIPS],
            pulls: false,
            route: Route::Off,
            zero: WIDE_ZERO,
        }
    }

    /// How many leads can be read.
    pub const fn leads(&self) -> u8 {
        self.leads
    }

    /// Whether the drive and gate chips were found.
    pub const fn can_drive(&self) -> bool {
        self.banks != 0
    }

    /// Where the sense bus is.
    pub const fn route(&self) -> Route {
        self.route
    }

    /// Whether the sense bus is there already.
    pub fn is_at(&self, route: Route) -> bool {
        self.route == route
    }

    /// Waits.
    pub fn wait(&mut self, span: Micros) {
        self.delay.delay_us(span.0);
    }

    /// Lets go of everything, at whatever state the chips are, and counts the
    /// leads: banks whose drive and gate chips both answer, contiguous from
    /// address 0, as far as there are select chips. With `tripped` the drive
    /// and gate chips are held in reset and cannot be counted; the select
    /// chips alone then say how many leads can be read (64 each).
    ///
    /// # Errors
    /// The bus error; there are then no leads.
    pub fn discover(&mut self, tripped: bool) -> Result<(), FrontError> {
        self.banks = 0;
        self.leads = 0;
        self.gate.enable_addresses().map_err(bus)?;
        self.drive.enable_addresses().map_err(bus)?;
        for address in 0..MAX_CHIPS as u8 {
            self.gate
                .write(address, Register::Direction, UNDRIVEN)
                .map_err(bus)?;
        }
        for address in 0..MAX_CHIPS as u8 {
            self.drive
                .write(address, Register::Direction, UNDRIVEN)
                .map_err(bus)?;
        }
        self.select.enable_addresses().map_err(bus)?;
        let mut readable = 0;
        for half in 0..2 {
            self.select
                .write(half, Register::Direction, UNDRIVEN)
                .map_err(bus)?;
            if !self.select.present(half, 0).map_err(bus)? {
                break;
            }
            readable += HALF;
        }
        let mut banks = 0;
        while !tripped
            && banks < MAX_CHIPS as u8
            && self.gate.present(banks, GATE_LATCH).map_err(bus)?
            && self.drive.present(banks, 0).map_err(bus)?
        {
            banks += 1;
        }
        self.prepare_sense()?;
        self.latches = [0; MAX_CHIPS];
        self.driven = [0; MAX_CHIPS];
        self.leads = if tripped {
            readable
        } else {
            readable.min(banks * 16)
        };
        self.banks = usize::from(banks.min(self.leads / 16));
        Ok(())
    }

    /// Sets the select chips up and takes the sense bus off everything.
    ///
    /// # Errors
    /// The bus error.
    pub fn prepare_sense(&mut self) -> Result<(), FrontError> {
        self.select.enable_addresses().map_err(bus)?;
        for half in 0..2 {
            self.select.write(half, Register::Latch, 0).map_err(bus)?;
            self.select
                .write(half, Register::Direction, 0)
                .map_err(bus)?;
        }
        self.route = Route::Off;
        Ok(())
    }

    /// Connects the sense bus; writes only what changes, and disconnects
    /// before it connects when it moves from one select chip to the other.
    /// After an error only [`Self::prepare_sense`] makes the shadows true again.
    ///
    /// # Errors
    /// The bus error.
    pub fn go(&mut self, route: Route) -> Result<(), FrontError> {
        let [first_was, second_was] = self.route.ports();
        let [first, second] = route.ports();
        if second == 0 && second != second_was {
            self.select.write(1, Register::Latch, second).map_err(bus)?;
        }
        if first != first_was {
            self.select.write(0, Register::Latch, first).map_err(bus)?;
        }
        if second != 0 && second != second_was {
            self.select.write(1, Register::Latch, second).map_err(bus)?;
        }
        self.route = route;
        Ok(())
    }

    /// Samples the sense bus now; returns the sample before.
    ///
    /// # Errors
    /// The bus error.
    pub fn sample(&mut self) -> Result<u16, FrontError> {
        self.adc.sample().map_err(bus)
    }

    /// Waits for the running conversion, returns it and starts the next.
    ///
    /// # Errors
    /// The bus error.
    pub fn convert(&mut self) -> Result<u16, FrontError> {
        self.adc.next(&mut self.delay, Micros(0)).map_err(bus)
    }

    /// Routes the bus while a conversion runs, waits for its end, returns it
    /// and samples what the bus is on now. Only for the wide divider, which
    /// settles in what is left of the conversion.
    fn convert_at(&mut self, route: Route) -> Result<u16, FrontError> {
        let passed = look_head_start(self.route, route);
        self.go(route)?;
        self.adc.next(&mut self.delay, passed).map_err(bus)
    }
}

/// How much of a running conversion is over once the bus has been routed.
#[must_use]
pub fn look_head_start(from: Route, to: Route) -> Micros {
    if to.writes_from(from) == 0 {
        Micros(0)
    } else {
        WRITE_TIME
    }
}

fn check<S: SpiDevice>(
    chips: &mut Expanders<S>,
    address: u8,
    register: Register,
    wanted: u16,
) -> Result<(), FrontError> {
    if chips.read(address, register).map_err(bus)? == wanted {
        Ok(())
    } else {
        Err(FrontError::ReadBack)
    }
}

const _: () = assert!(MAX_CHIPS * 16 == MAX_LEADS && MAX_LEADS == 2 * HALF as usize);
