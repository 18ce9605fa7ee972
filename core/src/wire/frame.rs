//! How messages cross a byte stream: kind, sequence number and body, then a
//! CRC-32, then COBS, then a zero byte. `docs/wire-format.md` says it in words,
//! with golden bytes.
//!
//! Nothing here allocates or panics: every byte stream gives frames or errors.
//! A frame is handed out only after its CRC has been checked, because a
//! damaged COBS frame can still decode to something.

use heapless::String;
use serde::{Deserialize, Serialize};

use crate::check::CRC;

use super::message::{Hello, Reply, Request};
use super::stuffing::{Stuffed, unstuff};

/// Room for the largest frame, zero byte included. The largest is
/// [`Reply::Survey`] of 128 leads (1,289 bytes of body at most); a test builds
/// every message at its maximum and holds this number against it.
pub const MAX_FRAME: usize = 1312;

/// Room for the largest frame that a host sends, zero byte included: a
/// [`Request::Load`] of a whole page.
pub const MAX_REQUEST_FRAME: usize = 288;

/// First bytes of both hello bodies.
const MAGIC: [u8; 4] = *b"LOOM";

/// Kind byte and sequence number.
const HEAD: usize = 3;

/// Bytes of the CRC.
const CHECK: usize = 4;

/// What a frame carries: its first byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Kind {
    /// The host asks who is there.
    HelloRequest = 0,
    /// The probe says who it is.
    HelloReply = 1,
    /// A [`Request`].
    Request = 2,
    /// A [`Reply`].
    Reply = 3,
}

impl Kind {
    const fn from_byte(byte: u8) -> Option<Self> {
        match byte {
            0 => Some(Self::HelloRequest),
            1 => Some(Self::HelloReply),
            2 => Some(Self::Request),
            3 => Some(Self::Reply),
            _ => None,
        }
    }
}

/// Why bytes are not a frame, a body is not a message, or a message does not
/// fit. Whatever the reason, the receiver drops the frame; the host then asks
/// again with the same sequence number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum FrameError {
    /// More bytes than the receiver has room for came without a zero byte.
    TooLong,
    /// Too few bytes for a head and a CRC.
    TooShort,
    /// Not a COBS sequence.
    Coding,
    /// The CRC differs: bytes were changed or lost on the way.
    Check,
    /// No such kind of frame in this version of the protocol.
    UnknownKind(u8),
    /// The frame is of another kind than the message asked for.
    WrongKind(Kind),
    /// The body is not a message of this version of the protocol.
    Body,
    /// Bytes are left over behind the message.
    Trailing,
    /// The peer's hello does not begin with the magic bytes: not a probe.
    NotAProbe,
    /// The buffer to encode into is too small: give it [`MAX_FRAME`] bytes.
    Buffer,
}

impl core::fmt::Display for FrameError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::TooLong => "too many bytes without an end of frame; send the message again",
            Self::TooShort => "frame too short; send the message again",
            Self::Coding => "frame damaged (coding); send the message again",
            Self::Check => "frame damaged (check sum); send the message again",
            Self::UnknownKind(_) => {
                "frame of an unknown kind; use the same version of loomproof on both sides"
            }
            Self::WrongKind(_) => "frame of another kind than expected; send the message again",
            Self::Body | Self::Trailing => {
                "message not understood; use the same version of loomproof on both sides"
            }
            Self::NotAProbe => "the device on this port is not a loomproof probe; try another port",
            Self::Buffer => "buffer too small for the message; use one of MAX_FRAME bytes",
        })
    }
}

impl core::error::Error for FrameError {}

/// One frame whose CRC was right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<'a> {
    /// What it carries.
    pub kind: Kind,
    /// The sequence number; a reply repeats that of its request.
    pub seq: u16,
    /// The encoded message.
    pub body: &'a [u8],
    /// The CRC over all of it: two frames with the same check are the same one.
    pub check: u32,
}

