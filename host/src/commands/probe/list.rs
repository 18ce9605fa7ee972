//! `probe list`: the serial ports, and which are probes.

use serde::Serialize;

use super::identify::Identity;
use super::{Failure, Format, Status, print, print_json};
use crate::link::{Port, ports, probes};

/// Arguments of `probe list`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What to print.
    #[arg(long, default_value = "text")]
    format: Format,
}

/// A port in the list.
#[derive(Serialize)]
struct Listed {
    port: String,
    device: Option<String>,
    serial: Option<String>,
    /// Who answered there, where the device gives itself out for a probe.
    probe: Option<Identity>,
}

/// Lists the ports.
///
/// # Errors
/// [`Failure`] where the system does not say.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let found = ports()?;
    let probes = probes()?;
    let probe_at = |port: &Port| probes.iter().find(|probe| probe.port.path == port.path);
    if args.format == Format::Json {
        let list: Vec<Listed> = found
            .iter()
            .map(|port| Listed {
                port: port.path.clone(),
                device: port.device.clone(),
                serial: port.serial.clone(),
                probe: probe_at(port)
                    .and_then(|probe| probe.hello.as_ref().ok())
                    .map(|hello| Identity::of(&port.path, hello)),
            })
            .collect();
        print_json(&list)?;
        return Ok(Status::Pass);
    }
    if found.is_empty() {
        print("No serial port found. Plug the probe in; on Linux check that you may use it.\n")?;
    }
    for port in &found {
        match probe_at(port).map(|probe| &probe.hello) {
            Some(Ok(hello)) => print(&Identity::of(&port.path, hello).sentence())?,
            Some(Err(why)) => print(&format!("{}  a probe, but: {why}\n", port.path))?,
            None => {
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
