//! What goes into the bag for one vehicle: every lead and small part of this variant,
//! counted, and what of the plan stays out of it.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::Serialize;

use super::language::Language;
use crate::plan::Plan;
use crate::plan::model::{End, Job, Lead, RingOn, Suppression};

/// The kit of one vehicle's answers.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(title = "Kit list")]
pub struct Kit {
    /// Title of the plan.
    pub title: String,
    /// SHA-256 of the plan file.
    pub plan_digest: String,
    /// The answers to the plan's options.
    pub answers: BTreeMap<String, String>,
    /// Leads that are alike in colour, size and length.
    pub leads: Vec<KitLeads>,
    /// Wire by colour and size, all lengths together.
    pub wire: Vec<KitWire>,
    /// Small parts that are alike.
    pub parts: Vec<KitParts>,
    /// What the plan has for other vehicles and this one does not need.
    pub not_needed: Vec<NotNeeded>,
}

/// Leads that are alike.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct KitLeads {
    /// Colour code by IEC 60757.
    pub colour: String,
    /// Size as the plan writes it.
    pub size: String,
    /// Length of each, metres.
    pub metres: f64,
    /// How many.
    pub count: usize,
    /// Their names.
    pub names: Vec<String>,
}

/// Wire of one colour and size.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct KitWire {
    /// Colour code by IEC 60757.
    pub colour: String,
    /// Size as the plan writes it.
    pub size: String,
    /// All leads of it together, metres; waste at the ends is not in it.
    pub metres: f64,
    /// How many leads.
    pub leads: usize,
}

/// A sort of small part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Sort {
    /// A lead.
    Lead,
    /// The housing of a connector of the harness.
    Housing,
    /// A terminal for a cavity.
    Terminal,
    /// A tap.
    Tap,
    /// A splice.
    Splice,
    /// A ring terminal.
    Ring,
    /// An in-line plug with its terminals.
    Plug,
    /// A relay.
    Relay,
    /// A diode.
    Diode,
    /// A lamp.
    Lamp,
    /// A fuse.
    Fuse,
    /// An insulating cap.
    Cap,
}

impl Sort {
    /// Its key in the catalogue of texts.
    pub(super) fn key(self) -> &'static str {
        match self {
            Self::Lead => "kit.lead",
            Self::Housing => "kit.housing",
            Self::Terminal => "kit.terminal",
            Self::Tap => "kit.tap",
            Self::Splice => "kit.splice",
            Self::Ring => "kit.ring",
            Self::Plug => "kit.plug",
            Self::Relay => "kit.relay",
            Self::Diode => "kit.diode",
            Self::Lamp => "kit.lamp",
            Self::Fuse => "kit.fuse",
            Self::Cap => "kit.cap",
        }
    }
}

/// Small parts that are alike.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct KitParts {
    /// What they are.
    pub sort: Sort,
    /// What to choose them by, as far as the plan says.
    pub detail: String,
    /// How many.
    pub count: usize,
    /// Where each goes, as spelled in the plan.
    pub names: Vec<String>,
}

/// Something that this variant does not need.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct NotNeeded {
    /// What it is.
    pub sort: Sort,
    /// Its name in the plan.
    pub name: String,
    /// What it looks like, as far as the plan says.
    pub detail: String,
}

impl Kit {
    /// The kit of a job; the plan says what else there is. Details are worded in
    /// the language.
    #[must_use]
    pub fn of(plan: &Plan, job: &Job, language: &Language) -> Self {
        Self {
            title: job.title.clone(),
            plan_digest: job.digest.clone(),
            answers: job.answers.clone(),
            leads: leads(job),
            wire: wire(job),
            parts: parts(job, language),
            not_needed: not_needed(plan, job, language),
        }
    }
}

fn leads(job: &Job) -> Vec<KitLeads> {
    let mut found: Vec<KitLeads> = Vec::new();
    for lead in &job.leads {
        let metres = lead.length.0;
        let alike = found.iter_mut().find(|own| {
            own.colour == lead.colour && own.size == lead.size_text && own.metres == metres
        });
        match alike {
            Some(own) => {
                own.count += 1;
                own.names.push(lead.name.clone());
            }
            None => found.push(KitLeads {
                colour: lead.colour.clone(),
                size: lead.size_text.clone(),
                metres,
                count: 1,
                names: vec![lead.name.clone()],
            }),
        }
    }
    found.sort_by(|a, b| {
        let by = a.colour.cmp(&b.colour).then(a.size.cmp(&b.size));
        by.then(a.metres.total_cmp(&b.metres))
    });
    found
}

