//! What is no message, or of another version, made by hand.

use loomproof_core::wire::frame::{Deframer, FrameError, Kind, MAX_FRAME, encode_request};
use loomproof_core::wire::*;

use super::parts::text;
use super::{Message, receive};

/// A frame made by hand, without the encoder under test.
fn by_hand(payload: &[u8]) -> std::vec::Vec<u8> {
    let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(payload);
    let whole = [payload, &check.to_le_bytes()].concat();
    let mut out = vec![0; whole.len() + 8];
    let used = cobs::encode(&whole, &mut out);
    out.truncate(used);
    out.push(0);
    out
}

#[test]
fn a_hello_of_another_version_is_still_understood() {
    let frame = by_hand(b"\x01\x05\x00LOOM\x39\x30\x10\x04pico\x01A\x00");
    let hello = Hello {
        protocol: 12_345,
        leads: 16,
        board: text("pico"),
        serial: text("A"),
        build: text(""),
    };
    assert_eq!(receive(&frame), [Ok((5, Message::HelloReply(hello)))]);
}

#[test]
fn what_is_not_a_message_is_an_error() {
    let error = |payload: &[u8]| match receive(&by_hand(payload)).as_slice() {
        [Err(error)] => *error,
        other => panic!("{other:?}"),
    };
    assert_eq!(
        error(b"\x01\0\0MOOL\x01\0\x10\0\0\0"),
        FrameError::NotAProbe
    );
    assert_eq!(error(b"\x00\0\0LOOMS"), FrameError::Trailing);
    assert_eq!(error(b"\x02\0\0\x03\x00"), FrameError::Trailing);
    assert_eq!(error(b"\x02\0\0\x0f"), FrameError::Body);
    assert_eq!(error(b"\x02\0\0"), FrameError::Body);
    assert_eq!(error(b"\x09\0\0"), FrameError::UnknownKind(9));
    assert_eq!(receive(&[5, 1, 0]), [Err(FrameError::Coding)]);
    assert_eq!(receive(&[3, 1, 2, 0]), [Err(FrameError::TooShort)]);
    let mut deframer = Deframer::<MAX_FRAME>::new();
    let frame = Message::Reply(Reply::Armed).encode(1);
    let (_, frame) = deframer.feed(&frame);
    let frame = frame.expect("a frame").expect("a good one");
    assert_eq!(frame.request(), Err(FrameError::WrongKind(Kind::Reply)));
    let mut small = [0; 8];
    assert_eq!(
        encode_request(1, &Request::Survey, &mut small),
        Err(FrameError::Buffer)
    );
    assert_eq!(
        encode_request(1, &Request::Survey, &mut []),
        Err(FrameError::Buffer)
    );
}

#[test]
fn an_oversized_frame_is_dropped_up_to_the_next_zero() {
    let good = Message::Request(Request::Survey).encode(9);
    let mut stream = vec![1; 5_000];
    stream.push(0);
    stream.extend(&good);
    assert_eq!(
        receive(&stream),
        [
            Err(FrameError::TooLong),
            Ok((9, Message::Request(Request::Survey)))
        ]
    );
}
