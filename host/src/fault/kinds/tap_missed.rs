//! `tap-missed@T1`: closed, but not through to its conductor.

use loomproof_core::circuit::Edit;
use loomproof_core::wire::Place;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job};

/// A tap that bites nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct TapMissed(pub String);

impl Kind for TapMissed {
    const NAME: &'static str = "tap-missed";
    const EXAMPLE: &'static str = "tap-missed@T1";
    const MEANING: &'static str = "tap closed, but not through to its conductor";
    const NOT_TESTED: &'static str = "whether the tap bites:";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        Ok(Self(reader.tap(place)?.name.clone()))
    }

    fn place(&self) -> String {
        self.0.clone()
    }

    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        if hookup.place == Place::Bench {
            return Vec::new();
        }
        job.taps.iter().map(|tap| Self(tap.name.clone())).collect()
    }

    fn prior(&self) -> f64 {
        3e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        Some(vec![Edit::Remove(*model.places.bites.get(&self.0)?)])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let tap = fitted.tap(&self.0, &Who::new(format!("missed tap {}", self.0)))?;
        fitted.bites[tap] = None;
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "{tap} does not reach {conductor}.",
                &[
                    ("tap", &capital(&speaker.end(&End::Tap(self.0.clone())))),
                    ("conductor", &speaker.conductor(speaker.tapped(&self.0))),
                ],
            ),
            act: speaker.fill(
                "Open the tap, lay the conductor fully into its slot and close it until it clicks; \
                 if the insulation is damaged beside the slot, repair it.",
                &[],
            ),
        }
    }
}