fn wire(job: &Job) -> Vec<KitWire> {
    let mut found: BTreeMap<(&str, &str), (f64, usize)> = BTreeMap::new();
    for lead in &job.leads {
        let all = found.entry((&lead.colour, &lead.size_text)).or_default();
        all.0 += lead.length.0;
        all.1 += 1;
    }
    found
        .into_iter()
        .map(|((colour, size), (metres, leads))| KitWire {
            colour: colour.to_owned(),
            size: size.to_owned(),
            // Millimetres are enough, and take away what adding up leaves.
            metres: (metres * 1000.0).round() / 1000.0,
            leads,
        })
        .collect()
}

/// Leads that end here, with the end.
pub(super) fn ends_at<'j>(job: &'j Job, name: &str) -> Vec<(&'j Lead, &'j End)> {
    let ends = job
        .leads
        .iter()
        .flat_map(|lead| [(lead, &lead.from), (lead, &lead.to)]);
    ends.filter(|(_, end)| match end {
        End::Cavity(own, _)
        | End::Tap(own)
        | End::Splice(own)
        | End::Ring(own)
        | End::Plug(own, ..)
        | End::Part(own, _) => own == name,
        End::Cap => false,
    })
    .collect()
}

/// The sizes of the leads that end here: `2 × 0.5 mm2, 1 mm2`.
fn sizes(job: &Job, name: &str) -> String {
    let mut count: BTreeMap<&str, usize> = BTreeMap::new();
    for (lead, _) in ends_at(job, name) {
        *count.entry(&lead.size_text).or_default() += 1;
    }
    let each: Vec<String> = count
        .into_iter()
        .map(|(size, count)| match count {
            1 => size.to_owned(),
            _ => format!("{count} × {size}"),
        })
        .collect();
    each.join(", ")
}

/// Puts parts that are alike together.
#[derive(Default)]
struct Bag(Vec<KitParts>);

impl Bag {
    fn add(&mut self, sort: Sort, detail: String, name: String) {
        let mut known = self.0.iter_mut();
        match known.find(|own| own.sort == sort && own.detail == detail) {
            Some(own) => {
                own.count += 1;
                own.names.push(name);
            }
            None => self.0.push(KitParts {
                sort,
                detail,
                count: 1,
                names: vec![name],
            }),
        }
    }
}

fn parts(job: &Job, language: &Language) -> Vec<KitParts> {
    let mut bag = Bag::default();
    let for_leads = |name: &str| {
        let sizes = sizes(job, name);
        language.fill("kit.for_leads", &[("sizes", &sizes)])
    };
    for connector in &job.connectors {
        if connector.of_harness {
            let cavities = connector.cavities.to_string();
            let detail = language.fill("kit.cavities", &[("count", &cavities)]);
            bag.add(Sort::Housing, detail, connector.name.clone());
        }
        for (lead, end) in ends_at(job, &connector.name) {
            let names = [
                ("connector", connector.name.as_str()),
                ("sizes", lead.size_text.as_str()),
            ];
            let detail = language.fill("kit.for_connector", &names);
            bag.add(Sort::Terminal, detail, end.to_string());
        }
    }
    for tap in &job.taps {
        bag.add(Sort::Tap, for_leads(&tap.name), tap.name.clone());
    }
    for splice in &job.splices {
        bag.add(Sort::Splice, for_leads(&splice.name), splice.name.clone());
    }
    for ring in &job.rings {
        let on = language.say(match ring.on {
            RingOn::Chassis => "wiring.chassis",
            RingOn::BatteryPlus => "wiring.plus",
        });
        let detail = format!("{}, {on}", for_leads(&ring.name));
        bag.add(Sort::Ring, detail, ring.name.clone());
    }
    for plug in &job.plugs {
        let (ways, sizes) = (plug.ways.to_string(), sizes(job, &plug.name));
        let terminals = ends_at(job, &plug.name).len().to_string();
        let names = [
            ("ways", ways.as_str()),
            ("terminals", &terminals),
            ("sizes", &sizes),
        ];
        bag.add(
            Sort::Plug,
            language.fill("kit.ways", &names),
            plug.name.clone(),
        );
    }
    for relay in &job.relays {
        let contact = language.say(if relay.changeover {
            "kit.changeover"
        } else {
            "kit.make"
        });
        let across = match relay.suppression {
            Suppression::None => language.say("kit.bare_coil").to_owned(),
            Suppression::Diode => language.say("kit.diode_coil").to_owned(),
            Suppression::Resistor(ohms) => {
                let ohms = ohms.0.to_string();
                language.fill("kit.resistor_coil", &[("ohms", &ohms)])
            }
        };
        let coil = relay.coil.0.to_string();
        let coil = language.fill("kit.coil", &[("ohms", &coil)]);
        bag.add(
            Sort::Relay,
            format!("{contact}, {coil}, {across}"),
            relay.name.clone(),
        );
    }
    for diode in &job.diodes {
        bag.add(Sort::Diode, for_leads(&diode.name), diode.name.clone());
    }
    for lamp in &job.lamps {
        let detail = format!("{} W, {} V", lamp.power.0, lamp.volts.0);
        bag.add(Sort::Lamp, detail, lamp.name.clone());
    }
    for fuse in &job.fuses {
        bag.add(
            Sort::Fuse,
            format!("{} A", fuse.rating.0),
            fuse.name.clone(),
        );
    }
    for lead in &job.leads {
        for _ in [&lead.from, &lead.to]
            .into_iter()
            .filter(|end| **end == End::Cap)
        {
            let detail = language.fill("kit.for_leads", &[("sizes", &lead.size_text)]);
            bag.add(Sort::Cap, detail, lead.name.clone());
        }
    }
    // Relays, fuses and the like sit in sockets, whose terminals are of the kit too.
    for (key, name) in job
        .relays
        .iter()
        .map(|it| ("wiring.relay", &it.name))
        .chain(job.fuses.iter().map(|it| ("wiring.fuse", &it.name)))
        .chain(job.lamps.iter().map(|it| ("wiring.lamp", &it.name)))
    {
        let part = format!("{} {name}", language.say(key));
        for (lead, end) in ends_at(job, name) {
            let names = [("part", part.as_str()), ("sizes", &lead.size_text)];
            let detail = language.fill("kit.for_part", &names);
            bag.add(Sort::Terminal, detail, end.to_string());
        }
    }
    bag.0.sort_by_key(|own| own.sort);
    bag.0
}

