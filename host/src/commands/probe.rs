//! `probe`: find and identify probes; serve the virtual one.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use clap::Subcommand;
use serde::Serialize;

use super::exit::Status;
use super::job::{BenchArgs, JobArgs};
use super::{Failure, Format, note, print, print_json};
use crate::bench::{Bench, Settings};
use crate::hookup::propose;
use crate::link::{Link, Port, VirtualProbe, connect, ports, probes};
use loomproof_core::wire::Hello;

/// Arguments of `probe`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: loomproof probe list")]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Lists the serial ports, and who answers at those of probes.
    List {
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// Asks the probe at a port who it is.
    Identify {
        /// The port, such as /dev/ttyACM0 or COM5; `usb` for the one that is plugged in.
        port: String,
        /// What to print.
        #[arg(long, default_value = "text")]
        format: Format,
    },
    /// Serves the virtual probe on a pseudo-terminal, so that another
    /// terminal can use it as a port.
    Serve {
        #[command(flatten)]
        job: JobArgs,
        #[command(flatten)]
        bench: BenchArgs,
    },
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

/// A port in the list.
#[derive(Serialize)]
struct Listed {
    port: String,
    device: Option<String>,
    serial: Option<String>,
    /// Who answered there, where the device gives itself out for a probe.
    probe: Option<Identity>,
}

/// Carries out one of the probe verbs.
///
/// # Errors
/// [`Failure`] for probe or link trouble.
pub fn run(args: &Args) -> Result<Status, Failure> {
    match &args.what {
        What::List { format } => list(*format),
        What::Identify { port, format } => identify(port, *format),
        What::Serve { job, bench } => serve(job, bench),
    }
}

fn list(format: Format) -> Result<Status, Failure> {
    let found = ports()?;
    let probes = probes()?;
    let probe_at = |port: &Port| probes.iter().find(|probe| probe.port.path == port.path);
    if format == Format::Json {
        let list: Vec<Listed> = found
            .iter()
            .map(|port| Listed {
                port: port.path.clone(),
                device: port.device.clone(),
                serial: port.serial.clone(),
                probe: probe_at(port)
                    .and_then(|probe| probe.hello.as_ref().ok())
                    .map(|hello| who(&port.path, hello)),
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
            Some(Ok(hello)) => print(&sentence(&who(&port.path, hello)))?,
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

fn who(port: &str, hello: &Hello) -> Identity {
    Identity {
        port: port.to_owned(),
        board: hello.board.to_string(),
        serial: hello.serial.to_string(),
        build: hello.build.to_string(),
        protocol: hello.protocol,
        leads: hello.leads,
    }
}

fn sentence(identity: &Identity) -> String {
    format!(
        "Probe at {}: {} with {} probe leads, serial {}, firmware {}, protocol {}\n",
        identity.port,
        identity.board,
        identity.leads,
        identity.serial,
        identity.build,
        identity.protocol
    )
}

fn identify(port: &str, format: Format) -> Result<Status, Failure> {
    let link = connect(port)?;
    let identity = who(port, link.hello());
    match format {
        Format::Json => print_json(&identity)?,
        Format::Text => print(&sentence(&identity))?,
    }
    Ok(Status::Pass)
}

#[cfg(unix)]
fn serve(job: &JobArgs, bench: &BenchArgs) -> Result<Status, Failure> {
    use crate::link::pty::Pty;

    let place = job.place.into();
    let job = job.job()?;
    let hookup = propose(&job, place, usize::from(bench.leads))?;
    let faults = bench.faults(&job)?;
    let settings = Settings {
        seed: bench.seed,
        leads: bench.leads,
        ..Settings::default()
    };
    let mut probe = VirtualProbe::new(Bench::new(&job, &hookup, &faults, &settings)?);
    let trouble =
        |error: std::io::Error| Failure::probe(format!("cannot serve a pseudo-terminal: {error}"));
    let pty = Pty::open().map_err(trouble)?;
    print(&format!("{}\n", pty.path().display()))?;
    note(&format!(
        "Virtual probe with {} on the bench; give this port to --probe in another terminal. \
         Stop with Ctrl-C.",
        if faults.is_empty() {
            "a healthy harness".to_owned()
        } else {
            bench.faults.join(" and ")
        }
    ));
    let stop = Arc::new(AtomicBool::new(false));
    pty.serve(&mut probe, &stop).map_err(trouble)?;
    Ok(Status::Pass)
}

#[cfg(not(unix))]
fn serve(_: &JobArgs, _: &BenchArgs) -> Result<Status, Failure> {
    Err(Failure::usage(
        "pseudo-terminals are not to be had on this system; use --probe virtual".to_owned(),
    ))
}
