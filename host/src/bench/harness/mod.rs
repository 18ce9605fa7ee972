//! The wiring under test as it physically is: plan + faults + hook-up → network.
//!
//! Every joint has a node on each side: lead end – crimp – wire side of the
//! cavity – contact – mating side. A cavity named by a lead and by a conductor
//! is one where the harness mates with the vehicle: the conductor is met at
//! its mating side. In-line plugs are mated. On the bench the vehicle is
//! absent: no conductors, no chassis, taps bite nothing, rings are loose, and
//! faults that need the vehicle change nothing. Without the battery, battery plus
//! rings hang free; what it adds is in `power`.

mod fitted;
mod power;
mod values;
mod wiring;

use super::Bare;
use super::error::BenchError;
use super::front_end::Parts;
use super::network::{Element, Netlist};
use super::noise::Spread;
use super::scene::{By, Contact, Power, Source, To};
use super::sleeper::{PARKED, Sleeper, Stands};
use super::upset::Upsets;
use crate::fault::Fault;
use crate::hookup::{Hookup, Point};
use crate::plan::model::{End, Job, States};
use fitted::has_place;
pub(crate) use fitted::{Fitted, Spot, Who};
use loomproof_core::units::{Amperes, Ohms};
use loomproof_core::wire::{LeadId, Place};
pub(super) use values::Values;
use wiring::Wiring;

/// How the second chassis lead C2 sits.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum ChassisLead {
    /// On the same metal as C1.
    #[default]
    Joined,
    /// On nothing.
    Apart,
    /// On metal that carries a voltage against C1.
    Voltage(loomproof_core::units::Volts),
}

/// Resistance between the two chassis leads on the same metal, Ω.
const CHASSIS_LEADS: f64 = 0.05;

/// What a battery has inside, Ω (`common practice`: some milliohms).
const INNER: f64 = 0.005;

/// The wiring as a network.
pub(super) struct Rigged {
    /// What is always there.
    pub(super) netlist: Netlist,
    /// The node of each channel: leads, then C2, then live sources.
    pub(super) channels: Vec<usize>,
    /// What opens and closes.
    pub(super) power: Power,
}

/// A probe lead in somebody's hand, and what its tip touches; several points at once
/// where it slipped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tip {
    /// The lead.
    pub lead: LeadId,
    /// The points of the plan that it touches.
    pub on: Vec<Point>,
    /// It touches bare chassis metal as well.
    pub chassis: bool,
}

/// The network; live sources are entered in `parts`.
pub(super) fn network(
    (job, hookup, faults): (&Job, &Hookup, &[Fault]),
    (powered, upsets, tip): (bool, Upsets, Option<&Tip>),
    spread: Spread,
    leads: u8,
    parts: &mut Parts,
    chassis: ChassisLead,
) -> Result<Rigged, BenchError> {
    let mut fitted = Fitted::new(job, hookup, faults)?;
    let in_vehicle = hookup.place == Place::Vehicle;
    if powered && !in_vehicle {
        let why = "the hook-up is for the harness alone on the bench; hook up in the vehicle";
        return Who::new("battery on".to_owned()).senseless(why);
    }
    let values = Values::new(job, spread);
    let gaps = upsets.fit(&mut fitted, &values)?;
    let charges = upsets.charges.clone();
    let powered = powered.then_some(upsets);
    let mut wiring = Wiring::build(&fitted, values, (in_vehicle, powered))?;
    wiring.power.gaps = gaps;
    let charged = wiring.charged(&charges)?;

    let mut touched: Vec<Option<Option<usize>>> = vec![None; usize::from(leads)];
    for clip in &fitted.clips {
        let Some(slot) = touched.get_mut(usize::from(clip.lead.0)) else {
            return Err(BenchError::NoSuchLead {
                lead: clip.lead.to_string(),
                leads,
            });
        };
        if slot.is_some() {
            return Err(BenchError::LeadTwice(clip.lead.to_string()));
        }
        if !clip.on {
            *slot = Some(None);
            continue;
        }
        *slot = Some(Some(node_at(
            (job, &fitted, &mut wiring),
            (clip.lead, &clip.at),
        )?));
    }
    let mut held: Vec<usize> = Vec::new();
    if let Some(tip) = tip {
        let slot = touched.get_mut(usize::from(tip.lead.0));
        match slot {
            None => {
                return Err(BenchError::NoSuchLead {
                    lead: tip.lead.to_string(),
                    leads,
                });
            }
            Some(Some(_)) => return Err(BenchError::LeadTwice(tip.lead.to_string())),
            Some(None) => {}
        }
        for point in &tip.on {
            held.push(node_at((job, &fitted, &mut wiring), (tip.lead, point))?);
        }
        if tip.chassis {
            held.push(0);
        }
    }

    let power = wiring.power;
    let mut netlist = wiring.netlist;
    let mut channels = Vec::new();
    for (channel, touched) in touched.into_iter().enumerate() {
        let node = probe_lead(&mut netlist, parts.leakage[channel]);
        if let Some(Some(point)) = touched {
            netlist.resistor(node, point, parts.clip[channel]);
        }
        if tip.is_some_and(|tip| usize::from(tip.lead.0) == channel) {
            for point in &held {
                netlist.resistor(node, *point, parts.clip[channel]);
            }
        }
        channels.push(node);
    }
    let c2 = probe_lead(&mut netlist, 0.0);
    match chassis {
        ChassisLead::Joined => netlist.resistor(c2, 0, CHASSIS_LEADS),
        ChassisLead::Apart => {}
        ChassisLead::Voltage(volts) => {
            netlist.add(Element::Source(c2, volts.value(), CHASSIS_LEADS));
        }
    }
    channels.push(c2);
    for (node, volts) in wiring.live {
        channels.push(node);
        parts.live.push((volts, values::LIVE_SOURCE));
    }
    for (node, charge) in charged.into_iter().zip(&charges) {
        channels.push(node);
        parts.live.push((charge.volts.0, charge.through.0));
    }
    Ok(Rigged {
        netlist,
        channels,
        power,
    })
}

