//! A small instrument for the tests: the chips at the level of their
//! registers, wired to nets with sources and capacitance, on its own clock.
#![allow(dead_code)] // each test file uses its part

use std::cell::RefCell;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::rc::Rc;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::spi::{ErrorKind, ErrorType, Operation, SpiDevice};
use loomproof_core::units::Micros;
use loomproof_core::wire::frame::{Deframer, MAX_FRAME, encode_hello_request, encode_request};
use loomproof_core::wire::{Hello, LeadId, LeadSet, Place, Reply, Request, Sense, SenseMode, Step};
use loomproof_firmware::{Clock, Identity, Parts, Probe};

const DIRECTION: usize = 0x00;
const CONTROL: usize = 0x0A;
const PINS: usize = 0x12;
const LATCH: usize = 0x14;

/// The pull of guarded leads, 22 kΩ and its tolerance.
const PULL: f64 = 22_220.0;

/// One MCP23S17.
#[derive(Debug, Clone)]
pub struct Chip {
    registers: [u8; 22],
    /// Off the bus: takes nothing, answers nothing.
    pub deaf: bool,
}

impl Chip {
    fn new() -> Self {
        let mut registers = [0; 22];
        registers[..2].fill(0xFF);
        Self {
            registers,
            deaf: false,
        }
    }

    fn word(&self, at: usize) -> u16 {
        u16::from_le_bytes([self.registers[at], self.registers[at + 1]])
    }

    fn outputs(&self) -> u16 {
        !self.word(DIRECTION)
    }

    fn write(&mut self, mut at: usize, bytes: &[u8]) {
        for byte in bytes {
            if at >= self.registers.len() {
                return;
            }
            self.registers[at] = *byte;
            if at == CONTROL || at == CONTROL + 1 {
                self.registers[CONTROL] = *byte;
                self.registers[CONTROL + 1] = *byte;
            }
            at += 1;
        }
    }

    fn answers_to(&self, own: usize, called: usize) -> bool {
        let address = if self.registers[CONTROL] & 8 != 0 {
            own
        } else {
            0
        };
        !self.deaf && called == address
    }
}

/// A piece of wiring.
#[derive(Debug, Clone)]
pub struct Net {
    pub volts: f64,
    pub farads: f64,
    /// A source from outside: volts and ohms.
    pub source: Option<(f64, f64)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cs {
    Drive,
    Gate,
    Select,
    Adc,
}

type Event = Box<dyn FnOnce(&mut World)>;

pub struct World {
    pub ns: u64,
    pub khz: u64,
    pub drive: Vec<Chip>,
    pub gate: Vec<Chip>,
    pub select: Vec<Chip>,
    pub nets: Vec<Net>,
    /// The net that each lead sits on.
    pub on: Vec<usize>,
    /// What the input stage adds in the wide range.
    pub shift: f64,
    /// C2: volts, and ohms to C1 (infinite: apart).
    pub chassis: (f64, f64),
    pub latched: bool,
    pub held_high: bool,
    held: u16,
    /// What the drive chips last took the level at each lead for.
    levels: Vec<bool>,
    /// Counted since the last [`Rig::reset_counts`].
    pub bits: u64,
    pub waited_ns: u64,
    /// Routes through the wide divider while a gate was closed: lead and time.
    pub watched: Vec<(u8, u64)>,
    pub writes: Vec<(Cs, Vec<u8>)>,
    /// Closings of a disconnect onto a net that is live from outside.
    pub violations: Vec<String>,
    /// SPI transfers until the bus fails.
    pub fails_in: Option<u32>,
    events: VecDeque<(u64, Event)>,
}

impl World {
    pub fn new(banks: usize) -> Self {
        let leads = banks * 16;
        let net = Net {
            volts: 0.0,
            farads: 200e-12,
            source: None,
        };
        Self {
            ns: 0,
            khz: 10_000,
            drive: vec![Chip::new(); banks],
            gate: vec![Chip::new(); banks],
            select: vec![Chip::new(); leads.div_ceil(64)],
            nets: vec![net; leads],
            on: (0..leads).collect(),
            shift: 1.65,
            chassis: (0.0, 0.2),
            latched: false,
            held_high: false,
            held: 0,
            levels: vec![false; leads],
            bits: 0,
            waited_ns: 0,
            watched: vec![],
            writes: vec![],
            violations: vec![],
            fails_in: None,
            events: VecDeque::new(),
        }
    }

    pub fn join(&mut self, a: u8, b: u8) {
        self.on[usize::from(b)] = self.on[usize::from(a)];
    }

    pub fn net(&mut self, lead: u8) -> &mut Net {
        let net = self.on[usize::from(lead)];
        &mut self.nets[net]
    }

