//! Runs the firmware of the emulated board in QEMU, its SPI on a virtual
//! bench, its host link on a pseudo-terminal.

use crate::tunnel::{Server, Wired};
use std::io::{self, BufRead, BufReader, Read, Write};
use std::ops::Range;
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// How long QEMU may take to start and to open the tunnel.
const START: Duration = Duration::from_secs(20);

/// Where the machine has the board's RAM, from what the board is linked with.
fn ram() -> Range<usize> {
    let map = include_str!("../../firmware/boards/emulated/memory.x");
    let line = map
        .lines()
        .find_map(|line| line.trim().strip_prefix("RAM"))
        .expect("the board has RAM");
    let number = |key: &str| line.split_once(key).expect("as below").1.trim();
    // "  : ORIGIN = 0x20000000, LENGTH = 3M"
    let origin = number("ORIGIN = 0x").split(',').next().unwrap_or_default();
    let start = usize::from_str_radix(origin, 16).expect("an address");
    let megabytes = number("LENGTH = ").strip_suffix('M').expect("in megabytes");
    start..start + (megabytes.parse::<usize>().expect("a number") << 20)
}

/// What went over the tunnel.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Traffic {
    /// Operations carried out on the bench.
    pub operations: u64,
    /// Answers given: round trips.
    pub answers: u64,
}

/// A running emulated board; killed when dropped.
#[derive(Debug)]
pub struct Emulated {
    child: Child,
    port: String,
    folder: TempDir,
    bench: Option<JoinHandle<io::Result<()>>>,
    traffic: Arc<Mutex<Traffic>>,
}

impl Emulated {
    /// Starts the firmware on a bench, which is built in a thread of its own.
    ///
    /// # Errors
    /// What keeps QEMU from starting, with what it said.
    pub fn start<B: Wired>(
        qemu: &Path,
        elf: &Path,
        bench: impl FnOnce() -> B + Send + 'static,
    ) -> io::Result<Self> {
        Self::start_with(qemu, elf, &[], bench)
    }

    /// The same, with further arguments for QEMU.
    ///
    /// # Errors
    /// See [`Self::start`].
    pub fn start_with<B: Wired>(
        qemu: &Path,
        elf: &Path,
        further: &[&str],
        bench: impl FnOnce() -> B + Send + 'static,
    ) -> io::Result<Self> {
        let folder = tempfile::Builder::new()
            .prefix("loomproof-qemu")
            .tempdir()?;
        let socket = folder.path().join("bench");
        // It must be listening before QEMU starts, or QEMU gives up.
        let listener = UnixListener::bind(&socket)?;
        let traffic = Arc::new(Mutex::new(Traffic::default()));
        let counted = Arc::clone(&traffic);
        let served = thread::Builder::new().name("bench".into()).spawn(move || {
            let stream = accept(&listener)?;
            serve(stream, &mut bench(), &counted)
        })?;

        let mut child = Command::new(qemu)
            .args([
                "-M",
                "mps2-an385",
                "-display",
                "none",
                "-monitor",
                "none",
                "-nodefaults",
            ])
            .arg("-qmp")
            .arg(format!(
                "unix:{},server=on,wait=off",
                folder.path().join("machine").display()
            ))
            .args(["-chardev", "pty,id=host", "-serial", "chardev:host"])
            .arg("-chardev")
            .arg(format!("socket,id=bench,path={}", socket.display()))
            .args(["-serial", "chardev:bench", "-chardev"])
            .arg(format!(
                "file,id=log,path={}",
                folder.path().join("log").display()
            ))
            .args(["-serial", "chardev:log", "-kernel"])
            .arg(elf)
            .args(further)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()?;
        let stdout = child.stdout.take();
        let mut emulated = Self {
            child,
            port: String::new(),
            folder,
            bench: Some(served),
            traffic,
        };
        // QEMU closes its stdout when it gives up, so this ends either way.
        for line in BufReader::new(stdout.ok_or(io::ErrorKind::BrokenPipe)?).lines() {
            // "char device redirected to /dev/pts/3 (label host)"
            if let Some(path) = line?
                .split_whitespace()
                .find(|word| word.starts_with("/dev/"))
            {
                emulated.port = path.to_string();
                return Ok(emulated);
            }
        }
        let mut said = String::new();
        if let Some(mut stderr) = emulated.child.stderr.take() {
            stderr.read_to_string(&mut said)?;
        }
        Err(io::Error::other(format!(
            "QEMU names no pseudo-terminal: {said}"
        )))
    }

    /// The path of the host link.
    #[must_use]
    pub fn port(&self) -> &str {
        &self.port
    }