impl Frame<'_> {
    /// The request in this frame.
    ///
    /// # Errors
    /// [`FrameError::WrongKind`], [`FrameError::Body`] or [`FrameError::Trailing`].
    pub fn request(&self) -> Result<Request, FrameError> {
        self.expect(Kind::Request)?;
        whole(self.body)
    }

    /// The reply in this frame.
    ///
    /// # Errors
    /// [`FrameError::WrongKind`], [`FrameError::Body`] or [`FrameError::Trailing`].
    pub fn reply(&self) -> Result<Reply, FrameError> {
        self.expect(Kind::Reply)?;
        whole(self.body)
    }

    /// Checks that this frame is a hello request.
    ///
    /// # Errors
    /// [`FrameError::WrongKind`], [`FrameError::NotAProbe`],
    /// [`FrameError::Body`] or [`FrameError::Trailing`].
    pub fn hello_request(&self) -> Result<(), FrameError> {
        self.expect(Kind::HelloRequest)?;
        magic(whole(self.body)?)
    }

    /// The hello in this frame, whatever protocol version it names.
    ///
    /// # Errors
    /// [`FrameError::WrongKind`], [`FrameError::NotAProbe`],
    /// [`FrameError::Body`] or [`FrameError::Trailing`].
    pub fn hello_reply(&self) -> Result<Hello, FrameError> {
        self.expect(Kind::HelloReply)?;
        magic(prefix(self.body)?)?;
        let HelloLayout {
            magic: _,
            protocol,
            leads,
            board,
            serial,
            build,
        } = whole(self.body)?;
        Ok(Hello {
            protocol: u16::from_le_bytes(protocol),
            leads,
            board,
            serial,
            build,
        })
    }

    fn expect(&self, kind: Kind) -> Result<(), FrameError> {
        if self.kind == kind {
            Ok(())
        } else {
            Err(FrameError::WrongKind(self.kind))
        }
    }
}

/// The hello reply as bytes: fixed for ever. Arrays are raw bytes; a string is
/// one length byte (0 to 32) and its UTF-8.
#[derive(Deserialize)]
struct HelloLayout {
    #[allow(dead_code, reason = "looked at by itself before all of it is read")]
    magic: [u8; 4],
    protocol: [u8; 2],
    leads: u8,
    board: String<32>,
    serial: String<32>,
    build: String<32>,
}

/// The same as it is written: nothing is copied.
#[derive(Serialize)]
struct HelloWritten<'h> {
    magic: [u8; 4],
    protocol: [u8; 2],
    leads: u8,
    board: &'h str,
    serial: &'h str,
    build: &'h str,
}

fn magic(found: [u8; 4]) -> Result<(), FrameError> {
    if found == MAGIC {
        Ok(())
    } else {
        Err(FrameError::NotAProbe)
    }
}

fn whole<'a, T: Deserialize<'a>>(body: &'a [u8]) -> Result<T, FrameError> {
    let (message, rest) = postcard::take_from_bytes(body).map_err(|_| FrameError::Body)?;
    if rest.is_empty() {
        Ok(message)
    } else {
        Err(FrameError::Trailing)
    }
}

fn prefix<'a, T: Deserialize<'a>>(body: &'a [u8]) -> Result<T, FrameError> {
    postcard::take_from_bytes(body)
        .map(|(message, _)| message)
        .map_err(|_| FrameError::Body)
}

fn encode<'b, T: Serialize>(
    kind: Kind,
    seq: u16,
    body: &T,
    out: &'b mut [u8],
) -> Result<&'b [u8], FrameError> {
    let [low, high] = seq.to_le_bytes();
    // Sized arrays are written as their bare bytes.
    let payload = ([kind as u8, low, high], body);
    postcard::serialize_with_flavor(&payload, Stuffed::new(out, CRC.digest()))
        .map_err(|_| FrameError::Buffer)
}

/// Encodes a hello request into `out` and returns the frame.
///
/// # Errors
/// [`FrameError::Buffer`] if `out` is too small.
pub fn encode_hello_request(seq: u16, out: &mut [u8]) -> Result<&[u8], FrameError> {
    encode(Kind::HelloRequest, seq, &MAGIC, out)
}