    /// Whether something from outside holds a lead at more than is dead.
    pub fn net_is_live(&self, lead: u8) -> bool {
        let net = &self.nets[self.on[usize::from(lead)]];
        net.source.is_some_and(|(volts, _)| volts.abs() > 0.21)
    }

    /// Something that happens after so many microseconds.
    pub fn after(&mut self, us: u64, event: impl FnOnce(&mut Self) + 'static) {
        let at = self.ns + us * 1_000;
        self.events.push_back((at, Box::new(event)));
        self.events.make_contiguous().sort_by_key(|(at, _)| *at);
    }

    /// Leads whose disconnect is closed.
    pub fn closed(&self) -> Vec<usize> {
        let closed = |chip: &Chip| chip.outputs() & chip.word(LATCH);
        (0..self.gate.len() * 16)
            .filter(|lead| closed(&self.gate[lead / 16]) >> (lead % 16) & 1 == 1)
            .collect()
    }

    fn sensed(&self) -> Option<usize> {
        self.select.iter().enumerate().find_map(|(half, chip)| {
            let word = chip.word(LATCH) & chip.outputs();
            let enables = word >> 8;
            (enables != 0)
                .then(|| half * 64 + enables.trailing_zeros() as usize * 8 + usize::from(word & 7))
        })
    }

    fn load(&self) -> u16 {
        self.select
            .first()
            .map_or(0, |chip| chip.word(LATCH) & chip.outputs() & 0xF8)
    }

    /// Volts that a net runs to, and its conductance.
    fn target(&self, net: usize, with_probe: bool) -> (f64, f64) {
        let mut flows = vec![(0.0, 1e9)];
        flows.extend(self.nets[net].source);
        if with_probe {
            for lead in self
                .closed()
                .into_iter()
                .filter(|lead| self.on[*lead] == net)
            {
                let chip = &self.drive[lead / 16];
                if chip.outputs() >> (lead % 16) & 1 == 1 {
                    let high = chip.word(LATCH) >> (lead % 16) & 1 == 1;
                    flows.push((if high { 3.3 } else { 0.0 }, 725.0));
                } else if chip.registers[CONTROL] & 2 != 0 {
                    flows.push((3.3, PULL + 690.0));
                }
            }
            if self
                .sensed()
                .is_some_and(|lead| self.on.get(lead) == Some(&net))
            {
                match self.load() {
                    0x08 => flows.push((3.3, 122e3)),
                    0x10 => flows.push((0.0, 122e3)),
                    0x20 => flows.push((0.0, 23e3)),
                    _ => {}
                }
            }
        }
        let conductance: f64 = flows.iter().map(|(_, ohms)| 1.0 / ohms).sum();
        let current: f64 = flows.iter().map(|(volts, ohms)| volts / ohms).sum();
        (current / conductance, conductance)
    }

    fn advance(&mut self, ns: u64) {
        let end = self.ns + ns;
        while self.events.front().is_some_and(|(at, _)| *at <= end) {
            let (at, event) = self.events.pop_front().expect("there is one");
            self.run_to(at.max(self.ns));
            event(self);
        }
        self.run_to(end);
    }

    fn run_to(&mut self, end: u64) {
        let seconds = (end - self.ns) as f64 * 1e-9;
        self.ns = end;
        for net in 0..self.nets.len() {
            let (target, conductance) = self.target(net, true);
            let decay = (-seconds * conductance / self.nets[net].farads).exp();
            self.nets[net].volts = target + (self.nets[net].volts - target) * decay;
        }
        if self.cause() {
            self.latched = true;
        }
        if self.latched {
            for chip in self.drive.iter_mut().chain(&mut self.gate) {
                let deaf = chip.deaf;
                *chip = Chip {
                    deaf,
                    ..Chip::new()
                };
            }
        }
    }

    /// The levels at the pins of a drive chip: outputs stand at their latch, inputs at
    /// the lead behind a closed disconnect, or at their pull. The inputs are as slow
    /// as they may be, low below 0.2 and high above 0.8 of the supply.
    fn pins(&mut self, bank: usize) -> u16 {
        let closed = self.closed();
        let chip = &self.drive[bank];
        let pulled = chip.registers[CONTROL] & 2 != 0;
        let mut pins = 0;
        for place in 0..16 {
            let lead = bank * 16 + place;
            let bit = 1 << place;
            let high = if chip.outputs() & bit != 0 {
                chip.word(LATCH) & bit != 0
            } else {
                let lead_volts = self.nets[self.on[lead]].volts;
                let volts = match (closed.contains(&lead), pulled) {
                    (true, true) => lead_volts + (3.3 - lead_volts) * 690.0 / (PULL + 690.0),
                    (true, false) => lead_volts,
                    (false, pulled) => f64::from(u8::from(pulled)) * 3.3,
                };
                let was = self.levels[lead];
                self.levels[lead] = if was {
                    volts > 0.2 * 3.3
                } else {
                    volts > 0.8 * 3.3
                };
                self.levels[lead]
            };
            pins |= if high { bit } else { 0 };
        }
        pins
    }

