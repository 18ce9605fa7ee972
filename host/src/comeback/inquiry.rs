//! The suspects of one comeback.

use std::collections::BTreeSet;
use std::sync::Arc;

use loomproof_core::units::Volts;

use super::asks::{Ask, Asks};
use super::belief::{self, Answer, Belief};
use super::pool::Pool;
use super::suspects::{Forecast, Reckoner, Suspect, signs};
use super::told::{How, MISTOLD, Symptom, told, told_each};
use crate::fault::catalogue;
use crate::hookup::Hookup;
use crate::plan::model::Job;
use crate::powered::causes::all;
use crate::powered::{Cause, Powered, Scenario};

/// Nothing is wrong any more, or was: the weight of that before anything is known.
const ALL_WELL: f64 = 0.02;

/// As long as something is told to be wrong, it is only that if nothing else fits.
const ALL_WELL_AGAIN: f64 = 1e-4;

/// What a ring-out that passed on the day of fitting leaves of the chance of a fitter's
/// mistake: somebody was at it since (common practice).
const PASSED: f64 = 0.05;

/// Kinds of faults that are made while fitting and do not come by themselves.
pub const FITTING: [&str; 10] = [
    "wrong-cavity",
    "exchanged",
    "mirrored",
    "shifted",
    "sets-exchanged",
    "occupied",
    "tap-neighbour",
    "reversed",
    "missing",
    "live",
];

/// One comeback: the job, what can be asked, and who is suspected.
#[derive(Clone)]
pub struct Inquiry<'j> {
    /// The job.
    pub job: &'j Job,
    /// Its powered circuit.
    pub powered: Powered,
    /// What can be asked.
    pub asks: Asks,
    /// What the plan lets expect.
    pub healthy: Vec<Forecast>,
    /// Everybody suspected.
    pub suspects: Vec<Suspect>,
    pub(super) battery: Volts,
    pub(super) symptoms: Vec<Symptom>,
    /// Who explains some of the symptoms only.
    pub(super) partly: Vec<Suspect>,
    /// The answers that pairs were taken up for.
    paired: Option<Vec<Answer>>,
    pub(super) pool: Arc<Pool>,
    /// Names of what was looked at and is sound.
    cleared: BTreeSet<String>,
}

