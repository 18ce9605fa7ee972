//! The points that are asked for, and what answered at each.

use std::collections::BTreeMap;

use loomproof_core::wire::{LeadId, LeadSet};

use super::hand::{Hand, LOOKS};
use crate::commands::Failure;
use crate::commands::stopping::Stopping;
use crate::diagnosis::words::Speaker;
use crate::hookup::{Clip, Hookup, Point};
use crate::plan::model::Job;
use crate::touch::matching::{margin, matched};
use crate::touch::report::{Kind, Report, Sits, Task, Touch};
use crate::touch::told::{Teller, and};
use crate::touch::{Answer, Groups, text};

/// How asking for a point ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::commands) enum Heard {
    /// Something answered.
    Found,
    /// It is asked for again later.
    Later,
    /// Nothing more is asked for.
    Stopped,
}

/// One point that was touched when it was asked for.
struct Row {
    point: Point,
    /// Distances of the leads of its group.
    ohms: Vec<f64>,
}

/// The points that were touched, by the group that answered; `None` for the chassis.
pub(in crate::commands) struct Placed<'a> {
    teller: Teller<'a>,
    job: &'a Job,
    hookup: &'a Hookup,
    groups: &'a Groups,
    task: Task,
    rows: BTreeMap<Option<usize>, Vec<Row>>,
    known: Vec<Clip>,
    asked: Option<String>,
}

