//! Frames over a byte stream: sizes, golden bytes, damage and recovery.

mod any;
mod document;
mod hostile;
mod longest;
mod parts;

use loomproof_core::wire::frame::{
    Deframer, Frame, FrameError, Kind, MAX_FRAME, encode_hello_reply, encode_hello_request,
    encode_reply, encode_request,
};
use loomproof_core::wire::*;

/// A frame with its message decoded, to compare.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "few exist at a time")]
enum Message {
    HelloRequest,
    HelloReply(Hello),
    Request(Request),
    Reply(Reply),
}

impl Message {
    fn encode(&self, seq: u16) -> std::vec::Vec<u8> {
        let mut out = [0; MAX_FRAME];
        match self {
            Self::HelloRequest => encode_hello_request(seq, &mut out),
            Self::HelloReply(hello) => encode_hello_reply(seq, hello, &mut out),
            Self::Request(request) => encode_request(seq, request, &mut out),
            Self::Reply(reply) => encode_reply(seq, reply, &mut out),
        }
        .expect("every message fits")
        .to_vec()
    }
}

fn decode(frame: Frame<'_>) -> Result<(u16, Message), FrameError> {
    let message = match frame.kind {
        Kind::HelloRequest => frame.hello_request().map(|()| Message::HelloRequest),
        Kind::HelloReply => frame.hello_reply().map(Message::HelloReply),
        Kind::Request => frame.request().map(Message::Request),
        Kind::Reply => frame.reply().map(Message::Reply),
    };
    message.map(|message| (frame.seq, message))
}

fn receive(bytes: &[u8]) -> std::vec::Vec<Result<(u16, Message), FrameError>> {
    let mut deframer = Deframer::<MAX_FRAME>::new();
    bytes
        .iter()
        .filter_map(|byte| deframer.push(*byte).map(|frame| frame.and_then(decode)))
        .collect()
}
