//! The probe application: bytes in, bytes out, one request at a time.
//!
//! The probe sends nothing unasked. What is damaged or not understood gets no
//! answer; a request that is the last one once more is answered with the stored
//! reply and not acted on again. Only the very same request is: one of another
//! program, which by chance has the same number, is not given its reply.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use heapless::{String, Vec};
use loomproof_core::units::Micros;
use loomproof_core::wire::frame::{
    Deframer, Frame, FrameError, Kind, MAX_FRAME, MAX_REQUEST_FRAME, encode_hello_reply,
    encode_reply,
};
use loomproof_core::wire::{
    Channel, Feel, Fetch, Forget, Guard, Hello, LeadId, Nulls, PROTOCOL, Page, Place, Refusal,
    Reply, Request, Step, Watch,
};

use crate::alone::{Alone, Panel};
use crate::carried;
use crate::instrument::Instrument;
use crate::interlock::{self, PERMISSION};
use crate::memory::{Clips, Memory, NoMemory};
use crate::{Clock, Identity, Parts};

/// What a frame asks for.
#[allow(
    clippy::large_enum_variant,
    reason = "one exists at a time, and there is no heap"
)]
enum Heard {
    Hello(u16),
    Request(Asked, Request),
}

/// Which request it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Asked {
    seq: u16,
    /// CRC of its frame.
    check: u32,
}

/// The probe.
#[derive(Debug)]
pub struct Probe<D, G, S, A, T, R, W, C, M = NoMemory> {
    instrument: Instrument<D, G, S, A, T, R, W, C>,
    identity: Identity,
    deframer: Deframer<MAX_REQUEST_FRAME>,
    armed: Option<Place>,
    /// When the last request was done with.
    heard: Micros,
    /// The last request and the length of its reply in `out`.
    last: Option<(Asked, usize)>,
    out: [u8; MAX_FRAME],
    memory: M,
    clips: Clips,
    /// A host has spoken since the probe last looked after itself.
    spoken: bool,
}

impl<D, G, S, A, T, R, W, C> Probe<D, G, S, A, T, R, W, C>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    T: InputPin,
    R: OutputPin,
    W: DelayNs,
    C: Clock,
{
    /// As [`Probe::with_memory`], with none: the clips' resistance lasts until
    /// the probe is switched off.
    pub fn start(parts: Parts<D, G, S, A, T, R, W, C>, identity: Identity) -> Self {
        Self::with_memory(parts, identity, NoMemory)
    }
}

