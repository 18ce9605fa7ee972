//! `blown@F1`: a fuse, or a lamp's filament, has burnt through.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// A fuse or lamp that is open inside.
#[derive(Debug, Clone, PartialEq)]
pub struct Blown(pub String);

fn names(job: &Job) -> impl Iterator<Item = &String> {
    let lamps = job.lamps.iter().map(|lamp| &lamp.name);
    job.fuses.iter().map(|fuse| &fuse.name).chain(lamps)
}

impl Kind for Blown {
    const NAME: &'static str = "blown";
    const EXAMPLE: &'static str = "blown@F1";
    const MEANING: &'static str = "a fuse or a lamp burnt through";
    const NOT_TESTED: &'static str = "whether it is blown:";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        match names(reader.job).find(|name| *name == place) {
            Some(name) => Ok(Self(name.clone())),
            None => Err(format!("there is no fuse and no lamp {place} in this plan")),
        }
    }

    fn place(&self) -> String {
        self.0.clone()
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        names(job).cloned().map(Self).collect()
    }

    fn prior(&self) -> f64 {
        5e-4
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::without_part(model, &self.0)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        fitted.take_out(&self.0, &Who::new(format!("blown part {}", self.0)))
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let job = speaker.job();
        let part = capital(&speaker.part(&self.0));
        match job.fuses.iter().find(|fuse| fuse.name == self.0) {
            Some(fuse) => Words {
                say: speaker.fill("{part} is blown.", &[("part", &part)]),
                act: speaker.fill(
                    "Look at its strip. Find what drew so much first, then put in a new one of \
                     {amperes} A.",
                    &[("amperes", &fuse.rating.0.to_string())],
                ),
            },
            None => Words {
                say: speaker.fill(
                    "{part} is blown (or not in its holder).",
                    &[("part", &part)],
                ),
                act: speaker.fill(
                    "Look at its filament and its holder; put in a new one of the same power.",
                    &[],
                ),
            },
        }
    }
}
