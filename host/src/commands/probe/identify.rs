//! `probe identify`: who is there.

use loomproof_core::wire::Hello;
use serde::Serialize;

use super::{Failure, Format, Link, Status, connect, print, print_json};

/// Arguments of `probe identify`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The port, such as /dev/ttyACM0 or COM5; `usb` for the one that is plugged
    /// in.
    port: String,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// Who answers at a port.
#[derive(Serialize)]
pub(super) struct Identity {
    port: String,
    board: String,
    serial: String,
    build: String,
    protocol: u16,
    leads: u8,
}

impl Identity {
    pub(super) fn of(port: &str, hello: &Hello) -> Self {
        Self {
            port: port.to_owned(),
            board: hello.board.to_string(),
            serial: hello.serial.to_string(),
            build: hello.build.to_string(),
            protocol: hello.protocol,
            leads: hello.leads,
        }
    }

    pub(super) fn sentence(&self) -> String {
        format!(
            "Probe at {}: {} with {} probe leads, serial {}, firmware {}, protocol {}\n",
            self.port, self.board, self.leads, self.serial, self.build, self.protocol
        )
    }
}

/// Asks and prints.
///
/// # Errors
/// [`Failure`] for link trouble.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let link = connect(&args.port)?;
    let identity = Identity::of(&args.port, link.hello());
    match args.format {
        Format::Json => print_json(&identity)?,
        Format::Text => print(&identity.sentence())?,
    }
    Ok(Status::Pass)
}
