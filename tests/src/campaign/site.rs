//! A harness at a place, ready to be rung out.

use std::collections::BTreeMap;

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::{Model, build};
use loomproof::diagnosis::coverage::{Covered, coverage};
use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::predict::Predictor;
use loomproof::fault::{Fault, catalogue};
use loomproof::hookup::{Hookup, HookupError, propose};
use loomproof::link::{Link, VirtualProbe};
use loomproof::plan::model::Job;
use loomproof::plan::{Plan, read, render};
use loomproof::ringout::report::{Report, Verdict};
use loomproof::ringout::verdict::{place_word, report_covered, verdict};
use loomproof::ringout::{Outcome, Taken, run};
use loomproof_core::expect::{Band, quantities};
use loomproof_core::scan::{Planned, first_pass};
use loomproof_core::wire::{Hello, Place, Reply, Request};

use crate::generator::{Form, Recipe};
use crate::skip::top;

/// Where the plan of a harness comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// `fixtures/plans/NAME.toml`.
    Fixture(&'static str),
    /// The generator.
    Drawn(Recipe),
}

/// A harness at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Site {
    /// Its plan.
    pub source: Source,
    /// Bench or vehicle.
    pub place: Place,
}

/// The fixture plans at the places where they are tested.
pub const FIXTURES: &[Site] = &[
    fixture("bench-64", Place::Bench),
    fixture("socket-13-pin", Place::Bench),
    fixture("bakery-van", Place::Bench),
    fixture("bakery-van", Place::Vehicle),
    fixture("socket-13-pin", Place::Vehicle),
    fixture("smallest", Place::Vehicle),
];

/// Test points of the generated harnesses; one of each form for every size.
const SIZES: [u16; 16] = [
    8, 12, 16, 20, 24, 32, 40, 48, 56, 64, 72, 80, 96, 104, 112, 128,
];

const fn fixture(plan: &'static str, place: Place) -> Site {
    Site {
        source: Source::Fixture(plan),
        place,
    }
}

/// The generated harnesses of a campaign: 32, half of them in the vehicle,
/// from 8 to 128 test points.
pub fn generated(seed: u64) -> impl Iterator<Item = Site> {
    (seed..).zip(SIZES).flat_map(|(seed, points)| {
        [Form::Bench, Form::Vehicle].map(|form| drawn(seed, points, form))
    })
}

/// A generated harness at the place it is made for.
#[must_use]
pub fn drawn(seed: u64, points: u16, form: Form) -> Site {
    Site {
        source: Source::Drawn(Recipe { seed, points, form }),
        place: match form {
            Form::Bench => Place::Bench,
            Form::Vehicle => Place::Vehicle,
        },
    }
}

impl Site {
    /// How the site is called in tables and in `--harness`: `bakery-van/bench`.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{}/{}", self.plan_name(), place_word(self.place))
    }

    /// Name of the plan, without its ending.
    #[must_use]
    pub fn plan_name(&self) -> String {
        match self.source {
            Source::Fixture(name) => name.to_owned(),
            Source::Drawn(recipe) => recipe.name(),
        }
    }

    /// The site of a name that [`Site::name`] made.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        let known = FIXTURES.iter().find(|site| site.name() == name);
        known.copied().or_else(|| {
            let (plan, place) = name.split_once('/')?;
            let recipe = Recipe::of_name(plan)?;
            Some(Self {
                source: Source::Drawn(recipe),
                place: [Place::Bench, Place::Vehicle]
                    .into_iter()
                    .find(|known| place_word(*known) == place)?,
            })
        })
    }

    /// Where a plan file of it is, or is to be put by `--plan`.
    #[must_use]
    pub fn plan_path(&self) -> String {
        match self.source {
            Source::Fixture(name) => format!("fixtures/plans/{name}.toml"),
            Source::Drawn(recipe) => format!("{}.toml", recipe.name()),
        }
    }

    /// Reads the plan with its options at their defaults, and computes what
    /// does not change from run to run.
    ///
    /// # Errors
    /// What is wrong with the plan.
    pub fn load(self) -> Result<Loaded, String> {
        let plan = match self.source {
            Source::Fixture(_) => Plan::load(&top().join(self.plan_path()))
                .map_err(|rejected| rejected.render(false))?,
            Source::Drawn(recipe) => {
                let (path, text) = (self.plan_path(), recipe.text());
                read(&path, &text).map_err(|problems| render(&problems, &path, &text, false))?
            }
        };
        let job = plan
            .resolve(&BTreeMap::new())
            .map_err(|problems| plan.render(&problems, false))?;
        // The fixtures as the command rings them out; the generated harnesses
        // with hardly a lead to spare.
        let least = match self.source {
            Source::Fixture(_) => Settings::default().leads,
            Source::Drawn(_) => 16,
        };
        let hooked_up = hook_up(&job, self.place, least);
        let (probe_leads, hookup) = hooked_up.map_err(|error| error.to_string())?;
        Loaded::new(self, job, probe_leads, hookup)
    }
}

/// The hook-up with the smallest probe that has leads enough; of fewer than
/// `least` leads none is taken.
///
/// # Errors
/// [`HookupError`] when 128 are too few, or there is nothing to touch.
pub fn hook_up(job: &Job, place: Place, least: u8) -> Result<(u8, Hookup), HookupError> {
    let sizes = (16..128).step_by(16).filter(|leads| *leads >= least);
    for leads in sizes {
        match propose(job, place, usize::from(leads)) {
            Err(HookupError::TooFewLeads { .. }) => {}
            found => return Ok((leads, found?)),
        }
    }
    Ok((128, propose(job, place, 128)?))
}

