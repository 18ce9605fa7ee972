//! `tap-neighbour@T1,on=K2`: bites another conductor than planned.

use loomproof_core::circuit::Edit;
use loomproof_core::wire::Place;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::catalogue;
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job};

/// A tap on a neighbour of its conductor.
#[derive(Debug, Clone, PartialEq)]
pub struct TapNeighbour {
    /// The tap.
    pub tap: String,
    /// The conductor that it bites.
    pub on: String,
}

impl Kind for TapNeighbour {
    const NAME: &'static str = "tap-neighbour";
    const EXAMPLE: &'static str = "tap-neighbour@T1,on=K2";
    const MEANING: &'static str = "tap on another conductor than planned";
    const NOT_TESTED: &'static str = "which conductor is under";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let tap = reader.tap(place)?;
        let on = keys.need("on")?;
        if !reader.job.conductors.iter().any(|k| k.name == on) {
            return Err(format!("there is no conductor {on} in this plan"));
        }
        if tap.on == on {
            return Err(format!("{on} is the conductor that {place} belongs on"));
        }
        Ok(Self {
            tap: tap.name.clone(),
            on: on.to_owned(),
        })
    }

    fn place(&self) -> String {
        self.tap.clone()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("on", self.on.clone())]
    }

    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        if hookup.place == Place::Bench {
            return Vec::new();
        }
        let mut faults = Vec::new();
        for tap in &job.taps {
            faults.extend(catalogue::neighbours(job, &tap.on).map(|on| Self {
                tap: tap.name.clone(),
                on: on.to_owned(),
            }));
        }
        faults
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let places = &model.places;
        let terminal = *places.terminals.get(&End::Tap(self.tap.clone()))?;
        let body = *places.conductors.get(&self.on)?;
        let bite = *places.bites.get(&self.tap)?;
        Some(vec![Edit::Move(bite, terminal, body)])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("tap {} on its neighbour {}", self.tap, self.on));
        let tap = fitted.tap(&self.tap, &who)?;
        if !fitted.job.conductors.iter().any(|k| k.name == self.on) {
            return who.unknown(format!("conductor {}", self.on));
        }
        if fitted.job.taps[tap].on == self.on {
            return who.senseless("that is the conductor it should be on; name another");
        }
        fitted.bites[tap] = Some(self.on.clone());
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let (tap, wrong) = (&self.tap, &self.on);
        let on = speaker.tapped(tap);
        Words {
            say: speaker.fill(
                "{tap} sits on {wrong}; it belongs on {right}.",
                &[
                    ("tap", &capital(&speaker.end(&End::Tap(tap.clone())))),
                    ("wrong", &speaker.conductor(wrong)),
                    ("right", &speaker.conductor(on)),
                ],
            ),
            act: speaker.fill(
                "Take {tap} off {wrong}, repair the insulation there, and put it on {right}.",
                &[("tap", tap), ("wrong", wrong), ("right", on)],
            ),
        }
    }
}
