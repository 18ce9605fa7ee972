//! `left-open@X5`: a connector that the plan wants plugged while these places are
//! rung out is open, so that what is behind it is not there.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::catalogue;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// A connector that was left open.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOpen(pub String);

impl Kind for LeftOpen {
    const NAME: &'static str = "left-open";
    const EXAMPLE: &'static str = "left-open@X5";
    const MEANING: &'static str =
        "connector that was not plugged for this test, though the plan says so";
    const NOT_TESTED: &'static str = "whether it was plugged for this test:";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let connector = reader.connector(place)?;
        if connector.halves.plugged_for.is_empty() {
            return Err(format!(
                "the plan does not say that {place} is plugged (it has no plugged_for)"
            ));
        }
        Ok(Self(connector.name.clone()))
    }

    fn place(&self) -> String {
        self.0.clone()
    }

    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        let plugged = hookup.mated.plugged.iter();
        plugged
            .filter(|connector| catalogue::something_behind(job, connector))
            .map(|connector| Self(connector.clone()))
            .collect()
    }

    fn prior(&self) -> f64 {
        4e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let behind = model.places.behind.get(&self.0)?;
        let there = behind.iter().filter_map(|one| one.element);
        let edits: Vec<Edit> = there.map(Edit::Remove).collect();
        // Of a connector that the plan does not speak of nobody can say it.
        (model.places.plugged.contains(&self.0) && !edits.is_empty()).then_some(edits)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("{} left open", self.0));
        fitted.connector(&self.0, &who)?;
        if !fitted.mated.plugged.remove(&self.0) {
            return who.senseless(
                "the plan does not say that it is plugged while these places are rung out",
            );
        }
        fitted.mated.open.insert(self.0.clone());
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "{connector} is open, and has to be plugged for this test: what is behind it is \
                 not there.",
                &[("connector", &capital(&speaker.connector(&self.0)))],
            ),
            act: speaker.fill(
                "With the battery off plug {connector} together, then ring out again. Leave the \
                 wires as they are.",
                &[("connector", &self.0)],
            ),
        }
    }
}
