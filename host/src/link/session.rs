//! Hello, sequence numbers, repeats and deadlines over a byte stream.

use super::{Link, LinkError, Patience, Transport, TransportError};
use loomproof_core::wire::frame::{
    Deframer, Frame, FrameError, Kind, MAX_FRAME, MAX_REQUEST_FRAME, encode_hello_request,
    encode_request,
};
use loomproof_core::wire::{Hello, PAGE, PROTOCOL, Reply, Request};
use std::time::{Duration, Instant, SystemTime};

/// A conversation with one probe over a byte stream.
#[derive(Debug)]
pub struct Session<T> {
    transport: T,
    hello: Hello,
    patience: Patience,
    deframer: Box<Deframer<MAX_FRAME>>,
    sequence: u16,
}

impl<T: Transport> Session<T> {
    /// Says hello and waits for the probe to say who it is.
    ///
    /// # Errors
    /// [`LinkError::NotAProbe`], [`LinkError::Version`], [`LinkError::Unplugged`]
    /// or [`LinkError::Io`].
    pub fn open(transport: T) -> Result<Self, LinkError> {
        Self::open_with(transport, Patience::default())
    }

    /// As [`open`](Self::open), with other waiting times.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn open_with(mut transport: T, patience: Patience) -> Result<Self, LinkError> {
        let mut deframer = Box::new(Deframer::new());
        // A number that an earlier session with this probe hardly ended with,
        // so that no late reply to that one is taken for ours.
        let sequence = SystemTime::now()
            .duration_since(SystemTime::UNIX_EPOCH)
            .map_or(0, |since| since.subsec_nanos() as u16);
        let hello = greet(&mut transport, &mut deframer, &patience, sequence)?;
        if hello.protocol != PROTOCOL {
            return Err(LinkError::Version {
                port: transport.name().to_string(),
                theirs: hello.protocol,
                build: hello.build.as_str().to_string(),
            });
        }
        Ok(Self {
            transport,
            hello,
            patience,
            deframer,
            sequence,
        })
    }

    /// The byte stream below.
    pub fn transport(&self) -> &T {
        &self.transport
    }

    /// Ends the session and gives the byte stream back.
    pub fn into_transport(self) -> T {
        self.transport
    }

    /// One attempt: `Ok(None)` when no whole answer came in time. Bytes that
    /// are no message are added to `bad`.
    fn attempt(
        &mut self,
        frame: &[u8],
        words: &'static str,
        patience: Duration,
        last: bool,
        bad: &mut usize,
    ) -> Result<Option<Reply>, LinkError> {
        let mut deadline = self.transport.now() + patience;
        // Noise that came before the question must not spoil the answer.
        *self.deframer = Deframer::new();
        write(&mut self.transport, frame, words, deadline)?;
        let mut buffer = [0; 1024];
        let mut stray = 0;
        loop {
            let n = read(&mut self.transport, &mut buffer, words, deadline)?;
            if n == 0 {
                *bad += stray;
                return Ok(None);
            }
            let mut rest = buffer.get(..n).unwrap_or_default();
            while !rest.is_empty() {
                let (taken, outcome) = self.deframer.feed(rest);
                rest = rest.get(taken..).unwrap_or_default();
                stray += taken;
                let damaged = match outcome {
                    None => continue,
                    // A late answer to an earlier request, or to a hello that was repeated.
                    Some(Ok(frame)) if frame.kind != Kind::Reply || frame.seq != self.sequence => {
                        false
                    }
                    Some(Ok(frame)) => match frame.reply() {
                        Ok(reply) => return Ok(Some(reply)),
                        Err(error) => {
                            return Err(LinkError::Mismatch {
                                port: self.transport.name().to_string(),
                                request: words,
                                detail: error.to_string(),
                            });
                        }
                    },
                    Some(Err(_)) => true,
                };
                if damaged {
                    *bad += stray;
                    // It may have been the answer: do not wait for it in full,
                    // unless nothing is left to be tried.
                    if !last {
                        deadline = deadline.min(self.transport.now() + self.patience.damaged);
                    }
                }
                stray = 0;
            }
            if self.transport.now() >= deadline {
                *bad += stray;
                return Ok(None);
            }
        }
    }
}

