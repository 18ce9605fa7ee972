//! The job as the rest of the program sees it: a plan whose options are
//! answered. Everything here has been checked; names are unique and every end
//! meets something.

pub use super::electrics::*;
use loomproof_core::units::{Amperes, Celsius, Metres, Ohms, SquareMillimetres, Volts, Watts};
use std::collections::BTreeMap;
use std::fmt;

/// A plan with its options answered and every `when` resolved.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The plan's title.
    pub title: String,
    /// Nominal supply of the vehicle: 12 V or 24 V.
    pub supply: Volts,
    /// Temperature at which the wiring is tested, for lead resistance.
    pub temperature: Celsius,
    /// The answers that led here, option name to value.
    pub answers: BTreeMap<String, String>,
    /// SHA-256 of the plan file, hexadecimal.
    pub digest: String,
    /// Connectors, in file order (as are all lists below).
    pub connectors: Vec<Connector>,
    /// Wires that the vehicle already has.
    pub conductors: Vec<Conductor>,
    /// Wires of the add-on harness.
    pub leads: Vec<Lead>,
    /// Taps on host conductors.
    pub taps: Vec<Tap>,
    /// Splices.
    pub splices: Vec<Splice>,
    /// Ring terminals.
    pub rings: Vec<Ring>,
    /// In-line plugs.
    pub plugs: Vec<Plug>,
    /// Relays.
    pub relays: Vec<Relay>,
    /// Diodes.
    pub diodes: Vec<Diode>,
    /// Lamps.
    pub lamps: Vec<Lamp>,
    /// Fuses.
    pub fuses: Vec<Fuse>,
    /// What is switched on and must then be seen where.
    pub functions: Vec<Function>,
    /// What only the review and a live check read.
    pub electrics: Electrics,
}

impl Job {
    /// The vehicle as it is before the harness is in, with the functions that it is to have.
    #[must_use]
    pub fn without_harness(&self) -> Self {
        let mut vehicle = self.clone();
        vehicle.leads.clear();
        vehicle.taps.clear();
        vehicle.splices.clear();
        vehicle.rings.clear();
        vehicle.plugs.clear();
        vehicle.relays.clear();
        vehicle.diodes.clear();
        vehicle.lamps.clear();
        vehicle.fuses.clear();
        vehicle.electrics.loads.clear();
        vehicle.electrics.relays.clear();
        vehicle.electrics.fused_rings.clear();
        // Their contacts join ends of the harness, which is not there.
        for switch in &mut vehicle.electrics.switches {
            switch.between = None;
            switch.fused = None;
        }
        vehicle
    }

    /// Where something of the plan is, in the fitter's words. Names are unique
    /// across all kinds.
    #[must_use]
    pub fn place_of(&self, name: &str) -> Option<&str> {
        let connectors = self.connectors.iter().map(|it| (&it.name, &it.place));
        let taps = self.taps.iter().map(|it| (&it.name, &it.place));
        let splices = self.splices.iter().map(|it| (&it.name, &it.place));
        let rings = self.rings.iter().map(|it| (&it.name, &it.place));
        let plugs = self.plugs.iter().map(|it| (&it.name, &it.place));
        let relays = self.relays.iter().map(|it| (&it.name, &it.place));
        let diodes = self.diodes.iter().map(|it| (&it.name, &it.place));
        let lamps = self.lamps.iter().map(|it| (&it.name, &it.place));
        let fuses = self.fuses.iter().map(|it| (&it.name, &it.place));
        let joints = connectors
            .chain(taps)
            .chain(splices)
            .chain(rings)
            .chain(plugs);
        let mut all = joints.chain(relays).chain(diodes).chain(lamps).chain(fuses);
        if let Some((_, place)) = all.find(|(own, _)| *own == name) {
            return place.as_deref();
        }
        let switches = self
            .electrics
            .switches
            .iter()
            .map(|it| (&it.name, &it.place));
        let loads = self.electrics.loads.iter().map(|it| (&it.name, &it.place));
        switches
            .chain(loads)
            .find(|(own, _)| *own == name)?
            .1
            .as_deref()
    }
}

