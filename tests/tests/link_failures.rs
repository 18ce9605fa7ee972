//! Ports that are not there, are no probe, or fail in mid-scan: each is an
//! error that names the port and the next step, within a bounded time.
#![cfg(unix)]

use loomproof::link::pty::{Pty, Serve};
use loomproof::link::{Link, LinkError, Patience, SerialTransport, Session, connect};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::frame::{
    Deframer, Kind, MAX_FRAME, MAX_REQUEST_FRAME, encode_hello_reply, encode_reply,
};
use loomproof_core::wire::{
    Hello, LeadId, PROTOCOL, Reading, Reply, Request, Sense, SenseMode, Step,
};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Short waits, so that the tests are.
const SHORT: Patience = Patience {
    hello: Duration::from_millis(900),
    repeat: Duration::from_millis(200),
    reply: Duration::from_millis(300),
    damaged: Duration::from_millis(50),
    attempts: 3,
};

/// A handler on a pseudo-terminal, served in a thread until dropped.
struct Served {
    path: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Served {
    fn new(mut handler: impl Serve + Send + 'static) -> Self {
        let pty = Pty::open().unwrap();
        let path = pty.path().to_str().unwrap().to_string();
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || pty.serve(&mut handler, &stopped).unwrap());
        Self {
            path,
            stop,
            thread: Some(thread),
        }
    }

    /// Pulls the cable: the terminal is gone when this returns.
    fn pull(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }

    fn session(&self) -> Session<SerialTransport> {
        Session::open_with(SerialTransport::open(&self.path).unwrap(), SHORT).unwrap()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.pull();
    }
}

/// How a fake probe answers the n-th request it gets.
#[derive(Clone)]
enum Answer {
    Good(Reply),
    Damaged(Reply),
    Nothing,
    Noise,
    /// The reply to the request before, then the right one.
    LateThen(Reply),
    /// Sets the flag that ends the terminal; answers nothing.
    Pull(Arc<AtomicBool>),
}

/// A probe that says hello and then answers by a script.
struct Fake {
    protocol: u16,
    deframer: Deframer<MAX_REQUEST_FRAME>,
    script: Vec<Answer>,
    /// Sequence numbers of the requests that came.
    seen: Arc<Mutex<Vec<u16>>>,
}

impl Fake {
    fn new(protocol: u16, script: &[Answer]) -> Self {
        Self {
            protocol,
            deframer: Deframer::new(),
            script: script.iter().rev().cloned().collect(),
            seen: Arc::default(),
        }
    }
}

impl Serve for Fake {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        for byte in bytes {
            let Some(Ok(frame)) = self.deframer.push(*byte) else {
                continue;
            };
            let mut out = [0; MAX_FRAME];
            if frame.kind == Kind::HelloRequest {
                let text = |text: &str| text.parse().unwrap();
                let (board, serial, build) = (text("fake"), text("1"), text("0.0.1 test"));
                let hello = Hello {
                    protocol: self.protocol,
                    leads: 16,
                    board,
                    serial,
                    build,
                };
                send(encode_hello_reply(frame.seq, &hello, &mut out).unwrap());
                continue;
            }
            frame.request().unwrap();
            self.seen.lock().unwrap().push(frame.seq);
            match self.script.pop().unwrap_or(Answer::Nothing) {
                Answer::Good(reply) => send(encode_reply(frame.seq, &reply, &mut out).unwrap()),
                Answer::Damaged(reply) => {
                    let n = encode_reply(frame.seq, &reply, &mut out).unwrap().len();
                    // A bit of the body flips, but no byte becomes an end of frame.
                    out[4] ^= if out[4] == 0x40 { 0x20 } else { 0x40 };
                    send(&out[..n]);
                }
                Answer::Nothing => {}
                Answer::Noise => send(&[0x55, 0xAA, 0x00, 0x13, 0x00, 0xFF, 0xFE]),
                Answer::LateThen(reply) => {
                    let before = frame.seq.wrapping_sub(1);
                    send(encode_reply(before, &Reply::Armed, &mut out).unwrap());
                    send(encode_reply(frame.seq, &reply, &mut out).unwrap());
                }
                Answer::Pull(stop) => stop.store(true, Ordering::Relaxed),
            }
        }
    }
}

