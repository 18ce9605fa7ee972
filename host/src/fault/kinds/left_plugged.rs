//! `left-plugged@X5`: a connector that the plan wants open while these places are
//! rung out was not pulled apart, so that what is behind it hangs on the wiring.

use loomproof_core::circuit::{Edit, GROUND};

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::catalogue;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// A connector that was left plugged.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftPlugged(pub String);

impl Kind for LeftPlugged {
    const NAME: &'static str = "left-plugged";
    const EXAMPLE: &'static str = "left-plugged@X5";
    const MEANING: &'static str =
        "connector that was not pulled apart for this test, though the plan says so";
    const NOT_TESTED: &'static str = "whether it was pulled apart for this test:";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let connector = reader.connector(place)?;
        if connector.halves.open_for.is_empty() {
            return Err(format!(
                "{place} is never open by the plan (it has no open_for)"
            ));
        }
        Ok(Self(connector.name.clone()))
    }

    fn place(&self) -> String {
        self.0.clone()
    }

    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        let open = hookup.mated.open.iter();
        open.filter(|connector| catalogue::something_behind(job, connector))
            .map(|connector| Self(connector.clone()))
            .collect()
    }

    fn prior(&self) -> f64 {
        4e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let behind = model.places.behind.get(&self.0)?;
        let missing = behind.iter().filter(|one| one.element.is_none());
        let edits = missing.map(|one| Edit::Touch {
            a: one.node,
            b: GROUND,
            least: one.least,
            most: one.most,
        });
        Some(edits.collect()).filter(|edits: &Vec<Edit>| !edits.is_empty())
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("{} left plugged", self.0));
        fitted.connector(&self.0, &who)?;
        if !fitted.mated.open.remove(&self.0) {
            return who.senseless("by the plan it is not open while these places are rung out");
        }
        fitted.mated.plugged.insert(self.0.clone());
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "{connector} is plugged, and has to be open for this test: what is behind it hangs \
                 on the wiring.",
                &[("connector", &capital(&speaker.connector(&self.0)))],
            ),
            act: speaker.fill(
                "With the battery off pull {connector} apart, then ring out again. Leave the wires \
                 as they are.",
                &[("connector", &self.0)],
            ),
        }
    }
}
