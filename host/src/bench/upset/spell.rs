//! Upsets as they are written.

use super::{KINDS, Upset, behaviour};
use crate::fault::spell::{Keys, Reader};
use crate::plan::model::{Job, Signal};
use loomproof_core::units::{Hertz, Ohms, PerMinute, Volts};
use std::fmt;
use std::time::Duration;

/// Why a spelling was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
#[error("upset \"{spelling}\": {reason}\n  spell it KIND@PLACE[,key=value], for example {example}")]
pub struct UpsetError {
    /// What was written.
    pub spelling: String,
    /// What is wrong with it.
    pub reason: String,
    /// An example of that kind.
    pub example: &'static str,
}

impl fmt::Display for Upset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.kind(), self.place())?;
        match self {
            Self::DeadFeed(_) | Self::NoGround(_) | Self::BulbOut(_) => Ok(()),
            Self::Stuck { state, .. } => write!(f, ",state={state}"),
            Self::WrongFlash(_, PerMinute(rate)) | Self::WrongDim(_, Hertz(rate)) => {
                write!(f, ",rate={rate}")
            }
            Self::Voltage(_, Volts(volts)) => write!(f, ",volts={volts}"),
            Self::Intermittent {
                joint,
                gap,
                every,
                ohms,
            } => {
                for (key, value) in joint.keys() {
                    write!(f, ",{key}={value}")?;
                }
                write!(f, ",gap={},every={}", time_text(*gap), time_text(*every))?;
                ohms.map_or(Ok(()), |Ohms(ohms)| write!(f, ",ohms={ohms}"))
            }
        }
    }
}

const TIMES: [(&str, u128); 4] = [
    ("s", 1_000_000_000),
    ("ms", 1_000_000),
    ("us", 1_000),
    ("ns", 1),
];

fn time_text(time: Duration) -> String {
    let nanoseconds = time.as_nanos();
    let whole = TIMES
        .iter()
        .find(|(_, unit)| nanoseconds.is_multiple_of(*unit));
    let (name, unit) = whole.copied().unwrap_or(("ns", 1));
    format!("{}{name}", nanoseconds / unit)
}

fn time(key: &str, keys: &mut Keys<'_>) -> Result<Duration, String> {
    let text = keys.need(key)?;
    let wrong = || format!("{key} is a time such as 300us, 2ms or 2s, not \"{text}\"");
    let unit_at = text
        .find(|c: char| c.is_ascii_alphabetic())
        .ok_or_else(wrong)?;
    let (number, unit) = text.split_at(unit_at);
    let number: f64 = number.parse().map_err(|_| wrong())?;
    let mut units = TIMES.iter();
    let (_, factor) = units.find(|(name, _)| *name == unit).ok_or_else(wrong)?;
    let nanoseconds = (number * *factor as f64).round();
    if !(0.0..=1e13).contains(&nanoseconds) {
        return Err(wrong());
    }
    Ok(Duration::from_nanos(nanoseconds as u64))
}

/// Whether a spelling names a kind of upset (rather than a fault of the wiring).
#[must_use]
pub fn is_kind(spelling: &str) -> bool {
    let kind = spelling.split(['@', ',']).next().unwrap_or_default();
    KINDS.iter().any(|(name, ..)| *name == kind)
}

/// Reads a spelling against a job, so that every name in it exists.
///
/// # Errors
/// [`UpsetError`] says what is wrong and how to spell that kind.
pub fn parse(spelling: &str, job: &Job) -> Result<Upset, UpsetError> {
    let (head, rest) = spelling.split_once(',').unwrap_or((spelling, ""));
    let (kind, place) = head.split_once('@').unwrap_or((head, ""));
    let known = KINDS.iter().find(|(name, ..)| *name == kind);
    let fail = |reason: String| UpsetError {
        spelling: spelling.to_owned(),
        reason,
        example: known.map_or(KINDS[0].1, |(_, example, _)| example),
    };
    if known.is_none() {
        let kinds: Vec<_> = KINDS.iter().map(|(name, ..)| *name).collect();
        let kinds = kinds.join(", ");
        return Err(fail(format!(
            "\"{kind}\" is not a kind of upset; kinds are {kinds}"
        )));
    }
    if place.is_empty() {
        return Err(fail("there is no place after the @".to_owned()));
    }
    let mut keys = Keys::read(rest).map_err(fail)?;
    let upset = read(kind, place, &mut keys, job).map_err(fail)?;
    if let Some(key) = keys.left() {
        return Err(fail(format!("\"{key}\" does not belong to this kind")));
    }
    upset.check(job).map_err(fail)?;
    Ok(upset)
}

fn read(kind: &str, place: &str, keys: &mut Keys<'_>, job: &Job) -> Result<Upset, String> {
    let name = place.to_owned();
    Ok(match kind {
        "dead-feed" => Upset::DeadFeed(name),
        "no-ground" => Upset::NoGround(name),
        "stuck" => Upset::Stuck {
            switch: name,
            state: keys.need("state")?.to_owned(),
        },
        "bulb-out" => Upset::BulbOut(name),
        "intermittent" => Upset::Intermittent {
            joint: Reader { job }.joint(place, keys)?,
            gap: time("gap", keys)?,
            every: time("every", keys)?,
            ohms: match keys.has("ohms") {
                true => Some(Ohms(keys.number("ohms", 0.01, 1e9)?)),
                false => None,
            },
        },
        "wrong-rate" => {
            let rate = keys.number("rate", 1.0, 100_000.0)?;
            let known = behaviour(job, place).flatten().map(|known| known.signal);
            match known {
                Some(Signal::Dimmed { .. }) => Upset::WrongDim(name, Hertz(rate)),
                _ => Upset::WrongFlash(name, PerMinute(rate)),
            }
        }
        _ => Upset::Voltage(name, Volts(keys.number("volts", 0.0, 36.0)?)),
    })
}
