//! Serves a byte handler on a pseudo-terminal, so that another program can
//! use it through the ordinary port path.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long one wait for bytes lasts before the handler's `idle` is called.
const TICK: Timespec = Timespec {
    tv_sec: 0,
    tv_nsec: 20_000_000,
};
/// How long an answer may wait to be taken before the rest of it is dropped.
const PATIENCE: Duration = Duration::from_secs(1);

/// What is served: takes bytes, sends bytes.
pub trait Serve {
    /// Takes bytes in and sends what they ask for.
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8]));
    /// Called now and then while nothing comes.
    fn idle(&mut self) {}
}

/// A pseudo-terminal that is ready to be served.
#[derive(Debug)]
pub struct Pty {
    master: OwnedFd,
    /// Kept open, so that a peer may close the port and open it again.
    slave: OwnedFd,
    path: PathBuf,
}

impl Pty {
    /// Makes a pseudo-terminal that passes every byte as it is.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn open() -> io::Result<Self> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let name = ptsname(&master, Vec::new())?;
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let slave = rustix::fs::open(&name, flags, Mode::empty())?;
        let mut settings = tcgetattr(&slave)?;
        settings.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &settings)?;
        rustix::io::ioctl_fionbio(&master, true)?;
        let path = PathBuf::from(name.to_string_lossy().into_owned());
        Ok(Self {
            master,
            slave,
            path,
        })
    }

    /// The path that another program opens.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Serves until `stop` is set. Peers may come and go.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn serve(&self, handler: &mut dyn Serve, stop: &AtomicBool) -> io::Result<()> {
        let mut buffer = [0; 1024];
        while !stop.load(Ordering::Relaxed) {
            if !self.wait(PollFlags::IN)? {
                // A peer that was killed leaves the terminal marked exclusive,
                // and nobody but root could open it again. Living peers are
                // kept apart by the lock they hold on it as well.
                let _ = ioctl_tiocnxcl(&self.slave);
                handler.idle();
                continue;
            }
            match rustix::io::read(&self.master, &mut buffer) {
                Ok(n) => {
                    let mut failed = None;
                    let bytes = buffer.get(..n).unwrap_or_default();
                    handler.receive(bytes, &mut |answer| {
                        if failed.is_none() {
                            failed = self.write(answer).err();
                        }
                    });
                    if let Some(error) = failed {
                        return Err(error);
                    }
                }
                Err(Errno::INTR | Errno::AGAIN) => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// Waits one tick; false when nothing happened.
    fn wait(&self, what: PollFlags) -> io::Result<bool> {
        let mut fds = [PollFd::new(&self.master, what)];
        match poll(&mut fds, Some(&TICK)) {
            Ok(n) => Ok(n > 0),
            Err(Errno::INTR) => Ok(false),
            Err(error) => Err(error.into()),
        }
    }

    /// Writes all bytes; those that nobody takes are dropped, as on a cable
    /// that ends in the air.
    fn write(&self, mut bytes: &[u8]) -> io::Result<()> {
        let deadline = Instant::now() + PATIENCE;
        while !bytes.is_empty() && Instant::now() < deadline {
            if !self.wait(PollFlags::OUT)? {
                continue;
            }
            match rustix::io::write(&self.master, bytes) {
                Ok(n) => bytes = bytes.get(n..).unwrap_or_default(),
                Err(Errno::INTR | Errno::AGAIN) => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }
}
