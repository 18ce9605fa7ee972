//! What only the review and a live check read: switches, what hangs on connectors, how the
//! vehicle's conductors behave, and ratings.

use std::collections::BTreeMap;
use std::time::Duration;

use loomproof_core::units::{Amperes, Celsius, Hertz, Ohms, PerMinute, Percent, Volts, Watts};

use super::model::{End, Load};

/// Temperature in service when the plan states none (common practice: trim of
/// a vehicle standing in the sun).
pub const SERVICE_TEMPERATURE: Celsius = Celsius(50.0);

/// Electrical facts of a job beyond its wiring.
#[derive(Debug, Clone, PartialEq)]
pub struct Electrics {
    /// Temperature of the wiring in service, for voltage drop.
    pub service: Celsius,
    /// Switches, keys, pedals, doors: everything that has states.
    pub switches: Vec<Switch>,
    /// What is plugged to the harness and draws current.
    pub loads: Vec<Consumer>,
    /// What the vehicle has behind spare cavities.
    pub pins: Vec<Pin>,
    /// Where the standing drain is measured after the job.
    pub drains: Vec<Drain>,
    /// Conductor name to how it behaves, where the plan says anything.
    pub behaviours: BTreeMap<String, Behaviour>,
    /// Relay name to its ratings.
    pub relays: BTreeMap<String, RelayRatings>,
    /// Ring name to the fuse that sits at the ring.
    pub fused_rings: BTreeMap<String, Amperes>,
    /// Function name to the states in which it is to be on.
    pub on_when: BTreeMap<String, States>,
    /// Tap name to the reason why it may bite a data bus.
    pub tap_reasons: BTreeMap<String, String>,
    /// Conductor or pin name to least and greatest ohms to chassis, where they were
    /// learned of this vehicle and stand in the place of the plan's.
    pub learned: BTreeMap<String, [f64; 2]>,
    /// Cavities in which the vehicle has a wire already, so that the lead that was to go
    /// there is capped.
    pub occupied: Vec<Occupied>,
}

impl Default for Electrics {
    fn default() -> Self {
        Self {
            service: SERVICE_TEMPERATURE,
            switches: Vec::new(),
            loads: Vec::new(),
            pins: Vec::new(),
            drains: Vec::new(),
            behaviours: BTreeMap::new(),
            relays: BTreeMap::new(),
            fused_rings: BTreeMap::new(),
            on_when: BTreeMap::new(),
            tap_reasons: BTreeMap::new(),
            learned: BTreeMap::new(),
            occupied: Vec::new(),
        }
    }
}

/// A cavity that turned out to be occupied: its lead is capped, once it is proved that
/// the wire that sits there does what the plan says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Occupied {
    /// The lead whose end there is a cap now.
    pub lead: String,
    /// The cavity.
    pub at: (String, u16),
    /// The vehicle's conductor that sits in it.
    pub conductor: String,
    /// How that stands.
    pub proof: Proof,
}

impl Occupied {
    /// The cavity as it is written in the plan.
    #[must_use]
    pub fn place(&self) -> String {
        format!("{}:{}", self.at.0, self.at.1)
    }
}

/// Whether the wire in an occupied cavity does what the plan says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Proof {
    /// Nobody has looked yet.
    #[default]
    Open,
    /// The probe has seen it follow its switches.
    Measured,
    /// Somebody vouches for it.
    Attested,
    /// The probe has seen that it does something else.
    Refuted,
}

/// Where the standing drain is measured after the job, and against what.
#[derive(Debug, Clone, PartialEq)]
pub struct Drain {
    /// Name.
    pub name: String,
    /// What the probe leads stand across.
    pub across: Across,
    /// Its least and most resistance.
    pub ohms: (Ohms, Ohms),
    /// More must not flow with everything asleep.
    pub limit: Amperes,
    /// By then everything has to be asleep.
    pub asleep_after: Duration,
    /// Where it is, in the fitter's words.
    pub place: String,
}

/// What the standing drain is measured across.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Across {
    /// A fuse that sits there anyway, by its cold resistance.
    Fuse,
    /// A resistor put there for it.
    Shunt,
}

/// An expression over the states of switches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum States {
    /// In every state.
    Always,
    /// The switch (by name) is in this state.
    Is(String, String),
    /// The contrary.
    Not(Box<States>),
    /// All of them.
    All(Vec<States>),
    /// Any of them.
    Any(Vec<States>),
}

impl States {
    /// Names of the switches that it speaks of.
    pub fn switches<'s>(&'s self, into: &mut Vec<&'s str>) {
        match self {
            Self::Always => {}
            Self::Is(name, _) => into.push(name),
            Self::Not(inner) => inner.switches(into),
            Self::All(parts) | Self::Any(parts) => {
                parts.iter().for_each(|part| part.switches(into));
            }
        }
    }

    /// Whether it holds; `is` says whether a switch is in a state.
    pub fn holds(&self, is: &dyn Fn(&str, &str) -> bool) -> bool {
        match self {
            Self::Always => true,
            Self::Is(name, state) => is(name, state),
            Self::Not(inner) => !inner.holds(is),
            Self::All(parts) => parts.iter().all(|part| part.holds(is)),
            Self::Any(parts) => parts.iter().any(|part| part.holds(is)),
        }
    }
}