impl<'a> Placed<'a> {
    pub(in crate::commands) fn new(
        (job, hookup, groups): (&'a Job, &'a Hookup, &'a Groups),
        task: Task,
    ) -> Self {
        Self {
            teller: Teller::new(job, hookup, groups),
            job,
            hookup,
            groups,
            task,
            rows: BTreeMap::new(),
            known: Vec::new(),
            asked: None,
        }
    }

    /// A clip whose number was read.
    pub(in crate::commands) fn sits(&mut self, clip: &Clip) {
        self.known.push(clip.clone());
    }

    /// Nothing answered there.
    pub(in crate::commands) fn open(&self, point: &Point, report: &mut Report) {
        report.open.push(format!(
            "{point}: no clip answered. See that one sits there and touches metal."
        ));
    }

    /// Asks for a point until something answers there.
    ///
    /// # Errors
    /// [`Failure`] where nothing can be told.
    pub(in crate::commands) fn ask(
        &mut self,
        hand: &mut Hand<'_>,
        stop: &Stopping,
        (point, at, count): (&Point, usize, usize),
        report: &mut Report,
    ) -> Result<Heard, Failure> {
        let speaker = Speaker::new(self.job);
        self.asked = Some(point.to_string());
        hand.screen.ask(
            &point.to_string(),
            &format!("Touch {} ({at} of {count}).", speaker.point(point)),
        );
        hand.put(std::slice::from_ref(point), false)?;
        loop {
            let Some(answer) = hand.hear(stop)? else {
                return Ok(if hand.simulated && !stop.asked() {
                    Heard::Later
                } else {
                    Heard::Stopped
                });
            };
            let group = match &answer {
                Answer::Chassis if !self.teller.on_chassis(&point.end()) => {
                    return Ok(Heard::Later);
                }
                Answer::Chassis if self.groups.chassis.is_empty() => return Ok(Heard::Later),
                Answer::Chassis => Some(None),
                Answer::Leads(leads) => match self.groups.of(leads).as_slice() {
                    [one] => Some(Some(*one)),
                    _ => None,
                },
                _ => None,
            };
            let Some(group) = group else {
                let touch = self.teller.tell(&answer);
                if answer.is_air() {
                    hand.screen.quiet(&touch.say);
                } else {
                    hand.screen.show(&touch.large, &touch.say);
                }
                if hand.simulated {
                    return Ok(Heard::Later);
                }
                continue;
            };
            let leads = self.leads(group);
            let ohms = match leads.len() {
                1 => Some(vec![0.0]),
                _ => hand.distances(&leads)?,
            };
            let Some(ohms) = ohms else {
                continue;
            };
            let touch = self.touched(point, &leads, group);
            hand.screen.show(&touch.large, &touch.say);
            report.touches.push(touch);
            self.rows.entry(group).or_default().push(Row {
                point: point.clone(),
                ohms,
            });
            return Ok(Heard::Found);
        }
    }

    fn leads(&self, group: Option<usize>) -> LeadSet {
        match group {
            None => self.groups.chassis,
            Some(at) => self.groups.apart.get(at).copied().unwrap_or_default(),
        }
    }

    fn touched(&self, point: &Point, leads: &LeadSet, group: Option<usize>) -> Touch {
        let names: Vec<String> = leads.iter().map(|lead| lead.to_string()).collect();
        let verb = if names.len() == 1 {
            "answers"
        } else {
            "answer"
        };
        let mut say = format!("{point}: {} {verb}", and(&names));
        let meant = self.hookup.clips.iter().find(|clip| clip.point == *point);
        let meant = meant.filter(|clip| self.task == Task::Prove && !leads.contains(clip.lead));
        if let Some(clip) = meant {
            say.push_str(&format!("; {} should", clip.lead));
        }
        say.push('.');
        let kind = match (meant, group) {
            (Some(_), _) => Kind::NotByPlan,
            (None, None) => Kind::Chassis,
            (None, Some(_)) => Kind::Point,
        };
        Touch {
            asked: self.asked.clone(),
            say,
            leads: names.clone(),
            candidates: vec![point.to_string()],
            ..Touch::of(kind, &and(&names))
        }
    }

    /// Finds which lead sits where.
    pub(in crate::commands) fn finish(self, report: &mut Report) {
        let mut clips: Vec<Clip> = self.known.clone();
        for (group, rows) in &self.rows {
            let known = |lead: LeadId| self.known.iter().any(|clip| clip.lead == lead);
            let all: Vec<LeadId> = self.leads(*group).iter().collect();
            let leads: Vec<(usize, LeadId)> = all
                .into_iter()
                .enumerate()
                .filter(|(_, lead)| !known(*lead))
                .collect();
            let costs: Vec<Vec<f64>> = rows
                .iter()
                .map(|row| {
                    let ohms = leads.iter().map(|(at, _)| row.ohms.get(*at).copied());
                    ohms.map(|ohms| ohms.unwrap_or(f64::NAN)).collect()
                })
                .collect();
            let found = matched(&costs, margin(LOOKS));
            let mut taken: Vec<LeadId> = Vec::new();
            let mut points: Vec<String> = Vec::new();
            for (row, column) in rows.iter().zip(&found) {
                match column.and_then(|column| leads.get(column)) {
                    Some((_, lead)) => {
                        taken.push(*lead);
                        clips.push(Clip {
                            lead: *lead,
                            point: row.point.clone(),
                        });
                    }
                    None => points.push(row.point.to_string()),
                }
            }
            let left = leads.iter().filter(|(_, lead)| !taken.contains(lead));
            let left: Vec<String> = left.map(|(_, lead)| lead.to_string()).collect();
            if points.is_empty() {
                continue;
            }
            report.open.push(if left.len() == points.len() {
                text::not_apart(&left, &points)
            } else {
                format!(
                    "{} answer at {}: not one clip for each point, so which sits where is not \
                     known.",
                    and(&left),
                    and(&points)
                )
            });
        }
        clips.sort_by_key(|clip| clip.lead);
        report.clips = clips.iter().map(|clip| self.said(clip)).collect();
    }

    fn said(&self, clip: &Clip) -> Sits {
        let meant = self.hookup.point(clip.lead);
        let meant = meant.filter(|_| self.task == Task::Prove);
        Sits {
            lead: clip.lead.to_string(),
            point: clip.point.to_string(),
            meant: meant.map(ToString::to_string),
        }
    }
}
