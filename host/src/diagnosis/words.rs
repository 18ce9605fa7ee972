//! Faults and places in plain words.

use loomproof_core::wire::LeadId;

use super::phrases::{Phrases, fill};
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
    phrases: Option<&'static Phrases>,
}

impl<'j> Speaker<'j> {
    /// Speaks of this job.
    #[must_use]
    pub fn new(job: &'j Job) -> Self {
        Self { job, phrases: None }
    }

    /// Speaks of this job in a language that comes with the program (its code),
    /// or in English.
    #[must_use]
    pub fn in_language(job: &'j Job, code: &str) -> Self {
        Self {
            job,
            phrases: Phrases::of(code),
        }
    }

    /// A sentence with names filled in; said in the speaker's language where that
    /// has it.
    pub(crate) fn fill(&self, english: &str, names: &[(&str, &str)]) -> String {
        let said = self.phrases.and_then(|phrases| phrases.find(english));
        fill(said.unwrap_or(english), names)
    }

    /// `W1 (BN, 0.5 mm2)`.
    #[must_use]
    pub fn lead(&self, name: &str) -> String {
        match self.job.leads.iter().find(|lead| lead.name == name) {
            Some(lead) => self.fill(
                "lead {name} ({colour}, {size})",
                &[
                    ("name", name),
                    ("colour", &lead.colour),
                    ("size", &lead.size_text),
                ],
            ),
            None => self.fill("lead {name}", &[("name", name)]),
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
            None => self.fill("the lead at {end}", &[("end", &end.to_string())]),
        }
    }

    /// `X1 cavity 4 (left kick panel; from the wire side: row 1 of 2, 4th from the left)`.
    #[must_use]
    pub fn cavity(&self, connector: &str, cavity: u16) -> String {
        let found = self.find(connector);
        let place = found.and_then(|found| found.place.clone());
        let position = found.and_then(|found| self.face_position(found, cavity));
        let notes: Vec<String> = place.into_iter().chain(position).collect();
        let number = cavity.to_string();
        let named = [("connector", connector), ("cavity", &number)];
        let named = self.fill("{connector} cavity {cavity}", &named);
        if notes.is_empty() {
            named
        } else {
            format!("{named} ({})", notes.join("; "))
        }
    }

    /// A cavity of a connector whose place was said already.
    pub(crate) fn cavity_again(&self, connector: &str, cavity: u16) -> String {
        let found = self.find(connector);
        let named = self.fill("cavity {cavity}", &[("cavity", &cavity.to_string())]);
        match found.and_then(|c| self.face_position(c, cavity)) {
            Some(position) => format!("{named} ({position})"),
            None => named,
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
            End::Tap(name) => placed(self.fill("tap {name}", &[("name", name)]), name),
            End::Splice(name) => placed(self.fill("splice {name}", &[("name", name)]), name),
            End::Ring(name) => placed(self.fill("ring terminal {name}", &[("name", name)]), name),
            End::Plug(name, half, way) => {
                let half = if *half == Half::A { "A" } else { "B" };
                let way = way.to_string();
                let names = [("name", name.as_str()), ("half", half), ("way", &way)];
                placed(
                    self.fill("in-line plug {name} half {half}, way {way}", &names),
                    name,
                )
            }
            End::Part(part, terminal) => {
                let names = [("terminal", terminal.as_str()), ("part", part)];
                placed(self.fill("terminal {terminal} of {part}", &names), part)
            }
            End::Cap => self.fill("its cap", &[]),
        }
    }

