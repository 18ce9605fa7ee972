//! Tests that need a program or a file that is not there say so, and go on.
//!
//! The words go past the test harness's capture to stderr, and into
//! `target/skipped-tests.txt`, from which a final summary can list them. With
//! `LOOMPROOF_NO_SKIP=1` in the environment a skip is a failure.

use std::io::Write;
use std::path::{Path, PathBuf};

/// The program, if it is on the search path; otherwise the test is reported
/// as skipped and the caller returns.
#[must_use]
pub fn require(program: &str) -> Option<PathBuf> {
    let found = std::env::var_os("PATH").and_then(|path| {
        std::env::split_paths(&path)
            .map(|folder| folder.join(program))
            .find(|file| file.is_file())
    });
    if found.is_none() {
        let how = match program {
            "qemu-system-arm" => "install it with `apt-get install qemu-system-arm`",
            "ngspice" => "install it with `apt-get install ngspice`",
            _ => "install it and put it on the search path",
        };
        skipped(&format!("{program} is not installed: {how}"));
    }
    found
}

/// The file, given from the top folder, if it is there; otherwise the test is
/// reported as skipped, with `how` to get it, and the caller returns.
#[must_use]
pub fn require_file(file: &str, how: &str) -> Option<PathBuf> {
    let path = top().join(file);
    if path.is_file() {
        return Some(path);
    }
    skipped(&format!("{file} is not there: {how}"));
    None
}

/// The top folder of the project.
#[must_use]
pub fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The file that collects what was skipped.
#[must_use]
pub fn list() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| top().join("target"), PathBuf::from)
        .join("skipped-tests.txt")
}

/// A program that is on the search path or in one of these folders; otherwise
/// the test is reported as skipped, with `how` to get it, and the caller returns.
#[must_use]
pub fn require_in(program: &str, folders: &[PathBuf], how: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let found = std::env::split_paths(&path)
        .chain(folders.iter().cloned())
        .map(|folder| folder.join(program))
        .find(|file| file.is_file());
    if found.is_none() {
        skipped(&format!("{program} is not installed: {how}"));
    }
    found
}

/// Reports the test as skipped.
pub fn skipped(why: &str) {
    let test = std::thread::current()
        .name()
        .unwrap_or("a test")
        .to_string();
    assert!(
        std::env::var_os("LOOMPROOF_NO_SKIP").is_none_or(|value| value != "1"),
        "LOOMPROOF_NO_SKIP=1 allows no skipped test, and {test} cannot run: {why}"
    );
    let line = format!("SKIPPED: {test}: {why}\n");
    // Past the test harness's capture, which only takes `print!` and `eprint!`.
    let _ = std::io::stderr().write_all(line.as_bytes());
    let list = list();
    let kept = list
        .parent()
        .map_or(Ok(()), std::fs::create_dir_all)
        .and_then(|()| {
            std::fs::OpenOptions::new()
                .create(true)
                .append(true)
                .open(&list)
        })
        .and_then(|mut file| file.write_all(line.as_bytes()));
    if let Err(error) = kept {
        let _ = writeln!(
            std::io::stderr(),
            "{} cannot be written: {error}",
            list.display()
        );
    }
}
