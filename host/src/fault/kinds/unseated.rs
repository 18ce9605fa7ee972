//! `unseated@X1:4`: crimped, but the terminal is not home in its cavity; its
//! crimp can still be touched from the wire side.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words};
use crate::fault::spell::{Keys, Reader};
use crate::fault::{Cavity, catalogue};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// A terminal that is not home.
#[derive(Debug, Clone, PartialEq)]
pub struct Unseated(pub Cavity);

impl Kind for Unseated {
    const NAME: &'static str = "unseated";
    const EXAMPLE: &'static str = "unseated@X1:4";
    const MEANING: &'static str = "terminal not home in its cavity";
    const NOT_TESTED: &'static str = "whether the terminal is home in";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        reader.terminal(place).map(Self)
    }

    fn place(&self) -> String {
        self.0.to_string()
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        catalogue::terminals(job).map(Self).collect()
    }

    fn prior(&self) -> f64 {
        3e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        Some(vec![Edit::Remove(edits::cavity(model, &self.0)?.contact?)])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("unseated terminal {}", self.0));
        let terminal = fitted.terminal(&self.0, &who)?;
        fitted.terminals[terminal].seated = false;
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "The terminal of {lead} is not home in {cavity}.",
                &[
                    ("lead", &speaker.lead_at(&self.0.end())),
                    ("cavity", &speaker.cavity(&self.0.connector, self.0.number)),
                ],
            ),
            act: speaker.fill(
                "Push it in from the wire side until it latches, tug it, then close the secondary \
                 lock.",
                &[],
            ),
        }
    }
}
