//! The plan's questions, asked on a terminal.

use std::fs::File;
use std::process::Stdio;
use std::sync::{Arc, Mutex};

use loomproof::link::pty::Serve;

use crate::support::{Served, command};

/// Somebody at the terminal: gives one answer after each prompt.
struct Somebody {
    answers: Vec<&'static str>,
    seen: Arc<Mutex<String>>,
}

impl Serve for Somebody {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        let mut seen = self.seen.lock().unwrap();
        seen.push_str(&String::from_utf8_lossy(bytes));
        if seen.ends_with("] ") && !self.answers.is_empty() {
            let answer = self.answers.remove(0);
            seen.push_str(&format!("<{answer}>"));
            send(format!("{answer}\n").as_bytes());
        }
    }
}

/// Rings the van out with a terminal; its report, and what the terminal showed.
fn at_a_terminal(answers: &[&'static str], args: &[&str]) -> (serde_json::Value, String) {
    let seen = Arc::new(Mutex::new(String::new()));
    let somebody = Somebody {
        answers: answers.to_vec(),
        seen: Arc::clone(&seen),
    };
    let served = Served::new(move |_| somebody);
    let terminal = || {
        let file = File::options().read(true).write(true).open(&served.path);
        Stdio::from(file.unwrap())
    };
    let args = [
        &[
            "ringout",
            "fixtures/plans/bakery-van.toml",
            "--format",
            "json",
        ],
        args,
    ]
    .concat();
    let output = command(&args)
        .stdin(terminal())
        .stderr(terminal())
        .output()
        .unwrap();
    let seen = seen.lock().unwrap().clone();
    assert_eq!(output.status.code(), Some(0), "{seen}");
    (serde_json::from_slice(&output.stdout).unwrap(), seen)
}

#[test]
fn every_open_question_is_asked() {
    let (report, seen) = at_a_terminal(&["yes", "sliding"], &[]);
    assert_eq!(report["answers"]["second-battery"], "yes", "{seen}");
    assert_eq!(report["answers"]["rear-door"], "sliding", "{seen}");
    assert!(
        seen.contains("Does the van have a second battery under the passenger seat?"),
        "{seen}"
    );
}

#[test]
fn enter_takes_the_default_and_nonsense_is_asked_again() {
    let (report, seen) = at_a_terminal(&["perhaps", "", ""], &[]);
    assert_eq!(report["answers"]["second-battery"], "no", "{seen}");
    assert_eq!(report["answers"]["rear-door"], "hinged", "{seen}");
    assert!(seen.contains("Please answer one of: yes, no"), "{seen}");
}

#[test]
fn what_is_answered_is_not_asked() {
    let (report, seen) = at_a_terminal(&["sliding"], &["--answer", "second-battery=yes"]);
    assert_eq!(report["answers"]["second-battery"], "yes");
    assert_eq!(report["answers"]["rear-door"], "sliding");
    assert!(!seen.contains("second battery under"), "{seen}");
    let (report, seen) = at_a_terminal(&[], &["--defaults"]);
    assert_eq!(report["answers"]["rear-door"], "hinged");
    assert!(!seen.contains("Which rear door"), "{seen}");
}
