//! Drive, gate, sense select and converter as one instrument: the only place
//! that knows which register bit is which switch (`docs/probe-hardware.md`).
//!
//! Between steps every drive and gate pin is an input and the sense bus is
//! connected to nothing. A gate pin's latch stands at 1, so one direction
//! write closes or opens the disconnects of a bank.

pub mod guarding;
pub mod own;

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::{ErrorKind, SpiDevice};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::{LeadId, LeadSet, MAX_LEADS, Refusal};

use crate::ads8866::{Ads8866, CONVERSION, Sum};
use crate::interlock::{WIDE_ZERO, plausible_zero, wide_mv};
use crate::mcp23s17::{CONTROL_SET, Expanders, MAX_CHIPS, Register, WRITE_TIME};
use crate::route::{HALF, Load, Route, bank_word};

/// How long the sense bus needs after it moved: protection resistor 22 kΩ into
/// the bus, 150 pF (`core::instrument`), is τ = 3.3 µs; half a step of 16 bits
/// takes ln 2^17 = 11.8 τ = 38.9 µs. What the wiring needs on top is the
/// step's `settle`. The wide divider's 1 kΩ leg makes τ 0.14 µs, so there one
/// conversion time is plenty.
pub const BUS_SETTLE: Micros = Micros(40);

/// Wait before C2 is read driven: the bus, and twelve times 680 Ω into 1 nF of clip lead.
const CHASSIS_SETTLE: Micros = Micros(BUS_SETTLE.0 + 9);

/// Conversions averaged for the driven chassis lead: 30 µV, of 50 mV that are told apart.
const CHASSIS_SAMPLES: u8 = 4;

