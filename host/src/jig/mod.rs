//! Bench jigs: the mating halves of a harness on a board, wired to one plug that the
//! probe's leads end in, so that a harness is plugged in and rung out without a clip.
//!
//! [`code`] is the identity that the probe reads off the plug, [`file`] the jig's file,
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

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use loomproof_core::wire::{LeadId, Place};

pub use code::{Code, Identity};

use crate::hookup::{Clip, Hookup, Mated, Point, needed};
use crate::plan::model::Job;
use crate::touch::clips::point;

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
                "{name}: {code} is for {}, not for the harness of this plan, \"{}\". Take the plan or \
                 the jig that belongs together; where the halves are the same, add this title to \
                 `plans` in the jig's file.",
                quoted(&self.plans),
                job.title
            ));
        }
        let here = self.wires.iter().filter_map(|(lead, name)| {
            let point = point(job, name)?;
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

    /// What a half is: the mating half of a connector, the contacts on a part's terminals,
    /// or a post for a single terminal such as a ring or a tap's lead.
    #[must_use]
    pub fn sort_of(&self, half_name: &str) -> &'static str {
        let mut points = self.wires.iter().map(|(_, point)| point.as_str());
        match points.find(|point| half(point) == half_name) {
            Some(point) if !point.contains(':') => "Post",
            Some(point) if point.ends_with(" side") => "Half",
            _ => "Part",
        }
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

/// The name of a point of the harness at its jig: cavities from their mating side.
#[must_use]
pub fn wired_to(point: &Point) -> String {
    match point {
        Point::Cavity {
            connector, cavity, ..
        } => format!("{connector}:{cavity} mating side"),
        other => other.full_name(),
    }
}

/// Titles, quoted and joined.
fn quoted(titles: &[String]) -> String {
    let quoted: Vec<String> = titles.iter().map(|it| format!("\"{it}\"")).collect();
    quoted.join(" and ")
}

/// The jigs of a folder.
///
/// # Errors
/// Text for files that cannot be read, or two jigs with one number; a folder without any.
pub fn in_folder(folder: &Path) -> Result<Vec<Jig>, String> {
    let list = |error: std::io::Error| format!("{}: {error}; check the path", folder.display());
    let mut jigs: Vec<Jig> = Vec::new();
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(list)? {
        let path = entry.map_err(list)?.path();
        let name = path.file_name().and_then(|name| name.to_str());
        if name.is_some_and(|name| name.ends_with(file::ENDING)) {
            files.push(path);
        }
    }
    files.sort();
    for path in files {
        let jig = file::load(&path, false)?;
        if let Some(other) = jigs.iter().find(|other| other.code == jig.code) {
            return Err(format!(
                "{} and {} are both {}; every jig has a number of its own: change the resistors and \
                 the file of one",
                other.path.display(),
                path.display(),
                jig.code
            ));
        }
        jigs.push(jig);
    }
    if jigs.is_empty() {
        return Err(format!(
            "{}: there is no file *{} in this folder; write one with `loomproof jig make`",
            folder.display(),
            file::ENDING
        ));
    }
    Ok(jigs)
}
