//! The probe in a vehicle or on a bench whose clips stay: real, or the virtual one
//! with its bench, whose switches can be moved.

use super::Failure;
use super::clipped::{VIRTUAL, refuse_faults};
use super::job::VirtualArgs;
use crate::bench::hal::Shared;
use crate::bench::{Bench, BenchError, Settings, Upset};
use crate::fault::Fault;
use crate::hookup::Hookup;
use crate::link::{Link, VirtualProbe, connect};
use crate::plan::model::Job;
use crate::powered::Cause;

/// Makes the virtual bench: [`Bench::powered`] or [`Bench::upset`].
pub(super) type Make =
    fn(&Job, &Hookup, &[Fault], &[Upset], &Settings) -> Result<Bench, BenchError>;

/// What a stand is asked to be on the command line.
#[derive(Clone, Copy)]
pub(super) struct Wanted<'a> {
    /// `--probe`.
    pub(super) probe: &'a str,
    /// `--fault`, as spelled.
    pub(super) faults: &'a [String],
    /// What the virtual probe is like.
    pub(super) simulated: &'a VirtualArgs,
    /// How its bench is made.
    pub(super) make: Make,
}

impl Wanted<'_> {
    /// Whether it is the virtual probe.
    pub(super) fn is_virtual(&self) -> bool {
        self.probe == VIRTUAL
    }
}

/// The probe on what it is clipped to.
pub(super) struct Stand<'a> {
    wanted: Wanted<'a>,
    job: &'a Job,
    link: Option<Box<dyn Link>>,
    bench: Option<Shared>,
}

impl<'a> Stand<'a> {
    /// The probe that was asked for; a real one is connected.
    ///
    /// # Errors
    /// [`Failure`] where a real one is not there, or is given what only the virtual
    /// one takes.
    pub(super) fn new(wanted: Wanted<'a>, job: &'a Job) -> Result<Self, Failure> {
        let mut stand = Self {
            wanted,
            job,
            link: None,
            bench: None,
        };
        if !stand.is_virtual() {
            wanted.simulated.only_virtual()?;
            refuse_faults(wanted.faults)?;
            stand.link = Some(Box::new(connect(wanted.probe)?));
        }
        Ok(stand)
    }

    /// Whether vehicle and harness are simulated: nobody has to move anything.
    pub(super) fn is_virtual(&self) -> bool {
        self.wanted.is_virtual()
    }

    /// Probe leads that there are.
    pub(super) fn leads(&self) -> u8 {
        match &self.link {
            Some(link) => link.hello().leads,
            None => self.wanted.simulated.leads,
        }
    }

    /// Clips the virtual probe to its bench; a real one is clipped by hand.
    ///
    /// # Errors
    /// [`Failure`] where the faults do not fit or do not go together.
    pub(super) fn clip(&mut self, hookup: &Hookup) -> Result<(), Failure> {
        if !self.is_virtual() {
            return Ok(());
        }
        let causes = Cause::parse_all(self.wanted.faults, self.job).map_err(Failure::usage)?;
        let (faults, upsets) = Cause::sorted(&causes);
        let settings = self.wanted.simulated.settings()?;
        let bench = (self.wanted.make)(self.job, hookup, &faults, &upsets, &settings)?;
        let probe = VirtualProbe::with_flash(bench, self.wanted.simulated.flash()?);
        self.bench = Some(probe.bench().clone());
        self.link = Some(Box::new(probe.session()?));
        Ok(())
    }

    /// The link to the probe.
    ///
    /// # Errors
    /// [`Failure`] while the virtual one is not clipped.
    pub(super) fn link(&mut self) -> Result<&mut dyn Link, Failure> {
        match &mut self.link {
            Some(link) => Ok(link.as_mut()),
            None => Err(Failure::probe("the probe is not clipped yet".to_owned())),
        }
    }

    /// Moves switches (by their number in the job) of the virtual vehicle to states;
    /// nothing happens to a real one.
    ///
    /// # Errors
    /// [`Failure`] if a relay does not come to rest.
    pub(super) fn set(&self, moves: impl IntoIterator<Item = (usize, u8)>) -> Result<(), Failure> {
        let Some(bench) = &self.bench else {
            return Ok(());
        };
        for (switch, state) in moves {
            let switch = self.job.electrics.switches.get(switch);
            let found = switch
                .and_then(|switch| Some((&switch.name, switch.states.get(usize::from(state))?)));
            if let Some((name, state)) = found {
                bench.set_switch(name, state)?;
            }
        }
        Ok(())
    }
}
