//! One look through a lead: what is joined to it.
//!
//! The lead is driven high through its source and every other lead low, so that one
//! pattern shows all that hangs on it: what is joined to it by metal stands at its
//! voltage, what is reached through something stands lower, and what flows in it and in
//! none of them flows to the chassis. The one source gives all the current (≤ 4.9 mA).

use loomproof_core::instrument::{REFERENCE, SOURCE};
use loomproof_core::units::{Micros, Ohms, Volts};
use loomproof_core::wire::{
    LeadId, LeadSet, MAX_SENSES, Place, Reading, Refusal, Reply, Request, Sense, SenseMode, Step,
};

use super::CHASSIS;
use crate::link::{Link, LinkError};

/// Two leads with no more than this between them, clips and tip included, are joined by
/// metal: well above what a long thin wire and a dirty tip have together, well below a
/// relay coil.
pub const JOINED: Ohms = Ohms(3.0);

/// What stands below this at a lead that is driven low is noise and offset; more than
/// 240 kΩ in the way leave so little.
const SOMETHING: Volts = Volts(0.010);

/// A part of the current that the spread of the sources (0.8 %) cannot explain.
const MISSING: f64 = 0.04;

/// How long wiring with modules on it (100 nF) settles behind a source.
const SETTLE: Micros = Micros(1_000);

/// Conversions of a reading.
const SAMPLES: u8 = 8;

/// Conversions of a reading that finds which clip is nearer.
const FINE: u8 = 64;

/// What a look shows.
#[derive(Debug, Clone, PartialEq)]
pub enum Look {
    /// What hangs on the lead.
    Seen(Seen),
    /// It is live (millivolts), and nothing was driven.
    Live(i32),
    /// It moved, or the probe let go meanwhile.
    Unsteady,
}

/// What hangs on a lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Leads that metal joins to it, in their order.
    pub joined: Vec<LeadId>,
    /// Leads that are reached through something, and about how many ohms, least first.
    pub through: Vec<(LeadId, Ohms)>,
    /// What is between it and the chassis; `None` where too little flows to be seen.
    pub to_chassis: Option<Ohms>,
}

impl Seen {
    /// Whether it lies on the chassis.
    #[must_use]
    pub fn on_chassis(&self) -> bool {
        self.to_chassis.is_some_and(|ohms| ohms.0 <= CHASSIS.0)
    }
}

/// Why there is no look.
#[derive(Debug, thiserror::Error)]
pub enum LookError {
    /// The link failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// A lead that is clipped is live: millivolts.
    #[error("{lead} is live: {volts:.1} V", lead = .0, volts = f64::from(*.1) / 1e3)]
    Live(LeadId, i32),
    /// A lead that is clipped does not hold still.
    #[error("the leads do not hold still; something is powered, or a charge drains away")]
    Unsteady,
    /// The probe did not carry it out.
    #[error("the probe would not go on ({0:?})")]
    Refused(Refusal),
    /// The probe answered something else.
    #[error(
        "the probe answered with something else; update its firmware, or unplug it and plug it in \
         again"
    )]
    WrongReply,
}

/// Looks through one lead at the others. Every look surveys all leads first; nothing is
/// driven where one is live.
///
/// # Errors
/// [`LookError`]; a lead that is looked through and is live is no error.
pub fn look(
    link: &mut dyn Link,
    place: Place,
    from: LeadId,
    others: &LeadSet,
) -> Result<Look, LookError> {
    match link.exchange(&Request::Arm(place))? {
        Reply::Armed => {}
        Reply::Refused(Refusal::Live(lead, mv)) if lead != from => {
            return from_the_tip(link, from, LookError::Live(lead, mv));
        }
        Reply::Refused(refusal) => return not_driven(refusal, from),
        _ => return Err(LookError::WrongReply),
    }
    let leads: Vec<LeadId> = others.iter().filter(|lead| *lead != from).collect();
    let low: LeadSet = leads.iter().copied().collect();
    let mut own = REFERENCE;
    let mut volts: Vec<(LeadId, Volts)> = Vec::with_capacity(leads.len());
    // With nothing clipped, the lead itself still shows the chassis.
    let parts: Vec<&[LeadId]> = if leads.is_empty() {
        vec![&[]]
    } else {
        leads.chunks(MAX_SENSES - 1).collect()
    };
    for part in parts {
        match step(link, from, &low, part, SAMPLES)? {
            Ok((at_tip, read)) => {
                own = at_tip;
                volts.extend(part.iter().copied().zip(read));
            }
            Err(refusal) => return not_driven(refusal, from),
        }
    }
    Ok(Look::Seen(seen(own, &volts)))
}

