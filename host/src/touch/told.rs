//! An answer in the words of the plan.

use std::collections::BTreeSet;

use loomproof_core::units::Ohms;
use loomproof_core::wire::{LeadId, LeadSet, Place};

use super::report::{Kind, Touch};
use super::{Answer, Groups};
use crate::diagnosis::words::{Speaker, ohms_text};
use crate::fault::nets::Nets;
use crate::hookup::{Hookup, Point};
use crate::plan::model::{End, Job, RingOn};

/// How many leads that are reached through something are named.
const THROUGH: usize = 3;

/// Tells answers by a plan and the clips as they are meant to sit.
pub struct Teller<'a> {
    job: &'a Job,
    hookup: &'a Hookup,
    groups: &'a Groups,
    nets: Nets,
    speaker: Speaker<'a>,
}

impl<'a> Teller<'a> {
    /// Of clips with what was found joined before anything was touched.
    #[must_use]
    pub fn new(job: &'a Job, hookup: &'a Hookup, groups: &'a Groups) -> Self {
        Self {
            job,
            hookup,
            groups,
            nets: Nets::of(job, hookup.place),
            speaker: Speaker::new(job),
        }
    }

    /// What is touched.
    #[must_use]
    pub fn tell(&self, answer: &Answer) -> Touch {
        match answer {
            Answer::Live(mv) => Touch {
                say: format!(
                    "Live: {:.1} V. Nothing is driven; do not touch it further.",
                    f64::from(*mv) / 1e3
                ),
                volts: Some(f64::from(*mv) / 1e3),
                ..Touch::of(Kind::Live, "LIVE")
            },
            Answer::Nothing {
                to_chassis,
                through,
            } => self.nothing(*to_chassis, through),
            Answer::Chassis => self.chassis(),
            Answer::Leads(leads) => self.leads(leads),
        }
    }

    fn nothing(&self, to_chassis: Option<Ohms>, through: &[(LeadId, Ohms)]) -> Touch {
        let mut say = "Nothing that is clipped".to_owned();
        let reached: Vec<String> = through
            .iter()
            .take(THROUGH)
            .map(|(lead, ohms)| {
                let about = ohms_text(ohms.0);
                format!("about {about} to {}", self.clip(*lead))
            })
            .chain(to_chassis.map(|ohms| format!("about {} to chassis", ohms_text(ohms.0))))
            .collect();
        if !reached.is_empty() {
            say.push_str(&format!("; {}", reached.join(", ")));
        }
        say.push('.');
        Touch {
            say,
            leads: through.iter().map(|(lead, _)| lead.to_string()).collect(),
            ..Touch::of(Kind::Nothing, "NOTHING")
        }
    }

    fn chassis(&self) -> Touch {
        let leads = self.groups.chassis;
        let also = if leads.is_empty() {
            String::new()
        } else {
            format!("; clipped there: {}", self.clips(&leads))
        };
        Touch {
            say: format!("Chassis{also}."),
            leads: leads.iter().map(|lead| lead.to_string()).collect(),
            points: self.points(&leads),
            ..Touch::of(Kind::Chassis, "CHASSIS")
        }
    }

    fn leads(&self, leads: &LeadSet) -> Touch {
        let groups = self.groups.of(leads);
        let touch = |kind, large: &str, say| Touch {
            say,
            leads: leads.iter().map(|lead| lead.to_string()).collect(),
            points: self.points(leads),
            ..Touch::of(kind, large)
        };
        if groups.len() > 1 {
            let each: Vec<String> = groups
                .iter()
                .filter_map(|at| self.groups.apart.get(*at))
                .map(|group| self.clips(&group.shared(leads)))
                .collect();
            let say = format!("Two points at once: {}.", each.join("; and "));
            return touch(Kind::TwoPoints, "TWO POINTS", say);
        }
        let clipped: Vec<&Point> = leads
            .iter()
            .filter_map(|lead| self.hookup.point(lead))
            .collect();
        let Some(first) = clipped.first() else {
            let say = format!("{}, which the hook-up does not have.", names(leads));
            return touch(Kind::NotByPlan, "NOT IN PLAN", say);
        };
        let strangers: Vec<&&Point> = clipped
            .iter()
            .filter(|point| !self.one_net(&first.end(), &point.end()))
            .collect();
        let away: LeadSet = self
            .hookup
            .clips
            .iter()
            .filter(|clip| self.one_net(&first.end(), &clip.point.end()))
            .map(|clip| clip.lead)
            .filter(|lead| !leads.contains(*lead))
            .collect();
        if !strangers.is_empty() {
            let say = format!(
                "{} answer together; by the plan they are apart. Look at these clips, then ring \
                 out.",
                self.clips(leads)
            );
            return touch(Kind::NotByPlan, "NOT BY PLAN", say);
        }
        let candidates = self.candidates(&first.end());
        let one = candidates.len() == 1;
        let what = self.what(&first.end());
        let together = if leads.len() > 1 {
            format!("; together: {}", self.clips(leads))
        } else {
            format!(" ({})", names(leads))
        };
        let mut say = format!("{}{what}{together}.", or(&candidates));
        if !away.is_empty() {
            say.push_str(&format!(
                " {} should answer too and does not: a clip is off, or there is no connection.",
                self.clips(&away)
            ));
        }
        let kind = if away.is_empty() {
            Kind::Point
        } else {
            Kind::NotByPlan
        };
        let large = if one {
            candidates.concat()
        } else {
            or(&candidates)
        };
        Touch {
            candidates,
            ..touch(kind, &large, say)
        }
    }