    fn cause(&self) -> bool {
        self.nets
            .iter()
            .any(|net| net.volts > 4.0 || net.volts < -0.5)
    }

    fn convert(&self) -> u16 {
        let load = self.load();
        let volts = if load & 0x40 != 0 {
            let (volts, ohms) = self.chassis;
            let driven = load & 0x80 != 0;
            let c2 = if driven && ohms.is_infinite() {
                3.3
            } else if driven {
                volts + (3.3 - volts) * ohms / (680.0 + ohms)
            } else {
                volts
            };
            if load & 0x20 != 0 {
                c2 / 23.0 + self.shift
            } else {
                c2
            }
        } else {
            let net = self
                .sensed()
                .and_then(|lead| self.on.get(lead))
                .map(|net| &self.nets[*net]);
            let volts = net.map_or(0.0, |net| net.volts);
            match load {
                0x08 => volts + (3.3 - volts) * 22.0 / 122.0,
                0x10 => volts * 100.0 / 122.0,
                0x20 => volts / 23.0 + self.shift,
                _ => volts,
            }
        };
        (volts / 3.3 * 65_536.0).round().clamp(0.0, 65_535.0) as u16
    }

    fn transfer(&mut self, cs: Cs, sent: &[u8], reply: &mut [u8]) {
        let bits = 8 * (sent.len() + reply.len()) as u64;
        self.bits += bits;
        self.advance(bits * 1_000_000 / self.khz);
        self.writes.push((cs, sent.to_vec()));
        reply.fill(0xFF);
        if cs == Cs::Adc {
            reply.copy_from_slice(&self.held.to_be_bytes());
            self.held = self.convert();
            return;
        }
        let closed = self.closed();
        let in_reset = self.latched && cs != Cs::Select;
        let pins: Vec<u16> = if cs == Cs::Drive && sent[1] == PINS as u8 {
            (0..self.drive.len()).map(|bank| self.pins(bank)).collect()
        } else {
            vec![]
        };
        let chips = match cs {
            Cs::Drive => &mut self.drive,
            Cs::Gate => &mut self.gate,
            _ => &mut self.select,
        };
        let called = usize::from(sent[0] >> 1 & 7);
        let at = usize::from(sent[1]);
        for (own, chip) in chips.iter_mut().enumerate() {
            if in_reset || !chip.answers_to(own, called) {
                continue;
            }
            if sent[0] & 1 == 1 {
                let length = reply.len();
                if at == PINS {
                    let pins = pins.get(own).copied().unwrap_or(0).to_le_bytes();
                    reply.copy_from_slice(&pins[..length]);
                } else {
                    reply.copy_from_slice(&chip.registers[at..at + length]);
                }
            } else {
                chip.write(at, &sent[2..]);
            }
        }
        if cs == Cs::Select
            && !closed.is_empty()
            && self.load() == 0x20
            && let Some(lead) = self.sensed()
        {
            self.watched.push((lead as u8, self.ns));
        }
        for lead in self
            .closed()
            .into_iter()
            .filter(|lead| !closed.contains(lead))
        {
            let (volts, _) = self.target(self.on[lead], false);
            if volts.abs() > 0.21 {
                self.violations
                    .push(format!("lead {lead} closed onto {volts} V"));
            }
        }
    }
}

/// A handle on one part of the world.
#[derive(Clone)]
pub struct Handle(pub Rc<RefCell<World>>, pub Cs);

impl ErrorType for Handle {
    type Error = ErrorKind;
}

impl SpiDevice for Handle {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), ErrorKind> {
        let mut world = self.0.borrow_mut();
        if let Some(left) = world.fails_in.as_mut() {
            *left = left.saturating_sub(1);
            if *left == 0 {
                return Err(ErrorKind::Other);
            }
        }
        let mut sent = vec![];
        for operation in operations {
            match operation {
                Operation::Write(bytes) => sent.extend_from_slice(bytes),
                Operation::Read(reply) => world.transfer(self.1, &sent, reply),
                _ => panic!("the drivers only write, and write and read"),
            }
        }
        if sent.len() > 2 {
            world.transfer(self.1, &sent, &mut []);
        }
        Ok(())
    }
}

impl digital::ErrorType for Handle {
    type Error = Infallible;
}

impl InputPin for Handle {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.borrow().latched)
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.borrow().latched)
    }
}

impl OutputPin for Handle {
    fn set_high(&mut self) -> Result<(), Infallible> {
        let mut world = self.0.borrow_mut();
        world.held_high = true;
        if !world.cause() {
            world.latched = false;
        }
        Ok(())
    }
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().held_high = false;
        Ok(())
    }
}