/// Beyond this a lead is live, millivolts (the interlock's own limit).
const LIVE: i32 = 200;

/// A clipped lead is live: is the lead that is looked through as well? Then it may have
/// brought that there.
fn from_the_tip(
    link: &mut dyn Link,
    from: LeadId,
    otherwise: LookError,
) -> Result<Look, LookError> {
    match link.exchange(&Request::Survey)? {
        Reply::Survey { looks, .. } => match looks.get(usize::from(from.0)) {
            Some(look) if look.first_mv.abs() > LIVE => Ok(Look::Live(look.first_mv)),
            _ => Err(otherwise),
        },
        _ => Err(otherwise),
    }
}

/// How far the lead that is driven low, `to`, lies from the others of its net while
/// `tip` touches that net: ohms to whichever of `net` is nearest to the tip. The tip's
/// own contact is not in it.
///
/// # Errors
/// [`LookError`]. `None` where the probe let go meanwhile.
pub fn apart(
    link: &mut dyn Link,
    place: Place,
    (tip, to): (LeadId, LeadId),
    net: &LeadSet,
) -> Result<Option<Ohms>, LookError> {
    match link.exchange(&Request::Arm(place))? {
        Reply::Armed => {}
        Reply::Refused(refusal) => return not_driven(refusal, tip).map(|_| None),
        _ => return Err(LookError::WrongReply),
    }
    let others: Vec<LeadId> = net.iter().filter(|lead| *lead != to).collect();
    let mut sensed = vec![to];
    sensed.extend(others.iter().take(MAX_SENSES - 2));
    let low = LeadSet::from_iter([to]);
    let (own, read) = match step(link, tip, &low, &sensed, FINE)? {
        Ok(read) => read,
        Err(refusal) => return not_driven(refusal, tip).map(|_| None),
    };
    let mut read = read.into_iter();
    let Some(at) = read.next() else {
        return Ok(None);
    };
    let nearest = read.map(|volts| volts.0).fold(at.0, f64::max);
    let current = (REFERENCE.0 - own.0) / SOURCE.0;
    Ok((current > 1e-4).then(|| Ohms((nearest - at.0) / current)))
}

/// The lead's own voltage and the others'.
type Read = (Volts, Vec<Volts>);

fn step(
    link: &mut dyn Link,
    from: LeadId,
    low: &LeadSet,
    sensed: &[LeadId],
    samples: u8,
) -> Result<Result<Read, Refusal>, LookError> {
    let all = std::iter::once(from).chain(sensed.iter().copied());
    let request = Request::Step(Step {
        high: LeadSet::from_iter([from]),
        low: *low,
        settle: SETTLE,
        pulled: SETTLE,
        samples,
        senses: all
            .map(|lead| Sense {
                lead,
                mode: SenseMode::Plain,
            })
            .collect(),
    });
    match link.exchange(&request)? {
        Reply::Readings { readings, .. } => {
            let mut volts = readings.iter().map(|reading| match reading {
                Reading::Volts(volts) | Reading::NotSettled(volts) => volts.volts(),
                Reading::Above => REFERENCE,
                Reading::Below => Volts(0.0),
            });
            let own = volts.next().ok_or(LookError::WrongReply)?;
            let rest: Vec<Volts> = volts.collect();
            if rest.len() != sensed.len() {
                return Err(LookError::WrongReply);
            }
            Ok(Ok((own, rest)))
        }
        Reply::Refused(refusal) => Ok(Err(refusal)),
        _ => Err(LookError::WrongReply),
    }
}

/// A refusal that is the touch's own business, or an error.
fn not_driven(refusal: Refusal, from: LeadId) -> Result<Look, LookError> {
    match refusal {
        Refusal::Live(lead, mv) if lead == from => Ok(Look::Live(mv)),
        Refusal::Live(lead, mv) => Err(LookError::Live(lead, mv)),
        // The tip bounces, or comes onto something live within the look.
        Refusal::Moves(..) | Refusal::Tripped | Refusal::NotArmed => Ok(Look::Unsteady),
        other => Err(LookError::Refused(other)),
    }
}