impl<T: Transport> Link for Session<T> {
    fn hello(&self) -> &Hello {
        &self.hello
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        let words = words(request);
        self.sequence = self.sequence.wrapping_add(1);
        // The leading zero byte ends whatever noise the probe has taken in.
        let mut buffer = [0; MAX_REQUEST_FRAME + 1];
        let length = match buffer.split_first_mut() {
            Some((_, room)) => encode_request(self.sequence, request, room).map(<[u8]>::len),
            None => Err(FrameError::Buffer),
        };
        let frame = length
            .ok()
            .and_then(|length| buffer.get(..=length))
            .ok_or_else(|| LinkError::TooLarge {
                port: self.transport.name().to_string(),
                request: words,
            })?;

        let patience = self.patience.for_request(request);
        let attempts = self.patience.attempts.max(1);
        let started = self.transport.now();
        let mut bad = 0;
        for attempt in 1..=attempts {
            let last = attempt == attempts;
            if let Some(reply) = self.attempt(frame, words, patience, last, &mut bad)? {
                return match mismatch(request, &reply, &self.hello) {
                    None => Ok(reply),
                    Some(detail) => Err(LinkError::Mismatch {
                        port: self.transport.name().to_string(),
                        request: words,
                        detail,
                    }),
                };
            }
        }
        let port = self.transport.name().to_string();
        Err(if bad > 0 {
            LinkError::Garbage {
                port,
                request: words,
                attempts,
                bytes: bad,
            }
        } else {
            LinkError::TimedOut {
                port,
                request: words,
                attempts,
                waited: self.transport.now().duration_since(started),
            }
        })
    }
}

/// Repeats the hello until somebody answers it.
fn greet<T: Transport>(
    transport: &mut T,
    deframer: &mut Deframer<MAX_FRAME>,
    patience: &Patience,
    sequence: u16,
) -> Result<Hello, LinkError> {
    const WORDS: &str = "the hello";
    let mut buffer = [0; MAX_REQUEST_FRAME + 1];
    let length = match buffer.split_first_mut() {
        Some((_, room)) => encode_hello_request(sequence, room).map(<[u8]>::len),
        None => Err(FrameError::Buffer),
    };
    let frame = length
        .ok()
        .and_then(|length| buffer.get(..=length))
        .ok_or_else(|| LinkError::TooLarge {
            port: transport.name().to_string(),
            request: WORDS,
        })?;

    let end = transport.now() + patience.hello;
    let mut heard = 0;
    let mut buffer = [0; 1024];
    loop {
        let repeat = end.min(transport.now() + patience.repeat);
        write(transport, frame, WORDS, repeat)?;
        loop {
            let n = read(transport, &mut buffer, WORDS, repeat)?;
            heard += n;
            let mut rest = buffer.get(..n).unwrap_or_default();
            while !rest.is_empty() {
                let (taken, outcome) = deframer.feed(rest);
                rest = rest.get(taken..).unwrap_or_default();
                if let Some(Ok(hello)) = outcome.map(|frame| hello(frame, sequence)) {
                    return Ok(hello);
                }
            }
            if n == 0 || transport.now() >= repeat {
                break;
            }
        }
        // A byte stream that says at once that nothing will come is not asked for ever.
        if transport.now() >= end || (heard == 0 && transport.now() < repeat) {
            return Err(LinkError::NotAProbe {
                port: transport.name().to_string(),
                waited: patience.hello,
                heard,
            });
        }
    }
}

fn hello(frame: Result<Frame<'_>, FrameError>, sequence: u16) -> Result<Hello, FrameError> {
    let frame = frame?;
    let hello = frame.hello_reply()?;
    if frame.seq == sequence {
        Ok(hello)
    } else {
        Err(FrameError::WrongKind(frame.kind))
    }
}

fn write<T: Transport>(
    transport: &mut T,
    frame: &[u8],
    words: &'static str,
    deadline: Instant,
) -> Result<(), LinkError> {
    transport
        .write(frame, deadline)
        .map_err(|error| broken(transport, words, error))
}

fn read<T: Transport>(
    transport: &mut T,
    buffer: &mut [u8],
    words: &'static str,
    deadline: Instant,
) -> Result<usize, LinkError> {
    transport
        .read(buffer, deadline)
        .map_err(|error| broken(transport, words, error))
}

