//! Ctrl-C, as a real signal to a real process with a probe on a port: what was seen so
//! far is reported and kept, and the probe is let go.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::process::{Child, ChildStderr, Stdio};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use loomproof::bench::{Bench as Wired, Settings, Upset, upset};
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::hookup::rounds::rounds;
use loomproof::hookup::{Hookup, Within};
use loomproof::link::VirtualProbe;
use loomproof::link::pty::Serve;
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof_core::wire::frame::{Deframer, MAX_REQUEST_FRAME};
use loomproof_core::wire::{Place, Request};
use rustix::process::{Pid, Signal, kill_process};

use crate::recorded::Bench;
use crate::support::{Run, Served, command, top};

const VAN: &str = "fixtures/plans/bakery-van.toml";

/// The last thing that was asked of a probe.
type Last = Arc<Mutex<Option<Request>>>;

/// A probe that remembers what it was asked last.
struct Asked {
    probe: VirtualProbe,
    frames: Deframer<MAX_REQUEST_FRAME>,
    last: Last,
}

impl Serve for Asked {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        for byte in bytes {
            if let Some(Ok(frame)) = self.frames.push(*byte)
                && let Ok(request) = frame.request()
            {
                *self.last.lock().unwrap() = Some(request);
            }
        }
        self.probe.receive(bytes, send);
    }

    fn idle(&mut self) {
        self.probe.idle();
    }
}

/// A van, or a part of it, on a port.
struct Fitted {
    served: Served,
    last: Last,
    /// Within reach; none: everything.
    places: &'static [&'static str],
}

impl Fitted {
    fn new(
        places: &'static [&'static str],
        make: impl FnOnce(&Job, &Hookup) -> Wired + Send + 'static,
    ) -> Self {
        let last = Last::default();
        let own = Arc::clone(&last);
        let served = Served::new(move |_| {
            let plan = Plan::load(&top().join(VAN)).unwrap();
            let job = plan.resolve(&BTreeMap::new()).unwrap();
            let names: Vec<String> = places.iter().map(|it| (*it).to_owned()).collect();
            let within = Within::of(&job, &names).unwrap();
            let planned = rounds(&job, Place::Vehicle, 64, &within).unwrap();
            Asked {
                probe: VirtualProbe::new(make(&job, &planned.hookups[0])),
                frames: Deframer::new(),
                last: own,
            }
        });
        Self {
            served,
            last,
            places,
        }
    }

    /// Battery on.
    fn powered(fault: Option<&'static str>) -> Self {
        Self::new(&["FB", "X1"], move |job, hookup| {
            let faults: Vec<Fault> = fault.iter().map(|it| parse(it, job).unwrap()).collect();
            Wired::powered(job, hookup, &faults, &[], &Settings::default()).unwrap()
        })
    }

    /// Battery off, a joint opening now and then.
    fn dead(upset: Option<&'static str>) -> Self {
        Self::new(&[], move |job, hookup| {
            let upsets: Vec<Upset> = upset
                .iter()
                .map(|it| upset::parse(it, job).unwrap())
                .collect();
            Wired::upset(job, hookup, &[], &upsets, &Settings::default()).unwrap()
        })
    }

    fn start(&self, bench: &Bench, verb: &str, more: &[&str]) -> Running {
        let at: Vec<&str> = self.places.iter().flat_map(|it| ["--at", it]).collect();
        let port = ["--probe", &self.served.path];
        let args = [&[verb, VAN, "--defaults"], &port[..], &at, more].concat();
        let mut child = command(&args)
            .env("LOOMPROOF_STORE", bench.file("r.sqlite"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let said = BufReader::new(child.stderr.take().unwrap());
        let (ended, waits) = channel();
        let pid = Pid::from_child(&child);
        // Where Ctrl-C does not end it, the test fails and does not hang.
        std::thread::spawn(move || {
            if waits.recv_timeout(LONGEST).is_err() {
                let _ = kill_process(pid, Signal::KILL);
            }
        });
        Running {
            child,
            ended,
            said,
            heard: String::new(),
        }
    }

    fn let_go(&self) -> bool {
        *self.last.lock().unwrap() == Some(Request::Release)
    }
}

/// No run takes so long, even on a machine with much else to do.
const LONGEST: Duration = Duration::from_secs(240);

/// The command while it runs; it is killed when it takes too long, or when its test has
/// failed.
struct Running {
    child: Child,
    ended: Sender<()>,
    said: BufReader<ChildStderr>,
    heard: String,
}

impl Running {
    /// Waits until it says this.
    fn until(&mut self, words: &str) {
        let mut byte = [0];
        while !self.heard.contains(words) {
            let read = self.said.read(&mut byte).unwrap();
            assert!(read > 0, "{words:?} never came:\n{}", self.heard);
            self.heard.push(char::from(byte[0]));
        }
    }

    fn enter(&mut self) {
        self.child.stdin.as_mut().unwrap().write_all(b"\n").unwrap();
    }

    fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).unwrap();
    }

    /// What it left. Its input stays open: nobody typed an end.
    fn end(mut self) -> Run {
        let mut out = String::new();
        self.child
            .stdout
            .take()
            .unwrap()
            .read_to_string(&mut out)
            .unwrap();
        let mut rest = Vec::new();
        self.said.read_until(0, &mut rest).unwrap();
        self.heard.push_str(&String::from_utf8_lossy(&rest));
        let status = self.child.wait().unwrap();
        let _ = self.ended.send(());
        let code = status
            .code()
            .unwrap_or_else(|| panic!("it did not end by itself:\n{}", self.heard));
        Run {
            status: code,
            out,
            err: self.heard,
        }
    }
}

