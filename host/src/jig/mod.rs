//! Bench jigs: the mating halves of a harness on a board, wired to one plug that the
//! probe's leads end in, so that a harness is plugged in and rung out without a clip.
//!
//! [`code`] is the identity that the probe reads off the plug, [`mod@file`] the jig's file,
//! [`make`] a new one for a plan, [`check`] the test of the jig itself with shorting
//! plugs, [`history`] how often it was mated and when it was checked.

pub mod check;
pub mod code;
pub mod file;
pub mod history;
pub mod make;
pub mod played;
pub mod report;
pub mod text;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use loomproof_core::wire::{LeadId, Place};

pub use code::{Code, Identity};

use crate::hookup::{Clip, Hookup, Mated, Point, needed};
use crate::plan::Plan;
use crate::plan::model::{Job, Side};

/// Most variants of a plan that are gone through.
const MOST_VARIANTS: usize = 4_096;

/// A jig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Jig {
    /// Its file.
    pub path: PathBuf,
    /// What it is called in the shop.
    pub title: String,
    /// The number that its plug shows.
    pub code: Code,
    /// Titles of the plans whose harnesses it is for.
    pub plans: Vec<String>,
    /// How often its halves can be mated, by their maker.
    pub matings: Option<u32>,
    /// After how many matings it is to be checked again.
    pub check_every: Option<u32>,
    /// Which lead is wired to which point, in the order of the leads.
    pub wires: Vec<(LeadId, String)>,
}

impl Jig {
    /// The hook-up of a harness that is plugged in.
    ///
    /// Points that this variant does not have are not looked at.
    ///
    /// # Errors
    /// A sentence where the jig is for other harnesses, lacks a point, or has more leads
    /// than the probe.
    pub fn hookup(&self, job: &Job, (place, leads): (Place, u8)) -> Result<Hookup, String> {
        let name = self.path.display();
        let code = self.code;
        if place != Place::Bench {
            return Err(format!(
                "{name}: a jig is for the harness alone on the bench; ring out with --where bench"
            ));
        }
        if !self.plans.contains(&job.title) {
            return Err(format!(
                "{name}: {code} is for {}, not for the harness of this plan, \"{}\". Use a plan and a \
                 jig that belong together; where the halves are the same, add this title to \
                 `plans` in the jig's file.",
                quoted(&self.plans),
                job.title
            ));
        }
        let here = self.wires.iter().filter_map(|(lead, name)| {
            let point = met_at(job, name)?;
            Some(Clip { lead: *lead, point })
        });
        let clips: Vec<Clip> = here.collect();
        let ends: BTreeSet<_> = clips.iter().map(|clip| clip.point.end()).collect();
        let lacking: Vec<String> = needed(job, place)
            .iter()
            .filter(|point| !ends.contains(&point.end()))
            .map(ToString::to_string)
            .collect();
        if !lacking.is_empty() {
            return Err(format!(
                "{name}: this plan's harness ends at {} as well, and {code} has no lead there; wire \
                 it and add it to the jig's file",
                lacking.join(", ")
            ));
        }
        self.fits(leads)?;
        let mated = Mated::of(job, place, clips.iter().map(|clip| clip.point.part()));
        Ok(Hookup {
            place,
            clips,
            mated,
        })
    }

    /// Wires to points that no variant of a plan has: slips of the pen. A jig for several
    /// plans may have points of the others.
    #[must_use]
    pub fn strays(&self, plan: &Plan) -> Vec<String> {
        if self.plans.len() > 1 {
            return Vec::new();
        }
        let mut left: Vec<&(LeadId, String)> = self.wires.iter().collect();
        for answers in plan.variants(&BTreeMap::new(), MOST_VARIANTS) {
            if left.is_empty() {
                break;
            }
            if let Ok(job) = plan.resolve(&answers) {
                left.retain(|(_, name)| met_at(&job, name).is_none());
            }
        }
        left.iter()
            .map(|(lead, name)| format!("{lead} = \"{name}\""))
            .collect()
    }

    /// Whether a probe has all the leads that it uses.
    ///
    /// # Errors
    /// A sentence where it has not.
    pub fn fits(&self, leads: u8) -> Result<(), String> {
        let beyond = self.wires.iter().find(|(lead, _)| lead.0 >= leads);
        beyond.map_or(Ok(()), |(lead, _)| {
            Err(format!(
                "{}: {} uses lead {lead} and this probe has {leads}; use a probe with more leads",
                self.path.display(),
                self.code
            ))
        })
    }

