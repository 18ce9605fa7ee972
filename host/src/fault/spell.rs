//! Reading and writing fault spellings.

use std::fmt;

use super::{Fault, Joint, Touches};
use crate::plan::model::{End, Half, Job};

/// The kinds, with an example each and what they mean: the one list behind
/// the parser's messages and the documentation.
pub const KINDS: &[(&str, &str, &str)] = &[
    (
        "open",
        "open@X1:4",
        "no connection at that joint or along that lead",
    ),
    (
        "high-resistance",
        "high-resistance@X1:4,ohms=8",
        "a joint with so many ohms too many",
    ),
    (
        "unseated",
        "unseated@X1:4",
        "terminal not home in its cavity",
    ),
    (
        "wrong-cavity",
        "wrong-cavity@X1:4,to=X1:3",
        "terminal in an empty cavity instead of its own",
    ),
    (
        "exchanged",
        "exchanged@X1:4,with=X1:5",
        "two terminals in each other's cavity",
    ),
    (
        "tap-missed",
        "tap-missed@T1",
        "tap closed, but not through to its conductor",
    ),
    (
        "tap-neighbour",
        "tap-neighbour@T1,on=K2",
        "tap on another conductor than planned",
    ),
    (
        "short",
        "short@W2,with=W5",
        "two leads touching, or a lead and chassis (with=chassis)",
    ),
    (
        "cap-touching",
        "cap-touching@W7,with=W2",
        "a capped end touching a lead or chassis",
    ),
    (
        "live",
        "live@X1:4,volts=12",
        "a voltage standing there before the test",
    ),
];

/// Why a spelling was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
#[error(
    "fault \"{spelling}\": {reason}\n  spell it KIND@PLACE[,key=value], for example {example}; `ringout PLAN --fault help` lists all that this plan allows"
)]
pub struct SpellingError {
    /// What was written.
    pub spelling: String,
    /// What is wrong with it.
    pub reason: String,
    /// An example of that kind.
    pub example: &'static str,
}

impl Fault {
    /// The kind, as in `KIND@PLACE`.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Open(_) => "open",
            Self::HighResistance(..) => "high-resistance",
            Self::Unseated(..) => "unseated",
            Self::WrongCavity(..) => "wrong-cavity",
            Self::Exchanged(..) => "exchanged",
            Self::TapMissed(_) => "tap-missed",
            Self::TapNeighbour(..) => "tap-neighbour",
            Self::Short(..) => "short",
            Self::CapTouching(..) => "cap-touching",
            Self::Live(..) => "live",
        }
    }

    /// The resistance that the fault puts in, where it has one, in ohms.
    #[must_use]
    pub fn ohms(&self) -> Option<f64> {
        match self {
            Self::HighResistance(_, ohms) => Some(*ohms),
            _ => None,
        }
    }

    /// Whether it is the operator's own mistake with a probe lead.
    #[must_use]
    pub fn is_operators(&self) -> bool {
        self.kind().starts_with("clip")
    }

    /// The place, as in `KIND@PLACE`.
    #[must_use]
    pub fn place(&self) -> String {
        match self {
            Self::Open(joint) | Self::HighResistance(joint, _) => match joint {
                Joint::At(end) => end.to_string(),
                Joint::Splice(name, _) | Joint::Along(name) | Joint::Mating(name) => name.clone(),
            },
            Self::Unseated(connector, cavity)
            | Self::WrongCavity(connector, cavity, _)
            | Self::Exchanged(connector, cavity, _) => format!("{connector}:{cavity}"),
            Self::TapMissed(name)
            | Self::TapNeighbour(name, _)
            | Self::Short(name, _)
            | Self::CapTouching(name, _) => name.clone(),
            Self::Live(end, _) => end.to_string(),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.kind(), self.place())?;
        if let Self::Open(Joint::Splice(_, lead))
        | Self::HighResistance(Joint::Splice(_, lead), _) = self
        {
            write!(f, ",lead={lead}")?;
        }
        match self {
            Self::HighResistance(_, ohms) => write!(f, ",ohms={ohms}"),
            Self::WrongCavity(connector, _, to) => write!(f, ",to={connector}:{to}"),
            Self::Exchanged(connector, _, with) => write!(f, ",with={connector}:{with}"),
            Self::TapNeighbour(_, on) => write!(f, ",on={on}"),
            Self::Short(_, touches) | Self::CapTouching(_, touches) => match touches {
                Touches::Lead(name) => write!(f, ",with={name}"),
                Touches::Chassis => write!(f, ",with=chassis"),
            },
            Self::Live(_, volts) => write!(f, ",volts={volts}"),
            _ => Ok(()),
        }
    }
}