/// The node of a point that a probe lead touches.
fn node_at(
    (job, fitted, wiring): (&Job, &Fitted<'_>, &mut Wiring<'_>),
    (lead, at): (LeadId, &Point),
) -> Result<usize, BenchError> {
    let end = match at {
        Point::Cavity {
            connector,
            cavity,
            side,
        } => {
            fitted.clip_cavity(connector, *cavity, *side)?;
            return Ok(wiring.cavity(connector, *cavity, *side));
        }
        Point::Tap(name) => End::Tap(name.clone()),
        Point::Ring(name) => End::Ring(name.clone()),
        Point::Terminal(End::Cavity(connector, cavity)) => {
            let side = crate::plan::model::Side::Mating;
            fitted.clip_cavity(connector, *cavity, side)?;
            return Ok(wiring.cavity(connector, *cavity, side));
        }
        Point::Terminal(end) => end.clone(),
    };
    if !has_place(job, &end) {
        return Err(BenchError::Unknown {
            who: format!("clip {lead}"),
            what: at.to_string(),
        });
    }
    Ok(wiring.terminal(&end))
}

/// As [`network`], without a harness.
pub(super) fn bare(clips: Bare, leads: u8, parts: &Parts) -> Rigged {
    let mut netlist = Netlist::default();
    let mut channels = Vec::new();
    for channel in 0..usize::from(leads) {
        let node = probe_lead(&mut netlist, parts.leakage[channel]);
        if clips == Bare::OnBar {
            netlist.resistor(node, 0, parts.clip[channel]);
        }
        channels.push(node);
    }
    if let Bare::Across(a, b, ohms) = clips {
        let ends = [a, b].map(|lead| {
            let lead = usize::from(lead.0);
            let end = netlist.node();
            netlist.resistor(channels[lead], end, parts.clip[lead]);
            end
        });
        netlist.resistor(ends[0], ends[1], ohms.value());
    }
    on_chassis(netlist, channels, Power::default())
}

/// A parked vehicle: its battery behind a fuse or shunt, and what it draws.
pub(super) fn parked(
    sleeper: &Sleeper,
    ohms: Ohms,
    stands: Stands,
    leads: u8,
    parts: &Parts,
) -> Rigged {
    let mut netlist = Netlist::default();
    let (battery, behind) = (netlist.node(), netlist.node());
    netlist.add(Element::Source(battery, PARKED.0, INNER));
    netlist.resistor(battery, behind, ohms.0);
    let load = |amperes: Amperes| PARKED.0 / amperes.0;
    netlist.resistor(behind, 0, load(sleeper.asleep));
    let power = Power {
        contacts: vec![Contact {
            at: behind,
            to: To::Node(0),
            ohms: load(sleeper.awake),
            by: By::Plus(0),
            fuse: None,
        }],
        sources: vec![Source::new(Some(States::Always), None, sleeper.rhythm())],
        on: true,
        ..Power::default()
    };
    let mut channels = Vec::new();
    for channel in 0..usize::from(leads) {
        let node = probe_lead(&mut netlist, parts.leakage[channel]);
        let point = match (channel, stands) {
            (0, _) | (1, Stands::Together) => Some(battery),
            (1, Stands::Across) => Some(behind),
            _ => None,
        };
        if let Some(point) = point {
            netlist.resistor(node, point, parts.clip[channel]);
        }
        channels.push(node);
    }
    on_chassis(netlist, channels, power)
}

/// The second chassis lead beside the first one, behind the probe leads.
pub(super) fn on_chassis(mut netlist: Netlist, mut channels: Vec<usize>, power: Power) -> Rigged {
    let c2 = probe_lead(&mut netlist, 0.0);
    netlist.resistor(c2, 0, CHASSIS_LEADS);
    channels.push(c2);
    Rigged {
        netlist,
        channels,
        power,
    }
}

pub(super) fn probe_lead(netlist: &mut Netlist, leakage: f64) -> usize {
    let node = netlist.node();
    netlist.add(Element::Capacitor(node, values::PROBE_CAPACITANCE));
    netlist.add(Element::Current(node, leakage));
    netlist.resistor(node, 0, values::PROBE_SHUNT);
    node
}
