//! `exchanged@X1:4,with=X1:5`: the terminals of X1:4 and X1:5 sit in each
//! other's cavity.

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

/// Two terminals of one connector in each other's cavity.
#[derive(Debug, Clone, PartialEq)]
pub struct Exchanged {
    /// The connector.
    pub connector: String,
    /// The lower cavity.
    pub a: u16,
    /// The higher cavity.
    pub b: u16,
}

impl Exchanged {
    fn cavities(&self) -> (Cavity, Cavity) {
        let at = |number| Cavity::new(&self.connector, number);
        (at(self.a), at(self.b))
    }
}

impl Kind for Exchanged {
    const NAME: &'static str = "exchanged";
    const EXAMPLE: &'static str = "exchanged@X1:4,with=X1:5";
    const MEANING: &'static str = "two terminals in each other's cavity";
    const NOT_TESTED: &'static str = "two terminals exchanged at";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let Cavity { connector, number } = reader.terminal(place)?;
        let with = reader.cavity_beside(&connector, keys.need("with")?)?;
        reader.terminal(&format!("{connector}:{with}"))?;
        if number == with {
            return Err("a terminal cannot be exchanged with itself".to_owned());
        }
        Ok(Self {
            connector,
            a: number.min(with),
            b: number.max(with),
        })
    }

    fn place(&self) -> String {
        self.cavities().0.to_string()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("with", self.cavities().1.to_string())]
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let mut faults = Vec::new();
        for connector in &job.connectors {
            let used = catalogue::used(job, connector);
            for (at, a) in used.iter().enumerate() {
                faults.extend(used.iter().skip(at + 1).map(|b| Self {
                    connector: connector.name.clone(),
                    a: *a,
                    b: *b,
                }));
            }
        }
        faults
    }

    fn prior(&self) -> f64 {
        5e-4
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let (a, b) = self.cavities();
        edits::reseat(model, &[(a.clone(), b.clone()), (b, a)])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let (a, b) = self.cavities();
        let who = Who::new(format!("terminals {a} and {b} exchanged"));
        let (a, b) = (fitted.terminal(&a, &who)?, fitted.terminal(&b, &who)?);
        if a == b {
            return who.senseless("a terminal cannot be exchanged with itself; name two cavities");
        }
        let sits = |at: usize| fitted.terminals[at].sits.clone();
        fitted.put(vec![(a, sits(b)), (b, sits(a))], &who)
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let (connector, a, b) = (&self.connector, self.a, self.b);
        let (first, second) = self.cavities();
        Words {
            say: speaker.fill(
                "{lead} and {other} are in each other's place: the first belongs in {cavity}, the \
                 second in {second}.",
                &[
                    ("lead", &capital(&speaker.lead_at(&first.end()))),
                    ("other", &speaker.lead_at(&second.end())),
                    ("cavity", &speaker.cavity(connector, a)),
                    ("second", &speaker.cavity_again(connector, b)),
                ],
            ),
            act: speaker.fill(
                "Release both terminals and exchange them between {connector} cavity {a} and \
                 cavity {b}; tug both.",
                &[
                    ("connector", connector),
                    ("a", &a.to_string()),
                    ("b", &b.to_string()),
                ],
            ),
        }
    }
}
