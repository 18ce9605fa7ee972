//! `clip-misplaced@X1:4,to=X1:5`: that probe lead touches the neighbouring
//! cavity instead.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words};
use crate::fault::spell::{Keys, Reader};
use crate::fault::{Cavity, catalogue, clips};
use crate::hookup::{Hookup, Point};
use crate::plan::model::Job;

/// A probe lead on the cavity beside its own.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipMisplaced {
    /// The test point it is meant for.
    pub point: Cavity,
    /// The cavity of the same connector that it touches.
    pub to: u16,
}

impl ClipMisplaced {
    fn target(&self) -> Cavity {
        Cavity::new(&self.point.connector, self.to)
    }
}

impl Kind for ClipMisplaced {
    const NAME: &'static str = "clip-misplaced";
    const EXAMPLE: &'static str = "clip-misplaced@X1:4,to=X1:5";
    const MEANING: &'static str = "a probe lead on the cavity beside its own";
    const NOT_TESTED: &'static str = "a probe lead beside its point:";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let point = reader.cavity(place)?;
        let to = reader.cavity_beside(&point.connector, keys.need("to")?)?;
        if to == point.number {
            return Err(format!("{place} is the point it is meant for"));
        }
        Ok(Self { point, to })
    }

    fn place(&self) -> String {
        self.point.to_string()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("to", self.target().to_string())]
    }

    /// The next cavities left and right; where nothing is there, neither a
    /// wire nor another clip, it is listed as `clip-off` alone.
    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        let mut faults = Vec::new();
        for clip in &hookup.clips {
            let Point::Cavity {
                connector,
                cavity,
                side,
            } = &clip.point
            else {
                continue;
            };
            let Some(found) = job.connectors.iter().find(|c| c.name == *connector) else {
                continue;
            };
            for to in catalogue::beside(found, *cavity) {
                let target = Point::Cavity {
                    connector: connector.clone(),
                    cavity: to,
                    side: *side,
                };
                let meets = |point| clips::meets_something(job, hookup.place, point);
                let clipped = hookup.clips.iter().any(|other| other.point == target);
                if meets(&target) || (clipped && meets(&clip.point)) {
                    faults.push(Self {
                        point: Cavity::new(connector, *cavity),
                        to,
                    });
                }
            }
        }
        faults
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let (id, clip) = edits::clip(model, &self.point.end())?;
        let target = edits::cavity(model, &self.target())?;
        let from_behind = clip.b == edits::cavity(model, &self.point)?.wire_side;
        let node = if from_behind {
            target.wire_side
        } else {
            target.mating_side
        };
        Some(vec![Edit::Move(id, clip.a, node)])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("clip for {} on {}", self.point, self.to));
        let clip = fitted.clip(&self.point.end(), &who)?;
        fitted.check_cavity(&self.point.connector, self.to, &who)?;
        match &mut fitted.clips[clip].at {
            Point::Cavity { cavity, .. } => *cavity = self.to,
            _ => return who.senseless("that clip is not on a cavity; name one that is"),
        }
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let Cavity { connector, number } = &self.point;
        Words {
            say: speaker.fill(
                "The probe lead meant for {point} touches {other} instead.",
                &[
                    ("point", &speaker.cavity(connector, *number)),
                    ("other", &speaker.cavity_again(connector, self.to)),
                ],
            ),
            act: speaker.fill(
                "Before you move any terminal: count again from the side you are on, put that \
                 clip on {connector} cavity {cavity}, then ring out again.",
                &[("connector", connector), ("cavity", &number.to_string())],
            ),
        }
    }
}