/// Conversions averaged for the shift of the wide range: 30 µV, 0.7 mV at a lead.
const ZERO_SAMPLES: u32 = 4;

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

    /// Sets the drive and gate chips up, let go, and reads everything back: a
    /// trip, or a dip of the supply, resets them, and a chip without hardware
    /// address would answer to another chip's writes.
    ///
    /// # Errors
    /// The bus error, or [`FrontError::ReadBack`].
    pub fn prepare_drive(&mut self) -> Result<(), FrontError> {
        self.let_go_of_all()?;
        self.gate.enable_addresses().map_err(bus)?;
        self.drive.enable_addresses().map_err(bus)?;
        for address in 0..self.banks as u8 {
            write_checked(&mut self.gate, address, Register::Direction, UNDRIVEN)?;
            write_checked(&mut self.gate, address, Register::Latch, GATE_LATCH)?;
            check(&mut self.gate, address, Register::Control, CONTROL_SET)?;
            write_checked(&mut self.drive, address, Register::Direction, UNDRIVEN)?;
            write_checked(&mut self.drive, address, Register::Latch, 0)?;
            check(&mut self.drive, address, Register::Control, CONTROL_SET)?;
        }
        self.latches = [0; MAX_CHIPS];
        Ok(())
    }

    /// Drives a pattern: levels and directions first, then the disconnects,
    /// and reads the directions back. Only banks with a driven lead are
    /// touched, and a latch only when it changes. Whoever calls this has to
    /// [`Self::let_go`], on an error too.
    ///
    /// # Errors
    /// The bus error, or [`FrontError::ReadBack`].
    pub fn drive(&mut self, high: &LeadSet, low: &LeadSet) -> Result<(), FrontError> {
        if in_use(self.driven).next().is_some() {
            // Something could not be proved open: never drive on top of it.
            return Err(FrontError::ReadBack);
        }
        let banks = self
            .latches
            .iter_mut()
            .zip(&mut self.driven)
            .take(self.banks);
        for (bank, (latch, driven)) in banks.enumerate() {
            let up = bank_word(high, bank);
            let on = up | bank_word(low, bank);
            if on == 0 {
                continue;
            }
            let wanted = *latch & !on | up;
            if wanted != *latch {
                self.drive
                    .write(bank as u8, Register::Latch, wanted)
                    .map_err(bus)?;
                *latch = wanted;
            }
            *driven = on;
            self.drive
                .write(bank as u8, Register::Direction, !on)
                .map_err(bus)?;
        }
        for (bank, on) in in_use(self.driven) {
            self.gate
                .write(bank, Register::Direction, !on)
                .map_err(bus)?;
        }
        for (bank, on) in in_use(self.driven) {
            check(&mut self.gate, bank, Register::Direction, !on)?;
            check(&mut self.drive, bank, Register::Direction, !on)?;
        }
        Ok(())
    }

    /// Turns every source low: what was charged discharges through the source
    /// resistors.
    ///
    /// # Errors
    /// The bus error.
    pub fn turn_low(&mut self) -> Result<(), FrontError> {
        for (bank, (latch, driven)) in (0..).zip(self.latches.iter_mut().zip(self.driven)) {
            if *latch & driven != 0 {
                *latch &= !driven;
                self.drive
                    .write(bank, Register::Latch, *latch)
                    .map_err(bus)?;
            }
        }
        Ok(())
    }

    /// Lets go of what [`Self::drive`] drove, disconnects first, reads the
    /// directions back and takes the sense bus off. Goes on through errors.
    ///
    /// # Errors
    /// The first bus error, or [`FrontError::ReadBack`]; what could not be
    /// proved open is let go of again the next time.
    pub fn let_go(&mut self) -> Result<(), FrontError> {
        let mut outcome = Ok(());
        for (bank, _) in in_use(self.driven) {
            let gate = self.gate.write(bank, Register::Direction, UNDRIVEN);
            outcome = outcome.and(gate.map_err(bus));
        }
        for (bank, _) in in_use(self.driven) {
            let drive = self.drive.write(bank, Register::Direction, UNDRIVEN);
            outcome = outcome.and(drive.map_err(bus));
        }
        if self.pulls {
            outcome = outcome.and(self.pulls_off());
        }
        for (bank, _) in in_use(self.driven) {
            let open = check(&mut self.gate, bank, Register::Direction, UNDRIVEN).and(check(
                &mut self.drive,
                bank,
                Register::Direction,
                UNDRIVEN,
            ));
            match (open, self.driven.get_mut(usize::from(bank))) {
                (Ok(()), Some(driven)) => *driven = 0,
                (open, _) => outcome = outcome.and(open),
            }
        }
        let parked = self.go(Route::Off);
        outcome.and(parked)
    }

    /// As [`Self::let_go`], but of every bank, driven or not.
    ///
    /// # Errors
    /// As [`Self::let_go`].
    pub fn let_go_of_all(&mut self) -> Result<(), FrontError> {
        for driven in self.driven.iter_mut().take(self.banks) {
            *driven = u16::MAX;
        }
        self.let_go()
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

    /// Looks at leads through the wide divider, in rising order, one
    /// conversion each: while one lead's conversion runs, the next is routed.
    ///
    /// # Errors
    /// The bus error.
    pub fn look_each(
        &mut self,
        leads: &LeadSet,
        mut seen: impl FnMut(LeadId, i32),
    ) -> Result<(), FrontError> {
        let mut before = None;
        for lead in leads.iter() {
            let mv = self.look_on(lead)?;
            if let Some(before) = before.replace(lead) {
                seen(before, mv);
            }
        }
        if let Some(last) = before {
            seen(last, self.last_look()?);
        }
        Ok(())
    }

    /// Looks at one lead through the wide divider, in millivolts.
    ///
    /// # Errors
    /// The bus error.
    pub fn look(&mut self, lead: LeadId) -> Result<i32, FrontError> {
        self.look_on(lead)?;
        self.last_look()
    }

    /// Looks at one lead through the wide divider and comes back to `back`,
    /// settled for `recovery` and with a conversion of it running. The lead is
    /// loaded only until it is sampled, and the bus is emptied through the
    /// divider's leg (1 kΩ and 150 pF: 1.8 µs, less than the next write takes),
    /// so that it carries nothing over to a lead that only a weak pull holds.
    ///
    /// # Errors
    /// The bus error.
    pub fn glance(
        &mut self,
        lead: LeadId,
        back: Route,
        recovery: Micros,
    ) -> Result<i32, FrontError> {
        self.convert_at(Route::Lead(lead, Load::Wide))?;
        self.go(Route::Empty(Load::Wide))?;
        self.go(back)?;
        self.wait(recovery);
        Ok(wide_mv(self.sample()?, self.zero))
    }

    /// Looks at one lead through the wide divider, which drains it, until a look
    /// satisfies `enough` or `span` is over; what the last look saw. The bus is
    /// emptied afterwards and connected to nothing.
    ///
    /// # Errors
    /// The bus error.
    pub fn drain_until(
        &mut self,
        lead: LeadId,
        span: Micros,
        enough: impl Fn(i32) -> bool,
    ) -> Result<i32, FrontError> {
        self.convert_at(Route::Lead(lead, Load::Wide))?;
        let mut left = span.0;
        loop {
            let mv = wide_mv(self.convert()?, self.zero);
            left = left.saturating_sub(CONVERSION.0);
            if enough(mv) || left == 0 {
                self.go(Route::Empty(Load::Wide))?;
                self.go(Route::Off)?;
                return Ok(mv);
            }
        }
    }

    /// Looks at this lead through the wide divider; what the look before saw.
    ///
    /// # Errors
    /// The bus error.
    pub fn look_on(&mut self, lead: LeadId) -> Result<i32, FrontError> {
        let code = self.convert_at(Route::Lead(lead, Load::Wide))?;
        Ok(wide_mv(code, self.zero))
    }

    /// What the last look saw.
    ///
    /// # Errors
    /// The bus error.
    pub fn last_look(&mut self) -> Result<i32, FrontError> {
        Ok(wide_mv(self.convert()?, self.zero))
    }

    /// Measures the shift of the wide range, with no lead on the bus: 0.1 % of
    /// it is 38 mV at a lead (`docs/probe-hardware.md`, S55).
    ///
    /// # Errors
    /// The bus error, or [`FrontError::Shift`] if it cannot be that.
    pub fn measure_zero(&mut self) -> Result<(), FrontError> {
        self.go(Route::Empty(Load::Wide))?;
        self.convert()?;
        let mut codes = 0;
        for _ in 0..ZERO_SAMPLES {
            codes += u32::from(self.convert()?);
        }
        let mean = (codes + ZERO_SAMPLES / 2) / ZERO_SAMPLES;
        match u16::try_from(mean) {
            Ok(zero) if plausible_zero(zero) => self.zero = zero,
            _ => return Err(FrontError::Shift),
        }
        Ok(())
    }

    /// C2 against C1, undriven, in millivolts.
    ///
    /// # Errors
    /// The bus error.
    pub fn look_at_chassis(&mut self) -> Result<i32, FrontError> {
        self.go(Route::Chassis(Load::Wide))?;
        self.convert()?;
        let code = self.convert()?;
        self.go(Route::Off)?;
        Ok(wide_mv(code, self.zero))
    }

    /// The voltage that C2 rises to when driven.
    ///
    /// # Errors
    /// The bus error.
    pub fn drive_chassis(&mut self) -> Result<MicroVolts, FrontError> {
        self.go(Route::ChassisDriven(Load::Plain))?;
        self.wait(CHASSIS_SETTLE);
        let sum = self.sample().and_then(|_| {
            let mut sum = Sum::default();
            for _ in 0..CHASSIS_SAMPLES {
                sum.add(self.convert()?);
            }
            Ok(sum)
        });
        self.go(Route::Off)?;
        Ok(sum?.mean())
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

/// The banks with a driven lead, and which.
fn in_use(driven: [u16; MAX_CHIPS]) -> impl Iterator<Item = (u8, u16)> {
    (0..MAX_CHIPS as u8).zip(driven).filter(|(_, on)| *on != 0)
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

fn write_checked<S: SpiDevice>(
    chips: &mut Expanders<S>,
    address: u8,
    register: Register,
    ports: u16,
) -> Result<(), FrontError> {
    chips.write(address, register, ports).map_err(bus)?;
    check(chips, address, register, ports)
}

const _: () = assert!(MAX_CHIPS * 16 == MAX_LEADS && MAX_LEADS == 2 * HALF as usize);
