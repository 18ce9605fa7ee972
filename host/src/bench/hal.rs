//! The bench as embedded-hal 1.0 sees it: the chip selects as SPI devices, the
//! trip and rearm pins, a delay and the clock.

use super::{Bench, BenchError, Device};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType as PinErrorType, InputPin, OutputPin};
use embedded_hal::spi::{ErrorType as SpiErrorType, Operation, SpiDevice};
use std::cell::RefCell;
use std::convert::Infallible;
use std::rc::Rc;

/// A bench shared by all that is connected to it.
#[derive(Clone)]
pub struct Shared(pub Rc<RefCell<Bench>>);

impl Shared {
    /// Shares a bench.
    #[must_use]
    pub fn new(bench: Bench) -> Self {
        Self(Rc::new(RefCell::new(bench)))
    }

    /// One chip select.
    #[must_use]
    pub fn spi(&self, device: Device) -> Spi {
        Spi {
            bench: Rc::clone(&self.0),
            device,
            data: Vec::new(),
        }
    }

    /// The trip input: high = tripped.
    #[must_use]
    pub fn trip(&self) -> Trip {
        Trip(Rc::clone(&self.0))
    }

    /// The rearm output.
    #[must_use]
    pub fn rearm(&self) -> Rearm {
        Rearm(Rc::clone(&self.0))
    }

    /// A delay on the virtual clock.
    #[must_use]
    pub fn delay(&self) -> Delay {
        Delay(Rc::clone(&self.0))
    }

    /// Puts a switch of the plan into a state.
    ///
    /// # Errors
    /// As [`Bench::set_switch`].
    pub fn set_switch(&self, name: &str, state: &str) -> Result<(), BenchError> {
        self.0.borrow_mut().set_switch(name, state)
    }

    /// Lets virtual time pass.
    pub fn wait(&self, span: std::time::Duration) {
        let span = u64::try_from(span.as_nanos()).unwrap_or(u64::MAX);
        self.0.borrow_mut().wait(span);
    }

    /// The virtual clock, ns since power-up.
    #[must_use]
    pub fn now(&self) -> u64 {
        self.0.borrow().now_ns()
    }
}

/// One chip select of the bench.
#[derive(Clone)]
pub struct Spi {
    bench: Rc<RefCell<Bench>>,
    device: Device,
    /// Room for what is clocked.
    data: Vec<u8>,
}

impl SpiErrorType for Spi {
    type Error = Infallible;
}

impl SpiDevice for Spi {
    /// All operations under one chip select. Delays among them are spent
    /// before the first bit.
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let data = &mut self.data;
        data.clear();
        let mut delay = 0_u64;
        for operation in operations.iter() {
            match operation {
                Operation::Read(into) => data.resize(data.len() + into.len(), 0),
                Operation::Write(from) => data.extend_from_slice(from),
                Operation::Transfer(into, from) => {
                    let end = data.len() + into.len().max(from.len());
                    data.extend_from_slice(from);
                    data.resize(end, 0);
                }
                Operation::TransferInPlace(both) => data.extend_from_slice(both),
                Operation::DelayNs(ns) => delay += u64::from(*ns),
            }
        }
        let mut bench = self.bench.borrow_mut();
        if delay > 0 {
            bench.wait(delay);
        }
        bench.transfer(self.device, data);
        let mut rest = data.as_slice();
        for operation in operations.iter_mut() {
            let (into, length): (&mut [u8], usize) = match operation {
                Operation::Read(into) => {
                    let length = into.len();
                    (into, length)
                }
                Operation::Write(from) => (&mut [], from.len()),
                Operation::Transfer(into, from) => {
                    let length = into.len().max(from.len());
                    (into, length)
                }
                Operation::TransferInPlace(both) => {
                    let length = both.len();
                    (both, length)
                }
                Operation::DelayNs(_) => (&mut [], 0),
            };
            let (own, after) = rest.split_at(length);
            into.copy_from_slice(&own[..into.len()]);
            rest = after;
        }
        Ok(())
    }
}

/// The trip input.
#[derive(Clone)]
pub struct Trip(Rc<RefCell<Bench>>);

impl PinErrorType for Trip {
    type Error = Infallible;
}

impl InputPin for Trip {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.borrow().tripped())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.borrow().tripped())
    }
}

/// The rearm output.
#[derive(Clone)]
pub struct Rearm(Rc<RefCell<Bench>>);

impl PinErrorType for Rearm {
    type Error = Infallible;
}

impl OutputPin for Rearm {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().set_rearm(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().set_rearm(true);
        Ok(())
    }
}

/// A delay on the virtual clock.
#[derive(Clone)]
pub struct Delay(Rc<RefCell<Bench>>);

impl DelayNs for Delay {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().wait(u64::from(ns));
    }

    fn delay_us(&mut self, us: u32) {
        self.0.borrow_mut().wait(u64::from(us) * 1_000);
    }

    fn delay_ms(&mut self, ms: u32) {
        self.0.borrow_mut().wait(u64::from(ms) * 1_000_000);
    }
}
