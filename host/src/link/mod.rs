//! Links to a probe: in-process, pty and serial port behind one trait.

use loomproof_core::wire::{Hello, Reply, Request};

/// TEMPORARY
#[derive(Debug, thiserror::Error)]
#[error("x")]
pub struct LinkError;

/// A probe at the other end of something.
pub trait Link {
    /// Who it is.
    fn hello(&self) -> &Hello;
    /// Asks and waits for the answer.
    ///
    /// # Errors
    /// [`LinkError`] when no valid answer comes in time.
    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError>;
}
