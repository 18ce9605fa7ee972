//! The wiring and the chips on it, on its own clock.

use std::collections::VecDeque;

use super::chip::{CONTROL, Chip, DIRECTION, LATCH, PINS};

/// The pull of guarded leads, 22 kΩ and its tolerance.
const PULL: f64 = 22_220.0;

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

    pub(super) fn advance(&mut self, ns: u64) {
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

    pub(super) fn cause(&self) -> bool {
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

    pub(super) fn transfer(&mut self, cs: Cs, sent: &[u8], reply: &mut [u8]) {
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
