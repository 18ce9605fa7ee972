//! Small jobs built in code, and a hand-written driver that talks bytes to the
//! bench, for tests.

use super::{Bench, BenchError, Device, Settings};
use crate::fault::kinds::*;
use crate::fault::{Cavity, Fault, Joint, Touches};
use crate::hookup::{Clip, Hookup, Point};
use crate::plan::model::*;
use loomproof_core::units::*;
use loomproof_core::wire::{LeadId, Place};

impl Bench {
    /// Its network has no solution from here on.
    pub(crate) fn fail(&mut self) {
        self.trouble = Some(BenchError::NotSolved);
    }
}

/// A job without anything in it.
pub(crate) fn empty_job() -> Job {
    Job {
        title: "test".into(),
        supply: Volts(12.0),
        temperature: Celsius(20.0),
        answers: Default::default(),
        digest: String::new(),
        connectors: vec![],
        conductors: vec![],
        leads: vec![],
        taps: vec![],
        splices: vec![],
        rings: vec![],
        plugs: vec![],
        relays: vec![],
        diodes: vec![],
        lamps: vec![],
        fuses: vec![],
        functions: vec![],
        electrics: Default::default(),
    }
}

pub(crate) fn connector(name: &str, cavities: u16, of_harness: bool) -> Connector {
    Connector {
        latch: None,
        name: name.into(),
        cavities,
        face: vec![(1..=cavities).map(Some).collect()],
        place: None,
        access: Side::Mating,
        of_harness,
        halves: Default::default(),
    }
}

pub(crate) fn conductor(name: &str, connector: &str, cavity: u16, load: Load) -> Conductor {
    Conductor {
        name: name.into(),
        at: vec![(connector.into(), cavity)],
        colour: None,
        function: None,
        load,
        through: None,
        length: Metres(0.5),
        size: SquareMillimetres(0.5),
        data_bus: false,
    }
}

pub(crate) fn lead(name: &str, from: End, to: End) -> Lead {
    Lead {
        name: name.into(),
        colour: "BN".into(),
        size: SquareMillimetres(0.5),
        size_text: "0.5 mm2".into(),
        length: Metres(1.0),
        from,
        to,
        occupied_by: None,
    }
}

pub(crate) fn at(connector: &str, cavity: u16) -> End {
    End::Cavity(connector.into(), cavity)
}

pub(crate) fn part(name: &str, terminal: &str) -> End {
    End::Part(name.into(), terminal.into())
}

/// X1 with six leads: W1 to tap T1 on K1, W2 to chassis ring G1, W3 over
/// splice S1 to the coil of R1 (diode-suppressed) and on to X1:2, W6 straight
/// to X2:1, W7 capped, W8 over plug D1 and fuse F1 to X2:2.
pub(crate) fn job() -> Job {
    let range = Load::Range {
        least: Ohms(2_000.0),
        most: Ohms(2_000.0),
    };
    Job {
        connectors: vec![
            connector("X1", 10, true),
            connector("X2", 4, true),
            connector("FB", 4, false),
        ],
        conductors: vec![
            conductor("K1", "FB", 2, range),
            conductor("K2", "FB", 3, Load::None),
        ],
        leads: vec![
            lead("W1", at("X1", 4), End::Tap("T1".into())),
            lead("W2", at("X1", 5), End::Ring("G1".into())),
            lead("W3", at("X1", 1), End::Splice("S1".into())),
            lead("W4", End::Splice("S1".into()), part("R1", "86")),
            lead("W5", part("R1", "85"), at("X1", 2)),
            lead("W6", at("X1", 3), at("X2", 1)),
            lead("W7", at("X1", 6), End::Cap),
            lead("W8", at("X1", 7), End::Plug("D1".into(), Half::A, 1)),
            lead("W9", End::Plug("D1".into(), Half::B, 1), part("F1", "1")),
            lead("W10", part("F1", "2"), at("X2", 2)),
        ],
        taps: vec![Tap {
            name: "T1".into(),
            on: "K1".into(),
            place: None,
        }],
        splices: vec![Splice {
            name: "S1".into(),
            place: None,
        }],
        rings: vec![Ring {
            name: "G1".into(),
            on: RingOn::Chassis,
            place: None,
        }],
        plugs: vec![Plug {
            name: "D1".into(),
            ways: 1,
            place: None,
        }],
        relays: vec![Relay {
            name: "R1".into(),
            coil: Ohms(85.0),
            changeover: false,
            suppression: Suppression::Diode,
            place: None,
        }],
        fuses: vec![Fuse {
            name: "F1".into(),
            rating: Amperes(10.0),
            place: None,
        }],
        ..empty_job()
    }
}

/// A hook-up on these cavities, lead after lead.
pub(crate) fn hookup(place: Place, points: &[(&str, u16, Side)]) -> Hookup {
    let clips = points
        .iter()
        .enumerate()
        .map(|(number, (connector, cavity, side))| Clip {
            lead: LeadId(number as u8),
            point: Point::Cavity {
                connector: (*connector).into(),
                cavity: *cavity,
                side: *side,
            },
        });
    Hookup {
        place,
        clips: clips.collect(),
        mated: Default::default(),
    }
}

/// How the driver loads the sense bus.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Mode {
    Plain,
    Down,
    Up,
    Wide,
}

/// A hand-written driver of the probe.
pub(crate) struct Rig {
    pub(crate) bench: Bench,
    pub(crate) settle_ns: u64,
}

