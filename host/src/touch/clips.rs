//! The hook-up in a file: which lead sits on which point, for `ringout --clips`. The
//! clips are written as a kept scan has them.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::path::Path;

use loomproof_core::wire::Place;
use serde::{Deserialize, Serialize};

use crate::hookup::{Hookup, Mated, Point};
use crate::kept;
use crate::plan::model::Job;
use crate::ringout::recording::ClipRecord;
use crate::ringout::verdict::place_word;
use crate::whole_file::WholeFile;

/// Version of the file's layout.
const FORMAT: u32 = 1;

/// A hook-up as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clips {
    format: u32,
    /// SHA-256 of the plan file.
    plan_digest: String,
    /// The plan's title.
    title: String,
    answers: BTreeMap<String, String>,
    place: String,
    hookup: Vec<ClipRecord>,
}

impl Clips {
    /// Of a job.
    #[must_use]
    pub fn new(job: &Job, hookup: &Hookup) -> Self {
        Self {
            format: FORMAT,
            plan_digest: job.digest.clone(),
            title: job.title.clone(),
            answers: job.answers.clone(),
            place: place_word(hookup.place).to_owned(),
            hookup: hookup.clips.iter().map(ClipRecord::from).collect(),
        }
    }

    /// Reads a file.
    ///
    /// # Errors
    /// A sentence for a file that is missing, or is something else.
    pub fn load(path: &Path) -> Result<Self, String> {
        let name = path.display();
        let not_it = |why: String| {
            format!("{name}: this is not what `touch --make` keeps ({why}); make it again")
        };
        kept::load(path, not_it, (|clips: &Self| clips.format, FORMAT))
    }

    /// Writes a file, whole or not at all.
    ///
    /// # Errors
    /// What the system says.
    pub fn keep(&self, mut file: WholeFile) -> std::io::Result<()> {
        serde_json::to_writer_pretty(&mut file, self)?;
        file.write_all(b"\n")?;
        file.put()
    }

    /// The hook-up of a job, for a probe with so many leads.
    ///
    /// # Errors
    /// A sentence where the file is of another plan, variant or place, or names what is
    /// not there.
    pub fn hookup(
        &self,
        path: &Path,
        job: &Job,
        (place, leads): (Place, u8),
    ) -> Result<Hookup, String> {
        let name = path.display();
        let again = "make it again with `touch --make`";
        if self.plan_digest != job.digest {
            let title = &self.title;
            return Err(format!(
                "{name}: made with another plan (\"{title}\"), or the plan was changed since; {again}"
            ));
        }
        if self.answers != job.answers {
            return Err(format!(
                "{name}: made with other answers to the plan's questions; answer as then, or {again}"
            ));
        }
        if self.place != place_word(place) {
            return Err(format!(
                "{name}: these clips are for the {}, and this is the {}; {again}",
                self.place,
                place_word(place)
            ));
        }
        let mut clips = Vec::new();
        for record in &self.hookup {
            let clip = record
                .clip(job)
                .map_err(|point| format!("{name}: the plan has no point {point}; {again}"))?;
            if clip.lead.0 >= leads {
                return Err(format!(
                    "{name}: {} is clipped and this probe has {leads} leads; use the probe that it \
                     was made with",
                    clip.lead
                ));
            }
            clips.push(clip);
        }
        clips.sort_by_key(|clip| clip.lead);
        let leads: BTreeSet<_> = clips.iter().map(|clip| clip.lead).collect();
        let points: BTreeSet<_> = clips.iter().map(|clip| &clip.point).collect();
        if leads.len() != clips.len() || points.len() != clips.len() || clips.is_empty() {
            return Err(format!(
                "{name}: a lead or a point is named twice, or none is; {again}"
            ));
        }
        let mated = Mated::of(job, place, clips.iter().map(|clip| clip.point.part()));
        Ok(Hookup {
            place,
            clips,
            mated,
        })
    }
}

/// The point of a job with this name, with its side or as the plan is written; of a
/// cavity the side that its connector is reached from.
#[must_use]
pub fn point(job: &Job, name: &str) -> Option<Point> {
    let access = |point: &Point| match point {
        Point::Cavity {
            connector, side, ..
        } => {
            let mut connectors = job.connectors.iter();
            connectors.any(|it| it.name == *connector && it.access == *side)
        }
        _ => true,
    };
    Point::of_full_name(job, name)
        .or_else(|| Point::all(job).find(|point| point.to_string() == name && access(point)))
}
