//! The traffic of a ring-out, recorded between host and probe, read by another
//! hand: PyPI's cobs, Python's zlib, and a reader of the messages that was written
//! from `docs/wire-format.md`.

use std::collections::{BTreeSet, VecDeque};
use std::time::Instant;

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::build;
use loomproof::hookup::propose;
use loomproof::link::{Link, Session, Transport, TransportError, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::probe::nulls::{keep, measure};
use loomproof::probe::self_test::full;
use loomproof::ringout::run;
use loomproof_core::wire::frame::{Deframer, FrameError, Kind, MAX_FRAME};
use loomproof_core::wire::{Place, Request};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

use super::python::ask;
use super::{FRAMES, SPOILED};
use crate::outside::ours::job;
use crate::skip::top;

/// A probe in this process whose bytes are kept, both ways.
struct Recorded {
    probe: VirtualProbe,
    sent: VecDeque<u8>,
    /// One list for each direction: frames are cut at their zero bytes.
    kept: [Vec<u8>; 2],
}

impl Transport for Recorded {
    fn name(&self) -> &str {
        "recorded"
    }

    fn write(&mut self, bytes: &[u8], _: Instant) -> Result<(), TransportError> {
        self.kept[0].extend(bytes);
        let (sent, kept) = (&mut self.sent, &mut self.kept[1]);
        self.probe.receive(bytes, &mut |answer| {
            sent.extend(answer);
            kept.extend(answer);
        });
        Ok(())
    }

    fn read(&mut self, buffer: &mut [u8], _: Instant) -> Result<usize, TransportError> {
        let n = buffer.len().min(self.sent.len());
        for (place, byte) in buffer.iter_mut().zip(self.sent.drain(..n)) {
            *place = byte;
        }
        Ok(n)
    }
}

/// Every frame of a whole session: self-test, clips measured and kept, ring-out
/// and a refusal, without the zero bytes; then the frames of the wire format's
/// document, which has one of each message.
fn frames() -> Vec<Vec<u8>> {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let job = job(&plan);
    let hookup = propose(&job, Place::Bench, 64).unwrap();
    let model = build(&job, &hookup).unwrap();
    let bench = Bench::new(&job, &hookup, &[], &Settings::default()).unwrap();
    let mut link = Session::open(Recorded {
        probe: VirtualProbe::new(bench),
        sent: VecDeque::new(),
        kept: [Vec::new(), Vec::new()],
    })
    .unwrap();
    full(&mut link).unwrap();
    // On the virtual bench the clips sit on the harness, so that some may refuse.
    if let Ok(clips) = measure(&mut link) {
        keep(&mut link, &clips).unwrap();
    }
    run::run(&mut link, &model, hookup.place, &mut |_| {}).unwrap();
    link.exchange(&Request::Release).unwrap();
    let mut frames = Vec::new();
    for kept in &link.transport().kept {
        let parts = kept.split(|byte| *byte == 0);
        frames.extend(parts.filter(|frame| !frame.is_empty()).map(<[u8]>::to_vec));
    }
    let text = std::fs::read_to_string(top().join("docs/wire-format.md")).unwrap();
    let golden = text
        .split("```golden\n")
        .nth(1)
        .unwrap()
        .split("```")
        .next()
        .unwrap();
    for line in golden.lines() {
        let (_, bytes) = line.split_once(": ").unwrap();
        let bytes = bytes
            .split(' ')
            .map(|hex| u8::from_str_radix(hex, 16).unwrap());
        let mut frame: Vec<u8> = bytes.collect();
        assert_eq!(frame.pop(), Some(0));
        frames.push(frame);
    }
    frames
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// What our side makes of a frame.
fn ours(coded: &[u8]) -> Result<Value, FrameError> {
    let mut deframer: Deframer<MAX_FRAME> = Deframer::new();
    assert_eq!(deframer.feed(coded), (coded.len(), None));
    let frame = deframer.push(0).expect("an end of frame")?;
    let said = match frame.kind {
        Kind::HelloRequest => {
            frame.hello_request()?;
            json!({"magic": "LOOM"})
        }
        Kind::HelloReply => {
            let mut said = serde_json::to_value(frame.hello_reply()?).expect("JSON");
            said["magic"] = json!("LOOM");
            said
        }
        Kind::Request => serde_json::to_value(frame.request()?).expect("JSON"),
        Kind::Reply => serde_json::to_value(frame.reply()?).expect("JSON"),
    };
    Ok(json!({"kind": frame.kind as u8, "seq": frame.seq, "said": said}))
}

/// The message's own name.
fn name(said: &Value) -> String {
    match said {
        Value::String(name) => name.clone(),
        Value::Object(keys) => keys.keys().next().cloned().unwrap_or_default(),
        _ => String::new(),
    }
}

#[test]
fn traffic_is_read_by_another_hand() {
    let frames = frames();
    let question = frames.iter().map(|frame| hex(frame)).collect();
    let Some(answers) = ask("link.py", &question) else {
        return;
    };
    let answers = answers.as_array().unwrap();
    assert_eq!(answers.len(), frames.len());
    let mut seen = BTreeSet::new();
    let mut bytes = 0;
    for (frame, theirs) in frames.iter().zip(answers) {
        let mut wanted = ours(frame).unwrap();
        seen.insert((wanted["kind"].as_u64(), name(&wanted["said"])));
        wanted["again"] = json!(hex(frame));
        assert_eq!(*theirs, wanted, "{}", hex(frame));
        bytes += frame.len() + 1;
    }
    println!(
        "{} frames, {bytes} bytes, {} kinds of message",
        frames.len(),
        seen.len()
    );
    assert!(frames.len() >= FRAMES.cases);
    // Both hellos, the fifteen requests and the fifteen replies.
    assert_eq!(seen.len(), 32, "{seen:?}");
}

#[test]
fn spoiled_frames_are_refused_by_both() {
    let mut frames = frames();
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for frame in &mut frames {
        let at = rng.random_range(0..frame.len());
        // Never a zero byte: that would make two frames of one.
        let other = (u16::from(frame[at]) + rng.random_range(0..254)) % 255 + 1;
        frame[at] = u8::try_from(other).unwrap();
    }
    let question = frames.iter().map(|frame| hex(frame)).collect();
    let Some(answers) = ask("link.py", &question) else {
        return;
    };
    let answers = answers.as_array().unwrap();
    assert!(frames.len() >= SPOILED.cases && answers.len() == frames.len());
    for (frame, theirs) in frames.iter().zip(answers) {
        let wanted = ours(frame);
        assert!(wanted.is_err(), "{wanted:?} from {}", hex(frame));
        assert!(theirs["refused"].is_string(), "{theirs}");
    }
}