/// What the voltages say, the lead itself driven high and all the others low.
fn seen(own: Volts, others: &[(LeadId, Volts)]) -> Seen {
    let current = ((REFERENCE.0 - own.0) / SOURCE.0).max(0.0);
    // Noise and offset of two readings, five standard deviations, on top.
    let near = |volts: Volts| own.0 - volts.0 <= JOINED.0 * current + 4e-4;
    let joined = |volts: Volts| volts.0 > SOMETHING.0.min(own.0 / 2.0).max(1e-3) && near(volts);
    let flows = |volts: Volts| volts.0.max(0.0) / SOURCE.0;
    let away: f64 = others.iter().map(|(_, volts)| flows(*volts)).sum();
    let rest = current - away;
    let to_chassis = (rest > MISSING * current && rest * SOURCE.0 > SOMETHING.0)
        .then(|| Ohms(own.0.max(0.0) / rest));
    let mut through: Vec<(LeadId, Ohms)> = others
        .iter()
        .filter(|(_, volts)| volts.0 > SOMETHING.0 && !joined(*volts))
        .map(|(lead, volts)| (*lead, Ohms((own.0 - volts.0).max(0.0) / flows(*volts))))
        .collect();
    through.sort_by(|a, b| a.1.0.total_cmp(&b.1.0));
    let joined = others.iter().filter(|(_, volts)| joined(*volts));
    Seen {
        joined: joined.map(|(lead, _)| *lead).collect(),
        through,
        to_chassis,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The voltages of a lead with these resistances to other leads, which are driven
    /// low, and this much to the chassis: a divider by hand.
    fn look_at(ohms: &[f64], chassis: f64) -> Seen {
        let into = |ohms: f64| 1.0 / (ohms + SOURCE.0);
        let sum: f64 = ohms.iter().map(|ohms| into(*ohms)).sum::<f64>() + 1.0 / chassis;
        let own = REFERENCE.0 / (1.0 + SOURCE.0 * sum);
        let volts = ohms.iter().map(|ohms| own * SOURCE.0 * into(*ohms));
        let leads = (0..).map(LeadId).zip(volts.map(Volts));
        seen(Volts(own), &leads.collect::<Vec<_>>())
    }

    const OPEN: f64 = 1e9;

    #[test]
    fn metal_is_told_from_what_is_reached_through_something() {
        let seen = look_at(&[0.4, OPEN, 90.0, 1.1, 10_000.0], OPEN);
        assert_eq!(seen.joined, [LeadId(0), LeadId(3)]);
        let [(coil, ohms), (far, more)] = seen.through.as_slice() else {
            panic!("{seen:?}");
        };
        assert_eq!((*coil, *far), (LeadId(2), LeadId(4)));
        assert!((ohms.0 - 90.0).abs() < 1.0 && (more.0 - 10_000.0).abs() < 100.0);
        assert_eq!(seen.to_chassis, None);
    }

    #[test]
    fn the_chassis_is_what_takes_the_rest_of_the_current() {
        let bare = look_at(&[OPEN, OPEN], 0.4);
        assert!(bare.on_chassis() && bare.joined.is_empty(), "{bare:?}");
        let lamp = look_at(&[0.3, OPEN], 6.0);
        assert!(!lamp.on_chassis(), "{lamp:?}");
        assert_eq!(lamp.joined, [LeadId(0)]);
        assert!((lamp.to_chassis.expect("seen").0 - 6.0).abs() < 0.1);
        let module = look_at(&[0.3], 4_700.0);
        assert!((module.to_chassis.expect("seen").0 - 4_700.0).abs() < 200.0);
        let nothing = look_at(&[OPEN; 40], OPEN);
        assert_eq!(
            (
                nothing.joined.len(),
                nothing.through.len(),
                nothing.to_chassis
            ),
            (0, 0, None)
        );
    }

    #[test]
    fn a_ground_splice_of_twenty_leads_is_one_piece_of_metal() {
        let many = look_at(&[0.5; 20], OPEN);
        assert_eq!(many.joined.len(), 20);
        assert_eq!(many.to_chassis, None);
    }
}