fn broken<T: Transport>(transport: &T, words: &'static str, error: TransportError) -> LinkError {
    let port = transport.name().to_string();
    match error {
        TransportError::Gone => LinkError::Unplugged {
            port,
            request: words,
        },
        TransportError::Io(error) => LinkError::Io { port, error },
    }
}

fn words(request: &Request) -> &'static str {
    match request {
        Request::Survey => "the look at all leads",
        Request::Arm(_) => "the safety check before driving",
        Request::Step(_) => "a reading",
        Request::Release => "letting go",
        Request::Inspect => "the look at its chips",
        Request::Prove(_) => "the test of a lead",
        Request::Nulls(_) => "the clips' resistance",
        Request::Keep(_) => "keeping the clips' resistance",
        Request::Watch(_) => "watching voltages",
        Request::Feel(_) => "feeling whether anything holds a lead",
        Request::Guard(_) => "watching joints",
        Request::Plan => "which plan it carries",
        Request::Load(_) => "keeping a page of the plan",
        Request::Result(_) => "a result that it keeps",
        Request::Forget(_) => "forgetting a result",
    }
}

/// What is wrong with this answer to this request, if anything is.
fn mismatch(request: &Request, reply: &Reply, hello: &Hello) -> Option<String> {
    let counted = |found: usize, asked: usize, what: &str| {
        (found != asked).then(|| format!("{found} {what} instead of {asked}"))
    };
    match (request, reply) {
        (_, Reply::Refused(_))
        | (Request::Arm(_), Reply::Armed)
        | (Request::Release, Reply::Released) => None,
        (Request::Survey, Reply::Survey { looks, .. }) => {
            counted(looks.len(), usize::from(hello.leads), "looks")
        }
        (Request::Step(step), Reply::Readings { readings, .. }) => {
            counted(readings.len(), step.senses.len(), "readings")
        }
        (Request::Inspect, Reply::Inspected(_)) | (Request::Prove(_), Reply::Proved(_)) => None,
        (Request::Nulls(first), Reply::Nulls(nulls)) => (nulls.first != *first)
            .then(|| format!("clips from {} on instead of from {first} on", nulls.first)),
        (Request::Keep(kept), Reply::Nulls(nulls)) => {
            let same = nulls.first == kept.first && nulls.clips.starts_with(&kept.clips);
            (!same).then(|| "other values than those to be kept".to_string())
        }
        (Request::Watch(watch), Reply::Watched { seen, .. }) => {
            counted(seen.len(), watch.leads.len(), "leads that were watched")
        }
        (Request::Feel(feel), Reply::Felt(felt)) => {
            counted(felt.len(), feel.leads.len(), "leads that were felt")
        }
        (Request::Guard(guard), Reply::Guarded { breaks, .. }) => breaks
            .iter()
            .find(|found| !guard.watched.contains(found.lead))
            .map(|found| format!("a break of {}, which was not watched", found.lead)),
        (Request::Plan, Reply::Plan { .. }) | (Request::Forget(_), Reply::Forgotten) => None,
        (Request::Load(page), Reply::Loaded { next }) => (u64::from(*next)
            != u64::from(page.at) + PAGE as u64)
            .then(|| "another page of the plan".to_string()),
        (Request::Result(fetch), Reply::Result(piece)) => {
            let left = piece.length.saturating_sub(fetch.at).min(PAGE as u32);
            counted(piece.bytes.len(), left as usize, "bytes of a result")
        }
        (_, Reply::Plan { .. } | Reply::Loaded { .. }) => Some("what it carries".to_string()),
        (_, Reply::Result(_) | Reply::Forgotten) => Some("a result".to_string()),
        (_, Reply::Watched { .. }) => Some("watched voltages".to_string()),
        (_, Reply::Felt(_)) => Some("pulled leads".to_string()),
        (_, Reply::Guarded { .. }) => Some("watched joints".to_string()),
        (_, Reply::Survey { .. }) => Some("a survey".to_string()),
        (_, Reply::Inspected(_)) => Some("what its chips say".to_string()),
        (_, Reply::Proved(_)) => Some("what a channel shows".to_string()),
        (_, Reply::Nulls(_)) => Some("the clips' resistance".to_string()),
        (_, Reply::Armed) => Some("leave to drive".to_string()),
        (_, Reply::Readings { .. }) => Some("readings".to_string()),
        (_, Reply::Released) => Some("that it has let go".to_string()),
    }
}