/// A switch, key, pedal or door.
#[derive(Debug, Clone, PartialEq)]
pub struct Switch {
    /// Name.
    pub name: String,
    /// Its states; the first one is at rest.
    pub states: Vec<String>,
    /// The two ends that its contact joins, where the harness is plugged to it.
    pub between: Option<(Terminal, Terminal)>,
    /// States in which that contact is closed.
    pub closed_in: Vec<String>,
    /// A fuse or a limit in that contact.
    pub fused: Option<Amperes>,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// One side of a load or of a switch's contact.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Terminal {
    /// An end of the plan.
    At(End),
    /// The body of the vehicle.
    Chassis,
    /// Battery plus, by a way of its own.
    BatteryPlus,
}

/// What something draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Draw {
    /// This current at its rated voltage.
    Current(Amperes),
    /// This power at its rated voltage.
    Power(Watts),
    /// A plain resistance.
    Resistance(Ohms),
}

impl Draw {
    /// As a resistance at the rated voltage.
    #[must_use]
    pub fn resistance(self, rated: Volts) -> Ohms {
        Ohms(match self {
            Self::Current(amperes) => rated.0 / amperes.0,
            Self::Power(watts) => rated.0 * rated.0 / watts.0,
            Self::Resistance(ohms) => ohms.0,
        })
    }
}

/// What sort of consumer a load is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// Nothing special: heater, motor, buzzer; passes current both ways.
    Resistor,
    /// A filament lamp: ten times its current when cold.
    Lamp,
    /// Electronics or LEDs: current flows from the first end to the second only.
    OneWay,
}

/// Something plugged to the harness.
#[derive(Debug, Clone, PartialEq)]
pub struct Consumer {
    /// Name.
    pub name: String,
    /// Its plus and its minus side.
    pub between: (Terminal, Terminal),
    /// What it draws.
    pub draws: Draw,
    /// The voltage at which it draws that.
    pub volts: Option<Volts>,
    /// The least voltage at which it works as it should.
    pub needs: Option<Volts>,
    /// What sort it is.
    pub sort: Sort,
    /// Where, in the fitter's words.
    pub place: Option<String>,
}

/// The other side of what the vehicle itself has on a conductor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OtherEnd {
    /// Chassis.
    Chassis,
    /// Battery plus.
    BatteryPlus,
    /// Another conductor or pin, by name.
    Named(String),
}

/// What a conductor or pin carries while the vehicle joins it to battery plus or
/// chassis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Signal {
    /// Joined all the time.
    #[default]
    Steady,
    /// Joined and let go slowly enough to be seen, joined first.
    Flashing {
        /// How often.
        rate: PerMinute,
        /// The part of the time in which it is joined.
        duty: Percent,
    },
    /// Joined and let go faster than the eye sees, joined first.
    Dimmed {
        /// How often.
        rate: Hertz,
        /// The part of the time in which it is joined.
        duty: Percent,
    },
}

impl Signal {
    /// Rate of a flashing signal when the plan states none: the middle of 90 ± 30
    /// a minute, UN R53 6.3.8.1.
    pub const FLASHES: PerMinute = PerMinute(90.0);
    /// Rate of a dimmed signal when the plan states none (common practice).
    pub const DIMS: Hertz = Hertz(200.0);
    /// On-time when the plan states none.
    pub const DUTY: Percent = Percent(50.0);
}

/// How a conductor or pin of the vehicle behaves.
#[derive(Debug, Clone, PartialEq)]
pub struct Behaviour {
    /// States in which the vehicle joins it to battery plus.
    pub plus_when: Option<States>,
    /// States in which the vehicle joins it to chassis.
    pub chassis_when: Option<States>,
    /// The vehicle's fuse in front of it.
    pub fused: Option<Amperes>,
    /// The most that may flow through the vehicle's switch or output.
    pub most: Option<Amperes>,
    /// What the vehicle's own consumer on it draws at the supply voltage.
    pub draws: Option<Draw>,
    /// Where that consumer's other side is.
    pub other_end: OtherEnd,
    /// What it carries while it is joined to battery plus or chassis.
    pub signal: Signal,
}

impl Behaviour {
    /// Nothing stated.
    pub const UNKNOWN: Self = Self {
        plus_when: None,
        chassis_when: None,
        fused: None,
        most: None,
        draws: None,
        other_end: OtherEnd::Chassis,
        signal: Signal::Steady,
    };
}

/// What the vehicle has behind a spare cavity, in the half that mates with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Pin {
    /// Name.
    pub name: String,
    /// The cavity.
    pub at: (String, u16),
    /// What it does, in the fitter's words.
    pub function: Option<String>,
    /// What it shows a dead test while its connector is plugged.
    pub load: Load,
    /// How it behaves.
    pub behaviour: Behaviour,
}

/// What a relay is made for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RelayRatings {
    /// Rated coil voltage; the supply voltage where not stated.
    pub volts: Option<Volts>,
    /// The coil voltage at 20 °C at which it pulls in.
    pub operates: Option<Volts>,
    /// The coil voltage below which it lets go.
    pub releases: Option<Volts>,
    /// Rated current of the make contact.
    pub contact: Option<Amperes>,
    /// Rated current of the break contact.
    pub break_contact: Option<Amperes>,
}
