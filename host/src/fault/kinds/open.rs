//! `open@JOINT`: no connection there.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words};
use crate::fault::spell::{Keys, Reader};
use crate::fault::{Joint, catalogue};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job};

/// No connection at a joint or along a lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Open(pub Joint);

impl Kind for Open {
    const NAME: &'static str = "open";
    const EXAMPLE: &'static str = "open@X1:4";
    const MEANING: &'static str = "no connection at that joint or along that lead";
    const NOT_TESTED: &'static str = "whether there is a connection at";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        reader.joint(place, keys).map(Self)
    }

    fn place(&self) -> String {
        self.0.place()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        self.0.keys()
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        catalogue::joints(job).into_iter().map(Self).collect()
    }

    fn prior(&self) -> f64 {
        match self.0 {
            Joint::Along(_) => 2e-4,
            Joint::Mating(_) => 2e-3,
            _ => 1e-3,
        }
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let ids = model.places.joints.get(&self.0)?;
        Some(ids.iter().map(|id| Edit::Remove(*id)).collect())
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("open joint at {}", self.0.place()));
        fitted.check_joint(&self.0, &who)?;
        fitted.added.insert(self.0.clone(), f64::INFINITY);
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "No connection {joint}.",
                &[("joint", &speaker.joint(&self.0))],
            ),
            act: action(&self.0, speaker),
        }
    }
}

fn action(joint: &Joint, speaker: Speaker<'_>) -> String {
    match joint {
        Joint::At(End::Cavity(..)) => {
            speaker.fill("Draw the terminal out, look at its crimp, and crimp a new one if a tug moves the wire.", &[])
        }
        Joint::At(End::Ring(_)) => speaker.fill("Look at the ring's crimp and its bolt; clean to bare metal.", &[]),
        Joint::At(End::Tap(_)) => {
            speaker.fill("Look at the terminal on the tap's lead; push it home or crimp it again.", &[])
        }
        Joint::At(End::Plug(..)) => {
            speaker.fill("Look at that way's terminal in the plug; push it home, tug it.", &[])
        }
        Joint::At(_) => speaker.fill("Look at the terminal there; push it home, tug it.", &[]),
        Joint::Splice(..) => speaker.fill("Open the splice's cover and make that joint again.", &[]),
        Joint::Along(_) => speaker.fill("Follow the lead for a break; tug-test both ends, then replace it.", &[]),
        Joint::Mating(_) => speaker.fill("Push the halves together until the latch clicks.", &[]),
    }
}