fn not_needed(plan: &Plan, job: &Job, language: &Language) -> Vec<NotNeeded> {
    let lists = &plan.lists;
    let here: BTreeSet<&str> = job
        .leads
        .iter()
        .map(|it| &it.name)
        .chain(job.connectors.iter().map(|it| &it.name))
        .chain(job.taps.iter().map(|it| &it.name))
        .chain(job.splices.iter().map(|it| &it.name))
        .chain(job.rings.iter().map(|it| &it.name))
        .chain(job.plugs.iter().map(|it| &it.name))
        .chain(job.relays.iter().map(|it| &it.name))
        .chain(job.diodes.iter().map(|it| &it.name))
        .chain(job.lamps.iter().map(|it| &it.name))
        .chain(job.fuses.iter().map(|it| &it.name))
        .map(String::as_str)
        .collect();
    let mut found = Vec::new();
    let mut add = |sort: Sort, name: &str, detail: String| {
        if !here.contains(name) {
            found.push(NotNeeded {
                sort,
                name: name.to_owned(),
                detail,
            });
        }
    };
    for entry in &lists.leads {
        let lead = &entry.item;
        let detail = format!("{}, {}, {} m", lead.colour, lead.size_text, lead.length.0);
        add(Sort::Lead, &lead.name, detail);
    }
    for entry in &lists.connectors {
        let own = &entry.item;
        if own.keep_off.is_none() && own.connector.of_harness {
            let cavities = own.connector.cavities.to_string();
            let detail = language.fill("kit.cavities", &[("count", &cavities)]);
            add(Sort::Housing, &own.connector.name, detail);
        }
    }
    let place = |place: &Option<String>| place.clone().unwrap_or_default();
    for entry in &lists.taps {
        add(Sort::Tap, &entry.item.name, place(&entry.item.place));
    }
    for entry in &lists.splices {
        add(Sort::Splice, &entry.item.name, place(&entry.item.place));
    }
    for entry in &lists.rings {
        add(Sort::Ring, &entry.item.name, place(&entry.item.place));
    }
    for entry in &lists.plugs {
        add(Sort::Plug, &entry.item.name, place(&entry.item.place));
    }
    for entry in &lists.relays {
        add(Sort::Relay, &entry.item.name, place(&entry.item.place));
    }
    for entry in &lists.diodes {
        add(Sort::Diode, &entry.item.name, place(&entry.item.place));
    }
    for entry in &lists.lamps {
        let (watts, volts) = (entry.item.power.0, entry.item.volts.0);
        add(
            Sort::Lamp,
            &entry.item.name,
            format!("{watts} W, {volts} V"),
        );
    }
    for entry in &lists.fuses {
        add(
            Sort::Fuse,
            &entry.item.name,
            format!("{} A", entry.item.rating.0),
        );
    }
    found
}
