//! `wrong-cavity@X1:4,to=X1:3`: the terminal for X1:4 sits in cavity 3, which
//! should be empty.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::spell::{Keys, Reader};
use crate::fault::{Cavity, catalogue};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// A terminal in an empty cavity instead of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct WrongCavity {
    /// Where the terminal belongs.
    pub terminal: Cavity,
    /// The cavity of the same connector that it sits in.
    pub to: u16,
}

impl WrongCavity {
    fn target(&self) -> Cavity {
        Cavity::new(&self.terminal.connector, self.to)
    }
}

impl Kind for WrongCavity {
    const NAME: &'static str = "wrong-cavity";
    const EXAMPLE: &'static str = "wrong-cavity@X1:4,to=X1:3";
    const MEANING: &'static str = "terminal in an empty cavity instead of its own";
    const NOT_TESTED: &'static str = "a terminal in the wrong cavity that belongs in";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let terminal = reader.terminal(place)?;
        let connector = &terminal.connector;
        let to = reader.cavity_beside(connector, keys.need("to")?)?;
        if !catalogue::empty(reader.job, connector, to) {
            return Err(format!(
                "{connector}:{to} is in use; for two leads in each other's place use exchanged@"
            ));
        }
        Ok(Self { terminal, to })
    }

    fn place(&self) -> String {
        self.terminal.to_string()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("to", self.target().to_string())]
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let mut faults = Vec::new();
        for connector in &job.connectors {
            let empty = |to: &u16| catalogue::empty(job, &connector.name, *to);
            for from in catalogue::used(job, connector) {
                let terminal = Cavity::new(&connector.name, from);
                faults.extend((1..=connector.cavities).filter(empty).map(|to| Self {
                    terminal: terminal.clone(),
                    to,
                }));
            }
        }
        faults
    }

    fn prior(&self) -> f64 {
        4e-4
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::reseat(model, &[(self.terminal.clone(), self.target())])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!(
            "terminal {} in the wrong cavity {}",
            self.terminal, self.to
        ));
        let terminal = fitted.terminal(&self.terminal, &who)?;
        fitted.put(vec![(terminal, self.target())], &who)
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let (from, to) = (&self.terminal, self.target());
        Words {
            say: speaker.fill(
                "{lead} sits in {wrong}; it belongs in {right}.",
                &[
                    ("lead", &capital(&speaker.lead_at(&from.end()))),
                    ("wrong", &speaker.cavity(&to.connector, to.number)),
                    ("right", &speaker.cavity_again(&from.connector, from.number)),
                ],
            ),
            act: speaker.fill(
                "Release the terminal from {wrong} cavity {from} and move it to {right} cavity \
                 {to}; tug it.",
                &[
                    ("wrong", &to.connector),
                    ("from", &to.number.to_string()),
                    ("right", &from.connector),
                    ("to", &from.number.to_string()),
                ],
            ),
        }
    }
}