fn step() -> Request {
    let sense = Sense {
        lead: LeadId(3),
        mode: SenseMode::Plain,
    };
    Request::Step(Step {
        high: [LeadId(0)].into_iter().collect(),
        low: [LeadId(1)].into_iter().collect(),
        settle: Micros(10),
        pulled: Micros(10),
        samples: 1,
        senses: [sense, sense].into_iter().collect(),
    })
}

fn readings(n: i32) -> Reply {
    let readings = (0..n).map(|n| Reading::Volts(MicroVolts(n))).collect();
    Reply::Readings {
        readings,
        at: Micros(7),
    }
}

/// The message names the port and says what to do.
#[track_caller]
fn speaks(error: &LinkError, port: &str, step: &str) {
    let message = error.to_string();
    assert!(message.starts_with(&format!("{port}: ")), "{message}");
    assert!(message.contains(step), "{message}");
}

#[test]
fn a_port_that_does_not_exist() {
    let error = connect("/dev/loomproof-nowhere").err().unwrap();
    assert!(
        matches!(error, LinkError::AbsentOrInUse { .. }),
        "{error:?}"
    );
    speaks(
        &error,
        "/dev/loomproof-nowhere",
        "no such port, or another program has it open",
    );
    speaks(
        &error,
        "/dev/loomproof-nowhere",
        "`loomproof probe list` shows the ports",
    );
}

#[test]
fn a_port_in_use() {
    let served = Served::new(Fake::new(PROTOCOL, &[]));
    let _first = served.session();
    let error = connect(&served.path).err().unwrap();
    assert!(
        matches!(error, LinkError::AbsentOrInUse { .. }),
        "{error:?}"
    );
    speaks(&error, &served.path, "close any other program");
}

#[test]
fn a_file_is_no_port() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let path = file.path().to_str().unwrap();
    let error = connect(path).err().unwrap();
    assert!(matches!(error, LinkError::NotSerial { .. }), "{error:?}");
    speaks(&error, path, "cannot be set up as a serial port");
}

struct Silent;
impl Serve for Silent {
    fn receive(&mut self, _: &[u8], _: &mut dyn FnMut(&[u8])) {}
}

#[test]
fn a_port_that_answers_nothing() {
    let served = Served::new(Silent);
    let start = Instant::now();
    let error = connect(&served.path).err().unwrap();
    // At least the 2 s that a probe that has just been plugged in may need.
    assert!(
        (2.0..4.5).contains(&start.elapsed().as_secs_f64()),
        "{:?}",
        start.elapsed()
    );
    assert!(
        matches!(error, LinkError::NotAProbe { heard: 0, .. }),
        "{error:?}"
    );
    speaks(&error, &served.path, "nothing was heard");
    speaks(&error, &served.path, "Check that this is the probe's port");
}

/// Sends back what it hears, then a piece of noise, for ever.
struct Babbler;
impl Serve for Babbler {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        send(bytes);
        for n in 0..200u8 {
            send(&[n.wrapping_mul(37), n, 0, 0xFF]);
        }
    }
}

#[test]
fn a_port_that_babbles() {
    let served = Served::new(Babbler);
    let start = Instant::now();
    let transport = SerialTransport::open(&served.path).unwrap();
    let error = Session::open_with(transport, SHORT).err().unwrap();
    assert!(
        start.elapsed() < Duration::from_secs(3),
        "{:?}",
        start.elapsed()
    );
    assert!(
        matches!(error, LinkError::NotAProbe { heard, .. } if heard > 200),
        "{error:?}"
    );
    speaks(&error, &served.path, "bytes were heard that are no answer");
}

#[test]
fn a_probe_of_another_version() {
    for (theirs, step) in [
        (
            PROTOCOL + 1,
            "Use the program that came with this probe's firmware",
        ),
        (
            PROTOCOL - 1,
            "Load the probe firmware that came with this program",
        ),
    ] {
        let served = Served::new(Fake::new(theirs, &[]));
        let error = connect(&served.path).err().unwrap();
        assert!(
            matches!(error, LinkError::Version { theirs: t, .. } if t == theirs),
            "{error:?}"
        );
        speaks(&error, &served.path, step);
        speaks(&error, &served.path, "0.0.1 test");
    }
}

