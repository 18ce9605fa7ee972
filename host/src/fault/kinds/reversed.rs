//! `reversed@D1`: a diode in backwards; `reversed@R1`: the coil leads of a
//! relay exchanged, which only its suppression diode minds.

use loomproof_core::circuit::{Edit, Part};

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::words::{Speaker, Words, capital};
use crate::fault::spell::{Keys, Reader};
use crate::hookup::Hookup;
use crate::plan::model::{End, Job, Suppression};

/// A diode, or a relay with one, the wrong way round.
#[derive(Debug, Clone, PartialEq)]
pub struct Reversed(pub String);

/// The relays to which the way round matters.
fn polar_relays(job: &Job) -> impl Iterator<Item = &str> {
    let relays = job.relays.iter();
    let polar = relays.filter(|relay| relay.suppression == Suppression::Diode);
    polar.map(|relay| relay.name.as_str())
}

impl Kind for Reversed {
    const NAME: &'static str = "reversed";
    const EXAMPLE: &'static str = "reversed@D1";
    const MEANING: &'static str =
        "a diode in backwards, or 85 and 86 exchanged at a relay with a suppression diode";
    const NOT_TESTED: &'static str = "which way round is";

    fn read(place: &str, _: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let job = reader.job;
        if job.diodes.iter().any(|diode| diode.name == place)
            || polar_relays(job).any(|relay| relay == place)
        {
            Ok(Self(place.to_owned()))
        } else if job.relays.iter().any(|relay| relay.name == place) {
            Err(format!(
                "relay {place} has no suppression diode, so nothing changes when 85 and 86 are \
                 exchanged"
            ))
        } else {
            Err(format!(
                "there is no diode and no relay {place} in this plan"
            ))
        }
    }

    fn place(&self) -> String {
        self.0.clone()
    }

    fn all(job: &Job, _: &Hookup) -> Vec<Self> {
        let diodes = job.diodes.iter().map(|diode| diode.name.as_str());
        let all = diodes.chain(polar_relays(job));
        all.map(|name| Self(name.to_owned())).collect()
    }

    fn prior(&self) -> f64 {
        2e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        let ids = model.places.parts.get(&self.0)?;
        let turned = ids.iter().filter_map(|id| {
            let element = model.circuit.elements().get(usize::from(id.0))?;
            matches!(element.part, Part::Diode(_)).then(|| Edit::Move(*id, element.b, element.a))
        });
        Some(turned.collect())
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("{} the wrong way round", self.0));
        let job = fitted.job;
        if !job.diodes.iter().any(|diode| diode.name == self.0)
            && !job.relays.iter().any(|relay| relay.name == self.0)
        {
            return who.unknown(format!("diode or relay {}", self.0));
        }
        fitted.turned.insert(self.0.clone());
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let name = &self.0;
        let at = |terminal: &str| speaker.lead_at(&End::Part(name.clone(), terminal.to_owned()));
        let diode = speaker.job().diodes.iter().any(|diode| diode.name == *name);
        let part = speaker.part(name);
        if diode {
            Words {
                say: speaker.fill(
                    "{part} is fitted the wrong way round.",
                    &[("part", &capital(&part))],
                ),
                act: speaker.fill(
                    "Turn it: {anode} belongs on its anode, {cathode} on its cathode (the end with \
                     the ring).",
                    &[("anode", &at("A")), ("cathode", &at("K"))],
                ),
            }
        } else {
            Words {
                say: speaker.fill(
                    "The coil of {part} is connected the wrong way round, so its suppression diode \
                     would short the feed when it is switched on.",
                    &[("part", &part)],
                ),
                act: speaker.fill(
                    "Exchange the two leads of the coil: {first} belongs on 85, {second} on 86.",
                    &[("first", &at("85")), ("second", &at("86"))],
                ),
            }
        }
    }
}
