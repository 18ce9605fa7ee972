//! `mirrored@X1`: the connector was counted from the wrong face, so that every
//! harness terminal sits in the mirrored place of its row.

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

/// A connector counted from the wrong face.
#[derive(Debug, Clone, PartialEq)]
pub struct Mirrored {
    /// The connector.
    pub connector: String,
    /// Where each terminal belongs and where it sits instead.
    moves: Vec<(Cavity, Cavity)>,
}

impl Mirrored {
    fn of(job: &Job, connector: &Connector) -> Option<Self> {
        let mirror = |cavity| catalogue::mirror(connector, cavity);
        Some(Self {
            connector: connector.name.clone(),
            moves: catalogue::moved(job, connector, mirror)?,
        })
    }
}

impl Kind for Mirrored {
    const NAME: &'static str = "mirrored";
    const EXAMPLE: &'static str = "mirrored@X1";
    const MEANING: &'static str =
        "connector counted from the wrong face: all terminals mirrored in their rows";
    const NOT_TESTED: &'static str = "whether it was counted from the right face:";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let connector = reader.connector(place)?;
        match Self::of(reader.job, connector) {
            Some(fault) if !fault.moves.is_empty() => Ok(fault),
            Some(_) => Err(format!(
                "no terminal of this harness would sit elsewhere in {place}"
            )),
            None => Err(format!(
                "in {place} a terminal would fall on a gap of the face or into a cavity in use"
            )),
        }
    }

    fn place(&self) -> String {
        self.connector.clone()
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let all = job.connectors.iter().filter_map(|c| Self::of(job, c));
        all.filter(|fault| catalogue::of_their_own(&fault.moves))
            .collect()
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::reseat(model, &self.moves)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("{} counted from the wrong face", self.connector));
        let rows = fitted.connector(&self.connector, &who)?.face.clone();
        let mut moves = Vec::new();
        for row in rows {
            for (here, there) in row.iter().zip(row.iter().rev()) {
                let Some(cavity) = *here else { continue };
                let Ok(terminal) = fitted.terminal(&Cavity::new(&self.connector, cavity), &who)
                else {
                    continue;
                };
                let Some(target) = *there else {
                    return who.senseless(format!("cavity {cavity} is mirrored by a gap"));
                };
                moves.push((terminal, Cavity::new(&self.connector, target)));
            }
        }
        fitted.put(moves, &who)
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        Words {
            say: speaker.fill(
                "{connector} was counted from the wrong face: every terminal of the harness sits \
                 in the mirrored place of its row.",
                &[("connector", &speaker.connector(&self.connector))],
            ),
            act: speaker.fill(
                "Hold the connector with its wires towards you and count again. {moves}",
                &[("moves", &speaker.put_back(&self.moves))],
            ),
        }
    }
}