#[test]
fn the_cable_is_pulled_in_mid_scan() {
    // The firmware's end goes away on the second reading.
    let flag = Arc::new(AtomicBool::new(false));
    let script = [Answer::Good(readings(2)), Answer::Pull(Arc::clone(&flag))];
    let mut served = Served::new(Fake::new(PROTOCOL, &script));
    let mut session = served.session();
    assert_eq!(session.exchange(&step()).unwrap(), readings(2));
    let puller = std::thread::spawn(move || {
        while !flag.load(Ordering::Relaxed) {
            std::thread::sleep(Duration::from_millis(5));
        }
        served.pull();
        served.path.clone()
    });
    let start = Instant::now();
    let error = session.exchange(&step()).err().unwrap();
    assert!(
        start.elapsed() < Duration::from_secs(2),
        "{:?}",
        start.elapsed()
    );
    let path = puller.join().unwrap();
    assert!(matches!(error, LinkError::Unplugged { .. }), "{error:?}");
    speaks(&error, &path, "was unplugged during a reading");
    speaks(&error, &path, "start the test again");
    // And it stays that way.
    let again = session.exchange(&Request::Release).err().unwrap();
    assert!(matches!(again, LinkError::Unplugged { .. }), "{again:?}");
}

#[test]
fn a_probe_that_falls_silent() {
    let fake = Fake::new(PROTOCOL, &[]);
    let seen = Arc::clone(&fake.seen);
    let served = Served::new(fake);
    let mut session = served.session();
    let start = Instant::now();
    let error = session.exchange(&step()).err().unwrap();
    let bound = SHORT.for_request(&step()) * SHORT.attempts + Duration::from_secs(1);
    assert!(
        start.elapsed() < bound,
        "{:?} of {bound:?}",
        start.elapsed()
    );
    assert!(
        matches!(error, LinkError::TimedOut { attempts: 3, .. }),
        "{error:?}"
    );
    speaks(&error, &served.path, "did not answer a reading");
    let seen = seen.lock().unwrap();
    assert_eq!(seen.len(), 3);
    assert!(
        seen.iter().all(|number| *number == seen[0]),
        "one number for all: {seen:?}"
    );
}

#[test]
fn garbage_every_time() {
    for answer in [Answer::Noise, Answer::Damaged(readings(2))] {
        let served = Served::new(Fake::new(
            PROTOCOL,
            &[answer.clone(), answer.clone(), answer],
        ));
        let mut session = served.session();
        let error = session.exchange(&step()).err().unwrap();
        assert!(
            matches!(error, LinkError::Garbage { bytes, .. } if bytes > 10),
            "{error:?}"
        );
        speaks(&error, &served.path, "came damaged each of 3 times");
        speaks(&error, &served.path, "Use another cable");
    }
}

#[test]
fn garbage_once_is_asked_again_under_the_same_number() {
    let script = [
        Answer::Damaged(readings(2)),
        Answer::Noise,
        Answer::Good(readings(2)),
    ];
    let fake = Fake::new(PROTOCOL, &script);
    let seen = Arc::clone(&fake.seen);
    let served = Served::new(fake);
    assert_eq!(served.session().exchange(&step()).unwrap(), readings(2));
    let seen = seen.lock().unwrap();
    assert_eq!(seen.len(), 3);
    assert!(seen.iter().all(|number| *number == seen[0]), "{seen:?}");
}

#[test]
fn a_late_reply_is_not_taken_for_this_one() {
    let script = [Answer::Good(readings(2)), Answer::LateThen(Reply::Released)];
    let served = Served::new(Fake::new(PROTOCOL, &script));
    let mut session = served.session();
    session.exchange(&step()).unwrap();
    assert_eq!(
        session.exchange(&Request::Release).unwrap(),
        Reply::Released
    );
}

#[test]
fn an_answer_to_another_question_is_refused() {
    for (reply, said) in [
        (readings(1), "1 readings instead of 2"),
        (readings(3), "3 readings instead of 2"),
        (Reply::Armed, "leave to drive"),
    ] {
        let served = Served::new(Fake::new(PROTOCOL, &[Answer::Good(reply)]));
        let error = served.session().exchange(&step()).err().unwrap();
        assert!(matches!(error, LinkError::Mismatch { .. }), "{error:?}");
        speaks(&error, &served.path, said);
    }
}

#[test]
fn peers_may_come_and_go() {
    let script = vec![Answer::Good(readings(2)); 5];
    let served = Served::new(Fake::new(PROTOCOL, &script));
    for _ in 0..5 {
        assert_eq!(served.session().exchange(&step()).unwrap(), readings(2));
    }
}
