//! `sets-exchanged@X1,with=X2`: left and right sets exchanged: what belongs in
//! X1 sits in X2 at the same cavity number, and the other way round.

use loomproof_core::circuit::Edit;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words};
use crate::fault::spell::{Keys, Reader};
use crate::fault::{Cavity, catalogue};
use crate::hookup::Hookup;
use crate::plan::model::{Connector, Job};

/// The sets of two like connectors in each other's housing.
#[derive(Debug, Clone, PartialEq)]
pub struct SetsExchanged {
    /// One connector; the first by name.
    pub a: String,
    /// The other.
    pub b: String,
    /// Where each terminal belongs and where it sits instead.
    moves: Vec<(Cavity, Cavity)>,
}

impl SetsExchanged {
    /// The fault, where the connectors are alike, both have terminals of the
    /// harness, and no target holds a conductor of the vehicle.
    fn of(job: &Job, one: &Connector, other: &Connector) -> Option<Self> {
        let (a, b) = if one.name < other.name {
            (one, other)
        } else {
            (other, one)
        };
        let mut moves = Vec::new();
        for (from, to) in [(a, b), (b, a)] {
            let used = catalogue::used(job, from);
            let taken = |cavity: &u16| catalogue::host(job, &to.name, *cavity);
            if used.is_empty() || used.iter().any(taken) {
                return None;
            }
            let at = |connector: &Connector, cavity| Cavity::new(&connector.name, cavity);
            moves.extend(used.into_iter().map(|c| (at(from, c), at(to, c))));
        }
        let alike = a.name != b.name && a.cavities == b.cavities && a.face == b.face;
        alike.then(|| Self {
            a: a.name.clone(),
            b: b.name.clone(),
            moves,
        })
    }
}

impl Kind for SetsExchanged {
    const NAME: &'static str = "sets-exchanged";
    const EXAMPLE: &'static str = "sets-exchanged@X1,with=X2";
    const MEANING: &'static str =
        "the sets of two like connectors in each other's housing, number by number";
    const NOT_TESTED: &'static str = "whether left and right are exchanged:";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let one = reader.connector(place)?;
        let other = reader.connector(keys.need("with")?)?;
        Self::of(reader.job, one, other).ok_or_else(|| {
            format!(
                "{} and {} are not two connectors with the same face that both take terminals of \
                 this harness where the vehicle has none",
                one.name, other.name
            )
        })
    }

    fn place(&self) -> String {
        self.a.clone()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("with", self.b.clone())]
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let mut faults = Vec::new();
        for (at, one) in job.connectors.iter().enumerate() {
            let others = job.connectors.iter().skip(at + 1);
            faults.extend(others.filter_map(|other| Self::of(job, one, other)));
        }
        faults
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::reseat(model, &self.moves)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("the sets of {} and {} exchanged", self.a, self.b));
        fitted.connector(&self.a, &who)?;
        fitted.connector(&self.b, &who)?;
        let mut moves = Vec::new();
        for (at, terminal) in fitted.terminals.iter().enumerate() {
            let housing = match &terminal.planned.connector {
                name if *name == self.a => &self.b,
                name if *name == self.b => &self.a,
                _ => continue,
            };
            moves.push((at, Cavity::new(housing, terminal.sits.number)));
        }
        fitted.put(moves, &who)
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "The sets of {a} and {b} are exchanged: each terminal sits in the other housing, in \
                 the cavity of its own number.",
                &[
                    ("a", &speaker.connector(&self.a)),
                    ("b", &speaker.connector(&self.b)),
                ],
            ),
            act: speaker.fill(
                "See first whether the two plugs are only mated on the wrong side; if so, exchange \
                 the plugs. Else release the terminals and exchange them between {a} and {b}, number \
                 by number, the colours against the plan; tug each.",
                &[("a", &self.a), ("b", &self.b)],
            ),
        }
    }
}
