//! What can go wrong between this program and a probe, and what to do then.

use loomproof_core::wire::PROTOCOL;
use std::io;
use std::time::Duration;
use thiserror::Error;

/// Why a probe cannot be talked to. Every message names the port and the next step.
#[derive(Debug, Error)]
pub enum LinkError {
    /// No device that is plugged in gives itself out for a probe.
    #[error(
        "no probe is plugged in, or its USB identity is another. Plug it in; `loomproof probe \
         list` shows the ports there are, and a port can be named"
    )]
    NoProbe,
    /// Several do.
    #[error("several probes are plugged in, at {}. Name the port", .ports.join(", "))]
    SeveralProbes {
        /// Their ports.
        ports: Vec<String>,
    },
    /// Somebody ended the program's work, and nothing more is asked of the probe.
    #[error("broken off before the probe was asked")]
    Stopped,
    /// The port cannot be opened. A port in use can look absent, so both are said.
    #[error(
        "{port}: no such port, or another program has it open ({detail}). Plug the probe in and \
         close any other program that uses it; `loomproof probe list` shows the ports there are"
    )]
    AbsentOrInUse {
        /// The port as given.
        port: String,
        /// What the operating system said.
        detail: String,
    },
    /// The port is there, but this user may not open it.
    #[error(
        "{port}: you are not allowed to open this port. On Linux add yourself to the group that \
         owns it (`ls -l {port}` names it, often `dialout`) and log in again"
    )]
    NotAllowed {
        /// The port as given.
        port: String,
    },
    /// What is there is not a serial port.
    #[error(
        "{port}: cannot be set up as a serial port ({detail}). Give the probe's serial port; \
         `loomproof probe list` shows the ports there are"
    )]
    NotSerial {
        /// The port as given.
        port: String,
        /// What the operating system said.
        detail: String,
    },
    /// The port works, but nothing on it says it is a probe.
    #[error(
        "{port}: no probe answered within {:.0} s ({}). Check that this is the probe's port and \
         that the probe is switched on; unplug it, plug it in and try again",
        waited.as_secs_f64(),
        heard_words(*heard)
    )]
    NotAProbe {
        /// The port as given.
        port: String,
        /// How long the hello was repeated.
        waited: Duration,
        /// How many bytes came that are no answer.
        heard: usize,
    },
    /// A probe answered that speaks another version.
    #[error(
        "{port}: this probe (firmware {build}) speaks protocol version {theirs}, this program \
         version {PROTOCOL}. {}", version_step(*theirs)
    )]
    Version {
        /// The port as given.
        port: String,
        /// The probe's protocol version.
        theirs: u16,
        /// The probe's firmware version and build.
        build: String,
    },
    /// The probe was there and does not answer any more.
    #[error(
        "{port}: the probe did not answer {request} within {:.1} s, asked {attempts} times. Switch \
         the probe off and on, check its cable, and start the test again",
        waited.as_secs_f64()
    )]
    TimedOut {
        /// The port as given.
        port: String,
        /// What was asked, in words.
        request: &'static str,
        /// How often it was asked.
        attempts: u32,
        /// How long this program waited in all.
        waited: Duration,
    },
    /// The port went away while it was used.
    #[error(
        "{port}: the probe was unplugged during {request}; the probe lets go of all leads by \
         itself. Plug it in and start the test again; readings taken so far are not used"
    )]
    Unplugged {
        /// The port as given.
        port: String,
        /// What was asked, in words.
        request: &'static str,
    },
    /// Bytes come, but they are damaged, every time.
    #[error(
        "{port}: the answer to {request} came damaged each of {attempts} times ({bytes} bytes that \
         are no message). Use another cable or USB socket, keep the cable away from ignition and \
         inverter leads, and start the test again"
    )]
    Garbage {
        /// The port as given.
        port: String,
        /// What was asked, in words.
        request: &'static str,
        /// How often it was asked.
        attempts: u32,
        /// How many bytes came that are part of no message.
        bytes: usize,
    },
    /// A whole, undamaged reply that does not answer the question.
    #[error(
        "{port}: the probe answered {request} with something else ({detail}). Its firmware is \
         faulty or not the one it claims to be: load the firmware again"
    )]
    Mismatch {
        /// The port as given.
        port: String,
        /// What was asked, in words.
        request: &'static str,
        /// What came instead.
        detail: String,
    },
    /// The request does not fit the wire format's bounds.
    #[error("{port}: {request} is too large to be sent; this is a fault of this program")]
    TooLarge {
        /// The port as given.
        port: String,
        /// What was to be asked, in words.
        request: &'static str,
    },
    /// The virtual probe or its bench cannot be set up.
    #[error("{port}: {detail}")]
    Setup {
        /// The name of the link.
        port: String,
        /// What does not work, and what to do.
        detail: String,
    },
    /// The operating system refuses to read or write the port.
    #[error("{port}: {error}. Unplug the probe, plug it in and try again")]
    Io {
        /// The port as given.
        port: String,
        /// What the operating system said.
        error: io::Error,
    },
}

fn heard_words(heard: usize) -> String {
    match heard {
        0 => "nothing was heard".to_string(),
        1 => "1 byte was heard that is no answer".to_string(),
        n => format!("{n} bytes were heard that are no answer"),
    }
}

fn version_step(theirs: u16) -> &'static str {
    if theirs < PROTOCOL {
        "Load the probe firmware that came with this program"
    } else {
        "Use the program that came with this probe's firmware"
    }
}
