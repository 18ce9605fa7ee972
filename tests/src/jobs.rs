//! A small job, built in code, for tests of the links.

use loomproof::fault::kinds::HighResistance;
use loomproof::fault::{Fault, Joint};
use loomproof::hookup::{Clip, Hookup, Point};
use loomproof::plan::model::{Conductor, Connector, End, Job, Lead, Load, Ring, RingOn, Side, Tap};
use loomproof_core::units::{Celsius, Metres, Micros, Ohms, SquareMillimetres, Volts};
use loomproof_core::wire::{LeadId, Place, Reply, Request, Sense, SenseMode, Step};
use std::collections::BTreeMap;

fn connector(name: &str, face: Vec<Vec<Option<u16>>>, access: Side, of_harness: bool) -> Connector {
    let cavities = face.iter().flatten().flatten().count() as u16;
    Connector {
        latch: None,
        name: name.into(),
        cavities,
        face,
        place: None,
        access,
        of_harness,
        halves: Default::default(),
    }
}

fn lead(name: &str, colour: &str, metres: f64, from: End, to: End) -> Lead {
    Lead {
        name: name.into(),
        colour: colour.into(),
        size: SquareMillimetres(0.5),
        size_text: "0.5 mm2".into(),
        length: Metres(metres),
        from,
        to,
        occupied_by: None,
    }
}

/// Two wires and a tap: X1:4 to a tap on K1, X1:5 to chassis.
#[must_use]
pub fn two_wires() -> Job {
    let row = |numbers: std::ops::RangeInclusive<u16>| numbers.map(Some).collect::<Vec<_>>();
    Job {
        title: "Two wires and a tap".into(),
        supply: Volts(12.0),
        temperature: Celsius(20.0),
        answers: BTreeMap::new(),
        digest: String::new(),
        connectors: vec![
            connector("X1", vec![row(1..=3), row(4..=6)], Side::Mating, true),
            connector("FB", vec![row(1..=4)], Side::Mating, false),
        ],
        conductors: vec![Conductor {
            name: "K1".into(),
            at: vec![("FB".into(), 2)],
            colour: Some("VT/GY".into()),
            function: None,
            load: Load::Range {
                least: Ohms(2_000.0),
                most: Ohms(20_000.0),
            },
            through: None,
            length: Metres(1.0),
            size: SquareMillimetres(0.5),
            data_bus: false,
        }],
        leads: vec![
            lead(
                "W1",
                "BN",
                1.2,
                End::Cavity("X1".into(), 4),
                End::Tap("T1".into()),
            ),
            lead(
                "W2",
                "OG/BK",
                2.0,
                End::Cavity("X1".into(), 5),
                End::Ring("G1".into()),
            ),
        ],
        taps: vec![Tap {
            name: "T1".into(),
            on: "K1".into(),
            place: None,
        }],
        splices: Vec::new(),
        rings: vec![Ring {
            name: "G1".into(),
            on: RingOn::Chassis,
            place: None,
        }],
        plugs: Vec::new(),
        relays: Vec::new(),
        diodes: Vec::new(),
        lamps: Vec::new(),
        fuses: Vec::new(),
        functions: Vec::new(),
        electrics: Default::default(),
    }
}

/// Probe leads P1 to P3 on X1:4, X1:5 and FB:2, in the vehicle.
#[must_use]
pub fn clips() -> Hookup {
    let at = |lead, connector: &str, cavity| Clip {
        lead: LeadId(lead),
        point: Point::Cavity {
            connector: connector.into(),
            cavity,
            side: Side::Mating,
        },
    };
    Hookup {
        place: Place::Vehicle,
        clips: vec![at(0, "X1", 4), at(1, "X1", 5), at(2, "FB", 2)],
        mated: Default::default(),
    }
}

/// A joint of 15 Ω where there should be none.
#[must_use]
pub fn corroded_tap() -> Fault {
    let joint = Joint::At(End::Tap("T1".into()));
    let ohms = Ohms(15.0);
    HighResistance { joint, ohms }.into()
}

/// A survey, leave to drive, a few patterns, letting go.
#[must_use]
pub fn script() -> Vec<Request> {
    let step = |high: &[u8], low: &[u8], samples, senses: &[(u8, SenseMode)]| {
        Request::Step(Step {
            high: high.iter().copied().map(LeadId).collect(),
            low: low.iter().copied().map(LeadId).collect(),
            settle: Micros(300),
            pulled: Micros(300),
            samples,
            senses: senses
                .iter()
                .map(|(lead, mode)| Sense {
                    lead: LeadId(*lead),
                    mode: *mode,
                })
                .collect(),
        })
    };
    let all = [
        (0, SenseMode::Plain),
        (1, SenseMode::PullDown),
        (2, SenseMode::Plain),
        (2, SenseMode::PullUp),
        (15, SenseMode::PullDown),
    ];
    vec![
        Request::Survey,
        Request::Arm(Place::Vehicle),
        step(&[0], &[2], 4, &all),
        step(&[1], &[], 1, &all),
        step(&[2], &[1], 16, &all),
        // Refused: two sources are too many in the vehicle.
        step(&[0, 1], &[2], 1, &all),
        Request::Release,
        // Refused: not armed any more.
        step(&[0], &[2], 1, &all),
    ]
}

/// The replies with the probe's clock counted from the first step's end: how
/// often a probe was greeted before does not matter.
#[must_use]
pub fn from_first_step(mut replies: Vec<Reply>) -> Vec<Reply> {
    let mut first = None;
    for reply in &mut replies {
        if let Reply::Readings { at, .. } = reply {
            let start = *first.get_or_insert(at.0);
            *at = Micros(at.0.wrapping_sub(start));
        }
    }
    replies
}
