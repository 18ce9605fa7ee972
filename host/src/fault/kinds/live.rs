//! `live@X1:4,volts=12`: a voltage stands there before the test.

use loomproof_core::circuit::Edit;
use loomproof_core::units::Volts;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job};

/// A voltage where none should stand.
#[derive(Debug, Clone, PartialEq)]
pub struct Live {
    /// Where.
    pub end: End,
    /// How much, against chassis.
    pub volts: Volts,
}

impl Kind for Live {
    const NAME: &'static str = "live";
    const EXAMPLE: &'static str = "live@X1:4,volts=12";
    const MEANING: &'static str = "a voltage standing there before the test";
    const NOT_TESTED: &'static str = "a voltage at";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let end = reader.end(place);
        Ok(Self {
            end: end.ok_or_else(|| format!("there is no end {place}"))?,
            volts: Volts(keys.number("volts", -36.0, 36.0)?),
        })
    }

    fn place(&self) -> String {
        self.end.to_string()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("volts", self.volts.0.to_string())]
    }

    /// Wherever a probe lead sits on an end of a lead.
    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        let ends = hookup.clips.iter().map(|clip| clip.point.end());
        let led = |end: &End| job.leads.iter().any(|l| l.from == *end || l.to == *end);
        let volts = Volts(12.0);
        ends.filter(led).map(|end| Self { end, volts }).collect()
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, _: &Model) -> Option<Vec<Edit>> {
        None
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("live at {}", self.end));
        fitted.check_place(&self.end, &who)?;
        let Volts(volts) = self.volts;
        if !volts.is_finite() || volts.abs() > 60.0 {
            return who.senseless(format!("{volts} volts; give at most 60"));
        }
        if fitted.live.iter().any(|(other, _)| *other == self.end) {
            return who.senseless("it is live already; name each place once");
        }
        fitted.live.push((self.end.clone(), volts));
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let Volts(volts) = self.volts;
        Words {
            say: speaker.fill(
                "{point} carries {volts} V.",
                &[
                    ("point", &capital(&speaker.end(&self.end))),
                    ("volts", &format!("{volts:.1}")),
                ],
            ),
            act: speaker.fill(
                "Disconnect the battery and wait as the vehicle maker says; nothing was driven.",
                &[],
            ),
        }
    }
}
