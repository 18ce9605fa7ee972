//! `shifted@X1,by=1`: every harness terminal sits one cavity number on (or,
//! with `by=-1`, back).

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

/// A connector whose terminals all sit one cavity on or back.
#[derive(Debug, Clone, PartialEq)]
pub struct Shifted {
    /// The connector.
    pub connector: String,
    /// One on, or one back.
    pub by: i16,
    /// Where each terminal belongs and where it sits instead.
    moves: Vec<(Cavity, Cavity)>,
}

impl Shifted {
    fn of(job: &Job, connector: &Connector, by: i16) -> Option<Self> {
        let moves = catalogue::moved(job, connector, |cavity| cavity.checked_add_signed(by))?;
        Some(Self {
            connector: connector.name.clone(),
            by,
            moves,
        })
    }
}

impl Kind for Shifted {
    const NAME: &'static str = "shifted";
    const EXAMPLE: &'static str = "shifted@X1,by=1";
    const MEANING: &'static str =
        "all terminals of a connector one cavity number on (by=1) or back (by=-1)";
    const NOT_TESTED: &'static str = "whether all terminals sit one cavity on or back in";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let connector = reader.connector(place)?;
        let by = match keys.need("by")? {
            "1" => 1,
            "-1" => -1,
            other => return Err(format!("by must be 1 or -1, not \"{other}\"")),
        };
        match Self::of(reader.job, connector, by) {
            Some(fault) if !fault.moves.is_empty() => Ok(fault),
            Some(_) => Err(format!("no terminal of this harness belongs in {place}")),
            None => Err(format!(
                "in {place} a terminal would fall off the connector or into a cavity in use"
            )),
        }
    }

    fn place(&self) -> String {
        self.connector.clone()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("by", self.by.to_string())]
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let both = |c| {
            [1, -1]
                .into_iter()
                .filter_map(move |by| Self::of(job, c, by))
        };
        job.connectors
            .iter()
            .flat_map(both)
            .filter(|fault| catalogue::of_their_own(&fault.moves))
            .collect()
    }

    fn prior(&self) -> f64 {
        3e-4
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        edits::reseat(model, &self.moves)
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("{} shifted by {}", self.connector, self.by));
        let mut moves = Vec::new();
        for (at, terminal) in fitted.terminals.iter().enumerate() {
            if terminal.planned.connector == self.connector {
                let number = i32::from(terminal.sits.number) + i32::from(self.by);
                let Ok(number) = u16::try_from(number) else {
                    return who.senseless("a terminal would fall off the connector");
                };
                moves.push((at, Cavity::new(&self.connector, number)));
            }
        }
        fitted.put(moves, &who)
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let connector = speaker.connector(&self.connector);
        Words {
            say: if self.by > 0 {
                speaker.fill(
                    "In {connector} every terminal of the harness sits one cavity too far on: its \
                     number is one too high.",
                    &[("connector", &connector)],
                )
            } else {
                speaker.fill(
                    "In {connector} every terminal of the harness sits one cavity too far back: its \
                     number is one too low.",
                    &[("connector", &connector)],
                )
            },
            act: speaker.fill(
                "Count again from cavity 1, first where the clips sit: if it is they that are one \
                 off, set them right and leave the wires. {moves}",
                &[("moves", &speaker.put_back(&self.moves))],
            ),
        }
    }
}
