//! Starting the command, and probes for it on pseudo-terminals.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use loomproof::link::pty::{Pty, Serve};

/// What a run of the command left.
#[derive(Debug)]
pub struct Run {
    pub status: i32,
    pub out: String,
    pub err: String,
}

/// The top folder of the project.
pub fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The command, in the top folder, with nothing to read.
pub fn command(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_loomproof"));
    command
        .args(args)
        .current_dir(top())
        .env("LOOMPROOF_STORE", "none")
        .stdin(Stdio::null());
    command
}

/// Runs the command to its end.
pub fn loomproof(args: &[&str]) -> Run {
    let output = command(args).output().unwrap();
    Run {
        status: output.status.code().expect("ends by itself"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs the command to its end for somebody who types this.
pub fn typed(args: &[&str], text: &str) -> Run {
    let mut child = command(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    // Whoever has heard enough does not read on.
    let _ = input.write_all(text.as_bytes());
    drop(input);
    let output = child.wait_with_output().unwrap();
    Run {
        status: output.status.code().expect("ends by itself"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

impl Run {
    /// This status, nothing on stdout, and every one of these words on stderr.
    #[track_caller]
    pub fn fails(&self, status: i32, words: &[&str]) {
        assert_eq!(self.status, status, "{self:#?}");
        assert_eq!(self.out, "", "nothing for a program to read");
        self.speaks(words);
    }

    /// Every one of these words on stderr.
    #[track_caller]
    pub fn speaks(&self, words: &[&str]) {
        for word in words {
            assert!(self.err.contains(word), "{word:?} is not in:\n{}", self.err);
        }
        assert!(!self.err.contains("panicked"), "{}", self.err);
    }

    /// The one JSON value on stdout.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:#?}"))
    }
}

/// A handler on a pseudo-terminal, served in a thread of its own until dropped
/// or until it sets its own flag.
pub struct Served {
    pub path: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Served {
    /// Serves what `make` makes, given the flag that ends the terminal.
    pub fn new<S: Serve>(make: impl FnOnce(Arc<AtomicBool>) -> S + Send + 'static) -> Self {
        let pty = Pty::open().unwrap();
        let path = pty.path().to_str().unwrap().to_owned();
        let stop = Arc::new(AtomicBool::new(false));
        let flag = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut handler = make(Arc::clone(&flag));
            pty.serve(&mut handler, &flag).unwrap();
        });
        Self {
            path,
            stop,
            thread: Some(thread),
        }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
