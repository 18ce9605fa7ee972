//! Faults and places in plain words.

use loomproof_core::wire::LeadId;

use crate::fault::{Cavity, Fault, Joint, Touches};
use crate::hookup::{Hookup, Point};
use crate::plan::model::{Connector, End, Half, Job, Side};

/// How many moved terminals are named with colour, size and place each.
const FULL: usize = 4;

/// What is wrong and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// What is wrong, and where.
    pub say: String,
    /// What to move.
    pub act: String,
}

/// Puts things of one job into words.
#[derive(Debug, Clone, Copy)]
pub struct Speaker<'j> {
    job: &'j Job,
}

impl<'j> Speaker<'j> {
    /// Speaks of this job.
    #[must_use]
    pub fn new(job: &'j Job) -> Self {
        Self { job }
    }

    /// `W1 (BN, 0.5 mm2)`.
    #[must_use]
    pub fn lead(&self, name: &str) -> String {
        match self.job.leads.iter().find(|lead| lead.name == name) {
            Some(lead) => format!("lead {name} ({}, {})", lead.colour, lead.size_text),
            None => format!("lead {name}"),
        }
    }

    /// The name of the lead that ends here.
    fn name_at(&self, end: &End) -> Option<&'j str> {
        let mut leads = self.job.leads.iter();
        let lead = leads.find(|lead| lead.from == *end || lead.to == *end)?;
        Some(&lead.name)
    }

    /// The lead that ends here, or the end itself.
    pub(crate) fn lead_at(&self, end: &End) -> String {
        match self.name_at(end) {
            Some(name) => self.lead(name),
            None => format!("the lead at {end}"),
        }
    }

    /// `X1 cavity 4 (left kick panel; from the wire side: row 1 of 2, 4th from the left)`.
    #[must_use]
    pub fn cavity(&self, connector: &str, cavity: u16) -> String {
        let Some(found) = self.job.connectors.iter().find(|c| c.name == connector) else {
            return format!("{connector} cavity {cavity}");
        };
        let mut notes: Vec<String> = found.place.iter().cloned().collect();
        notes.extend(face_position(found, cavity));
        if notes.is_empty() {
            format!("{connector} cavity {cavity}")
        } else {
            format!("{connector} cavity {cavity} ({})", notes.join("; "))
        }
    }

    /// A cavity of a connector whose place was said already.
    pub(crate) fn cavity_again(&self, connector: &str, cavity: u16) -> String {
        let found = self.job.connectors.iter().find(|c| c.name == connector);
        match found.and_then(|c| face_position(c, cavity)) {
            Some(position) => format!("cavity {cavity} ({position})"),
            None => format!("cavity {cavity}"),
        }
    }

    /// An end of a lead, with where it is.
    #[must_use]
    pub fn end(&self, end: &End) -> String {
        let placed = |what: String, name: &str| match self.job.place_of(name) {
            Some(place) => format!("{what} ({place})"),
            None => what,
        };
        match end {
            End::Cavity(connector, cavity) => self.cavity(connector, *cavity),
            End::Tap(name) => placed(format!("tap {name}"), name),
            End::Splice(name) => placed(format!("splice {name}"), name),
            End::Ring(name) => placed(format!("ring terminal {name}"), name),
            End::Plug(name, half, way) => {
                let half = if *half == Half::A { "A" } else { "B" };
                placed(format!("in-line plug {name} half {half}, way {way}"), name)
            }
            End::Part(part, terminal) => placed(format!("terminal {terminal} of {part}"), part),
            End::Cap => "its cap".to_owned(),
        }
    }

    /// A host conductor, with how to find it.
    #[must_use]
    pub fn conductor(&self, name: &str) -> String {
        let Some(found) = self.job.conductors.iter().find(|k| k.name == name) else {
            return format!("conductor {name}");
        };
        let at: Vec<String> = found.at.iter().map(|(c, n)| format!("{c}:{n}")).collect();
        let notes: Vec<String> = [found.colour.clone(), found.function.clone()]
            .into_iter()
            .flatten()
            .chain([format!("at {}", at.join(", "))])
            .collect();
        format!("conductor {name} ({})", notes.join(", "))
    }

    /// What the vehicle has under this name: a conductor, or a pin behind a cavity.
    #[must_use]
    pub fn supply(&self, name: &str) -> String {
        let mut pins = self.job.electrics.pins.iter();
        let Some(pin) = pins.find(|pin| pin.name == name) else {
            return self.conductor(name);
        };
        let function = pin.function.as_ref();
        let function = function.map_or(String::new(), |function| format!("{function}, "));
        format!("pin {name} ({function}behind {}:{})", pin.at.0, pin.at.1)
    }

    /// Where a joint is.
    pub(crate) fn joint(&self, joint: &Joint) -> String {
        match joint {
            Joint::At(end) => format!("where {} meets {}", self.lead_at(end), self.end(end)),
            Joint::Splice(splice, lead) => {
                format!(
                    "where {} meets {}",
                    self.lead(lead),
                    self.end(&End::Splice(splice.clone()))
                )
            }
            Joint::Along(lead) => format!("along {}", self.lead(lead)),
            Joint::Mating(plug) => match self.job.place_of(plug) {
                Some(place) => format!("between the halves of in-line plug {plug} ({place})"),
                None => format!("between the halves of in-line plug {plug}"),
            },
        }
    }

    /// What is touched in a short.
    pub(crate) fn touched(&self, touches: &Touches) -> String {
        match touches {
            Touches::Lead(name) => self.lead(name),
            Touches::Chassis => "chassis".to_owned(),
        }
    }

    /// A fault in words.
    #[must_use]
    pub fn fault(&self, fault: &Fault) -> Words {
        fault.words(*self)
    }

    /// The job that is spoken of.
    pub(crate) fn job(&self) -> &'j Job {
        self.job
    }

    /// The conductor that a tap belongs on.
    pub(crate) fn tapped(&self, tap: &str) -> &'j str {
        let mut taps = self.job.taps.iter();
        taps.find(|t| t.name == tap).map_or("", |t| &t.on)
    }

    /// `X1 (left kick panel)`.
    pub(crate) fn connector(&self, name: &str) -> String {
        match self.job.place_of(name) {
            Some(place) => format!("{name} ({place})"),
            None => name.to_owned(),
        }
    }

    /// `relay R1 (left kick panel)`.
    pub(crate) fn part(&self, name: &str) -> String {
        let job = self.job;
        let what = if job.relays.iter().any(|it| it.name == name) {
            "relay"
        } else if job.diodes.iter().any(|it| it.name == name) {
            "diode"
        } else if job.lamps.iter().any(|it| it.name == name) {
            "lamp"
        } else {
            "fuse"
        };
        format!("{what} {}", self.connector(name))
    }

    /// What to move where terminals of one connector sit in cavities that they
    /// do not belong in: pairs of where each belongs and where it sits.
    pub(crate) fn put_back(&self, moves: &[(Cavity, Cavity)]) -> String {
        let short = moves.len() <= FULL;
        let said: Vec<String> = moves
            .iter()
            .map(|(belongs, sits)| {
                let end = belongs.end();
                if short {
                    let lead = self.lead_at(&end);
                    let (from, to) = (sits.number, belongs.number);
                    format!("{lead} from cavity {from} to cavity {to}")
                } else {
                    let lead = self.name_at(&end).unwrap_or("the lead");
                    format!("{lead} from {} to {}", sits.number, belongs.number)
                }
            })
            .collect();
        let mut text = format!("Move {}; tug each.", said.join(", "));
        if short {
            let seen: Vec<String> = moves
                .iter()
                .filter_map(|(belongs, _)| {
                    let connector = self.find(&belongs.connector)?;
                    let position = face_position(connector, belongs.number)?;
                    let position = position.strip_prefix(FROM_THE_WIRE_SIDE)?;
                    Some(format!("cavity {}, {position}", belongs.number))
                })
                .collect();
            if !seen.is_empty() {
                text.push_str(&format!(" Seen from the wire side: {}.", seen.join("; ")));
            }
        }
        text
    }

    fn find(&self, connector: &str) -> Option<&'j Connector> {
        self.job.connectors.iter().find(|c| c.name == connector)
    }

    /// A test point, with how it is touched.
    #[must_use]
    pub fn point(&self, point: &Point) -> String {
        match point {
            Point::Cavity {
                connector,
                cavity,
                side,
            } => {
                let how = side_words(*side);
                format!("{}, {how}", self.cavity(connector, *cavity))
            }
            Point::Tap(name) => format!("{}, at its lead", self.end(&End::Tap(name.clone()))),
            Point::Ring(name) => self.end(&End::Ring(name.clone())),
            Point::Terminal(end) => self.end(end),
        }
    }

    /// What a test point is listed under: its connector with its place and how
    /// it is reached.
    #[must_use]
    pub fn heading(&self, point: &Point) -> String {
        let Point::Cavity {
            connector, side, ..
        } = point
        else {
            return "Elsewhere".to_owned();
        };
        let found = self.job.connectors.iter().find(|c| c.name == *connector);
        let place = match found.and_then(|c| c.place.as_ref()) {
            Some(place) => format!("{connector} ({place})"),
            None => connector.clone(),
        };
        format!("{place}, {}:", side_words(*side))
    }

    /// Where a test point is, under its heading.
    #[must_use]
    pub fn where_there(&self, point: &Point) -> String {
        match point {
            Point::Cavity {
                connector, cavity, ..
            } => {
                let found = self.job.connectors.iter().find(|c| c.name == *connector);
                found
                    .and_then(|c| face_position(c, *cavity))
                    .unwrap_or_default()
            }
            other => self.point(other),
        }
    }

    /// A probe lead with the point it sits on: `P3 (X1:4)`.
    #[must_use]
    pub fn probe_lead(&self, hookup: &Hookup, lead: LeadId) -> String {
        match hookup.point(lead) {
            Some(point) => format!("{lead} ({point})"),
            None => lead.to_string(),
        }
    }
}

