//! The probe, on whatever it is clipped to.

use super::Failure;
use super::jig::using::{JigArgs, Plugged};
use super::job::BenchArgs;
use crate::bench::Bench;
use crate::fault::Fault;
use crate::hookup::Hookup;
use crate::link::{Link, connect};
use crate::plan::model::Job;
use loomproof_core::units::Ohms;
use loomproof_core::wire::{Hello, LeadId, Place};

/// `--probe` for the virtual one.
pub(super) const VIRTUAL: &str = "virtual";

/// Refuses faults for a real probe.
///
/// # Errors
/// [`Failure`] where there are any.
pub(super) fn refuse_faults(faults: &[String]) -> Result<(), Failure> {
    if faults.is_empty() {
        return Ok(());
    }
    Err(Failure::usage(
        "--fault puts faults on the virtual bench; leave it out for a real probe".to_owned(),
    ))
}

/// A real probe, connected; nothing that only the virtual one takes may be given.
///
/// # Errors
/// [`Failure`] where something of the virtual one is given, or nothing answers.
pub(super) fn real(probe: &str, bench: &BenchArgs) -> Result<Box<dyn Link>, Failure> {
    refuse_faults(&bench.faults)?;
    if !bench.hangs.is_empty() {
        return Err(Failure::usage(
            "--hangs is of the virtual vehicle; leave it out for a real probe".to_owned(),
        ));
    }
    bench.simulated.only_virtual()?;
    Ok(Box::new(connect(probe)?))
}

/// A real probe, or the virtual one on its bench.
pub(super) struct Clipped<'a> {
    /// What the virtual bench really has.
    job: Job,
    bench: &'a BenchArgs,
    /// A real one is connected from the beginning, the virtual one anew for each
    /// round of clips.
    link: Option<Box<dyn Link>>,
    simulated: bool,
    /// What is wrong on the virtual bench, round by round.
    faults: Vec<Vec<Fault>>,
    round: usize,
    /// The resistors in the plug of the virtual bench's jig.
    code: Vec<(LeadId, Ohms)>,
}

impl<'a> Clipped<'a> {
    /// The probe that was asked for; a real one is connected.
    ///
    /// # Errors
    /// [`Failure`] where a real one is not there, or is given what only the virtual
    /// one takes.
    pub(super) fn new(probe: &str, job: &Job, bench: &'a BenchArgs) -> Result<Self, Failure> {
        let simulated = probe == VIRTUAL;
        let link: Option<Box<dyn Link>> = if simulated {
            None
        } else {
            Some(real(probe, bench)?)
        };
        Ok(Self {
            job: bench.really(job)?,
            bench,
            link,
            simulated,
            faults: Vec::new(),
            round: 0,
            code: Vec::new(),
        })
    }

    /// Whether the bench is simulated: nobody has to move clips.
    pub(super) fn is_virtual(&self) -> bool {
        self.simulated
    }

    /// Probe leads that there are.
    pub(super) fn leads(&self) -> u8 {
        let link = self.link.as_ref();
        link.map_or(self.bench.simulated.leads, |link| link.hello().leads)
    }

    /// The jig that the harness is plugged into, where one was asked for.
    ///
    /// # Errors
    /// [`Failure`] where another is plugged in, or none, or it must not be used.
    pub(super) fn plugged(
        &mut self,
        jig: &JigArgs,
        place: Place,
    ) -> Result<Option<Plugged>, Failure> {
        let real = self.link.as_mut().filter(|_| !self.simulated);
        jig.plugged(place, (real, &self.bench.simulated), &mut self.code)
    }

    /// What will be clipped, round by round. A mistake with a clip is made in the
    /// first round that has the clip; in a later one it sits.
    ///
    /// # Errors
    /// [`Failure`] for a fault that no round can have.
    pub(super) fn plan(&mut self, hookups: &[Hookup]) -> Result<(), Failure> {
        let settings = self.bench.simulated.settings()?;
        let (slips, wiring): (Vec<Fault>, Vec<Fault>) = self
            .bench
            .faults(&self.job)?
            .into_iter()
            .partition(Fault::is_operators);
        self.faults = vec![wiring; hookups.len()];
        for slip in slips {
            let made =
                |hookup| Bench::new(&self.job, hookup, std::slice::from_ref(&slip), &settings);
            let first = hookups.iter().position(|hookup| made(hookup).is_ok());
            match (
                first.and_then(|at| self.faults.get_mut(at)),
                hookups.first(),
            ) {
                (Some(round), _) => round.push(slip),
                (None, Some(hookup)) => drop(made(hookup)?),
                (None, None) => {}
            }
        }
        Ok(())
    }

    /// The link to the probe, clipped like this in a round. The virtual probe's
    /// noise begins anew, so that a seed gives the readings that it always gave.
    ///
    /// # Errors
    /// [`Failure`] where the faults do not go together.
    pub(super) fn on(&mut self, round: usize, hookup: &Hookup) -> Result<&mut dyn Link, Failure> {
        self.round = round;
        let link = match self.link.take() {
            Some(link) if !self.simulated => link,
            _ => {
                let faults = self.faults.get(round).map(Vec::as_slice);
                let faults = faults.unwrap_or_default();
                let code = &self.code;
                let probe = self.bench.probe(&self.job, hookup, faults, code)?;
                Box::new(probe.session()?)
            }
        };
        Ok(self.link.insert(link).as_mut())
    }

    /// What the probe said of itself, once it was clipped.
    pub(super) fn hello(&self) -> Option<Hello> {
        self.link.as_ref().map(|link| link.hello().clone())
    }

    /// The same round once more, with a clip more or with the clips set anew.
    ///
    /// # Errors
    /// As [`Self::on`].
    pub(super) fn again(&mut self, hookup: &Hookup) -> Result<&mut dyn Link, Failure> {
        self.on(self.round, hookup)
    }

    /// Sets the clips of the virtual bench right in a round.
    pub(super) fn reclip(&mut self, round: usize) {
        if let Some(faults) = self.faults.get_mut(round) {
            faults.retain(|fault| !fault.is_operators());
        }
    }
}