/// Reads a spelling against a job, so that every name in it exists.
///
/// # Errors
/// [`SpellingError`] says what is wrong and how to spell that kind.
pub fn parse(spelling: &str, job: &Job) -> Result<Fault, SpellingError> {
    let (head, rest) = spelling.split_once(',').unwrap_or((spelling, ""));
    let (kind, place) = head.split_once('@').unwrap_or((head, ""));
    let known = KINDS.iter().find(|(name, ..)| *name == kind);
    let example = known.map_or("open@X1:4", |(_, example, _)| example);
    let fail = |reason: String| SpellingError {
        spelling: spelling.to_owned(),
        reason,
        example,
    };
    if known.is_none() {
        let kinds: Vec<_> = KINDS.iter().map(|(name, ..)| *name).collect();
        return Err(fail(format!(
            "\"{kind}\" is not a kind of fault; kinds are {}",
            kinds.join(", ")
        )));
    }
    if place.is_empty() {
        return Err(fail("there is no place after the @".to_owned()));
    }
    let mut keys = Keys::read(rest).map_err(fail)?;
    let reader = Reader { job };
    let fault = reader.fault(kind, place, &mut keys).map_err(fail)?;
    match keys.0.first() {
        Some((key, _)) => Err(fail(format!("\"{key}\" does not belong to this kind"))),
        None => Ok(fault),
    }
}

struct Keys<'s>(Vec<(&'s str, &'s str)>);

impl<'s> Keys<'s> {
    fn read(rest: &'s str) -> Result<Self, String> {
        rest.split(',')
            .filter(|pair| !pair.is_empty())
            .map(|pair| {
                pair.split_once('=')
                    .ok_or_else(|| format!("\"{pair}\" is not key=value"))
            })
            .collect::<Result<_, _>>()
            .map(Self)
    }

    fn take(&mut self, key: &str) -> Option<&'s str> {
        let at = self.0.iter().position(|(name, _)| *name == key)?;
        Some(self.0.remove(at).1)
    }

    fn need(&mut self, key: &str) -> Result<&'s str, String> {
        self.take(key).ok_or_else(|| format!("it needs {key}=…"))
    }

    fn number(&mut self, key: &str, least: f64, most: f64) -> Result<f64, String> {
        let text = self.need(key)?;
        match text.parse::<f64>() {
            Ok(value) if (least..=most).contains(&value) => Ok(value),
            _ => Err(format!(
                "{key} must be a number from {least} to {most}, not \"{text}\""
            )),
        }
    }
}

struct Reader<'j> {
    job: &'j Job,
}

