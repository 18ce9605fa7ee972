//! `probe identify`: who is there.

use serde::Serialize;

use super::{Failure, Format, Link, Status, connect, print, print_json};

/// Arguments of `probe identify`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The port, such as /dev/ttyACM0 or COM5.
    port: String,
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

#[derive(Serialize)]
struct Identity {
    port: String,
    board: String,
    serial: String,
    build: String,
    protocol: u16,
    leads: u8,
}

/// Asks and prints.
///
/// # Errors
/// [`Failure`] for link trouble.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let link = connect(&args.port)?;
    let hello = link.hello();
    let identity = Identity {
        port: args.port.clone(),
        board: hello.board.to_string(),
        serial: hello.serial.to_string(),
        build: hello.build.to_string(),
        protocol: hello.protocol,
        leads: hello.leads,
    };
    match args.format {
        Format::Json => print_json(&identity)?,
        Format::Text => print(&format!(
            "Probe at {}: {} with {} probe leads, serial {}, firmware {}, protocol {}\n",
            identity.port,
            identity.board,
            identity.leads,
            identity.serial,
            identity.build,
            identity.protocol
        ))?,
    }
    Ok(Status::Pass)
}