impl DelayNs for Handle {
    fn delay_ns(&mut self, ns: u32) {
        let mut world = self.0.borrow_mut();
        world.waited_ns += u64::from(ns);
        world.advance(u64::from(ns));
    }
}

impl Clock for Handle {
    fn now(&mut self) -> Micros {
        // Starts shortly before the clock wraps.
        Micros((self.0.borrow().ns / 1_000) as u32).wrapping(u32::MAX - 50_000)
    }
}

trait Wrapping {
    fn wrapping(self, start: u32) -> Self;
}

impl Wrapping for Micros {
    fn wrapping(self, start: u32) -> Self {
        Self(self.0.wrapping_add(start))
    }
}

pub type FakeProbe = Probe<Handle, Handle, Handle, Handle, Handle, Handle, Handle, Handle>;

fn start(world: &Rc<RefCell<World>>) -> FakeProbe {
    let handle = |cs| Handle(world.clone(), cs);
    let parts = Parts {
        drive: handle(Cs::Drive),
        gate: handle(Cs::Gate),
        select: handle(Cs::Select),
        adc: handle(Cs::Adc),
        trip: handle(Cs::Adc),
        rearm: handle(Cs::Adc),
        delay: handle(Cs::Adc),
        clock: handle(Cs::Adc),
    };
    let identity = Identity {
        board: "fake",
        serial: "7",
        build: "test",
    };
    Probe::start(parts, identity)
}

/// A probe on a world, and the host's end of the line.
pub struct Rig {
    pub world: Rc<RefCell<World>>,
    pub probe: FakeProbe,
    pub seq: u16,
}

impl Rig {
    pub fn new(world: World) -> Self {
        let world = Rc::new(RefCell::new(world));
        Self {
            probe: start(&world),
            world,
            seq: 0,
        }
    }

    /// The firmware starts anew on the same chips.
    pub fn reset(&mut self) {
        self.probe = start(&self.world);
    }

    pub fn leads(banks: usize) -> Self {
        Self::new(World::new(banks))
    }

    /// Sends raw bytes; what comes back.
    pub fn send(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut heard = vec![];
        self.probe
            .receive(bytes, &mut |reply| heard.extend_from_slice(reply));
        heard
    }

    pub fn bytes(seq: u16, request: &Request) -> Vec<u8> {
        let mut out = [0; MAX_FRAME];
        encode_request(seq, request, &mut out)
            .expect("fits")
            .to_vec()
    }

    pub fn ask(&mut self, request: &Request) -> Reply {
        self.seq = self.seq.wrapping_add(1);
        let heard = self.send(&Self::bytes(self.seq, request));
        let mut deframer = Deframer::<MAX_FRAME>::new();
        let (taken, frame) = deframer.feed(&heard);
        assert_eq!(taken, heard.len(), "one reply");
        let frame = frame.expect("a reply").expect("a good frame");
        assert_eq!(frame.seq, self.seq);
        frame.reply().expect("a reply")
    }

    pub fn hello(&mut self) -> Hello {
        let mut out = [0; MAX_FRAME];
        let frame = encode_hello_request(99, &mut out).expect("fits").to_vec();
        let heard = self.send(&frame);
        let mut deframer = Deframer::<MAX_FRAME>::new();
        let (_, frame) = deframer.feed(&heard);
        frame
            .expect("a reply")
            .expect("a good frame")
            .hello_reply()
            .expect("a hello")
    }

    pub fn arm(&mut self) {
        assert_eq!(self.ask(&Request::Arm(Place::Bench)), Reply::Armed);
    }

    pub fn sleep(&mut self, us: u64) {
        self.world.borrow_mut().advance(us * 1_000);
    }

    pub fn reset_counts(&mut self) {
        let mut world = self.world.borrow_mut();
        world.bits = 0;
        world.waited_ns = 0;
        world.watched.clear();
        world.writes.clear();
    }

    /// Nothing is driven, nothing was closed onto a live lead, and the sense
    /// bus hangs on nothing.
    pub fn must_be_safe(&self) {
        let world = self.world.borrow();
        assert_eq!(world.violations, Vec::<String>::new());
        assert_eq!(world.closed(), Vec::<usize>::new(), "disconnects closed");
        assert!(
            world.drive.iter().all(|chip| chip.outputs() == 0),
            "pins driven"
        );
    }
}

pub fn set(leads: &[u8]) -> LeadSet {
    leads.iter().copied().map(LeadId).collect()
}

/// A step that reads leads plainly.
pub fn step(high: &[u8], low: &[u8], read: &[u8]) -> Step {
    let sense = |lead: &u8| Sense {
        lead: LeadId(*lead),
        mode: SenseMode::Plain,
    };
    Step {
        high: set(high),
        low: set(low),
        settle: Micros(100),
        pulled: Micros(100),
        samples: 8,
        senses: read.iter().map(sense).collect(),
    }
}