/// A site, ready to be rung out.
#[derive(Debug)]
pub struct Loaded {
    /// The site.
    pub site: Site,
    /// The plan with its options settled.
    pub job: Job,
    /// Leads of the probe.
    pub probe_leads: u8,
    /// Which probe lead sits where.
    pub hookup: Hookup,
    /// The expected circuit.
    pub model: Model,
    /// Every fault that the plan allows, and whether it is said beforehand
    /// that this hook-up shows it.
    pub covered: Vec<Covered>,
    /// The first pass.
    pub first: Vec<Planned>,
    /// The product's healthy band of everything that the first pass judges.
    pub bands: Vec<Band>,
}

impl Loaded {
    /// A site from its parts.
    ///
    /// # Errors
    /// What cannot be computed.
    pub fn new(site: Site, job: Job, probe_leads: u8, hookup: Hookup) -> Result<Self, String> {
        let model = build(&job, &hookup).map_err(|error| error.to_string())?;
        let covered = coverage(&model, &catalogue::all(&job, &hookup))?;
        let first: Vec<Planned> = first_pass(&model.layout()).collect();
        let predictor = Predictor::new(&model);
        let mut bands = Vec::new();
        for planned in &first {
            for quantity in quantities(&planned.step) {
                bands.push(predictor.band(&[], &planned.step, quantity)?);
            }
        }
        Ok(Self {
            site,
            job,
            probe_leads,
            hookup,
            model,
            covered,
            first,
            bands,
        })
    }

    /// [`Site::name`].
    #[must_use]
    pub fn name(&self) -> String {
        self.site.name()
    }

    /// The bench with everything on that strays.
    #[must_use]
    pub fn settings(&self, seed: u64) -> Settings {
        Settings {
            seed,
            leads: self.probe_leads,
            ..Settings::default()
        }
    }

    /// The bench with every part at its nominal value and no noise.
    #[must_use]
    pub fn nominal(&self) -> Settings {
        Settings {
            spread: false,
            noise: false,
            ..self.settings(1)
        }
    }

    /// Whether these faults can be put on the bench together.
    #[must_use]
    pub fn accepts(&self, faults: &[Fault]) -> bool {
        Bench::new(&self.job, &self.hookup, faults, &self.nominal()).is_ok()
    }

    /// Rings a bench with these faults out.
    ///
    /// # Errors
    /// What went wrong on the bench or on the way to it.
    pub fn scan(&self, faults: &[Fault], settings: &Settings) -> Result<(Hello, Outcome), String> {
        let bench = Bench::new(&self.job, &self.hookup, faults, settings)
            .map_err(|error| error.to_string())?;
        let mut link = VirtualProbe::new(bench)
            .session()
            .map_err(|error| error.to_string())?;
        let outcome = run::run(&mut link, &self.model, self.site.place, &mut |_| {})
            .map_err(|error| error.to_string())?;
        Ok((link.hello().clone(), outcome))
    }

    /// Judges what a scan found.
    ///
    /// # Errors
    /// What keeps it from a report.
    pub fn report(&self, hello: &Hello, outcome: &Outcome) -> Result<Report, String> {
        report_covered(
            &self.job,
            &self.hookup,
            &self.model,
            &self.covered,
            hello,
            outcome,
        )
    }

    /// Rings a bench with these faults out, to the report.
    ///
    /// # Errors
    /// What keeps it from a report.
    pub fn ring_out(&self, faults: &[Fault], seed: u64) -> Result<Report, String> {
        let (hello, outcome) = self.scan(faults, &self.settings(seed))?;
        self.report(&hello, &outcome)
    }

    /// Rings a bench with these faults out, up to the verdict alone: what
    /// [`Self::ring_out`] says before it asks for the cause.
    ///
    /// # Errors
    /// What keeps it from a verdict.
    pub fn verdict(&self, faults: &[Fault], seed: u64) -> Result<Verdict, String> {
        let (_, outcome) = self.scan(faults, &self.settings(seed))?;
        let Outcome::Complete(taken) = &outcome else {
            return Ok(Verdict::Refused);
        };
        Ok(verdict(&Evidence::new(&self.model, taken)?))
    }

    /// Takes the readings of given steps on a bench with these faults.
    ///
    /// # Errors
    /// What went wrong on the bench or on the way to it.
    pub fn take(
        &self,
        faults: &[Fault],
        settings: &Settings,
        steps: &[Planned],
    ) -> Result<Vec<Taken>, String> {
        let bench = Bench::new(&self.job, &self.hookup, faults, settings)
            .map_err(|error| error.to_string())?;
        let mut link = VirtualProbe::new(bench)
            .session()
            .map_err(|error| error.to_string())?;
        let mut ask = |request: &Request| link.exchange(request).map_err(|error| error.to_string());
        let arm = Request::Arm(self.site.place);
        ask(&arm)?;
        let mut all = Vec::with_capacity(steps.len());
        for planned in steps {
            let request = Request::Step(planned.step.clone());
            let mut reply = ask(&request)?;
            if !matches!(reply, Reply::Readings { .. }) {
                // The permission ran out.
                ask(&arm)?;
                reply = ask(&request)?;
            }
            let Reply::Readings { readings, .. } = reply else {
                return Err(format!("{:?} gave {reply:?}", planned.purpose));
            };
            all.push(Taken {
                planned: planned.clone(),
                readings: readings.iter().copied().collect(),
            });
        }
        Ok(all)
    }
}
