//! `probe list`: the serial ports.

use super::{Failure, Format, Status, print, print_json};
use crate::link::ports;

/// Arguments of `probe list`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// Lists the ports.
///
/// # Errors
/// [`Failure`] where the system does not say.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let found = ports()?;
    match args.format {
        Format::Json => {
            let paths: Vec<&str> = found.iter().map(|port| port.path.as_str()).collect();
            print_json(&paths)?;
        }
        Format::Text if found.is_empty() => {
            print(
                "No serial port found. Plug the probe in; on Linux check that you may use it.\n",
            )?;
        }
        Format::Text => {
            for port in &found {
                let device = port.device.as_deref().unwrap_or("a serial port");
                let serial = port
                    .serial
                    .as_ref()
                    .map_or(String::new(), |s| format!(", serial {s}"));
                print(&format!("{}  {device}{serial}\n", port.path))?;
            }
        }
    }
    Ok(Status::Pass)
}