impl<D, G, S, A, T, R, W, C, M> Probe<D, G, S, A, T, R, W, C, M>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    T: InputPin,
    R: OutputPin,
    W: DelayNs,
    C: Clock,
    M: Memory,
{
    /// Lets go of everything and counts the leads. Never fails: without
    /// hardware the probe has no leads and refuses.
    ///
    /// A probe that is started tripped cannot count (its drive chips are held
    /// in reset): it names 64 leads per select chip, can look at them, and
    /// counts when the trip is gone.
    #[inline(never)]
    pub fn with_memory(
        parts: Parts<D, G, S, A, T, R, W, C>,
        identity: Identity,
        mut memory: M,
    ) -> Self {
        let clips = memory.load().unwrap_or_default();
        Self {
            instrument: Instrument::start(parts),
            identity,
            deframer: Deframer::new(),
            armed: None,
            heard: Micros(0),
            last: None,
            out: [0; MAX_FRAME],
            memory,
            clips,
            spoken: false,
        }
    }

    /// Takes bytes from the host, in any chunks; replies leave through `send`.
    pub fn receive(&mut self, mut bytes: &[u8], send: &mut dyn FnMut(&[u8])) {
        while !bytes.is_empty() {
            let (taken, frame) = self.deframer.feed(bytes);
            bytes = bytes.get(taken..).unwrap_or(&[]);
            let heard = frame.and_then(|frame| understand(frame.ok()?));
            match heard {
                Some(Heard::Hello(seq)) => self.hello(seq, send),
                Some(Heard::Request(asked, request)) => self.request(asked, &request, send),
                None => continue,
            }
            self.spoken = true;
        }
    }

    /// To be called whenever there is nothing to receive: ends the permission
    /// to drive when the host has been silent for 3 s or the comparators tripped.
    pub fn poll(&mut self) {
        self.expire();
        if self.armed.is_some() && self.instrument.tripped().unwrap_or(true) {
            self.disarm();
        }
    }

    /// As [`Probe::poll`], for a probe with a panel: it rings out the plan that it
    /// carries. While a host holds the permission to drive, and whenever one has
    /// spoken, what was under way by itself is over.
    pub fn poll_alone(&mut self, alone: &mut Alone, panel: &mut impl Panel) {
        self.poll();
        let spoken = core::mem::take(&mut self.spoken);
        if spoken || self.armed.is_some() {
            alone.leave(panel);
            return;
        }
        alone.turn(&mut self.instrument, &mut self.memory, &self.clips, panel);
    }

    fn expire(&mut self) {
        let now = self.instrument.now();
        if self.armed.is_some() && interlock::passed(self.heard, now, PERMISSION) {
            self.disarm();
        }
    }

    /// Ends the permission and lets go. Nothing is driven between requests;
    /// this proves it. If it cannot be proved, the next arm finds out and refuses.
    fn disarm(&mut self) {
        self.armed = None;
        let _ = self.instrument.let_go_of_all();
    }

    fn hello(&mut self, seq: u16, send: &mut dyn FnMut(&[u8])) {
        self.last = None;
        self.disarm();
        self.instrument.discover();
        let hello = Hello {
            protocol: PROTOCOL,
            leads: self.instrument.leads(),
            board: shortened(self.identity.board),
            serial: shortened(self.identity.serial),
            build: build_of(self.identity),
        };
        if let Ok(frame) = encode_hello_reply(seq, &hello, &mut self.out) {
            send(frame);
        }
    }

    #[inline(never)]
    fn request(&mut self, asked: Asked, request: &Request, send: &mut dyn FnMut(&[u8])) {
        self.expire();
        if self.last.is_none_or(|(last, _)| last != asked) {
            // Forgotten first: while this one is acted on, no reply is stored.
            self.last = None;
            // Encoded where it is, never moved: a reply is a kilobyte.
            let frame = match self.act(request) {
                Ok(reply) => encode_reply(asked.seq, &reply, &mut self.out),
                Err(refusal) => self.refused(asked.seq, refusal),
            };
            self.last = frame.ok().map(|frame| (asked, frame.len()));
        }
        self.heard = self.instrument.now();
        if let Some(frame) = self.last.and_then(|(_, length)| self.out.get(..length)) {
            send(frame);
        }
    }

    #[inline(never)]
    fn refused(&mut self, seq: u16, refusal: Refusal) -> Result<&[u8], FrameError> {
        if interlock::disarms(refusal) {
            self.disarm();
        }
        encode_reply(seq, &Reply::Refused(refusal), &mut self.out)
    }

    fn act(&mut self, request: &Request) -> Result<Reply, Refusal> {
        match request {
            Request::Survey => self.survey(),
            Request::Arm(place) => {
                self.disarm();
                self.instrument.arm()?;
                self.armed = Some(*place);
                Ok(Reply::Armed)
            }
            Request::Step(step) => match self.armed {
                None => Err(Refusal::NotArmed),
                Some(place) => self.step(step, place),
            },
            Request::Release => {
                self.armed = None;
                self.instrument.let_go_of_all().map(|()| Reply::Released)
            }
            Request::Inspect => self.inspect(),
            Request::Prove(channel) => match self.armed {
                None => Err(Refusal::NotArmed),
                Some(_) => self.prove(*channel),
            },
            Request::Nulls(first) => Ok(self.nulls(*first)),
            Request::Keep(nulls) => self.keep(nulls),
            Request::Watch(watch) => self.watch(watch),
            Request::Feel(feel) => self.feel(feel),
            Request::Guard(guard) => match self.armed {
                None => Err(Refusal::NotArmed),
                Some(place) => self.guard(guard, place),
            },
            Request::Plan => Ok(carried::plan(&mut self.memory)),
            Request::Load(page) => self.load(page),
            Request::Result(fetch) => self.result(*fetch),
            Request::Forget(forget) => self.forget(*forget),
        }
    }

    // Not inlined, as all that holds many looks or readings: they would lie on
    // the stack of whoever calls, under everything else.
    #[inline(never)]
    fn survey(&mut self) -> Result<Reply, Refusal> {
        self.disarm();
        let mut looks = Vec::new();
        let chassis = self.instrument.survey(&mut looks)?;
        Ok(Reply::Survey { looks, chassis })
    }

    #[inline(never)]
    fn step(&mut self, step: &Step, place: Place) -> Result<Reply, Refusal> {
        let mut readings = Vec::new();
        self.instrument.step(step, place, &mut readings)?;
        let at = self.instrument.now();
        Ok(Reply::Readings { readings, at })
    }

    #[inline(never)]
    fn inspect(&mut self) -> Result<Reply, Refusal> {
        self.disarm();
        self.instrument.inspect().map(Reply::Inspected)
    }

    #[inline(never)]
    fn prove(&mut self, channel: Channel) -> Result<Reply, Refusal> {
        self.instrument.prove(channel).map(Reply::Proved)
    }

    #[inline(never)]
    fn watch(&mut self, watch: &Watch) -> Result<Reply, Refusal> {
        self.disarm();
        let mut seen = Vec::new();
        let window = self.instrument.watch_leads(watch, &mut seen)?;
        Ok(Reply::Watched {
            seen,
            at: window.at,
            took: window.took,
            round: window.round,
        })
    }

    #[inline(never)]
    fn feel(&mut self, feel: &Feel) -> Result<Reply, Refusal> {
        self.disarm();
        let mut felt = Vec::new();
        self.instrument.feel(feel, &mut felt)?;
        Ok(Reply::Felt(felt))
    }

    #[inline(never)]
    fn guard(&mut self, guard: &Guard, place: Place) -> Result<Reply, Refusal> {
        let mut breaks = Vec::new();
        let (window, more) = self.instrument.guard(guard, place, &mut breaks)?;
        Ok(Reply::Guarded {
            breaks,
            more,
            at: window.at,
            took: window.took,
            round: window.round,
        })
    }

    #[inline(never)]
    fn load(&mut self, page: &Page) -> Result<Reply, Refusal> {
        self.disarm();
        carried::load(&mut self.memory, page)
    }

    #[inline(never)]
    fn result(&mut self, fetch: Fetch) -> Result<Reply, Refusal> {
        carried::result(&mut self.memory, fetch)
    }

    #[inline(never)]
    fn forget(&mut self, forget: Forget) -> Result<Reply, Refusal> {
        self.disarm();
        carried::forget(&mut self.memory, forget)
    }

    #[inline(never)]
    fn keep(&mut self, nulls: &Nulls) -> Result<Reply, Refusal> {
        // No code runs while some memories write.
        self.instrument.let_go_of_all()?;
        let mut clips = self.clips;
        clips.take(nulls);
        match self.memory.store(&clips) {
            Ok(()) => {
                self.clips = clips;
                Ok(self.nulls(nulls.first))
            }
            Err(_) => Err(Refusal::Memory),
        }
    }

    fn nulls(&self, first: LeadId) -> Reply {
        Reply::Nulls(self.clips.from(first, self.instrument.leads()))
    }
}

// Not inlined: what it decodes through would lie under whatever the request asks.
#[inline(never)]
fn understand(frame: Frame<'_>) -> Option<Heard> {
    match frame.kind {
        Kind::HelloRequest => frame.hello_request().ok().map(|()| Heard::Hello(frame.seq)),
        Kind::Request => {
            let (seq, check) = (frame.seq, frame.check);
            Some(Heard::Request(Asked { seq, check }, frame.request().ok()?))
        }
        Kind::HelloReply | Kind::Reply => None,
    }
}

/// By itself: three calls of one function in a row are made through a register where
/// code is to be small, and then nobody can say how deep the stack gets.
#[inline(never)]
fn build_of(identity: Identity) -> String<32> {
    shortened(identity.build)
}

/// As much of a name as fits into the hello.
fn shortened(name: &str) -> String<32> {
    let mut short = String::new();
    for character in name.chars() {
        if short.push(character).is_err() {
            break;
        }
    }
    short
}
