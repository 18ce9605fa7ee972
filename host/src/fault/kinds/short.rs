//! `short@W2,with=W5` or `short@W2,with=chassis`, of a fraction of an ohm, at
//! the middle of each lead.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Spot, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::Touches;
use crate::fault::nets::Nets;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// Two leads that touch, or a lead and chassis.
#[derive(Debug, Clone, PartialEq)]
pub struct Short {
    /// The lead; of two the first by name.
    pub lead: String,
    /// What it touches.
    pub with: Touches,
}

impl Short {
    fn new(lead: String, with: Touches) -> Self {
        match with {
            Touches::Lead(other) if other < lead => Self {
                lead: other,
                with: Touches::Lead(lead),
            },
            with => Self { lead, with },
        }
    }
}

impl Kind for Short {
    const NAME: &'static str = "short";
    const EXAMPLE: &'static str = "short@W2,with=W5";
    const MEANING: &'static str = "two leads touching, or a lead and chassis (with=chassis)";
    const NOT_TESTED: &'static str = "touching wires:";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let lead = reader.lead(place)?;
        let touches = reader.touches(&lead, keys)?;
        Ok(Self::new(lead, touches))
    }

    fn place(&self) -> String {
        self.lead.clone()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("with", self.with.to_string())]
    }

    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        let nets = Nets::of(job, hookup.place);
        let mut faults = Vec::new();
        for (at, lead) in job.leads.iter().enumerate() {
            let others = job.leads.get(at..).unwrap_or_default();
            let touched = nets.strangers(lead, others, hookup.place);
            faults.extend(touched.into_iter().map(|t| Self::new(lead.name.clone(), t)));
        }
        faults
    }

    fn prior(&self) -> f64 {
        1e-5
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::touch(model, *model.places.middles.get(&self.lead)?, &self.with)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let label = format!("short of lead {}", self.lead);
        let lead = fitted.lead(&self.lead, &Who::new(label.clone()))?;
        fitted.touch(label, Spot::Middle(lead), &self.with)
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let act = match self.with {
            Touches::Chassis => speaker.fill(
                "Follow it from end to end, first where it passes a metal edge or a screw; free \
                 it, repair the insulation and protect the place.",
                &[],
            ),
            Touches::Lead(_) => speaker.fill(
                "See that no two probe leads touch each other there. Then follow both from end to \
                 end for a pinched, chafed or melted place; part them and repair the insulation.",
                &[],
            ),
        };
        Words {
            say: speaker.fill(
                "{lead} touches {other}.",
                &[
                    ("lead", &capital(&speaker.lead(&self.lead))),
                    ("other", &speaker.touched(&self.with)),
                ],
            ),
            act,
        }
    }
}
