//! `missing@R1`: a part is not in its place.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// A part that is not there: a relay, diode, fuse or lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Missing(pub String);

impl Kind for Missing {
    const NAME: &'static str = "missing";
    const EXAMPLE: &'static str = "missing@R1";
    const MEANING: &'static str = "a relay, diode, fuse or lamp that is not in its place";
    const NOT_TESTED: &'static str = "whether it is in its place:";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        reader.part(place).map(Self)
    }

    fn place(&self) -> String {
        self.0.clone()
    }

    /// A lamp that is not there and one that is blown are one finding, listed
    /// as `blown`.
    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let relays = job.relays.iter().map(|relay| &relay.name);
        let diodes = job.diodes.iter().map(|diode| &diode.name);
        let fuses = job.fuses.iter().map(|fuse| &fuse.name);
        let all = relays.chain(diodes).chain(fuses);
        all.map(|name| Self(name.clone())).collect()
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::without_part(model, &self.0)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        fitted.take_out(&self.0, &Who::new(format!("missing part {}", self.0)))
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "{part} is not in its place, or meets no contact there.",
                &[("part", &capital(&speaker.part(&self.0)))],
            ),
            act: speaker.fill(
                "Push {part} home in its holder; if it is not there, fit it.",
                &[("part", &self.0)],
            ),
        }
    }
}