/// From which side a connector's test points can be touched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Side {
    /// From behind, along the wire: touches the crimp, proves nothing about seating.
    Wire,
    /// Through the mating half or a break-out lead: proves that the terminal is home.
    Mating,
}

/// The edge of a connector's face that its latch is on, seen from the wire side
/// with the first row of the face uppermost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Latch {
    /// Above the first row.
    Top,
    /// Below the last row.
    Bottom,
    /// Left of the first column.
    Left,
    /// Right of the last column.
    Right,
}

impl Latch {
    /// As written in the plan.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("top", Self::Top),
        ("bottom", Self::Bottom),
        ("left", Self::Left),
        ("right", Self::Right),
    ];

    /// The word in the plan.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Top => "top",
            Self::Bottom => "bottom",
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// A connector housing.
#[derive(Debug, Clone, PartialEq)]
pub struct Connector {
    /// Name, such as `X1`.
    pub name: String,
    /// Number of cavities; they are numbered from 1.
    pub cavities: u16,
    /// Cavity numbers row by row, seen from the wire side; `None` where the
    /// face has no cavity.
    pub face: Vec<Vec<Option<u16>>>,
    /// Where it is, in the fitter's words.
    pub place: Option<String>,
    /// Where its latch is, seen from the wire side; `None` where the plan does
    /// not say.
    pub latch: Option<Latch>,
    /// How its test points are reached.
    pub access: Side,
    /// Belongs to the harness (goes to the bench with it) rather than to the vehicle.
    pub of_harness: bool,
    /// Whether its halves are together, place by place of the ring-out.
    pub halves: Halves,
}

/// Whether the halves of a connector are together while places are rung out.
/// Each entry is a place of the plan, the name of something there, or
/// [`Halves::ALL`].
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Halves {
    /// Pulled apart while one of these is rung out.
    pub open_for: Vec<String>,
    /// Plugged while one of these is rung out.
    pub plugged_for: Vec<String>,
}

impl Halves {
    /// Stands for every place.
    pub const ALL: &'static str = "all";
}

/// What hangs on the far end of a host conductor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// Nothing: unplugged or cut free for the test.
    None,
    /// Something between these resistances to chassis, either polarity.
    Range {
        /// Least resistance to chassis.
        least: Ohms,
        /// Greatest resistance to chassis.
        most: Ohms,
    },
}

/// A wire that the vehicle already has.
#[derive(Debug, Clone, PartialEq)]
pub struct Conductor {
    /// Name, such as `K1`.
    pub name: String,
    /// Cavities where it can be reached: `(connector, cavity)`, at least one.
    pub at: Vec<(String, u16)>,
    /// Colour code as written, checked.
    pub colour: Option<String>,
    /// What it does, in the fitter's words.
    pub function: Option<String>,
    /// What hangs on it.
    pub load: Load,
    /// The connector with which that is plugged in; nothing hangs on the
    /// conductor while it is open. `None` where the plan does not say.
    pub through: Option<String>,
    /// Length between a tap on it and the place where it is reached.
    pub length: Metres,
    /// Cross-section.
    pub size: SquareMillimetres,
    /// Part of a data-bus pair: never driven.
    pub data_bus: bool,
}

/// One end of a lead.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum End {
    /// A terminal in a connector cavity: `X1:4`.
    Cavity(String, u16),
    /// The lead terminal of a tap: `T1`.
    Tap(String),
    /// A splice: `S1`.
    Splice(String),
    /// A ring terminal: `G1`.
    Ring(String),
    /// One way of one half of an in-line plug: `D1-A` (single way) or `D1-A:2`.
    Plug(String, Half, u16),
    /// A terminal of a relay, diode, lamp or fuse: `R1:86`.
    Part(String, String),
    /// Capped off.
    Cap,
}

/// Half of an in-line plug.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Half {
    /// The half written `-A`.
    A,
    /// The half written `-B`.
    B,
}