/// Encodes a hello reply into `out` and returns the frame.
///
/// # Errors
/// [`FrameError::Buffer`] if `out` is too small.
pub fn encode_hello_reply<'b>(
    seq: u16,
    hello: &Hello,
    out: &'b mut [u8],
) -> Result<&'b [u8], FrameError> {
    let layout = HelloWritten {
        magic: MAGIC,
        protocol: hello.protocol.to_le_bytes(),
        leads: hello.leads,
        board: &hello.board,
        serial: &hello.serial,
        build: &hello.build,
    };
    encode(Kind::HelloReply, seq, &layout, out)
}

/// Encodes a request into `out` and returns the frame.
///
/// # Errors
/// [`FrameError::Buffer`] if `out` is too small.
pub fn encode_request<'b>(
    seq: u16,
    request: &Request,
    out: &'b mut [u8],
) -> Result<&'b [u8], FrameError> {
    encode(Kind::Request, seq, request, out)
}

/// Encodes a reply into `out` and returns the frame.
///
/// # Errors
/// [`FrameError::Buffer`] if `out` is too small.
pub fn encode_reply<'b>(
    seq: u16,
    reply: &Reply,
    out: &'b mut [u8],
) -> Result<&'b [u8], FrameError> {
    encode(Kind::Reply, seq, reply, out)
}

/// Collects bytes into frames of at most `N` bytes, zero byte not counted.
///
/// After garbage, or a frame that is too long, it is in step again behind the
/// next zero byte.
#[derive(Debug, Clone)]
pub struct Deframer<const N: usize> {
    buffer: [u8; N],
    filled: usize,
    overrun: bool,
}

impl<const N: usize> Default for Deframer<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Deframer<N> {
    /// A deframer that waits for the start of a frame.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            buffer: [0; N],
            filled: 0,
            overrun: false,
        }
    }

    /// Takes one byte. Returns a frame or an error when the byte ends one;
    /// zero bytes between frames are ignored.
    pub fn push(&mut self, byte: u8) -> Option<Result<Frame<'_>, FrameError>> {
        if byte != 0 {
            match self.buffer.get_mut(self.filled) {
                Some(place) => {
                    *place = byte;
                    self.filled += 1;
                }
                None => self.overrun = true,
            }
            return None;
        }
        let filled = core::mem::take(&mut self.filled);
        if core::mem::take(&mut self.overrun) {
            return Some(Err(FrameError::TooLong));
        }
        if filled == 0 {
            return None;
        }
        Some(open(self.buffer.get_mut(..filled)?))
    }

    /// Takes bytes up to and including the first that ends a frame, and
    /// returns how many were taken. Call again with the rest.
    pub fn feed(&mut self, bytes: &[u8]) -> (usize, Option<Result<Frame<'_>, FrameError>>) {
        let mut taken = 0;
        for byte in bytes {
            taken += 1;
            // A frame can only end here; otherwise `push` borrows nothing.
            if *byte == 0 && (self.filled != 0 || self.overrun) {
                return (taken, self.push(0));
            }
            let _ = self.push(*byte);
        }
        (taken, None)
    }
}

fn open(coded: &mut [u8]) -> Result<Frame<'_>, FrameError> {
    let payload = unstuff(coded).ok_or(FrameError::Coding)?;
    let split = payload
        .len()
        .checked_sub(CHECK)
        .filter(|length| *length >= HEAD)
        .ok_or(FrameError::TooShort)?;
    let (checked, sent) = payload
        .split_at_checked(split)
        .ok_or(FrameError::TooShort)?;
    let check = CRC.checksum(checked);
    if check.to_le_bytes() != sent {
        return Err(FrameError::Check);
    }
    let Some(([kind, low, high], body)) = checked.split_first_chunk::<HEAD>() else {
        return Err(FrameError::TooShort);
    };
    Ok(Frame {
        kind: Kind::from_byte(*kind).ok_or(FrameError::UnknownKind(*kind))?,
        seq: u16::from_le_bytes([*low, *high]),
        body,
        check,
    })
}