#[test]
fn a_live_check_that_is_broken_off_reports_what_it_saw() {
    let (bench, van) = (Bench::new(), Fitted::powered(None));
    let mut running = van.start(&bench, "live", &["--format", "json", "--vehicle", "V1"]);
    for step in ["[1 of", "[2 of"] {
        running.until(step);
        running.until("Enter when it is so");
        running.enter();
    }
    running.until("[3 of");
    running.signal(Signal::INT);
    let run = running.end();
    let report = run.json();
    // The switch of the second step was never moved in the vehicle: that shows, and
    // is told with the status of faults; with it right it would be "cannot tell".
    assert_eq!(report["broken_off"], true, "{report:#}");
    assert_eq!(report["steps"].as_array().unwrap().len(), 2);
    assert!(report["planned_steps"].as_u64().unwrap() > 2);
    assert_eq!(
        (run.status, &report["verdict"]),
        (1, &"faults".into()),
        "{run:#?}"
    );
    run.speaks(&["Broken off.", "Kept as record 1"]);
    assert!(van.let_go());
    let shown = bench.json(&["records", "show", "1"]);
    assert_eq!(shown["record"]["broken_off"], true);
    assert_eq!(shown["record"]["report"], report);
    let text = bench.run(&["records", "show", "1"]).out;
    assert!(text.contains("a live check, broken off"), "{text}");
    assert!(text.contains("Broken off after 2 of"), "{text}");
}

#[test]
fn what_was_not_reached_is_not_passed() {
    for (steps, signal) in [(0, Signal::INT), (1, Signal::TERM)] {
        let (bench, van) = (Bench::new(), Fitted::powered(None));
        let mut running = van.start(&bench, "live", &[]);
        for step in 0..steps {
            running.until(&format!("[{} of", step + 1));
            running.until("Enter when it is so");
            running.enter();
        }
        running.until(&format!("[{} of", steps + 1));
        running.signal(signal);
        let run = running.end();
        assert_eq!(run.status, 5, "{run:#?}");
        for words in [
            "UNDECIDED: nothing is off so far",
            &format!("Broken off after {steps} of"),
            "chiller not tested: the check was broken off before it was switched on",
        ] {
            let said = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(said.contains(words), "{words}: {}", run.out);
        }
        assert!(van.let_go());
        assert_eq!(
            bench.json(&["records", "list"])["lines"][0]["verdict"],
            "undecided"
        );
    }
}

#[test]
fn a_wiggle_test_that_is_broken_off_reports_what_came_apart() {
    for (upset, more, status, words) in [
        (
            Some("intermittent@X1:3,gap=2ms,every=50ms"),
            &[][..],
            1,
            "FAULTS: something came apart",
        ),
        (None, &[], 0, "PASS: nothing came apart"),
        (None, &["--pull"], 5, "CANNOT TELL: nothing came apart"),
    ] {
        let (bench, van) = (Bench::new(), Fitted::dead(upset));
        let mut running = van.start(&bench, "wiggle", more);
        match (upset, more) {
            (Some(_), _) => running.until("X1:3 / F1:1"),
            (None, []) => {
                running.until("a dropout of");
                // A window or two of watching, whatever the machine is doing.
                std::thread::sleep(Duration::from_secs(3));
            }
            // At once: the virtual clock goes fast, and there are not many terminals.
            (None, _) => running.until("and hold (2 of"),
        }
        running.signal(Signal::INT);
        let run = running.end();
        assert_eq!(run.status, status, "{run:#?}");
        for words in [words, "Broken off; this is what was seen until then."] {
            assert!(run.out.contains(words), "{words}: {}", run.out);
        }
        assert!(van.let_go());
        let record = bench.json(&["records", "show", "1"])["record"].clone();
        assert_eq!(
            (&record["test"], &record["broken_off"]),
            (&"wiggle".into(), &true.into())
        );
    }
}
