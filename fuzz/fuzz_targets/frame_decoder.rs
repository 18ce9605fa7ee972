//! Any bytes, into the frame decoder and, past its CRC, into every message
//! decoder. What decodes must encode and decode to the same again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use loomproof_core::wire::frame::{
    Deframer, Frame, Kind, MAX_FRAME, MAX_REQUEST_FRAME, encode_hello_reply, encode_reply,
    encode_request,
};

fuzz_target!(|bytes: &[u8]| {
    stream::<MAX_FRAME>(bytes);
    stream::<MAX_REQUEST_FRAME>(bytes);
    // A fuzzer hardly finds a CRC: the bytes as body of each kind.
    for kind in [Kind::HelloRequest, Kind::HelloReply, Kind::Request, Kind::Reply] {
        decode(Frame { kind, seq: 7, body: bytes, check: 0 });
    }
});

fn stream<const N: usize>(mut bytes: &[u8]) {
    let mut by_byte = Deframer::<N>::new();
    let single: Vec<_> = bytes
        .iter()
        .filter_map(|byte| by_byte.push(*byte).map(|frame| frame.map(|frame| (frame.kind, frame.seq))))
        .collect();
    let mut deframer = Deframer::<N>::new();
    let mut chunked = Vec::new();
    while !bytes.is_empty() {
        let (taken, frame) = deframer.feed(bytes);
        assert!(taken > 0 && taken <= bytes.len());
        if let Some(Ok(frame)) = &frame {
            decode(*frame);
        }
        chunked.extend(frame.map(|frame| frame.map(|frame| (frame.kind, frame.seq))));
        bytes = &bytes[taken..];
    }
    assert_eq!(single, chunked);
}

fn decode(frame: Frame<'_>) {
    let mut out = [0; MAX_FRAME];
    let seq = frame.seq;
    let _ = frame.hello_request();
    if let Ok(hello) = frame.hello_reply() {
        let sent = encode_hello_reply(seq, &hello, &mut out).expect("fits");
        again(sent, |frame| assert_eq!(frame.hello_reply(), Ok(hello)));
    }
    if let Ok(request) = frame.request() {
        let sent = encode_request(seq, &request, &mut out).expect("fits");
        assert!(sent.len() <= MAX_REQUEST_FRAME);
        again(sent, |frame| assert_eq!(frame.request(), Ok(request)));
    }
    if let Ok(reply) = frame.reply() {
        let sent = encode_reply(seq, &reply, &mut out).expect("fits");
        again(sent, |frame| assert_eq!(frame.reply(), Ok(reply)));
    }
}

fn again(sent: &[u8], check: impl FnOnce(Frame<'_>)) {
    let mut deframer = Deframer::<MAX_FRAME>::new();
    let (taken, frame) = deframer.feed(sent);
    assert_eq!(taken, sent.len());
    check(frame.expect("a frame").expect("a good one"));
}
