//! A harness, its single hypotheses, and what is asked of each.

use std::collections::{BTreeMap, BTreeSet};

use loomproof::circuit::{Model, build};
use loomproof::diagnosis::edits::Changes;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::predict::{Predictor, Reach};
use loomproof::fault::{Fault, catalogue};
use loomproof::hookup::Hookup;
use loomproof::plan::model::Job;
use loomproof::plan::{Plan, read, render};
use loomproof::ringout::Taken;
use loomproof_core::circuit::{Edit, Element, NodeId, Part};
use loomproof_core::expect::{Quantity, pull};
use loomproof_core::instrument;
use loomproof_core::layout::{Group, Islands};
use loomproof_core::scan::{Planned, first_pass};
use loomproof_core::solve::{Attachment, Corner};
use loomproof_core::units::{MicroVolts, Volts};
use loomproof_core::wire::{LeadSet, Place, Reading, Step};

use crate::campaign::site::{FIXTURES, Loaded, Site, Source, drawn, hook_up};
use crate::generator::Form;
use crate::skip::top;

/// A harness on the bench.
#[derive(Debug)]
pub struct Subject {
    /// Its name for the page.
    pub name: String,
    /// Everything that a bench and a diagnosis need; coverage is left out.
    pub loaded: Loaded,
    /// Every fault that the plan allows.
    pub catalogue: Vec<Fault>,
}

impl Subject {
    /// The fixture with 64 test points, two diodes in it.
    ///
    /// # Errors
    /// What is wrong with the plan.
    pub fn bench_64() -> Result<Self, String> {
        let plan = Plan::load(&top().join(BENCH_64)).map_err(|rejected| rejected.render(false))?;
        Self::of("bench-64", FIXTURES[0], &plan)
    }

    /// The same with the leads of each diode joined in a splice instead: linear.
    ///
    /// # Errors
    /// What is wrong with the plan.
    pub fn bench_64_linear() -> Result<Self, String> {
        let path = top().join(BENCH_64);
        let text = std::fs::read_to_string(&path).map_err(|error| error.to_string())?;
        let text = text
            .replace("[diode.", "[splice.")
            .replace(":A\"", "\"")
            .replace(":K\"", "\"");
        let plan =
            read(BENCH_64, &text).map_err(|problems| render(&problems, BENCH_64, &text, false))?;
        Self::of("bench-64 with splices for its diodes", FIXTURES[0], &plan)
    }

    /// A generated harness with so many points on the bench.
    ///
    /// # Errors
    /// What is wrong with the plan.
    pub fn drawn(seed: u64, points: u16) -> Result<Self, String> {
        let site = drawn(seed, points, Form::Bench);
        let Source::Drawn(recipe) = site.source else {
            return Err("a drawn harness has a recipe".to_owned());
        };
        let (path, text) = (site.plan_path(), recipe.text());
        let plan = read(&path, &text).map_err(|problems| render(&problems, &path, &text, false))?;
        Self::of(&recipe.name(), site, &plan)
    }

    fn of(name: &str, site: Site, plan: &Plan) -> Result<Self, String> {
        let job: Job = plan
            .resolve(&BTreeMap::new())
            .map_err(|problems| plan.render(&problems, false))?;
        let found: Result<(u8, Hookup), _> = hook_up(&job, Place::Bench, 16);
        let (probe_leads, hookup) = found.map_err(|error| error.to_string())?;
        let model: Model = build(&job, &hookup).map_err(|error| error.to_string())?;
        let catalogue = catalogue::all(&job, &hookup);
        let first: Vec<Planned> = first_pass(&model.layout()).collect();
        Ok(Self {
            name: name.to_owned(),
            catalogue,
            loaded: Loaded {
                site,
                job,
                probe_leads,
                hookup,
                model,
                covered: Vec::new(),
                first,
                bands: Vec::new(),
            },
        })
    }

    /// The expected circuit.
    #[must_use]
    pub fn model(&self) -> &Model {
        &self.loaded.model
    }

    /// How many points are touched.
    #[must_use]
    pub fn points(&self) -> usize {
        self.loaded.hookup.clips.len()
    }

    /// How many diodes the circuit has.
    #[must_use]
    pub fn diodes(&self) -> usize {
        let diode = |e: &&Element| matches!(e.part, Part::Diode(_));
        self.model().circuit.elements().iter().filter(diode).count()
    }

    /// The first pass, not carried out: what is read does not matter where
    /// only voltages are computed.
    #[must_use]
    pub fn simulated(&self) -> Vec<Taken> {
        let taken = |planned: &Planned| {
            let nothing = Reading::NotSettled(MicroVolts(0));
            Taken {
                readings: vec![nothing; planned.step.senses.len()],
                planned: planned.clone(),
            }
        };
        self.loaded.first.iter().map(taken).collect()
    }

