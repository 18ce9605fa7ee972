//! Ctrl-C: what was begun is ended in order, with a report of what was seen so far.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::Duration;

use loomproof_core::wire::{Hello, Reply, Request};
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;

use super::Failure;
use super::asking::line;
use crate::link::{Link, LinkError};

/// How often it is looked whether to end while somebody is waited for.
const LOOK: Duration = Duration::from_millis(50);

/// The exit status of a process that Ctrl-C ended: 128 and the number of SIGINT
/// (POSIX shells; `common practice`).
const ENDED: i32 = 130;

/// Whether somebody wants to end.
#[derive(Debug, Clone)]
pub(super) struct Stopping(Arc<AtomicBool>);

/// What was typed, or why nothing was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Typed {
    /// A line.
    Line(String),
    /// The input has ended, or cannot be read.
    End,
    /// Somebody wants to end.
    Stopped,
}

impl Stopping {
    /// Takes Ctrl-C (and a polite request to end) from now on; the second one ends the
    /// program at once.
    ///
    /// # Errors
    /// [`Failure`] where the system does not allow it.
    pub(super) fn listen() -> Result<Self, Failure> {
        let asked = Arc::new(AtomicBool::new(false));
        for signal in [SIGINT, SIGTERM] {
            // In this order: the first one finds the flag down.
            flag::register_conditional_shutdown(signal, ENDED, Arc::clone(&asked))
                .and_then(|_| flag::register(signal, Arc::clone(&asked)))
                .map_err(|error| Failure::usage(format!("cannot listen for Ctrl-C: {error}")))?;
        }
        Ok(Self(asked))
    }

    /// Whether it was pressed.
    pub(super) fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// Asks for a line, and does not wait for it any longer once it is to end.
    pub(super) fn line(&self, prompt: &str) -> Typed {
        let (send, typed) = channel();
        let prompt = prompt.to_owned();
        // A thread that still waits for a line ends with the program.
        std::thread::spawn(move || {
            let _ = send.send(line(&prompt));
        });
        loop {
            if self.asked() {
                return Typed::Stopped;
            }
            match typed.recv_timeout(LOOK) {
                Ok(Ok(Some(line))) => return Typed::Line(line),
                Ok(_) | Err(RecvTimeoutError::Disconnected) => return Typed::End,
                Err(RecvTimeoutError::Timeout) => {}
            }
        }
    }

    /// The link, as long as it goes on.
    pub(super) fn until<'l>(&'l self, link: &'l mut dyn Link) -> Until<'l> {
        Until { link, stop: self }
    }
}

/// A link that asks nothing more once it is to end.
pub(super) struct Until<'l> {
    link: &'l mut dyn Link,
    stop: &'l Stopping,
}

impl Link for Until<'_> {
    fn hello(&self) -> &Hello {
        self.link.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        if self.stop.asked() {
            return Err(LinkError::Stopped);
        }
        self.link.exchange(request)
    }
}

/// Lets the probe go: whatever it held, it holds no more. Nobody is told where it
/// does not answer any more; it lets go by itself then.
pub(super) fn let_go(link: &mut dyn Link) {
    let _ = link.exchange(&Request::Release);
}