    /// What the firmware wrote to its log so far.
    #[must_use]
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// What went over the tunnel so far.
    #[must_use]
    pub fn traffic(&self) -> Traffic {
        *self.traffic.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The number of QEMU's process.
    #[must_use]
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// How deep the firmware's stack has been since its start, bytes. QEMU's memory is
    /// zero where nothing was written, and this firmware has no heap: above its statics,
    /// all that is not zero is stack.
    ///
    /// # Errors
    /// What QEMU says, or cannot be read.
    pub fn deepest_stack(&self) -> io::Result<usize> {
        let file = self.folder.path().join("memory");
        let mut lines = BufReader::new(UnixStream::connect(self.folder.path().join("machine"))?);
        lines
            .get_ref()
            .set_read_timeout(Some(Duration::from_secs(20)))?;
        let ask = |lines: &mut BufReader<UnixStream>, text: &str| {
            lines.get_mut().write_all(text.as_bytes())?;
            // Events come in between.
            loop {
                let mut line = String::new();
                if lines.read_line(&mut line)? == 0 || line.starts_with("{\"error\"") {
                    return Err(io::Error::other(format!("QEMU does not say: {line}")));
                }
                if line.starts_with("{\"return\"") {
                    return Ok(());
                }
            }
        };
        ask(&mut lines, "{\"execute\": \"qmp_capabilities\"}\n")?;
        // The upper half: statics lie at the beginning, the stack begins at the end.
        let ram = ram();
        let (from, size) = (ram.start + ram.len() / 2, ram.len() / 2);
        let name = file.display();
        ask(
            &mut lines,
            &format!(
                "{{\"execute\": \"pmemsave\", \"arguments\": {{\"val\": {from}, \"size\": \
                 {size}, \"filename\": \"{name}\"}}}}\n"
            ),
        )?;
        let memory = std::fs::read(file)?;
        let untouched = memory.iter().take_while(|byte| **byte == 0).count();
        Ok(memory.len() - untouched)
    }

    /// Ends QEMU, as pulling the plug does, and says how the tunnel fared.
    ///
    /// # Errors
    /// What went wrong on the tunnel.
    pub fn stop(mut self) -> io::Result<()> {
        self.kill();
        match self.bench.take().map(JoinHandle::join) {
            Some(Ok(outcome)) => outcome,
            Some(Err(_)) => Err(io::Error::other("the bench's thread panicked")),
            None => Ok(()),
        }
    }

    fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Drop for Emulated {
    fn drop(&mut self) {
        self.kill();
    }
}

fn accept(listener: &UnixListener) -> io::Result<UnixStream> {
    listener.set_nonblocking(true)?;
    let deadline = Instant::now() + START;
    loop {
        match listener.accept() {
            Ok((stream, _)) => {
                stream.set_nonblocking(false)?;
                return Ok(stream);
            }
            Err(error)
                if error.kind() == io::ErrorKind::WouldBlock && Instant::now() < deadline =>
            {
                thread::sleep(Duration::from_millis(5));
            }
            Err(error) => return Err(error),
        }
    }
}

fn serve(
    mut stream: UnixStream,
    bench: &mut dyn Wired,
    traffic: &Mutex<Traffic>,
) -> io::Result<()> {
    let mut server = Server::default();
    let mut buffer = [0; 4096];
    loop {
        let n = match stream.read(&mut buffer) {
            Ok(0) => return Ok(()),
            Ok(n) => n,
            // QEMU was killed.
            Err(error) if error.kind() == io::ErrorKind::ConnectionReset => return Ok(()),
            Err(error) => return Err(error),
        };
        let out = server
            .receive(buffer.get(..n).unwrap_or_default(), bench)
            .map_err(io::Error::other)?;
        *traffic.lock().unwrap_or_else(PoisonError::into_inner) = Traffic {
            operations: server.operations,
            answers: server.answers,
        };
        match stream.write_all(&out) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => return Ok(()),
            outcome => outcome?,
        }
    }
}

/// Where `tools/build-boards.sh` leaves the board's firmware, from the top folder.
pub const ELF: &str =
    "firmware/boards/emulated/target/thumbv7m-none-eabi/release/loomproof-emulated";

/// The same for the firmware that fails on purpose.
pub const PANICS_ELF: &str = "firmware/boards/emulated/target/thumbv7m-none-eabi/release/panics";

/// The same for the firmware that counts its instructions.
pub const COUNTS_ELF: &str = "firmware/boards/emulated/target/thumbv7m-none-eabi/release/counts";

/// QEMU and a firmware, or `None` after the skip is reported.
#[must_use]
pub fn installed(elf: &str) -> Option<(PathBuf, PathBuf)> {
    let qemu = crate::skip::require("qemu-system-arm")?;
    let elf = crate::skip::require_file(elf, "build it with `tools/build-boards.sh`")?;
    Some((qemu, elf))
}
