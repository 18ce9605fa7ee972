//! Everything that can be wrong with a job, worked out once: every comeback of that job
//! and battery suspects the same causes, whatever is told.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock};

use super::asks::{Asks, What};
use super::suspects::{Forecast, Reckoner};
use crate::plan::model::Job;
use crate::powered::{Cause, Scenario};

/// Number of a way in which a cause can be.
pub(super) type WayNumber = usize;

/// One way in which a cause can be, and what it would answer.
#[derive(Debug)]
pub(super) struct Pooled {
    /// The cause.
    pub(super) cause: Cause,
    /// From its least to its worst.
    pub(super) scenarios: Vec<Scenario>,
    /// The part of the cause's prior that this way has.
    pub(super) part: f64,
    /// What it would answer to the asks that [`What::Function`] names, see [`Pool::quick`].
    pub(super) functions: Vec<Forecast>,
    whole: OnceLock<Arc<[Forecast]>>,
}

impl Pooled {
    /// What it would answer to every ask.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub(super) fn forecasts(&self, reckoner: &mut Reckoner<'_>) -> Result<Arc<[Forecast]>, String> {
        if let Some(known) = self.whole.get() {
            return Ok(known.clone());
        }
        let made = reckoner.forecasts(std::slice::from_ref(&self.cause), &self.scenarios)?;
        Ok(self.whole.get_or_init(|| made.into()).clone())
    }
}

type Pairs = BTreeMap<(WayNumber, WayNumber), Arc<[Forecast]>>;

/// What is worked out so far. Clones of an inquiry share one.
#[derive(Debug, Default)]
pub(super) struct Pool {
    ways: OnceLock<Vec<Pooled>>,
    pairs: Mutex<Pairs>,
}

impl Pool {
    /// The asks for which only what shows of the functions has to be solved: few suspects
    /// are left after these.
    pub(super) fn quick(asks: &Asks) -> Asks {
        let mut quick = asks.clone();
        quick.sites.clear();
        quick
            .list
            .retain(|ask| matches!(ask.what, What::Function(_)));
        quick
    }

    /// Every cause in all its ways, with what shows of the functions.
    ///
    /// # Errors
    /// A sentence that says what cannot be computed.
    pub(super) fn ways(
        &self,
        job: &Job,
        causes: impl FnOnce() -> Vec<Cause>,
        quick: &mut Reckoner<'_>,
    ) -> Result<&[Pooled], String> {
        if let Some(known) = self.ways.get() {
            return Ok(known);
        }
        let mut ways = Vec::new();
        for cause in causes() {
            for (cause, scenarios, part) in quick.ways(job, &cause)? {
                let functions = quick.forecasts(std::slice::from_ref(&cause), &scenarios)?;
                ways.push(Pooled {
                    cause,
                    scenarios,
                    part,
                    functions,
                    whole: OnceLock::new(),
                });
            }
        }
        Ok(self.ways.get_or_init(|| ways))
    }

    /// A way by its number.
    pub(super) fn way(&self, number: WayNumber) -> Option<&Pooled> {
        self.ways.get()?.get(number)
    }

    /// What two causes together would answer; nothing where that cannot be computed, which
    /// must not cost the other pairs.
    pub(super) fn pair(
        &self,
        ways: (WayNumber, WayNumber),
        make: impl FnOnce() -> Option<Vec<Forecast>>,
    ) -> Option<Arc<[Forecast]>> {
        let key = (ways.0.min(ways.1), ways.0.max(ways.1));
        let known = |pool: &Self| pool.pairs.lock().ok()?.get(&key).cloned();
        if let Some(known) = known(self) {
            return Some(known);
        }
        let made: Arc<[Forecast]> = make()?.into();
        if let Ok(mut pairs) = self.pairs.lock() {
            pairs.insert(key, made.clone());
        }
        Some(made)
    }
}
