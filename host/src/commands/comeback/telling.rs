//! Who tells what fails: the command line, the session, the virtual vehicle, or whoever
//! sits in front of it.

use std::collections::BTreeSet;

use super::desk::{Desk, Source};
use crate::comeback::{How, Symptom};
use crate::commands::asking::line;
use crate::commands::{Failure, note};

impl Desk<'_> {
    /// What is told of the functions: on the command line, by the session, by the
    /// virtual vehicle, or asked for.
    pub(super) fn tell(&mut self) -> Result<(), Failure> {
        let names = self.functions();
        for (name, how) in self.args.told() {
            if !names.contains(name) {
                return Err(Failure::usage(format!(
                    "{name} is no function of this variant that can be looked at; those are: {}",
                    names.join(", ")
                )));
            }
            let before = self.session.symptoms.insert(name.clone(), how);
            if before.is_some_and(|before| before != how) {
                note(&format!(
                    "{name}: told otherwise before; the new answer counts."
                ));
            }
        }
        if self.session.symptoms.is_empty() {
            if let Source::Virtual(vehicle) = &mut self.source {
                for symptom in vehicle.symptoms(&self.inquiry)? {
                    if let Some(function) = self.job.functions.get(symptom.function) {
                        self.session
                            .symptoms
                            .insert(function.name.clone(), symptom.how);
                    }
                }
            } else {
                let told = self.ask_symptoms(&BTreeSet::new());
                told.ok_or_else(|| {
                    Failure::usage(
                        "the input ended; say what fails with --fails FUNCTION".to_owned(),
                    )
                })?;
            }
        }
        self.suspect()?;
        self.keep()
    }

    /// Functions that can be tried, by name.
    fn functions(&self) -> Vec<String> {
        let all = self.inquiry.functions();
        let all = all.filter_map(|at| self.job.functions.get(at));
        all.map(|it| it.name.clone()).collect()
    }

    pub(super) fn suspect(&mut self) -> Result<(), Failure> {
        let symptoms = self.symptoms()?;
        let suspected = self.inquiry.suspect(&symptoms, self.passed);
        suspected.map_err(Failure::usage)
    }

    /// Asks how each function does, not sure allowed but for those in `surely`; `None`
    /// where the input ended.
    pub(super) fn ask_symptoms(&mut self, surely: &BTreeSet<String>) -> Option<()> {
        for name in self.functions() {
            let own = self.job.functions.iter().find(|it| it.name == name);
            let how = own.map_or("", |it| it.switch_on.as_str());
            loop {
                let must = surely.contains(&name);
                let unsure = if must { "" } else { " / Enter = not sure" };
                let prompt =
                    format!("Does {name} work ({how})? y / n / s = is on all the time{unsure}: ");
                let said = line(&prompt).ok()??;
                let how = match said.trim().to_lowercase().as_str() {
                    "y" | "yes" => How::Works,
                    "n" | "no" => How::Fails,
                    "s" => How::StaysOn,
                    "" if !must => break,
                    _ if must => {
                        note(
                            "It did not do as it should before: please try it, and answer y, n or s.",
                        );
                        continue;
                    }
                    _ => {
                        note("Please answer y, n or s, or just press Enter.");
                        continue;
                    }
                };
                self.session.symptoms.insert(name.clone(), how);
                break;
            }
        }
        Some(())
    }

    pub(super) fn symptoms(&self) -> Result<Vec<Symptom>, Failure> {
        self.session.symptoms(self.job).map_err(|name| {
            Failure::usage(format!(
                "the session tells of {name}, which this variant does not have"
            ))
        })
    }
}