impl Rig {
    pub(crate) fn new(job: &Job, hookup: &Hookup, faults: &[Fault], settings: &Settings) -> Self {
        Self::on(Bench::new(job, hookup, faults, settings).expect("a bench"))
    }

    pub(crate) fn on(bench: Bench) -> Self {
        let mut rig = Self {
            bench,
            settle_ns: 2_000_000,
        };
        rig.start();
        rig
    }

    /// Hardware addresses on; select pins outputs, all 0.
    pub(crate) fn start(&mut self) {
        for device in [Device::Drive, Device::Gate, Device::Select] {
            self.send(device, &[0x40, 0x0A, 0x08]);
        }
        for address in 0..2 {
            self.send(Device::Select, &[0x40 | address << 1, 0x00, 0, 0]);
        }
    }

    pub(crate) fn send(&mut self, device: Device, bytes: &[u8]) -> Vec<u8> {
        let mut data = bytes.to_vec();
        self.bench.transfer(device, &mut data);
        data
    }

    /// Drives these leads high and low, all others not.
    pub(crate) fn drive(&mut self, high: &[u8], low: &[u8]) {
        for bank in 0..8_u8 {
            let bits = |leads: &[u8]| {
                leads
                    .iter()
                    .filter(|l| *l / 16 == bank)
                    .fold(0_u16, |bits, l| bits | 1 << (l % 16))
            };
            let [high_a, high_b] = bits(high).to_le_bytes();
            let [on_a, on_b] = (bits(high) | bits(low)).to_le_bytes();
            let opcode = 0x40 | bank << 1;
            // Open the disconnects first: a lead let go keeps its charge.
            self.send(Device::Gate, &[opcode, 0x00, 0xFF, 0xFF]);
            self.send(Device::Drive, &[opcode, 0x14, high_a, high_b]);
            self.send(Device::Drive, &[opcode, 0x00, !on_a, !on_b]);
            self.send(Device::Gate, &[opcode, 0x14, on_a, on_b]);
            self.send(Device::Gate, &[opcode, 0x00, !on_a, !on_b]);
        }
    }

    /// Joins one lead (or, with `None`, C2) to the sense bus.
    pub(crate) fn select(&mut self, lead: Option<u8>, mode: Mode) {
        let load = match mode {
            Mode::Plain => 0,
            Mode::Down => 1 << 4,
            Mode::Up => 1 << 3,
            Mode::Wide => 1 << 5,
        };
        let (first, second) = match lead {
            None => ([load | 1 << 6, 0], [0, 0]),
            Some(lead) => {
                let (address, mux) = (lead % 8, 1_u8 << (lead % 64 / 8));
                if lead < 64 {
                    ([load | address, mux], [0, 0])
                } else {
                    ([load, 0], [address, mux])
                }
            }
        };
        self.send(Device::Select, &[0x40, 0x14, first[0], first[1]]);
        self.send(Device::Select, &[0x42, 0x14, second[0], second[1]]);
    }

    /// One conversion, as code.
    pub(crate) fn convert(&mut self) -> u16 {
        self.send(Device::Adc, &[0, 0]);
        self.bench.wait(8_800);
        let data = self.send(Device::Adc, &[0, 0]);
        u16::from_be_bytes([data[0], data[1]])
    }

    /// The settled voltage at the converter, V.
    pub(crate) fn read(&mut self, lead: u8, mode: Mode) -> f64 {
        self.select(Some(lead), mode);
        self.bench.wait(self.settle_ns);
        f64::from(self.convert()) * 3.3 / 65_536.0
    }

    /// The voltage of an undriven lead by the wide divider, V.
    pub(crate) fn look(&mut self, lead: u8) -> f64 {
        (self.read(lead, Mode::Wide) - 1.65) * 23.0
    }
}

/// Faults built in code, those that no spelling is read for included.
pub(crate) mod fault {
    use super::*;

    pub(crate) fn open(joint: Joint) -> Fault {
        Open(joint).into()
    }

    pub(crate) fn high_resistance(joint: Joint, ohms: f64) -> Fault {
        let ohms = Ohms(ohms);
        HighResistance { joint, ohms }.into()
    }

    pub(crate) fn unseated(connector: &str, number: u16) -> Fault {
        Unseated(Cavity::new(connector, number)).into()
    }

    pub(crate) fn wrong_cavity(connector: &str, number: u16, to: u16) -> Fault {
        let terminal = Cavity::new(connector, number);
        WrongCavity { terminal, to }.into()
    }

    pub(crate) fn exchanged(connector: &str, a: u16, b: u16) -> Fault {
        let connector = connector.to_owned();
        Exchanged { connector, a, b }.into()
    }

    pub(crate) fn tap_missed(tap: &str) -> Fault {
        TapMissed(tap.to_owned()).into()
    }

    pub(crate) fn tap_neighbour(tap: &str, on: &str) -> Fault {
        let (tap, on) = (tap.to_owned(), on.to_owned());
        TapNeighbour { tap, on }.into()
    }

    pub(crate) fn short(lead: &str, with: Touches) -> Fault {
        let lead = lead.to_owned();
        Short { lead, with }.into()
    }

    pub(crate) fn cap_touching(lead: &str, with: Touches) -> Fault {
        let lead = lead.to_owned();
        CapTouching { lead, with }.into()
    }

    pub(crate) fn live(end: End, volts: f64) -> Fault {
        let volts = Volts(volts);
        Live { end, volts }.into()
    }
}
