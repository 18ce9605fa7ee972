//! Faults and places in plain words.

use loomproof_core::wire::LeadId;

use crate::fault::{Fault, Joint, Touches};
use crate::hookup::{Hookup, Point};
use crate::plan::model::{Connector, End, Half, Job, Side};

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

    /// The lead that ends here, or the end itself.
    fn lead_at(&self, end: &End) -> String {
        match self
            .job
            .leads
            .iter()
            .find(|lead| lead.from == *end || lead.to == *end)
        {
            Some(lead) => self.lead(&lead.name),
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
    fn cavity_again(&self, connector: &str, cavity: u16) -> String {
        let found = self.job.connectors.iter().find(|c| c.name == connector);
        match found.and_then(|c| face_position(c, cavity)) {
            Some(position) => format!("cavity {cavity} ({position})"),
            None => format!("cavity {cavity}"),
        }
    }

    fn short_cavity(connector: &str, cavity: u16) -> String {
        format!("{connector} cavity {cavity}")
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

    fn joint(&self, joint: &Joint) -> String {
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

    fn touched(&self, touches: &Touches) -> String {
        match touches {
            Touches::Lead(name) => self.lead(name),
            Touches::Chassis => "chassis".to_owned(),
        }
    }

    /// A fault in words.
    #[must_use]
    pub fn fault(&self, fault: &Fault) -> Words {
        let words = |say: String, act: String| Words { say, act };
        match fault {
            Fault::Open(joint) => words(
                format!("No connection {}.", self.joint(joint)),
                open_action(joint),
            ),
            Fault::HighResistance(joint, ohms) => words(
                format!("About {} too much {}.", ohms_text(*ohms), self.joint(joint)),
                "Look for a loose or dirty contact, a bad crimp or cut strands there; clean or \
                 make it again."
                    .to_owned(),
            ),
            Fault::Unseated(connector, cavity) => words(
                format!(
                    "The terminal of {} is not home in {}.",
                    self.lead_at(&End::Cavity(connector.clone(), *cavity)),
                    self.cavity(connector, *cavity)
                ),
                "Push it in from the wire side until it latches, tug it, then close the \
                 secondary lock."
                    .to_owned(),
            ),
            Fault::WrongCavity(connector, from, to) => words(
                format!(
                    "{} sits in {}; it belongs in {}.",
                    capital(&self.lead_at(&End::Cavity(connector.clone(), *from))),
                    self.cavity(connector, *to),
                    self.cavity_again(connector, *from),
                ),
                format!(
                    "Release the terminal from {} and move it to {}; tug it.",
                    Self::short_cavity(connector, *to),
                    Self::short_cavity(connector, *from),
                ),
            ),
            Fault::Exchanged(connector, a, b) => words(
                format!(
                    "{} and {} are in each other's place: the first belongs in {}, the second in \
                     {}.",
                    capital(&self.lead_at(&End::Cavity(connector.clone(), *a))),
                    self.lead_at(&End::Cavity(connector.clone(), *b)),
                    self.cavity(connector, *a),
                    self.cavity_again(connector, *b),
                ),
                format!(
                    "Release both terminals and exchange them between {} and cavity {b}; tug both.",
                    Self::short_cavity(connector, *a)
                ),
            ),
            Fault::TapMissed(tap) => {
                let on = self
                    .job
                    .taps
                    .iter()
                    .find(|t| t.name == *tap)
                    .map_or("", |t| &t.on);
                words(
                    format!(
                        "{} does not reach {}.",
                        capital(&self.end(&End::Tap(tap.clone()))),
                        self.conductor(on)
                    ),
                    "Open the tap, lay the conductor fully into its slot and close it until it \
                     clicks; if the insulation is damaged beside the slot, repair it."
                        .to_owned(),
                )
            }
            Fault::TapNeighbour(tap, wrong) => {
                let on = self
                    .job
                    .taps
                    .iter()
                    .find(|t| t.name == *tap)
                    .map_or("", |t| &t.on);
                words(
                    format!(
                        "{} sits on {}; it belongs on {}.",
                        capital(&self.end(&End::Tap(tap.clone()))),
                        self.conductor(wrong),
                        self.conductor(on)
                    ),
                    format!(
                        "Take {tap} off {wrong}, repair the insulation there, and put it on {on}."
                    ),
                )
            }
            Fault::Short(lead, Touches::Chassis) => words(
                format!("{} touches chassis.", capital(&self.lead(lead))),
                "Follow it from end to end, first where it passes a metal edge or a screw; free \
                 it, repair the insulation and protect the place."
                    .to_owned(),
            ),
            Fault::Short(lead, touches) => words(
                format!(
                    "{} touches {}.",
                    capital(&self.lead(lead)),
                    self.touched(touches)
                ),
                "Follow both from end to end for a pinched, chafed or melted place; part them and \
                 repair the insulation."
                    .to_owned(),
            ),
            Fault::CapTouching(lead, touches) => words(
                format!(
                    "The capped end of {} touches {}.",
                    self.lead(lead),
                    self.touched(touches)
                ),
                "Put a new insulating cap on that end and tie it back clear of everything."
                    .to_owned(),
            ),
            Fault::Live(end, volts) => words(
                format!("{} carries {volts:.1} V.", capital(&self.end(end))),
                "Disconnect the battery and wait as the vehicle maker says; nothing was driven."
                    .to_owned(),
            ),
        }
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

fn open_action(joint: &Joint) -> String {
    match joint {
        Joint::At(End::Cavity(..)) => {
            "Draw the terminal out, look at its crimp, and crimp a new one if a tug moves the wire."
        }
        Joint::At(End::Ring(_)) => "Look at the ring's crimp and its bolt; clean to bare metal.",
        Joint::At(End::Tap(_)) => {
            "Look at the terminal on the tap's lead; push it home or crimp it again."
        }
        Joint::At(End::Plug(..)) => {
            "Look at that way's terminal in the plug; push it home, tug it."
        }
        Joint::At(_) => "Look at the terminal there; push it home, tug it.",
        Joint::Splice(..) => "Open the splice's cover and make that joint again.",
        Joint::Along(_) => "Follow the lead for a break; tug-test both ends, then replace it.",
        Joint::Mating(_) => "Push the halves together until the latch clicks.",
    }
    .to_owned()
}

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
    Some(match rows {
        1 => format!("from the wire side: {nth} from the left"),
        2 if row == 0 => format!("from the wire side: upper row, {nth} from the left"),
        2 => format!("from the wire side: lower row, {nth} from the left"),
        _ => format!(
            "from the wire side: row {} from the top, {nth} from the left",
            row + 1
        ),
    })
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