impl<'j> Inquiry<'j> {
    /// What can be asked of a job, nobody suspected yet.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn new(job: &'j Job, battery: Volts) -> Result<Self, String> {
        let bare = Hookup {
            place: loomproof_core::wire::Place::Vehicle,
            clips: Vec::new(),
            mated: Default::default(),
        };
        let powered = Powered::new(job, &bare);
        let powered = powered.map_err(|error| error.to_string())?;
        let mut asks = Asks::new(job, &powered);
        let consumers = Asks::consumers(job, &powered);
        let ends = consumers.iter().flat_map(|sign| [sign.plus, sign.minus]);
        let ends = ends.filter_map(|side| match side {
            super::asks::Side::Node(node) => Some(node),
            super::asks::Side::Plus => None,
        });
        let seen = (0..job.functions.len()).flat_map(|at| Asks::seen_at(job, &powered, at));
        let more: Vec<_> = ends.chain(seen.map(|(_, node)| node)).collect();
        let found = {
            let reckoner = Reckoner::new(&powered, &asks, more, battery)?;
            signs(job, &powered, &reckoner, &consumers)
        };
        asks.take_signs(found);
        if asks.signs.iter().all(Vec::is_empty) {
            return Err(
                "this plan does not say enough for a comeback: give a function on_when and what \
                 it feeds ([load.*], or seen_at), and the vehicle's feeds plus_when and \
                 chassis_when (docs/plan-file.md)"
                    .to_owned(),
            );
        }
        let healthy = {
            let mut reckoner = Reckoner::new(&powered, &asks, [], battery)?;
            reckoner.forecasts(&[], &[Scenario::default()])?
        };
        Ok(Self {
            job,
            powered,
            asks,
            healthy,
            suspects: Vec::new(),
            battery,
            symptoms: Vec::new(),
            partly: Vec::new(),
            paired: None,
            pool: Arc::default(),
            cleared: BTreeSet::new(),
        })
    }

    /// Functions that can be asked about, by number.
    pub fn functions(&self) -> impl Iterator<Item = usize> + '_ {
        let signs = self.asks.signs.iter().enumerate();
        signs
            .filter(|(_, signs)| !signs.is_empty())
            .map(|(at, _)| at)
    }

    /// Takes up everybody who explains some of the symptoms; `passed` where a record
    /// shows that the harness was right on the day it was fitted.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn suspect(&mut self, symptoms: &[Symptom], passed: bool) -> Result<(), String> {
        self.symptoms = symptoms.to_vec();
        self.paired = None;
        let quick = Pool::quick(&self.asks);
        let mut functions = Reckoner::new(&self.powered, &quick, [], self.battery)?;
        let healthy = functions.forecasts(&[], &[Scenario::default()])?;
        let before = told_each(&quick, &healthy, symptoms);
        let pool = self.pool.clone();
        let ways = pool.ways(self.job, || self.causes(), &mut functions)?;
        let mut everything = Reckoner::new(&self.powered, &self.asks, [], self.battery)?;
        let (mut wholly, mut partly) = (Vec::new(), Vec::new());
        for (number, way) in ways.iter().enumerate() {
            let each = told_each(&quick, &way.functions, symptoms);
            let mut both = each.iter().zip(&before);
            if !both.any(|(now, before)| now > before) {
                continue;
            }
            let fitted = passed && FITTING.contains(&way.cause.kind());
            let prior = way.cause.prior() * if fitted { PASSED } else { 1.0 } * way.part;
            let fits = each.iter().all(|chance| *chance > MISTOLD * 1.5);
            let told: f64 = each.iter().product();
            let suspect = Suspect {
                prior: if fits { prior * told } else { prior },
                causes: vec![way.cause.clone()],
                scenarios: way.scenarios.clone(),
                ways: vec![number],
                forecasts: if fits {
                    way.forecasts(&mut everything)?
                } else {
                    Arc::from([])
                },
            };
            if fits { &mut wholly } else { &mut partly }.push(suspect);
        }
        self.suspects = wholly;
        self.partly = partly;
        self.suspects.push(Suspect {
            causes: Vec::new(),
            scenarios: vec![Scenario::default()],
            ways: Vec::new(),
            prior: if symptoms.iter().any(|it| it.how != How::Works) {
                ALL_WELL_AGAIN
            } else {
                ALL_WELL
            } * told(&self.asks, &self.healthy, symptoms),
            forecasts: self.healthy.clone().into(),
        });
        Ok(())
    }

    /// Takes note of the causes, by [`Cause::name`], that were looked at and are sound.
    pub fn looked(&mut self, cleared: BTreeSet<String>) {
        if self.cleared != cleared {
            self.cleared = cleared;
            self.paired = None;
        }
    }

    pub(super) fn is_cleared(&self, suspect: &Suspect) -> bool {
        let mut causes = suspect.causes.iter();
        causes.any(|cause| self.cleared.contains(&cause.name()))
    }

    /// Every cause that there can be.
    #[must_use]
    pub fn causes(&self) -> Vec<Cause> {
        let bare = Hookup {
            place: loomproof_core::wire::Place::Vehicle,
            clips: Vec::new(),
            mated: Default::default(),
        };
        let causes = all(self.job, &self.powered, catalogue::all(self.job, &bare));
        causes.into_iter().map(|(cause, _)| cause).collect()
    }

    /// The probabilities by the answers so far; pairs are taken up when no single cause
    /// explains everything.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub fn belief(&mut self, answers: &[Answer]) -> Result<Belief, String> {
        let belief = Belief::new(&self.asks, &self.suspects, answers, &self.cleared);
        let mut explained = belief.unfit.iter().zip(&self.suspects);
        let explained = explained.any(|(unfit, suspect)| *unfit == 0 && !suspect.causes.is_empty());
        if (explained && !self.outweighed(answers)) || self.all_well(&belief) {
            return Ok(belief);
        }
        if self.paired.as_deref() != Some(answers) {
            self.paired = Some(answers.to_vec());
            self.pair(answers)?;
        }
        Ok(Belief::new(
            &self.asks,
            &self.suspects,
            answers,
            &self.cleared,
        ))
    }

    /// Whether two causes that explain everything could be likelier than the likeliest one:
    /// a cause of which the plan does not say what it does fits whatever is read.
    fn outweighed(&self, answers: &[Answer]) -> bool {
        let weights = belief::weights(&self.asks, &self.suspects, answers, &self.cleared);
        let weighed = weights.into_iter().zip(&self.suspects);
        let single = weighed.filter(|(_, suspect)| suspect.causes.len() < 2);
        let best = single.map(|(weight, _)| weight).fold(0.0, f64::max);
        let all = self.suspects.iter().chain(&self.partly);
        let own = all.filter(|it| it.causes.len() == 1);
        let likely = own.map(|it| it.prior).fold(0.0, f64::max);
        best < likely * likely
    }

    /// Whether nothing was told to be wrong, and nothing is.
    fn all_well(&self, belief: &Belief) -> bool {
        let wrong = self
            .symptoms
            .iter()
            .any(|symptom| symptom.how != How::Works);
        !wrong && belief.unfit.last() == Some(&0)
    }

    /// The chance that a function works in a state of the switches as the plan expects.
    #[must_use]
    pub fn expected(&self, ask: &Ask) -> Forecast {
        let at = belief::number(&self.asks, ask);
        let at = at.and_then(|at| self.healthy.get(at).copied());
        at.unwrap_or(Forecast::UNKNOWN)
    }
}
