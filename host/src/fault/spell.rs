//! Reading and writing fault spellings.

use std::fmt;

pub use super::kinds::KINDS;
use super::{Cavity, Fault, Joint, Touches, kinds};
use crate::plan::model::{Connector, End, Half, Job, Tap};

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

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.kind(), self.place())?;
        let mut keys = self.keys().into_iter();
        keys.try_for_each(|(key, value)| write!(f, ",{key}={value}"))
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
    let Some(read) = kinds::read(kind, place, &mut keys, Reader { job }) else {
        return Err(fail(format!("\"{kind}\" is not a kind of fault")));
    };
    let fault = read.map_err(fail)?;
    match keys.left() {
        Some(key) => Err(fail(format!("\"{key}\" does not belong to this kind"))),
        None => Ok(fault),
    }
}

/// The keys behind the place, each taken once.
pub(crate) struct Keys<'s>(Vec<(&'s str, &'s str)>);

impl<'s> Keys<'s> {
    pub(crate) fn read(rest: &'s str) -> Result<Self, String> {
        rest.split(',')
            .filter(|pair| !pair.is_empty())
            .map(|pair| {
                pair.split_once('=')
                    .ok_or_else(|| format!("\"{pair}\" is not key=value"))
            })
            .collect::<Result<_, _>>()
            .map(Self)
    }

    pub(crate) fn take(&mut self, key: &str) -> Option<&'s str> {
        let at = self.0.iter().position(|(name, _)| *name == key)?;
        Some(self.0.remove(at).1)
    }

    /// Whether a key is there that nobody has taken.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.0.iter().any(|(name, _)| *name == key)
    }

    /// The first key that nobody has taken.
    pub(crate) fn left(&self) -> Option<&'s str> {
        self.0.first().map(|(key, _)| *key)
    }

    pub(crate) fn need(&mut self, key: &str) -> Result<&'s str, String> {
        self.take(key).ok_or_else(|| format!("it needs {key}=…"))
    }

    pub(crate) fn number(&mut self, key: &str, least: f64, most: f64) -> Result<f64, String> {
        let text = self.need(key)?;
        match text.parse::<f64>() {
            Ok(value) if (least..=most).contains(&value) => Ok(value),
            _ => Err(format!(
                "{key} must be a number from {least} to {most}, not \"{text}\""
            )),
        }
    }
}

/// Looks places up in the job.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reader<'j> {
    pub(crate) job: &'j Job,
}

impl<'j> Reader<'j> {
    pub(crate) fn joint(self, place: &str, keys: &mut Keys<'_>) -> Result<Joint, String> {
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
    pub(super) fn end(self, place: &str) -> Option<End> {
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

    /// A cavity where a terminal of the harness belongs.
    pub(super) fn terminal(self, place: &str) -> Result<Cavity, String> {
        match self.end(place) {
            Some(End::Cavity(connector, number)) => Ok(Cavity { connector, number }),
            _ => Err(format!("no terminal of this harness belongs in {place}")),
        }
    }

    /// Any cavity of the plan.
    pub(super) fn cavity(self, place: &str) -> Result<Cavity, String> {
        let (connector, number) = place
            .split_once(':')
            .ok_or_else(|| format!("{place} is not a cavity, such as X1:4"))?;
        let connector = &self.connector(connector)?.name;
        Ok(Cavity::new(
            connector,
            self.cavity_beside(connector, number)?,
        ))
    }

    /// Any place that a probe lead can be meant for.
    pub(super) fn point(self, place: &str) -> Result<End, String> {
        match self.end(place) {
            Some(end) => Ok(end),
            None => self.cavity(place).map(|cavity| cavity.end()),
        }
    }

    pub(super) fn connector(self, name: &str) -> Result<&'j Connector, String> {
        let mut connectors = self.job.connectors.iter();
        connectors
            .find(|connector| connector.name == name)
            .ok_or_else(|| format!("there is no connector {name} in this plan"))
    }

    /// A relay, diode, lamp or fuse.
    pub(super) fn part(self, name: &str) -> Result<String, String> {
        let job = self.job;
        let relays = job.relays.iter().map(|part| &part.name);
        let diodes = job.diodes.iter().map(|part| &part.name);
        let lamps = job.lamps.iter().map(|part| &part.name);
        let fuses = job.fuses.iter().map(|part| &part.name);
        let mut all = relays.chain(diodes).chain(lamps).chain(fuses);
        all.find(|part| *part == name)
            .cloned()
            .ok_or_else(|| format!("there is no relay, diode, lamp or fuse {name} in this plan"))
    }

    pub(super) fn cavity_beside(self, connector: &str, text: &str) -> Result<u16, String> {
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

    pub(super) fn tap(self, name: &str) -> Result<&'j Tap, String> {
        let mut taps = self.job.taps.iter();
        taps.find(|tap| tap.name == name)
            .ok_or_else(|| format!("there is no tap {name} in this plan"))
    }

    pub(super) fn lead(self, name: &str) -> Result<String, String> {
        match self.job.leads.iter().find(|lead| lead.name == name) {
            Some(lead) => Ok(lead.name.clone()),
            None => Err(format!("there is no lead {name} in this plan")),
        }
    }

    pub(super) fn touches(self, lead: &str, keys: &mut Keys<'_>) -> Result<Touches, String> {
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
