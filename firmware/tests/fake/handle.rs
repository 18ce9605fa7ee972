//! What the drivers hold of the world: buses, pins, waiting and the clock.

use std::cell::RefCell;
use std::convert::Infallible;
use std::rc::Rc;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::spi::{ErrorKind, ErrorType, Operation, SpiDevice};
use loomproof_core::units::Micros;
use loomproof_firmware::Clock;

use super::world::{Cs, World};

/// A handle on one part of the world.
#[derive(Clone)]
pub struct Handle(pub Rc<RefCell<World>>, pub Cs);

impl ErrorType for Handle {
    type Error = ErrorKind;
}

impl SpiDevice for Handle {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), ErrorKind> {
        let mut world = self.0.borrow_mut();
        if let Some(left) = world.fails_in.as_mut() {
            *left = left.saturating_sub(1);
            if *left == 0 {
                return Err(ErrorKind::Other);
            }
        }
        let mut sent = vec![];
        for operation in operations {
            match operation {
                Operation::Write(bytes) => sent.extend_from_slice(bytes),
                Operation::Read(reply) => world.transfer(self.1, &sent, reply),
                _ => panic!("the drivers only write, and write and read"),
            }
        }
        if sent.len() > 2 {
            world.transfer(self.1, &sent, &mut []);
        }
        Ok(())
    }
}

impl digital::ErrorType for Handle {
    type Error = Infallible;
}

impl InputPin for Handle {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.borrow().latched)
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.borrow().latched)
    }
}

impl OutputPin for Handle {
    fn set_high(&mut self) -> Result<(), Infallible> {
        let mut world = self.0.borrow_mut();
        world.held_high = true;
        if !world.cause() {
            world.latched = false;
        }
        Ok(())
    }
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().held_high = false;
        Ok(())
    }
}

impl DelayNs for Handle {
    fn delay_ns(&mut self, ns: u32) {
        let mut world = self.0.borrow_mut();
        world.waited_ns += u64::from(ns);
        world.advance(u64::from(ns));
    }
}

impl Clock for Handle {
    fn now(&mut self) -> Micros {
        // Starts shortly before the clock wraps.
        Micros((self.0.borrow().ns / 1_000) as u32).wrapping(u32::MAX - 50_000)
    }
}

trait Wrapping {
    fn wrapping(self, start: u32) -> Self;
}

impl Wrapping for Micros {
    fn wrapping(self, start: u32) -> Self {
        Self(self.0.wrapping_add(start))
    }
}
