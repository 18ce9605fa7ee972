//! The probe firmware in this process, on the virtual bench.
//!
//! It is reached through the same frames as any other probe.

use super::{LinkError, Session, Transport, TransportError};
use crate::bench::hal::{Delay, Rearm, Shared, Spi, Trip};
use crate::bench::{Bench, Device, VirtualFlash};
use loomproof_core::units::Micros;
use loomproof_firmware::alone::{Alone, Panel};
use loomproof_firmware::memory::Flash;
use loomproof_firmware::{Clock, Identity, Parts, Probe};
use std::collections::VecDeque;
use std::time::Instant;

/// The bench's virtual clock, as the probe sees it.
#[derive(Clone)]
struct BenchClock(Shared);

impl Clock for BenchClock {
    fn now(&mut self) -> Micros {
        // The probe's clock wraps at 32 bits.
        Micros((self.0.now() / 1000) as u32)
    }
}

const IDENTITY: Identity = Identity {
    board: "virtual",
    serial: "virtual",
    build: env!("CARGO_PKG_VERSION"),
};

type Firmware = Probe<Spi, Spi, Spi, Spi, Trip, Rearm, Delay, BenchClock, Flash<VirtualFlash>>;

/// A probe with its bench.
pub struct VirtualProbe {
    probe: Firmware,
    bench: Shared,
    flash: VirtualFlash,
}

/// The firmware, from its start.
fn start(bench: &Shared, flash: &VirtualFlash) -> Firmware {
    let parts = Parts {
        drive: bench.spi(Device::Drive),
        gate: bench.spi(Device::Gate),
        select: bench.spi(Device::Select),
        adc: bench.spi(Device::Adc),
        trip: bench.trip(),
        rearm: bench.rearm(),
        delay: bench.delay(),
        clock: BenchClock(bench.clone()),
    };
    Probe::with_memory(parts, IDENTITY, Flash::new(flash.clone(), 0))
}

impl VirtualProbe {
    /// Switches the firmware on, on this bench.
    #[must_use]
    pub fn new(bench: Bench) -> Self {
        Self::with_flash(bench, VirtualFlash::default())
    }

    /// As [`VirtualProbe::new`], with what an earlier probe kept.
    #[must_use]
    pub fn with_flash(bench: Bench, flash: VirtualFlash) -> Self {
        let bench = Shared::new(bench);
        Self {
            probe: start(&bench, &flash),
            bench,
            flash,
        }
    }

    /// The firmware starts anew, as after a reset: the chips and what was kept
    /// stay as they are, everything else is forgotten.
    pub fn restart(&mut self) {
        self.probe = start(&self.bench, &self.flash);
    }

    /// The bench, to look at its clock and counters and to set switches.
    #[must_use]
    pub fn bench(&self) -> &Shared {
        &self.bench
    }

    /// Takes bytes in and sends what they ask for.
    pub fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        self.probe.receive(bytes, send);
    }

    /// To be called now and then while nothing comes.
    pub fn idle(&mut self) {
        self.probe.poll();
    }

    /// Goes on by a turn without a computer, with this panel on the probe's case.
    pub fn alone(&mut self, alone: &mut Alone, panel: &mut impl Panel) {
        self.probe.poll_alone(alone, panel);
    }

    /// A session with this probe, in this process.
    ///
    /// # Errors
    /// [`LinkError`]; none is expected.
    pub fn session(self) -> Result<Session<Loopback>, LinkError> {
        Session::open(Loopback {
            probe: self,
            sent: VecDeque::new(),
        })
    }
}

#[cfg(unix)]
impl super::pty::Serve for VirtualProbe {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        Self::receive(self, bytes, send);
    }

    fn idle(&mut self) {
        Self::idle(self);
    }
}

/// The byte stream to a probe in this process.
pub struct Loopback {
    probe: VirtualProbe,
    sent: VecDeque<u8>,
}

impl Loopback {
    /// The probe at the other end.
    #[must_use]
    pub fn probe(&self) -> &VirtualProbe {
        &self.probe
    }

    /// The probe, unplugged.
    #[must_use]
    pub fn into_probe(self) -> VirtualProbe {
        self.probe
    }
}

impl Transport for Loopback {
    fn name(&self) -> &str {
        "virtual"
    }

    /// # Errors
    /// Where the bench has failed: what the probe would say of its readings is wrong.
    fn write(&mut self, bytes: &[u8], _: Instant) -> Result<(), TransportError> {
        let sent = &mut self.sent;
        self.probe.receive(bytes, &mut |answer| sent.extend(answer));
        match self.probe.bench.0.borrow().trouble() {
            None => Ok(()),
            Some(trouble) => Err(TransportError::Io(std::io::Error::other(format!(
                "the virtual bench has failed: {trouble}"
            )))),
        }
    }

    /// Everything that will ever come is there when `write` returns.
    fn read(&mut self, buffer: &mut [u8], _: Instant) -> Result<usize, TransportError> {
        let mut n = 0;
        for (place, byte) in buffer.iter_mut().zip(self.sent.iter()) {
            *place = *byte;
            n += 1;
        }
        self.sent.drain(..n);
        Ok(n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Bare, Settings};
    use crate::link::Link as _;
    use loomproof_core::wire::{Place, Request};

    #[test]
    fn a_bench_that_has_failed_is_no_fault_of_the_probe() {
        let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
        let mut session = VirtualProbe::new(bench).session().unwrap();
        session.exchange(&Request::Survey).unwrap();
        session.transport().probe().bench().0.borrow_mut().fail();
        let error = session.exchange(&Request::Arm(Place::Bench)).unwrap_err();
        let said = error.to_string();
        assert!(said.contains("the virtual bench has failed"), "{said}");
    }
}
