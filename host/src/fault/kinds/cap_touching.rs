//! `cap-touching@W7,with=W2`: the capped end of W7 touches another lead, or
//! chassis.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Spot, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words};
use crate::fault::Touches;
use crate::fault::nets::Nets;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job, Lead};

/// A capped end that touches something.
#[derive(Debug, Clone, PartialEq)]
pub struct CapTouching {
    /// The capped lead.
    pub lead: String,
    /// What its end touches.
    pub with: Touches,
}

fn capped(lead: &Lead) -> bool {
    lead.from == End::Cap || lead.to == End::Cap
}

impl Kind for CapTouching {
    const NAME: &'static str = "cap-touching";
    const EXAMPLE: &'static str = "cap-touching@W7,with=W2";
    const MEANING: &'static str = "a capped end touching a lead or chassis";
    const NOT_TESTED: &'static str = "the capped end of";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let lead = reader.lead(place)?;
        if !reader.job.leads.iter().any(|l| l.name == lead && capped(l)) {
            return Err(format!("{lead} has no capped end in this variant"));
        }
        let with = reader.touches(&lead, keys)?;
        Ok(Self { lead, with })
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
        for lead in job.leads.iter().filter(|lead| capped(lead)) {
            let touched = nets.strangers(lead, &job.leads, hookup.place);
            faults.extend(touched.into_iter().map(|with| Self {
                lead: lead.name.clone(),
                with,
            }));
        }
        faults
    }

    fn prior(&self) -> f64 {
        2e-5
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::touch(model, *model.places.caps.get(&self.lead)?, &self.with)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let label = format!("capped end of lead {} touching", self.lead);
        let who = Who::new(label.clone());
        let lead = fitted.lead(&self.lead, &who)?;
        let ends = [&fitted.job.leads[lead].from, &fitted.job.leads[lead].to];
        let Some(end) = ends.iter().position(|end| **end == End::Cap) else {
            return who.senseless("this lead has no capped end; name one that ends in `cap`");
        };
        fitted.touch(label, Spot::End(lead, end), &self.with)
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "The capped end of {lead} touches {other}.",
                &[
                    ("lead", &speaker.lead(&self.lead)),
                    ("other", &speaker.touched(&self.with)),
                ],
            ),
            act: speaker.fill(
                "Put a new insulating cap on that end and tie it back clear of everything.",
                &[],
            ),
        }
    }
}
