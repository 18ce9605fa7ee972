//! What can be asked, and what it costs.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::circuit::{ElementId, GROUND, NodeId};
use loomproof_core::units::Volts;

use crate::hookup::Point;
use crate::live::steps;
use crate::plan::model::{End, Job, Terminal};
use crate::powered::{Cause, Powered};

/// Effort of one reading: the unit of all efforts (common practice: half a minute).
pub const READING: f64 = 1.0;
/// Effort of moving one switch (common practice).
pub const SWITCH: f64 = 0.5;
/// Effort of opening a place that is closed: trim off, and on again (common practice).
pub const OPENING: f64 = 10.0;

/// A place where a tip can touch.
#[derive(Debug, Clone)]
pub struct Site {
    /// The point of the plan.
    pub point: Point,
    /// Its full name.
    pub name: String,
    /// The place that must be open for it, by its number in [`Asks::places`].
    pub place: usize,
    /// Its node in the circuit.
    pub node: NodeId,
}

/// Something whose running shows that a function is on.
#[derive(Debug, Clone)]
pub struct Sign {
    /// What is looked at, as the plan names it.
    pub name: String,
    /// Voltage from here …
    pub plus: Side,
    /// … to here.
    pub minus: Side,
    /// The element that draws, where one is there.
    pub element: Option<ElementId>,
    /// It certainly runs from here.
    pub runs: Volts,
    /// It certainly does not below.
    pub stops: Volts,
    /// The contrary: it is on while this voltage is low.
    pub low: bool,
}

/// Where one side of a sign is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// A node.
    Node(NodeId),
    /// Battery plus itself.
    Plus,
}

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// Whether a function works, by its number in the job.
    Function(usize),
    /// The voltage at a site against bare chassis metal.
    Volts(usize),
}

/// One thing to ask in one state of the switches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ask {
    /// What.
    pub what: What,
    /// The state of the switches, by its number in [`Asks::settings`].
    pub setting: usize,
}

/// Everything that can be asked of a job.
#[derive(Debug, Clone)]
pub struct Asks {
    /// States of the switches.
    pub settings: Vec<Vec<u8>>,
    /// For each state, which functions are to be on.
    pub on: Vec<Vec<Option<bool>>>,
    /// Where a tip can touch.
    pub sites: Vec<Site>,
    /// What must be opened: places in the words of the plan.
    pub places: Vec<String>,
    /// Names of the plan at each place.
    names: Vec<BTreeSet<String>>,
    /// What shows of each function.
    pub signs: Vec<Vec<Sign>>,
    /// All asks: by state, sites first, then functions.
    pub list: Vec<Ask>,
}

/// A lamp glows and a motor turns from this part of the supply; below the other it is
/// out (common practice).
const RUNS: f64 = 0.6;
const STOPS: f64 = 0.45;

impl Asks {
    /// Lists what can be asked; signs of functions are to be found with
    /// `Asks::find_signs` once it is known what the plan lets expect.
    #[must_use]
    pub fn new(job: &Job, powered: &Powered) -> Self {
        let steps = steps::steps(job);
        let mut asks = Self {
            on: steps.iter().map(|step| step.on.clone()).collect(),
            settings: steps.into_iter().map(|step| step.switches).collect(),
            sites: Vec::new(),
            places: Vec::new(),
            names: Vec::new(),
            signs: vec![Vec::new(); job.functions.len()],
            list: Vec::new(),
        };
        let mut known = BTreeSet::new();
        for point in Point::all(job).filter(|point| planned(job, point)) {
            let Some(node) = powered.model.places.node(&point) else {
                continue;
            };
            // Sides of a cavity that are one node are one site.
            if node == GROUND || !known.insert((point.end(), node)) {
                continue;
            }
            let place = asks.place(job, point.part());
            asks.sites.push(Site {
                name: point.full_name(),
                place,
                node,
                point,
            });
        }
        asks
    }

