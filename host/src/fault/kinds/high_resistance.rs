//! `high-resistance@JOINT,ohms=R`: so many ohms more than there should be.

use loomproof_core::circuit::Edit;
use loomproof_core::units::Ohms;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words, ohms_text};
use crate::fault::spell::{Keys, Reader};
use crate::fault::{Joint, catalogue};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// Ohms of a bad joint where none are given.
const BAD_JOINT: Ohms = Ohms(10.0);

/// A joint with ohms that should not be there.
#[derive(Debug, Clone, PartialEq)]
pub struct HighResistance {
    /// The joint; along a lead the ohms sit in one place.
    pub joint: Joint,
    /// Ohms more than planned.
    pub ohms: Ohms,
}

impl Kind for HighResistance {
    const NAME: &'static str = "high-resistance";
    const EXAMPLE: &'static str = "high-resistance@X1:4,ohms=8";
    const MEANING: &'static str = "a joint with so many ohms too many";
    const NOT_TESTED: &'static str = "a bad joint at";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        Ok(Self {
            joint: reader.joint(place, keys)?,
            ohms: Ohms(keys.number("ohms", 0.01, 1e6)?),
        })
    }

    fn place(&self) -> String {
        self.joint.place()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        let mut keys = self.joint.keys();
        keys.push(("ohms", self.ohms.0.to_string()));
        keys
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let ohms = BAD_JOINT;
        let joints = catalogue::joints(job).into_iter();
        joints.map(|joint| Self { joint, ohms }).collect()
    }

    fn prior(&self) -> f64 {
        3e-4
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let ids = model.places.joints.get(&self.joint)?;
        let ids = if matches!(self.joint, Joint::Along(_)) {
            ids.get(..1)?
        } else {
            ids
        };
        Some(ids.iter().map(|id| Edit::AddOhms(*id, self.ohms)).collect())
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("high resistance at {}", self.joint.place()));
        fitted.check_joint(&self.joint, &who)?;
        let Ohms(ohms) = self.ohms;
        if !ohms.is_finite() || ohms < 0.0 {
            return who.senseless(format!("{ohms} ohms cannot be added; give 0 or more"));
        }
        *fitted.added.entry(self.joint.clone()).or_insert(0.0) += ohms;
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "About {ohms} too much {joint}.",
                &[
                    ("ohms", &ohms_text(self.ohms.0)),
                    ("joint", &speaker.joint(&self.joint)),
                ],
            ),
            act: speaker.fill(
                "Look for a loose or dirty contact, a bad crimp or cut strands there; clean or \
                 make it again.",
                &[],
            ),
        }
    }

    fn ohms(&self) -> Option<Ohms> {
        Some(self.ohms)
    }

    fn with_ohms(&self, ohms: Ohms) -> Option<Self> {
        Some(Self {
            joint: self.joint.clone(),
            ohms,
        })
    }
}