impl Reader<'_> {
    fn fault(&self, kind: &str, place: &str, keys: &mut Keys<'_>) -> Result<Fault, String> {
        Ok(match kind {
            "open" => Fault::Open(self.joint(place, keys)?),
            "high-resistance" => {
                let joint = self.joint(place, keys)?;
                Fault::HighResistance(joint, keys.number("ohms", 0.1, 1e6)?)
            }
            "unseated" => {
                let (connector, cavity) = self.occupied(place)?;
                Fault::Unseated(connector, cavity)
            }
            "wrong-cavity" => {
                let (connector, from) = self.occupied(place)?;
                let to = self.cavity_beside(&connector, keys.need("to")?)?;
                if !super::catalogue::empty(self.job, &connector, to) {
                    return Err(format!(
                        "{connector}:{to} is in use; for two leads in each other's place use exchanged@"
                    ));
                }
                Fault::WrongCavity(connector, from, to)
            }
            "exchanged" => {
                let (connector, a) = self.occupied(place)?;
                let b = self.cavity_beside(&connector, keys.need("with")?)?;
                self.occupied(&format!("{connector}:{b}"))?;
                if a == b {
                    return Err("a terminal cannot be exchanged with itself".to_owned());
                }
                Fault::Exchanged(connector, a.min(b), a.max(b))
            }
            "tap-missed" => Fault::TapMissed(self.tap(place)?),
            "tap-neighbour" => {
                let tap = self.tap(place)?;
                let on = keys.need("on")?;
                if !self.job.conductors.iter().any(|k| k.name == on) {
                    return Err(format!("there is no conductor {on} in this plan"));
                }
                if self.job.taps.iter().any(|t| t.name == tap && t.on == on) {
                    return Err(format!("{on} is the conductor that {tap} belongs on"));
                }
                Fault::TapNeighbour(tap, on.to_owned())
            }
            "short" => {
                let lead = self.lead(place)?;
                let touches = self.touches(&lead, keys)?;
                match touches {
                    Touches::Lead(other) if other < lead => {
                        Fault::Short(other, Touches::Lead(lead))
                    }
                    touches => Fault::Short(lead, touches),
                }
            }
            "cap-touching" => {
                let lead = self.lead(place)?;
                let capped = |l: &crate::plan::model::Lead| l.from == End::Cap || l.to == End::Cap;
                if !self.job.leads.iter().any(|l| l.name == lead && capped(l)) {
                    return Err(format!("{lead} has no capped end in this variant"));
                }
                Fault::CapTouching(lead.clone(), self.touches(&lead, keys)?)
            }
            "live" => {
                let end = self
                    .end(place)
                    .ok_or_else(|| format!("there is no end {place}"))?;
                Fault::Live(end, keys.number("volts", -36.0, 36.0)?)
            }
            other => return Err(format!("\"{other}\" is not a kind of fault")),
        })
    }

    fn joint(&self, place: &str, keys: &mut Keys<'_>) -> Result<Joint, String> {
        if self.job.splices.iter().any(|s| s.name == place) {
            let lead = self.lead(keys.need("lead")?)?;
            let here = End::Splice(place.to_owned());
            let meets = self
                .job
                .leads
                .iter()
                .any(|l| l.name == lead && (l.from == here || l.to == here));
            return if meets {
                Ok(Joint::Splice(place.to_owned(), lead))
            } else {
                Err(format!("{lead} does not meet splice {place}"))
            };
        }
        if self.job.leads.iter().any(|l| l.name == place) {
            return Ok(Joint::Along(place.to_owned()));
        }
        if self.job.plugs.iter().any(|p| p.name == place) {
            return Ok(Joint::Mating(place.to_owned()));
        }
        self.end(place)
            .map(Joint::At)
            .ok_or_else(|| format!("no lead of this plan ends at {place} in this variant"))
    }

    /// An end that a lead of this job has, by its spelling.
    fn end(&self, place: &str) -> Option<End> {
        let ends = || {
            self.job
                .leads
                .iter()
                .flat_map(|lead| [&lead.from, &lead.to])
        };
        let single = |end: &End| match end {
            End::Plug(name, half, 1) => place == format!("{name}-{}", half_letter(*half)),
            _ => false,
        };
        ends()
            .find(|end| **end != End::Cap && (end.to_string() == place || single(end)))
            .cloned()
    }

    fn occupied(&self, place: &str) -> Result<(String, u16), String> {
        match self.end(place) {
            Some(End::Cavity(connector, cavity)) => Ok((connector, cavity)),
            _ => Err(format!("no terminal of this harness belongs in {place}")),
        }
    }

    fn cavity_beside(&self, connector: &str, text: &str) -> Result<u16, String> {
        let number = match text.split_once(':') {
            Some((name, number)) if name == connector => number,
            Some(_) => return Err(format!("{text} is not in {connector}")),
            None => text,
        };
        let known = self.job.connectors.iter().find(|c| c.name == connector);
        match (number.parse::<u16>(), known) {
            (Ok(n), Some(c)) if (1..=c.cavities).contains(&n) => Ok(n),
            _ => Err(format!("{connector} has no cavity {number}")),
        }
    }

    fn tap(&self, name: &str) -> Result<String, String> {
        match self.job.taps.iter().find(|tap| tap.name == name) {
            Some(tap) => Ok(tap.name.clone()),
            None => Err(format!("there is no tap {name} in this plan")),
        }
    }

    fn lead(&self, name: &str) -> Result<String, String> {
        match self.job.leads.iter().find(|lead| lead.name == name) {
            Some(lead) => Ok(lead.name.clone()),
            None => Err(format!("there is no lead {name} in this plan")),
        }
    }

    fn touches(&self, lead: &str, keys: &mut Keys<'_>) -> Result<Touches, String> {
        match keys.need("with")? {
            "chassis" => Ok(Touches::Chassis),
            other if other == lead => Err("a lead cannot touch itself".to_owned()),
            other => self.lead(other).map(Touches::Lead),
        }
    }
}

fn half_letter(half: Half) -> char {
    match half {
        Half::A => 'A',
        Half::B => 'B',
    }
}