    /// Every single hypothesis that shows in the circuit, with what is asked of
    /// it by the steps of `evidence`.
    #[must_use]
    pub fn hypotheses(&self, evidence: &Evidence<'_>) -> Vec<Hypothesis> {
        let circuit = &self.model().circuit;
        let islands = Islands::of(circuit, &[]);
        let predictor = Predictor::new(self.model());
        let mut asked: BTreeMap<BTreeSet<Group>, std::rc::Rc<Asked>> = BTreeMap::new();
        let one = |fault: &Fault| {
            let edits = fault.edits(self.model())?;
            let changes = Changes::of(edits.clone(), None);
            let touched = evidence.touched(&changes);
            let asked = asked.entry(touched.clone()).or_insert_with_key(|touched| {
                std::rc::Rc::new(Asked::of(self.model(), evidence, &islands, touched))
            });
            Some(Hypothesis {
                edits,
                changes,
                reach: predictor.reach(&touched),
                asked: std::rc::Rc::clone(asked),
            })
        };
        self.catalogue.iter().filter_map(one).collect()
    }
}

const BENCH_64: &str = "fixtures/plans/bench-64.toml";

/// A single hypothesis.
#[derive(Debug)]
pub struct Hypothesis {
    /// What it does to the circuit.
    pub edits: Vec<Edit>,
    /// The same, as evidence takes it.
    pub changes: Changes,
    /// What belongs to the islands that the edits touch.
    pub reach: Reach,
    /// What is asked of it.
    pub asked: std::rc::Rc<Asked>,
}

/// A point that is observed, and the one that is taken off it.
pub type Observed = (NodeId, Option<NodeId>);

/// Drive patterns that differ in the touched islands, and what is read there.
#[derive(Debug)]
pub struct Asked {
    /// Tips of the probe leads in these islands.
    pub tips: Vec<NodeId>,
    /// Sources and pulls, with the points that are observed under them.
    pub patterns: Vec<(Vec<Attachment>, Vec<Observed>)>,
    /// Both ends of unknown loads where there are any.
    pub corners: Vec<Corner>,
}

impl Asked {
    fn of(
        model: &Model,
        evidence: &Evidence<'_>,
        islands: &Islands,
        touched: &BTreeSet<Group>,
    ) -> Self {
        let circuit = &model.circuit;
        let here = |node: &NodeId| touched.contains(&islands.group(*node));
        let mut asked = Self {
            tips: Vec::new(),
            patterns: Vec::new(),
            corners: vec![Corner::Least],
        };
        let tip = |lead| circuit.tip(lead).filter(here);
        asked.tips.extend(circuit.leads().filter_map(tip));
        for element in circuit.elements() {
            let load = matches!(element.part, Part::Load { .. });
            if load && (here(&element.a) || here(&element.b)) && asked.corners.len() < 2 {
                asked.corners.push(Corner::Most);
            }
        }
        for at in evidence.affected(touched, None) {
            let judged = &evidence.judged()[at];
            let Some(step) = evidence.step(judged.step) else {
                continue;
            };
            let Quantity { plus, minus } = judged.quantity;
            let (own, other) = (tip(plus.lead), minus.and_then(tip));
            // What is read elsewhere does not change.
            let Some(point) = own.map(|own| (own, other)).or(other.map(|o| (o, None))) else {
                continue;
            };
            let mut ties = sources(step, tip);
            ties.extend(own.and_then(|own| pull(plus.mode, own)));
            let slot = asked.patterns.iter().position(|(known, _)| *known == ties);
            let slot = slot.unwrap_or_else(|| {
                asked.patterns.push((ties, Vec::new()));
                asked.patterns.len() - 1
            });
            let points = &mut asked.patterns[slot].1;
            if !points.contains(&point) {
                points.push(point);
            }
        }
        asked
    }

    /// Systems to be solved: patterns, at both ends of unknown loads.
    #[must_use]
    pub fn systems(&self) -> usize {
        self.patterns.len() * self.corners.len()
    }
}

/// The source resistors of the driven leads that are here.
fn sources(
    step: &Step,
    tip: impl Fn(loomproof_core::wire::LeadId) -> Option<NodeId>,
) -> Vec<Attachment> {
    let side = |set: &LeadSet, volts: Volts| -> Vec<Attachment> {
        let tie = |node| Attachment {
            node,
            volts,
            ohms: instrument::SOURCE,
            spread: instrument::SOURCE * instrument::SOURCE_SPREAD,
        };
        set.iter().filter_map(&tip).map(tie).collect()
    };
    let mut ties = side(&step.high, instrument::REFERENCE);
    ties.extend(side(&step.low, Volts(0.0)));
    ties
}