    /// What must be open to get at something: the words of the plan up to the first
    /// comma say where that is.
    fn place(&mut self, job: &Job, name: &str) -> usize {
        let words = job.place_of(name).unwrap_or(name);
        let short = words.split(',').next().unwrap_or(words).trim().to_owned();
        let at = self.places.iter().position(|place| *place == short);
        let at = at.unwrap_or_else(|| {
            self.places.push(short);
            self.names.push(BTreeSet::new());
            self.places.len() - 1
        });
        if let Some(names) = self.names.get_mut(at) {
            names.insert(name.to_owned());
        }
        at
    }

    /// The places that somebody means: by the words of the plan, or by the name of
    /// something there.
    ///
    /// # Errors
    /// A sentence that lists the places.
    pub fn meant(&self, wanted: &str) -> Result<Vec<usize>, String> {
        let low = wanted.trim().to_lowercase();
        let places = self.places.iter().zip(&self.names).enumerate();
        let by_name = places
            .clone()
            .filter(|(_, (_, names))| names.contains(wanted.trim()));
        let mut found: Vec<usize> = by_name.map(|(at, _)| at).collect();
        if found.is_empty() && !low.is_empty() {
            let by_words = places.filter(|(_, (place, _))| place.to_lowercase().contains(&low));
            found = by_words.map(|(at, _)| at).collect();
        }
        if found.is_empty() {
            return Err(format!(
                "nothing of this plan is at \"{wanted}\"; its places are: {}",
                self.places.join(", ")
            ));
        }
        Ok(found)
    }

    /// Everything whose running could be looked at.
    #[must_use]
    pub fn consumers(job: &Job, powered: &Powered) -> Vec<Sign> {
        let side = |terminal: &Terminal| match terminal {
            Terminal::At(end) => node_of(powered, end).map(Side::Node),
            Terminal::Chassis => Some(Side::Node(GROUND)),
            Terminal::BatteryPlus => Some(Side::Plus),
        };
        let supply = job.supply;
        let loads = job.electrics.loads.iter().filter_map(|load| {
            let runs = load.needs.unwrap_or(supply * RUNS).0.max(supply.0 * RUNS);
            Some(Sign {
                name: load.name.clone(),
                plus: side(&load.between.0)?,
                minus: side(&load.between.1)?,
                element: powered.consumers.get(&load.name).copied(),
                runs: Volts(runs),
                stops: supply * STOPS,
                low: false,
            })
        });
        let lamps = job.lamps.iter().filter_map(|lamp| {
            let element = *powered.consumers.get(&lamp.name)?;
            let own = powered
                .model
                .circuit
                .elements()
                .get(usize::from(element.0))?;
            Some(Sign {
                name: lamp.name.clone(),
                plus: Side::Node(own.a),
                minus: Side::Node(own.b),
                element: Some(element),
                runs: supply * RUNS,
                stops: supply * STOPS,
                low: false,
            })
        });
        loads.chain(lamps).collect()
    }

    /// The places where a function is to be seen, where the plan has no consumer for it.
    #[must_use]
    pub fn seen_at(job: &Job, powered: &Powered, function: usize) -> Vec<(String, NodeId)> {
        let Some(function) = job.functions.get(function) else {
            return Vec::new();
        };
        let places = function.seen_at.iter().filter_map(|name| {
            let point = Point::all(job).find(|point| point.to_string() == *name);
            let node = match point {
                Some(point) => node_of(powered, &point.end())?,
                None => *powered.model.places.conductors.get(name)?,
            };
            Some((name.clone(), node))
        });
        places.collect()
    }