    /// A host conductor, with how to find it.
    #[must_use]
    pub fn conductor(&self, name: &str) -> String {
        let Some(found) = self.job.conductors.iter().find(|k| k.name == name) else {
            return self.fill("conductor {name}", &[("name", name)]);
        };
        let at: Vec<String> = found.at.iter().map(|(c, n)| format!("{c}:{n}")).collect();
        let notes: Vec<String> = [found.colour.clone(), found.function.clone()]
            .into_iter()
            .flatten()
            .chain([self.fill("at {places}", &[("places", &at.join(", "))])])
            .collect();
        let named = self.fill("conductor {name}", &[("name", name)]);
        format!("{named} ({})", notes.join(", "))
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
            Joint::At(end) => self.fill(
                "where {lead} meets {end}",
                &[("lead", &self.lead_at(end)), ("end", &self.end(end))],
            ),
            Joint::Splice(splice, lead) => {
                let end = self.end(&End::Splice(splice.clone()));
                self.fill(
                    "where {lead} meets {end}",
                    &[("lead", &self.lead(lead)), ("end", &end)],
                )
            }
            Joint::Along(lead) => self.fill("along {lead}", &[("lead", &self.lead(lead))]),
            Joint::Mating(plug) => self.fill(
                "between the halves of in-line plug {plug}",
                &[("plug", &self.connector(plug))],
            ),
        }
    }

    /// What is touched in a short.
    pub(crate) fn touched(&self, touches: &Touches) -> String {
        match touches {
            Touches::Lead(name) => self.lead(name),
            Touches::Chassis => self.fill("chassis", &[]),
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
        let named = self.connector(name);
        let names = [("name", named.as_str())];
        if job.relays.iter().any(|it| it.name == name) {
            self.fill("relay {name}", &names)
        } else if job.diodes.iter().any(|it| it.name == name) {
            self.fill("diode {name}", &names)
        } else if job.lamps.iter().any(|it| it.name == name) {
            self.fill("lamp {name}", &names)
        } else {
            self.fill("fuse {name}", &names)
        }
    }

    /// What to move where terminals of one connector sit in cavities that they
    /// do not belong in: pairs of where each belongs and where it sits.
    pub(crate) fn put_back(&self, moves: &[(Cavity, Cavity)]) -> String {
        let short = moves.len() <= FULL;
        let said: Vec<String> = moves
            .iter()
            .map(|(belongs, sits)| {
                let end = belongs.end();
                let (from, to) = (sits.number.to_string(), belongs.number.to_string());
                if short {
                    let lead = self.lead_at(&end);
                    let names = [("lead", lead.as_str()), ("from", &from), ("to", &to)];
                    self.fill("{lead} from cavity {from} to cavity {to}", &names)
                } else {
                    let lead = self.name_at(&end).map(str::to_owned);
                    let lead = lead.unwrap_or_else(|| self.fill("the lead", &[]));
                    let names = [("lead", lead.as_str()), ("from", &from), ("to", &to)];
                    self.fill("{lead} from {from} to {to}", &names)
                }
            })
            .collect();
        let mut text = self.fill("Move {moves}; tug each.", &[("moves", &said.join(", "))]);
        if short {
            let seen: Vec<String> = moves
                .iter()
                .filter_map(|(belongs, _)| {
                    let connector = self.find(&belongs.connector)?;
                    let position = self.on_face(connector, belongs.number)?;
                    let number = belongs.number.to_string();
                    let cavity = self.fill("cavity {cavity}", &[("cavity", &number)]);
                    Some(format!("{cavity}, {position}"))
                })
                .collect();
            if !seen.is_empty() {
                let seen = seen.join("; ");
                text.push(' ');
                text.push_str(&self.fill("Seen from the wire side: {seen}.", &[("seen", &seen)]));
            }
        }
        text
    }

    fn find(&self, connector: &str) -> Option<&'j Connector> {
        self.job.connectors.iter().find(|c| c.name == connector)
    }

    /// Where a cavity is on the face, seen from the wire side.
    fn face_position(&self, connector: &Connector, cavity: u16) -> Option<String> {
        let place = self.on_face(connector, cavity)?;
        Some(self.fill("from the wire side: {place}", &[("place", &place)]))
    }

    /// The same where it was said from which side.
    fn on_face(&self, connector: &Connector, cavity: u16) -> Option<String> {
        let rows = connector.face.len();
        let (row, column) = connector.face.iter().enumerate().find_map(|(at, row)| {
            row.iter()
                .position(|cell| *cell == Some(cavity))
                .map(|column| (at, column))
        })?;
        // How a language counts is its own matter.
        let (n, row_number) = ((column + 1).to_string(), (row + 1).to_string());
        let nth = match self.phrases {
            None => ordinal(column + 1),
            Some(_) => self.fill("{n}th", &[("n", &n)]),
        };
        let names = [("nth", nth.as_str()), ("row", &row_number)];
        Some(match rows {
            1 => self.fill("{nth} from the left", &names),
            2 if row == 0 => self.fill("upper row, {nth} from the left", &names),
            2 => self.fill("lower row, {nth} from the left", &names),
            _ => self.fill("row {row} from the top, {nth} from the left", &names),
        })
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
                let how = self.fill(side_words(*side), &[]);
                format!("{}, {how}", self.cavity(connector, *cavity))
            }
            Point::Tap(name) => self.fill(
                "{tap}, at its lead",
                &[("tap", &self.end(&End::Tap(name.clone())))],
            ),
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
                    .and_then(|c| self.face_position(c, *cavity))
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