impl fmt::Display for End {
    /// As written in the plan. A plug end is written with its way number;
    /// the reader also takes `D1-A` for a single-way plug.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cavity(connector, cavity) => write!(f, "{connector}:{cavity}"),
            Self::Tap(name) | Self::Splice(name) | Self::Ring(name) => f.write_str(name),
            Self::Plug(name, half, way) => write!(f, "{name}-{half:?}:{way}"),
            Self::Part(name, terminal) => write!(f, "{name}:{terminal}"),
            Self::Cap => f.write_str("cap"),
        }
    }
}

/// A wire of the add-on harness.
#[derive(Debug, Clone, PartialEq)]
pub struct Lead {
    /// Name, such as `W1`.
    pub name: String,
    /// Colour code as written, checked.
    pub colour: String,
    /// Cross-section.
    pub size: SquareMillimetres,
    /// Size as written, such as `20 AWG`.
    pub size_text: String,
    /// Length.
    pub length: Metres,
    /// First end.
    pub from: End,
    /// Second end.
    pub to: End,
    /// The conductor that the vehicle may already have in the cavity where this lead
    /// ends; where it is there, that end is a cap (see [`Occupied`]).
    pub occupied_by: Option<String>,
}

/// A tap that bites onto a host conductor.
#[derive(Debug, Clone, PartialEq)]
pub struct Tap {
    /// Name, such as `T1`.
    pub name: String,
    /// The conductor it bites.
    pub on: String,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// A splice joining any number of leads.
#[derive(Debug, Clone, PartialEq)]
pub struct Splice {
    /// Name, such as `S1`.
    pub name: String,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// What a ring terminal is bolted to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RingOn {
    /// Chassis.
    Chassis,
    /// Battery plus; open during a ring-out, the battery being off.
    BatteryPlus,
}

/// A ring terminal.
#[derive(Debug, Clone, PartialEq)]
pub struct Ring {
    /// Name, such as `G1`.
    pub name: String,
    /// What it is bolted to in the vehicle.
    pub on: RingOn,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// An in-line plug: two halves, `NAME-A` and `NAME-B`, joined way by way.
#[derive(Debug, Clone, PartialEq)]
pub struct Plug {
    /// Name, such as `D1`.
    pub name: String,
    /// Number of ways.
    pub ways: u16,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// What limits the coil's turn-off spike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Suppression {
    /// Nothing.
    None,
    /// A diode across the coil, anode on 85 and cathode on 86.
    Diode,
    /// A resistor across the coil.
    Resistor(Ohms),
}

/// A relay; terminals `85 86 30 87` and, with a changeover contact, `87a`
/// (DIN 72552).
#[derive(Debug, Clone, PartialEq)]
pub struct Relay {
    /// Name, such as `R1`.
    pub name: String,
    /// Coil resistance at 20 °C.
    pub coil: Ohms,
    /// Whether there is a break contact 87a.
    pub changeover: bool,
    /// Suppression across the coil.
    pub suppression: Suppression,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// A diode; terminals `A` (anode) and `K` (cathode).
#[derive(Debug, Clone, PartialEq)]
pub struct Diode {
    /// Name, such as `D5`.
    pub name: String,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// A filament lamp; terminals `1` and `2`.
#[derive(Debug, Clone, PartialEq)]
pub struct Lamp {
    /// Name, such as `L1`.
    pub name: String,
    /// Rated power.
    pub power: Watts,
    /// Rated voltage.
    pub volts: Volts,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// A fuse; terminals `1` and `2`.
#[derive(Debug, Clone, PartialEq)]
pub struct Fuse {
    /// Name, such as `F1`.
    pub name: String,
    /// Rated current.
    pub rating: Amperes,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// A function of the finished job.
#[derive(Debug, Clone, PartialEq)]
pub struct Function {
    /// Name.
    pub name: String,
    /// What to switch on, in the fitter's words.
    pub switch_on: String,
    /// Where something must then be seen, in the plan's words.
    pub seen_at: Vec<String>,
}
