//! `occupied@X1:4,ohms=50`: the cavity held a wire of the vehicle already, so
//! that two conductors are in one place now: its mating side shows so many
//! ohms to chassis through the vehicle's own circuit.

use loomproof_core::circuit::{Edit, GROUND};
use loomproof_core::units::Ohms;
use loomproof_core::wire::Place;

use super::Kind;
use crate::bench::{BenchError, Fitted, Who};
use crate::circuit::Model;
use crate::diagnosis::edits;
use crate::diagnosis::words::{Speaker, Words, capital, ohms_text};
use crate::fault::spell::{Keys, Reader};
use crate::fault::{Cavity, catalogue};
use crate::hookup::Hookup;
use crate::plan::model::Job;

/// Ohms of the vehicle's own circuit where none are given: what hangs on a
/// wire of a body connector is mostly a coil of 50 … 100 Ω or a cold filament
/// of a few ohms in a row with its leads (`common practice`); the lower end of
/// the coils stands for both.
const VEHICLE_CIRCUIT: Ohms = Ohms(50.0);

/// A cavity that was not free.
#[derive(Debug, Clone, PartialEq)]
pub struct Occupied {
    /// The cavity where a terminal of the harness belongs.
    pub cavity: Cavity,
    /// Ohms to chassis through the vehicle's own circuit.
    pub ohms: Ohms,
}

/// One standard deviation of the contact on the way (`common practice`).
const CONTACT_SPREAD: Ohms = Ohms(0.01);

impl Kind for Occupied {
    const NAME: &'static str = "occupied";
    const EXAMPLE: &'static str = "occupied@X1:4,ohms=50";
    const MEANING: &'static str =
        "cavity that held a wire of the vehicle already, of so many ohms to chassis";
    const NOT_TESTED: &'static str = "whether a wire of the vehicle was already in";

    fn read(place: &str, keys: &mut Keys<'_>, reader: Reader<'_>) -> Result<Self, String> {
        let cavity = reader.terminal(place)?;
        if reader.connector(&cavity.connector)?.of_harness {
            return Err(format!(
                "{} belongs to the harness; no wire of the vehicle is in it",
                cavity.connector
            ));
        }
        Ok(Self {
            cavity,
            ohms: Ohms(keys.number("ohms", 0.01, 1e6)?),
        })
    }

    fn place(&self) -> String {
        self.cavity.to_string()
    }

    fn keys(&self) -> Vec<(&'static str, String)> {
        vec![("ohms", self.ohms.0.to_string())]
    }

    fn all(job: &Job, hookup: &Hookup) -> Vec<Self> {
        if hookup.place == Place::Bench {
            return Vec::new();
        }
        let of_vehicle = |cavity: &Cavity| {
            let mut connectors = job.connectors.iter();
            connectors.any(|c| c.name == cavity.connector && !c.of_harness)
        };
        let cavities = catalogue::terminals(job).filter(of_vehicle);
        let ohms = VEHICLE_CIRCUIT;
        cavities.map(|cavity| Self { cavity, ohms }).collect()
    }

    fn prior(&self) -> f64 {
        1e-3
    }

    fn edits(&self, model: &Model) -> Option<Vec<Edit>> {
        Some(vec![Edit::Join {
            a: edits::cavity(model, &self.cavity)?.mating_side,
            b: GROUND,
            ohms: self.ohms,
            spread: CONTACT_SPREAD,
        }])
    }

    fn fit(&self, fitted: &mut Fitted<'_>) -> Result<(), BenchError> {
        let who = Who::new(format!("occupied cavity {}", self.cavity));
        fitted.terminal(&self.cavity, &who)?;
        let Ohms(ohms) = self.ohms;
        if !ohms.is_finite() || ohms <= 0.0 {
            return who.senseless(format!("{ohms} ohms; give more than 0"));
        }
        fitted.foreign.push((self.cavity.clone(), ohms));
        Ok(())
    }

    fn words(&self, speaker: Speaker<'_>) -> Words {
        let Cavity { connector, number } = &self.cavity;
        Words {
            say: speaker.fill(
                "{cavity} held a wire of the vehicle already: with {lead} there are now two in one \
                 place (about {ohms} to chassis through the vehicle's circuit).",
                &[
                    ("cavity", &capital(&speaker.cavity(connector, *number))),
                    ("lead", &speaker.lead_at(&self.cavity.end())),
                    ("ohms", &ohms_text(self.ohms.0)),
                ],
            ),
            act: speaker.fill(
                "Look into {connector} cavity {cavity} from the wire side and from the mating \
                 side. Take the new terminal out, put the vehicle's wire back home, cap the new \
                 lead, and ask the plan's author where it goes instead.",
                &[("connector", connector), ("cavity", &number.to_string())],
            ),
        }
    }

    fn ohms(&self) -> Option<Ohms> {
        Some(self.ohms)
    }

    fn with_ohms(&self, ohms: Ohms) -> Option<Self> {
        Some(Self {
            cavity: self.cavity.clone(),
            ohms,
        })
    }
}