    /// Whether metal joins two ends by the plan.
    #[must_use]
    pub fn one_net(&self, a: &End, b: &End) -> bool {
        a == b || self.nets.one(a, b)
    }

    /// Whether an end is on the chassis by the plan.
    #[must_use]
    pub fn on_chassis(&self, end: &End) -> bool {
        self.hookup.place == Place::Vehicle
            && self.job.rings.iter().any(|ring| {
                ring.on == RingOn::Chassis && self.one_net(end, &End::Ring(ring.name.clone()))
            })
    }

    /// Every point on the net of an end that a tip can reach, clipped ones first.
    fn candidates(&self, end: &End) -> Vec<String> {
        let clipped = self.hookup.clips.iter().map(|clip| clip.point.clone());
        let others = Point::all(self.job);
        let mut seen = BTreeSet::new();
        clipped
            .chain(others)
            .filter(|point| self.one_net(end, &point.end()))
            .map(|point| point.to_string())
            .filter(|name| seen.insert(name.clone()))
            .collect()
    }

    /// What the wire there is for: the vehicle's conductor, or the harness's lead.
    fn what(&self, end: &End) -> String {
        let here = |other: &End| self.one_net(end, other);
        let conductor = self.job.conductors.iter().find(|conductor| {
            let mut at = conductor.at.iter();
            at.any(|(connector, cavity)| here(&End::Cavity(connector.clone(), *cavity)))
        });
        let mut pins = self.job.electrics.pins.iter();
        let pin = pins.find(|pin| here(&End::Cavity(pin.at.0.clone(), pin.at.1)));
        let function = conductor
            .and_then(|conductor| conductor.function.clone())
            .or_else(|| pin?.function.clone());
        let lead = self
            .job
            .leads
            .iter()
            .find(|lead| lead.from == *end || lead.to == *end)
            .or_else(|| self.job.leads.iter().find(|lead| here(&lead.from)));
        let lead = lead.map(|lead| format!("{} {}", lead.name, lead.colour));
        let said: Vec<String> = lead.into_iter().chain(function).collect();
        if said.is_empty() && conductor.is_none() && pin.is_none() {
            return ", where the plan has no wire".to_owned();
        }
        said.iter().map(|what| format!(", {what}")).collect()
    }

    fn clip(&self, lead: LeadId) -> String {
        self.speaker.probe_lead(self.hookup, lead)
    }

    fn clips(&self, leads: &LeadSet) -> String {
        let each: Vec<String> = leads.iter().map(|lead| self.clip(lead)).collect();
        and(&each)
    }

    fn points(&self, leads: &LeadSet) -> Vec<String> {
        let points = leads.iter().filter_map(|lead| self.hookup.point(lead));
        points.map(ToString::to_string).collect()
    }
}

fn names(leads: &LeadSet) -> String {
    let each: Vec<String> = leads.iter().map(|lead| lead.to_string()).collect();
    and(&each)
}

/// `a, b and c`.
#[must_use]
pub fn and(each: &[String]) -> String {
    listed(each, "and")
}

fn or(each: &[String]) -> String {
    listed(each, "or")
}

fn listed(each: &[String], word: &str) -> String {
    match each {
        [] => String::new(),
        [one] => one.clone(),
        [some @ .., last] => format!("{} {word} {last}", some.join(", ")),
    }
}