    /// Takes the signs of each function and lists the asks.
    pub fn take_signs(&mut self, signs: Vec<Vec<Sign>>) {
        self.signs = signs;
        for setting in 0..self.settings.len() {
            let sites = (0..self.sites.len()).map(What::Volts);
            let functions = self.signs.iter().enumerate();
            let functions = functions.filter(|(_, signs)| !signs.is_empty());
            let functions = functions.map(|(at, _)| What::Function(at));
            let all = sites.chain(functions);
            self.list.extend(all.map(|what| Ask { what, setting }));
        }
    }

    /// The place that an ask needs open.
    #[must_use]
    pub fn needs_open(&self, ask: &Ask) -> Option<usize> {
        match ask.what {
            What::Function(_) => None,
            What::Volts(site) => self.sites.get(site).map(|site| site.place),
        }
    }

    /// Where somebody looks whether a cause is there, by its number in [`Asks::places`]: at
    /// its part, along a lead from its first end on; `None` where the plan says nothing of
    /// that.
    #[must_use]
    pub fn looked_at(&self, job: &Job, cause: &Cause) -> Option<usize> {
        let place = cause.place();
        let name = place.split([':', ',']).next().unwrap_or(&place);
        let at = |name: &str| self.names.iter().position(|names| names.contains(name));
        at(name).or_else(|| {
            let lead = job.leads.iter().find(|lead| lead.name == name)?;
            let ends = [&lead.from, &lead.to];
            ends.iter()
                .find_map(|end| at(Point::Terminal((*end).clone()).part()))
        })
    }

    /// Switches to be moved from one state to another.
    #[must_use]
    pub fn moves(&self, from: usize, to: usize) -> usize {
        match (self.settings.get(from), self.settings.get(to)) {
            (Some(from), Some(to)) => from.iter().zip(to).filter(|(a, b)| a != b).count(),
            _ => 0,
        }
    }

    /// The effort of an ask, with the switches like this and these places open.
    #[must_use]
    pub fn effort(&self, ask: &Ask, setting: usize, open: &BTreeSet<usize>) -> f64 {
        let closed = self
            .needs_open(ask)
            .is_some_and(|place| !open.contains(&place));
        let moves = u32::try_from(self.moves(setting, ask.setting)).unwrap_or(u32::MAX);
        READING + SWITCH * f64::from(moves) + if closed { OPENING } else { 0.0 }
    }

    /// The states of the switches by name.
    #[must_use]
    pub fn named(&self, job: &Job, setting: usize) -> BTreeMap<String, String> {
        let states = self.settings.get(setting).into_iter().flatten();
        let switches = job.electrics.switches.iter().zip(states);
        let named = switches.filter_map(|(switch, state)| {
            let state = switch.states.get(usize::from(*state))?;
            Some((switch.name.clone(), state.clone()))
        });
        named.collect()
    }
}

/// The node that is met from outside at an end.
fn node_of(powered: &Powered, end: &End) -> Option<NodeId> {
    let places = &powered.model.places;
    match end {
        End::Cavity(connector, cavity) => {
            let nodes = places.cavities.get(&(connector.clone(), *cavity))?;
            Some(nodes.mating_side)
        }
        other => places.terminals.get(other).copied(),
    }
}

/// Whether something of the plan is at a point, and a tip may go there.
fn planned(job: &Job, point: &Point) -> bool {
    let ends = || job.leads.iter().flat_map(|lead| [&lead.from, &lead.to]);
    match point {
        Point::Cavity {
            connector, cavity, ..
        } => {
            let at = (connector.clone(), *cavity);
            let mut conductors = job.conductors.iter();
            let host = conductors.find(|it| it.at.contains(&at));
            let led = ends().any(|end| *end == End::Cavity(at.0.clone(), at.1));
            let pin = job.electrics.pins.iter().any(|pin| pin.at == at);
            led || pin || host.is_some_and(|host| !host.data_bus)
        }
        // Wrapped in tape.
        Point::Terminal(End::Splice(_)) => false,
        Point::Tap(_) | Point::Ring(_) => true,
        Point::Terminal(end) => ends().any(|other| other == end),
    }
}
