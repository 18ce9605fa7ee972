//! What the first pass of a hook-up can see, by simulating every fault.

use loomproof_core::judge::LIMIT;
use loomproof_core::layout::Layout;
use loomproof_core::scan;
use loomproof_core::units::MicroVolts;
use loomproof_core::wire::Reading;

use super::edits::edits;
use super::evidence::{Evidence, gap};
use crate::circuit::Model;
use crate::fault::Fault;
use crate::ringout::Taken;

/// One fault and whether the first pass would show it.
#[derive(Debug, Clone, PartialEq)]
pub struct Covered {
    /// The fault.
    pub fault: Fault,
    /// Whether some reading would leave its band.
    pub covered: bool,
}

/// How far beyond the limit a fault's own scatter must leave its reading for
/// the fault to count as covered, in its standard deviations: at 4 one covered
/// fault in 30,000 escapes (normal tables).
const MARGIN: f64 = 4.0;

/// Simulates every fault of a catalogue on the first pass.
///
/// # Errors
/// A sentence that says what cannot be computed.
pub fn coverage(model: &Model, catalogue: &[Fault]) -> Result<Vec<Covered>, String> {
    let layout = Layout::of(&model.circuit, &[]);
    // Readings do not matter here; evidence brings the healthy bands and which
    // quantity lies in which island.
    let taken: Vec<Taken> = scan::first_pass(&layout)
        .map(|planned| {
            let nothing = Reading::NotSettled(MicroVolts(0));
            Taken {
                readings: vec![nothing; planned.step.senses.len()],
                planned,
            }
        })
        .collect();
    let evidence = Evidence::new(model, &taken)?;
    catalogue
        .iter()
        .map(|fault| {
            let covered = match (fault, edits(model, fault)) {
                // Every clipped lead is looked at before anything is driven.
                (Fault::Live(..), _) => true,
                (_, None) => false,
                // Leads of one net look alike from everywhere.
                (Fault::Exchanged(pair), _)
                    if one_net(model, &layout, &pair.connector, pair.a, pair.b) =>
                {
                    false
                }
                (_, Some(edits)) => {
                    let fit = evidence.fit(&edits)?;
                    fit.bands.iter().any(|(at, band)| {
                        evidence.judged().get(*at).is_some_and(|judged| {
                            gap(&judged.band, band)
                                > LIMIT * judged.band.sigma.0 + MARGIN * band.sigma.0
                        })
                    })
                }
            };
            Ok(Covered {
                fault: fault.clone(),
                covered,
            })
        })
        .collect()
}

/// Whether two cavities of a connector are hooked up and one net by the plan.
fn one_net(model: &Model, layout: &Layout, connector: &str, a: u16, b: u16) -> bool {
    let net = |cavity: u16| {
        let nodes = model.places.cavities.get(&(connector.to_owned(), cavity))?;
        let clip =
            model.circuit.leads().find(|lead| {
                let tip = model.circuit.tip(*lead);
                model.circuit.elements().iter().any(|e| {
                    Some(e.a) == tip && (e.b == nodes.wire_side || e.b == nodes.mating_side)
                })
            })?;
        layout.net(clip)
    };
    net(a).is_some() && net(a) == net(b)
}
