//! `clip-off@X1:4`: the probe lead meant for that test point touches nothing.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words};
use crate::fault::clips;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job};

/// A probe lead that touches nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipOff(pub End);

impl Kind for ClipOff {
    const NAME: &'static str = "clip-off";
    const EXAMPLE: &'static str = "clip-off@X1:4";
    const MEANING: &'static str = "the probe lead meant for that point touches nothing";
    const NOT_TESTED: &'static str = "a probe lead that touches nothing:";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        reader.point(place).map(Self)
    }

    fn place(&self) -> String {
        self.0.to_string()
    }

    /// Wherever there is something to touch.
    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        let points = hookup.clips.iter().map(|clip| &clip.point);
        let there = points.filter(|point| clips::meets_something(job, hookup.place, point));
        there.map(|point| Self(point.end())).collect()
    }

    fn prior(&self) -> f64 {
        4e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        Some(vec![Edit::Remove(*model.places.clips.get(&self.0)?)])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let clip = fitted.clip(&self.0, &Who::new(format!("clip off {}", self.0)))?;
        fitted.clips[clip].on = false;
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "The probe lead meant for {point} touches nothing.",
                &[("point", &speaker.end(&self.0))],
            ),
            act: speaker.fill(
                "Before you move any wire: take that clip off and put it on again, on bare metal, \
                 then ring out again.",
                &[],
            ),
        }
    }
}