/// How a connector is reached.
fn side_words(side: Side) -> &'static str {
    match side {
        Side::Wire => "back-probed from the wire side",
        Side::Mating => "through the mating half or a break-out lead",
    }
}

/// What a place on a face begins with.
const FROM_THE_WIRE_SIDE: &str = "from the wire side: ";

/// Where a cavity is on the face, seen from the wire side.
#[must_use]
pub fn face_position(connector: &Connector, cavity: u16) -> Option<String> {
    let rows = connector.face.len();
    let (row, column) = connector.face.iter().enumerate().find_map(|(at, row)| {
        row.iter()
            .position(|cell| *cell == Some(cavity))
            .map(|column| (at, column))
    })?;
    let nth = ordinal(column + 1);
    let place = match rows {
        1 => format!("{nth} from the left"),
        2 if row == 0 => format!("upper row, {nth} from the left"),
        2 => format!("lower row, {nth} from the left"),
        _ => format!("row {} from the top, {nth} from the left", row + 1),
    };
    Some(format!("{FROM_THE_WIRE_SIDE}{place}"))
}

fn ordinal(n: usize) -> String {
    let suffix = match (n % 10, n % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{n}{suffix}")
}

/// Ohms with a sensible number of digits.
#[must_use]
pub fn ohms_text(ohms: f64) -> String {
    match ohms {
        o if o >= 1e6 => format!("{:.1} MΩ", o / 1e6),
        o if o >= 1e4 => format!("{:.0} kΩ", o / 1e3),
        o if o >= 1e3 => format!("{:.1} kΩ", o / 1e3),
        o if o >= 10.0 => format!("{o:.0} Ω"),
        o => format!("{o:.1} Ω"),
    }
}

/// First letter large.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
