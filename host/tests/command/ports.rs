//! Ports that are not there, are no probe, or fail in mid-scan.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader};
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use loomproof::bench::{Bench, Settings};
use loomproof::hookup::propose;
use loomproof::link::VirtualProbe;
use loomproof::link::pty::Serve;
use loomproof::plan::Plan;
use loomproof_core::wire::frame::{
    Deframer, Kind, MAX_FRAME, MAX_REQUEST_FRAME, encode_hello_reply,
};
use loomproof_core::wire::{Hello, PROTOCOL, Place};

use crate::support::{Served, command, loomproof, top};

const VAN: &str = "fixtures/plans/bakery-van.toml";

/// A healthy van on a virtual probe.
fn probe() -> VirtualProbe {
    let plan = Plan::load(&top().join(VAN)).unwrap();
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    let settings = Settings::default();
    let hookup = propose(&job, Place::Vehicle, usize::from(settings.leads)).unwrap();
    VirtualProbe::new(Bench::new(&job, &hookup, &[], &settings).unwrap())
}

/// What becomes of the line after so many answers.
enum Then {
    Pulled(Arc<AtomicBool>),
    Garbage,
    Silence,
}

/// A good probe whose line fails in mid-scan.
struct Failing {
    probe: VirtualProbe,
    answers: usize,
    then: Then,
}

impl Serve for Failing {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        let Self {
            probe,
            answers,
            then,
        } = self;
        probe.receive(bytes, &mut |answer| {
            if *answers > 0 {
                *answers -= 1;
                return send(answer);
            }
            match then {
                Then::Pulled(stop) => stop.store(true, Ordering::Relaxed),
                Then::Garbage => send(&[0x5A, 0xFF, 0x13, 0, 0xFE, 0x01, 0]),
                Then::Silence => {}
            }
        });
    }
}

fn failing(answers: usize, then: fn(Arc<AtomicBool>) -> Then) -> Served {
    Served::new(move |stop| Failing {
        probe: probe(),
        answers,
        then: then(stop),
    })
}

#[test]
fn a_good_port_passes() {
    let served = failing(usize::MAX, Then::Pulled);
    let run = loomproof(&["ringout", VAN, "--probe", &served.path]);
    assert_eq!(run.status, 0, "{run:#?}");
    let run = loomproof(&["probe", "identify", &served.path, "--format", "json"]);
    assert_eq!(run.status, 0, "{run:#?}");
    assert_eq!(run.json()["leads"], 64);
}

#[test]
fn a_port_that_does_not_exist() {
    let port = "/dev/loomproof-nowhere";
    for args in [
        &["ringout", VAN, "--probe", port][..],
        &["probe", "identify", port],
    ] {
        loomproof(args).fails(3, &[port, "no such port", "Plug the probe in"]);
    }
}

struct Babbler;
impl Serve for Babbler {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        send(bytes);
        send(b"+++ not a probe +++\r\n\0\0");
    }
}

#[test]
fn a_port_that_is_no_probe() {
    let served = Served::new(|_| Babbler);
    let start = Instant::now();
    loomproof(&["ringout", VAN, "--probe", &served.path]).fails(
        3,
        &[
            &served.path,
            "no probe answered",
            "are no answer",
            "Check that this is the probe's port",
        ],
    );
    assert!(start.elapsed() < Duration::from_secs(10));
}

#[test]
fn a_file_is_no_port() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let path = file.path().to_str().unwrap();
    loomproof(&["ringout", VAN, "--probe", path]).fails(3, &[path, "serial port"]);
}

struct OtherVersion(Deframer<MAX_REQUEST_FRAME>, u16);
impl Serve for OtherVersion {
    fn receive(&mut self, bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        for byte in bytes {
            let Some(Ok(frame)) = self.0.push(*byte) else {
                continue;
            };
            assert_eq!(frame.kind, Kind::HelloRequest, "nothing else is asked");
            let hello = Hello {
                protocol: self.1,
                leads: 64,
                board: "other".parse().unwrap(),
                serial: "1".parse().unwrap(),
                build: "9.9.9 test".parse().unwrap(),
            };
            send(encode_hello_reply(frame.seq, &hello, &mut [0; MAX_FRAME]).unwrap());
        }
    }
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
        let served = Served::new(move |_| OtherVersion(Deframer::new(), theirs));
        loomproof(&["ringout", VAN, "--probe", &served.path]).fails(
            3,
            &[
                &served.path,
                "9.9.9 test",
                &format!("protocol version {theirs}"),
                step,
            ],
        );
    }
}

#[test]
fn a_cable_that_is_pulled_in_mid_scan() {
    for answers in [1, 2, 5, 20] {
        let served = failing(answers, Then::Pulled);
        let start = Instant::now();
        loomproof(&["ringout", VAN, "--probe", &served.path, "--format", "json"])
            .fails(3, &[&served.path, "was unplugged", "start the test again"]);
        assert!(start.elapsed() < Duration::from_secs(10));
    }
}

#[test]
fn garbage_in_mid_scan() {
    let served = failing(5, |_| Then::Garbage);
    loomproof(&["ringout", VAN, "--probe", &served.path])
        .fails(3, &[&served.path, "came damaged", "Use another cable"]);
}

/// A scan that fails is not kept.
#[test]
fn silence_in_mid_scan_keeps_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("scan.json");
    let served = failing(5, |_| Then::Silence);
    loomproof(&[
        "ringout",
        VAN,
        "--probe",
        &served.path,
        "--save",
        file.to_str().unwrap(),
    ])
    .fails(3, &[&served.path, "did not answer", "check its cable"]);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// `probe serve` in one terminal, `ringout` in another.
#[test]
fn a_served_virtual_probe() {
    let fault = "exchanged@X1:9,with=X1:10";
    let mut server = command(&["probe", "serve", VAN, "--fault", fault])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut port = String::new();
    BufReader::new(server.stdout.take().unwrap())
        .read_line(&mut port)
        .unwrap();
    let port = port.trim();
    let run = loomproof(&["ringout", VAN, "--probe", port, "--format", "json"]);
    server.kill().unwrap();
    server.wait().unwrap();
    assert_eq!(run.status, 1, "{run:#?}");
    let report = run.json();
    let sets = report["groups"][0]["sets"].as_array().unwrap();
    let named = |set: &serde_json::Value| set[0]["fault"] == fault;
    assert!(sets.iter().any(named), "{report:#}");
}
