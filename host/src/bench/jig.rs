//! A bench jig without a harness, as a network.

use loomproof_core::units::Ohms;
use loomproof_core::wire::LeadId;

use super::defect::Defects;
use super::error::BenchError;
use super::front_end::Parts;
use super::harness::{on_chassis, probe_lead};
use super::network::Netlist;
use super::scene::Power;
use super::{Bench, Settings};

/// Ohms between wires that touch (`common practice`: some tenths of an ohm).
const TOUCH: f64 = 0.2;

/// What hangs on the leads beside the resistors of [`Settings::code`].
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OnJig {
    /// Leads whose wires end at the shorting plug, which is clipped to the chassis leads,
    /// and what their contacts have.
    pub plugged: Vec<(LeadId, Ohms)>,
    /// Leads whose wires touch each other.
    pub touching: Vec<(LeadId, LeadId)>,
}

impl Bench {
    /// A jig with a shorting plug in it, or with nothing.
    ///
    /// # Errors
    /// [`BenchError`] if the settings do not fit, or a lead is not there.
    pub fn jig(jig: &OnJig, settings: &Settings) -> Result<Self, BenchError> {
        let spread = settings.check()?;
        let mut parts = Parts::draw(spread, usize::from(settings.leads));
        let defects = Defects::new(&settings.defects);
        parts.leak(&defects);
        let mut netlist = Netlist::default();
        let leads = 0..usize::from(settings.leads);
        let leakage = leads.map(|lead| parts.leakage.get(lead).copied().unwrap_or_default());
        let channels: Vec<usize> = leakage
            .map(|amperes| probe_lead(&mut netlist, amperes))
            .collect();
        let node = |lead: LeadId| {
            let node = channels.get(usize::from(lead.0)).copied();
            node.ok_or_else(|| BenchError::NoSuchLead {
                lead: lead.to_string(),
                leads: settings.leads,
            })
        };
        for (lead, ohms) in &jig.plugged {
            let clip = parts
                .clip
                .get(usize::from(lead.0))
                .copied()
                .unwrap_or_default();
            netlist.resistor(node(*lead)?, 0, clip + ohms.value());
        }
        for (a, b) in &jig.touching {
            netlist.resistor(node(*a)?, node(*b)?, TOUCH);
        }
        let rigged = on_chassis(netlist, channels.clone(), Power::default());
        Self::assemble(rigged, parts, defects, settings)
    }
}