    /// The mating halves, in the order of their first leads, each with its leads.
    #[must_use]
    pub fn halves(&self) -> Vec<(&str, Vec<LeadId>)> {
        let mut halves: Vec<(&str, Vec<LeadId>)> = Vec::new();
        for (lead, point) in &self.wires {
            let half = half(point);
            match halves.iter_mut().find(|(name, _)| *name == half) {
                Some((_, leads)) => leads.push(*lead),
                None => halves.push((half, vec![*lead])),
            }
        }
        halves
    }

    /// Whether a lead ends in the jig.
    #[must_use]
    pub fn uses(&self, lead: LeadId) -> bool {
        code::LEADS.contains(&lead) || self.wired(lead).is_some()
    }

    /// The point that a lead is wired to.
    #[must_use]
    pub fn wired(&self, lead: LeadId) -> Option<&str> {
        let mut wires = self.wires.iter();
        wires.find(|(it, _)| *it == lead).map(|(_, at)| at.as_str())
    }
}

/// The half that a point is of: what is before the cavity.
fn half(point: &str) -> &str {
    point.split_once(':').map_or(point, |(half, _)| half)
}

/// The name of a point of the harness at its jig: a cavity is met at its mating side.
#[must_use]
pub fn wired_to(point: &Point) -> String {
    match point {
        Point::Cavity { .. } => point.to_string(),
        other => other.full_name(),
    }
}

/// The point of a job with this name, as a jig meets it.
fn met_at(job: &Job, name: &str) -> Option<Point> {
    let wire_side = |point: &Point| {
        matches!(
            point,
            Point::Cavity {
                side: Side::Wire,
                ..
            }
        )
    };
    let mut points = Point::all(job).filter(|point| !wire_side(point));
    points.find(|point| wired_to(point) == name)
}

/// Titles, quoted and joined.
fn quoted(titles: &[String]) -> String {
    let quoted: Vec<String> = titles.iter().map(|it| format!("\"{it}\"")).collect();
    quoted.join(" and ")
}

/// The jigs of a folder.
#[derive(Debug, Default)]
pub struct Folder {
    /// Those whose files read, in the order of their names.
    pub jigs: Vec<Jig>,
    /// What is wrong with the others.
    pub broken: Vec<String>,
}

impl Folder {
    /// Reads all of them.
    ///
    /// # Errors
    /// Text for a folder that cannot be read, or has no file of a jig.
    pub fn load(folder: &Path) -> Result<Self, String> {
        let name = folder.display();
        if folder.is_file() {
            return Err(format!(
                "{name}: this is a file; give the folder that it is in"
            ));
        }
        let list = |error: std::io::Error| format!("{name}: {error}; give the folder of the jigs");
        let mut files: Vec<PathBuf> = Vec::new();
        for entry in std::fs::read_dir(folder).map_err(list)? {
            let path = entry.map_err(list)?.path();
            let file = path.file_name().and_then(|file| file.to_str());
            if file.is_some_and(|file| file.ends_with(file::ENDING)) {
                files.push(path);
            }
        }
        files.sort();
        let mut all = Self::default();
        for path in files {
            match file::load(&path, false) {
                Ok(jig) => all.jigs.push(jig),
                Err(error) => all.broken.push(error),
            }
        }
        if all.jigs.is_empty() && all.broken.is_empty() {
            return Err(format!(
                "{name}: there is no file *{} in this folder; write one with `loomproof jig make`",
                file::ENDING
            ));
        }
        Ok(all)
    }

    /// The jig with a number.
    ///
    /// # Errors
    /// Text where there is none, or two have it.
    pub fn numbered(self, code: Code, folder: &Path) -> Result<Jig, String> {
        let mut jigs = self.jigs.into_iter().filter(|jig| jig.code == code);
        match (jigs.next(), jigs.next()) {
            (Some(jig), None) => Ok(jig),
            (Some(one), Some(two)) => Err(format!(
                "{} and {} are both {code}; every jig has a number of its own: change the resistors \
                 and the file of one",
                one.path.display(),
                two.path.display()
            )),
            (None, _) => Err(format!(
                "{code} is plugged in, and no file in {} has that number; give the folder where its \
                 file is.{}",
                folder.display(),
                self.broken
                    .iter()
                    .map(|error| format!("\n{error}"))
                    .collect::<String>()
            )),
        }
    }
}
