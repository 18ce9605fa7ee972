//! The way to a probe: virtual, on a pseudo-terminal or on a serial port.
//!
//! A [`Link`] asks one thing at a time and gets an answer or an error, within
//! a bounded time. [`Session`] is the only kind of link; below it lies a
//! [`Transport`], a plain byte stream.

mod error;
mod find;
mod patience;
#[cfg(unix)]
pub mod pty;
mod serial;
mod session;
mod transport;
mod virtual_probe;

pub use error::LinkError;
pub use find::{ANY, Found, probes};
pub use patience::Patience;
pub use serial::{Port, SerialTransport, ports};
pub use session::Session;
pub use transport::{Transport, TransportError};
pub use virtual_probe::{Loopback, VirtualProbe};

use loomproof_core::wire::{Hello, Reply, Request};

/// A probe that can be asked.
pub trait Link {
    /// Who it is.
    fn hello(&self) -> &Hello;

    /// Asks one thing and waits for the answer. A probe that refuses is an
    /// answer ([`Reply::Refused`]), not an error.
    ///
    /// # Errors
    /// [`LinkError`]; after one, no reading of the scan under way may be used.
    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError>;
}

/// Opens the probe on the serial port at this path, or for [`ANY`] the one
/// probe that is plugged in.
///
/// # Errors
/// [`LinkError`], naming the port and what to do.
pub fn connect(path: &str) -> Result<Session<SerialTransport>, LinkError> {
    if path == ANY {
        return Session::open(SerialTransport::open(&find::the_only()?)?);
    }
    Session::open(SerialTransport::open(path)?)
}
