//! A probe on a serial port, by path.

use super::{LinkError, Transport, TransportError, find};
use serialport::{ClearBuffer, ErrorKind, SerialPort, SerialPortType};
use std::io::{self, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

/// Baud rate asked for. USB serial devices ignore it.
const BAUD: u32 = 115_200;
/// How long the reader thread sleeps in one read at most.
const READ_SLICE: Duration = Duration::from_millis(50);
/// Most chunks that wait for the session; the reader then waits as well.
const CHUNKS: usize = 64;

/// An open serial port.
///
/// Reading is done in a thread of its own, since a read can outlast its
/// timeout; what it finds is waited for with a deadline that holds.
pub struct SerialTransport {
    name: String,
    port: Box<dyn SerialPort>,
    chunks: Receiver<io::Result<Vec<u8>>>,
    rest: Vec<u8>,
    stop: Arc<AtomicBool>,
    done: Receiver<()>,
}

impl SerialTransport {
    /// Opens the port at this path (`/dev/ttyACM0`, `COM5`).
    ///
    /// # Errors
    /// [`LinkError::AbsentOrInUse`], [`LinkError::NotAllowed`],
    /// [`LinkError::NotSerial`] or [`LinkError::Io`].
    pub fn open(path: &str) -> Result<Self, LinkError> {
        let mut port = serialport::new(path, BAUD)
            .timeout(READ_SLICE)
            .open()
            .map_err(|error| open_error(path, &error))?;
        // Some USB serial stacks send only to a host that raises DTR. A
        // pseudo-terminal has no such line; that is no fault.
        let _ = port.write_data_terminal_ready(true);
        // What an earlier program left unread is no answer to this one.
        let _ = port.clear(ClearBuffer::Input);
        let reader = port.try_clone().map_err(|error| open_error(path, &error))?;
        port.set_timeout(Duration::from_secs(1))
            .map_err(|error| open_error(path, &error))?;

        let stop = Arc::new(AtomicBool::new(false));
        let (send, chunks) = sync_channel(CHUNKS);
        let (send_done, done) = sync_channel(1);
        let stop_reader = Arc::clone(&stop);
        thread::Builder::new()
            .name(format!("read {path}"))
            .spawn(move || {
                read_chunks(reader, &send, &stop_reader);
                let _ = send_done.send(());
            })
            .map_err(|error| LinkError::Io {
                port: path.to_string(),
                error,
            })?;
        Ok(Self {
            name: path.to_string(),
            port,
            chunks,
            rest: Vec::new(),
            stop,
            done,
        })
    }
}

impl Drop for SerialTransport {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        // The reader holds the port open as long as it runs. It ends within a
        // slice, unless its read hangs: then it is left behind.
        while self.chunks.try_recv().is_ok() {}
        let _ = self.done.recv_timeout(4 * READ_SLICE);
    }
}

/// Reads whatever comes until told to stop, the port goes, or nobody listens.
fn read_chunks(
    mut port: Box<dyn SerialPort>,
    send: &SyncSender<io::Result<Vec<u8>>>,
    stop: &AtomicBool,
) {
    let mut buffer = [0; 1024];
    while !stop.load(Ordering::Relaxed) {
        let found = match port.read(&mut buffer) {
            // A terminal whose other end is gone reads as ended.
            Ok(0) => Err(io::ErrorKind::UnexpectedEof.into()),
            Ok(n) => Ok(buffer[..n].to_vec()),
            Err(error) => match error.kind() {
                io::ErrorKind::TimedOut
                | io::ErrorKind::WouldBlock
                | io::ErrorKind::Interrupted => continue,
                _ => Err(error),
            },
        };
        let ends = found.is_err();
        if send.send(found).is_err() || ends {
            return;
        }
    }
}

impl Transport for SerialTransport {
    fn name(&self) -> &str {
        &self.name
    }

    fn write(&mut self, mut bytes: &[u8], deadline: Instant) -> Result<(), TransportError> {
        while !bytes.is_empty() {
            match self.port.write(bytes) {
                Ok(0) => return Err(TransportError::Gone),
                Ok(n) => bytes = &bytes[n..],
                Err(error) => match error.kind() {
                    io::ErrorKind::TimedOut
                    | io::ErrorKind::WouldBlock
                    | io::ErrorKind::Interrupted
                        if Instant::now() < deadline => {}
                    // Nobody takes the bytes: the same as no answer.
                    io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock => return Ok(()),
                    _ => return Err(error.into()),
                },
            }
        }
        Ok(())
    }

    fn read(&mut self, buffer: &mut [u8], deadline: Instant) -> Result<usize, TransportError> {
        if self.rest.is_empty() {
            let wait = deadline.saturating_duration_since(Instant::now());
            match self.chunks.recv_timeout(wait) {
                Ok(found) => self.rest = found?,
                Err(RecvTimeoutError::Timeout) => return Ok(0),
                Err(RecvTimeoutError::Disconnected) => return Err(TransportError::Gone),
            }
        }
        let n = self.rest.len().min(buffer.len());
        buffer[..n].copy_from_slice(&self.rest[..n]);
        self.rest.drain(..n);
        Ok(n)
    }
}

fn open_error(path: &str, error: &serialport::Error) -> LinkError {
    let port = path.to_string();
    let detail = error.description.clone();
    match error.kind() {
        ErrorKind::NoDevice | ErrorKind::Io(io::ErrorKind::NotFound | io::ErrorKind::AddrInUse) => {
            LinkError::AbsentOrInUse { port, detail }
        }
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => LinkError::NotAllowed { port },
        ErrorKind::Io(kind) => LinkError::Io {
            port,
            error: io::Error::new(kind, detail),
        },
        ErrorKind::InvalidInput | ErrorKind::Unknown => LinkError::NotSerial { port, detail },
    }
}

/// A port that may have a probe on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// Its path, as `--probe` takes it.
    pub path: String,
    /// What the operating system knows of the device there.
    pub device: Option<String>,
    /// Serial number of a USB device; finds a probe again that was replugged.
    pub serial: Option<String>,
    /// Whether the device gives itself out for a probe.
    pub may_be_a_probe: bool,
}

/// The serial ports of this machine, USB devices first. Pseudo-terminals are
/// never listed: their path is given as printed by `loomproof probe serve`.
///
/// # Errors
/// [`LinkError::Io`] if the operating system does not list its ports.
pub fn ports() -> Result<Vec<Port>, LinkError> {
    let found = serialport::available_ports().map_err(|error| LinkError::Io {
        port: "the list of ports".to_string(),
        error: io::Error::other(error.description),
    })?;
    let mut ports: Vec<Port> = found
        .into_iter()
        .map(|info| match info.port_type {
            SerialPortType::UsbPort(usb) => {
                let may_be_a_probe = find::may_be_a_probe(&usb);
                let names: Vec<String> = [usb.manufacturer, usb.product]
                    .into_iter()
                    .flatten()
                    .collect();
                let device = if names.is_empty() {
                    format!("USB {:04x}:{:04x}", usb.vid, usb.pid)
                } else {
                    names.join(" ")
                };
                Port {
                    path: info.port_name,
                    device: Some(device),
                    serial: usb.serial_number,
                    may_be_a_probe,
                }
            }
            _ => Port {
                path: info.port_name,
                device: None,
                serial: None,
                may_be_a_probe: false,
            },
        })
        .collect();
    ports.sort_by(|a, b| (a.device.is_none(), &a.path).cmp(&(b.device.is_none(), &b.path)));
    Ok(ports)
}
