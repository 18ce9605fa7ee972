//! A script beside this file, run by the Python that has its packages.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::skip::{require_file, top};

const INSTALL: &str = "run `tools/outside-programs.sh`";

/// What a script answers to a question, both JSON; `None` where Python is not
/// installed with its packages, which is reported as a skipped test.
pub fn ask(script: &str, question: &Value) -> Option<Value> {
    let python: PathBuf = require_file("target/outside/python/bin/python", INSTALL)?;
    // Written last, once every package is there.
    require_file("target/outside/python/complete", INSTALL)?;
    let mut child = Command::new(python)
        .arg(top().join("tests/outside/programs").join(script))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut stdin = child.stdin.take().expect("a pipe");
    let text = question.to_string();
    let writer = std::thread::spawn(move || stdin.write_all(text.as_bytes()));
    let output = child.wait_with_output().expect("Python ends");
    let written = writer.join().expect("the writer ends");
    assert!(
        output.status.success(),
        "{script} failed; its words are above"
    );
    written.expect("the whole question was taken");
    Some(serde_json::from_slice(&output.stdout).expect("JSON"))
}
