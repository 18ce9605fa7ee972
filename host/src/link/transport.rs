//! The byte stream below a [`Session`](super::Session).

use std::io;
use std::time::Instant;

/// A byte stream to a probe.
pub trait Transport {
    /// Its name in messages: the port as given, or `virtual`.
    fn name(&self) -> &str;

    /// The time by which its deadlines go. A simulated stream has a clock of
    /// its own, on which waiting costs nothing.
    fn now(&self) -> Instant {
        Instant::now()
    }

    /// Writes all bytes, or fails by the deadline.
    ///
    /// # Errors
    /// [`TransportError`].
    fn write(&mut self, bytes: &[u8], deadline: Instant) -> Result<(), TransportError>;

    /// Waits until there are bytes or the deadline has passed, and returns
    /// how many were put into `buffer`; 0 means that none come by the deadline.
    ///
    /// # Errors
    /// [`TransportError`].
    fn read(&mut self, buffer: &mut [u8], deadline: Instant) -> Result<usize, TransportError>;
}

/// Why a byte stream fails.
#[derive(Debug)]
pub enum TransportError {
    /// The other end is gone.
    Gone,
    /// Anything else the operating system says.
    Io(io::Error),
}

impl From<io::Error> for TransportError {
    /// Tells an unplugged port from other trouble.
    fn from(error: io::Error) -> Self {
        use io::ErrorKind as K;
        match error.kind() {
            K::BrokenPipe
            | K::ConnectionReset
            | K::ConnectionAborted
            | K::NotConnected
            | K::NotFound
            | K::UnexpectedEof => Self::Gone,
            // EIO (5) and ENXIO (6) come from a tty whose device is gone; they
            // have no kind of their own.
            _ if matches!(error.raw_os_error(), Some(5 | 6)) => Self::Gone,
            _ => Self::Io(error),
        }
    }
}
