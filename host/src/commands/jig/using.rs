//! A harness that is plugged into a jig: the options of the verbs that take one, and which
//! jig it is.

use std::collections::BTreeSet;
use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};

use loomproof_core::units::Ohms;
use loomproof_core::wire::{LeadId, Place};

use super::{Failure, note};
use crate::bench::{Bench, OnJig, Settings};
use crate::commands::job::VirtualArgs;
use crate::commands::touching::failed;
use crate::hookup::Hookup;
use crate::jig::check::Wanted;
use crate::jig::history::{Event, History, add};
use crate::jig::played::Played;
use crate::jig::{Folder, Identity, Jig, file};
use crate::link::{Link, VirtualProbe};
use crate::plan::model::Job;

/// The jig of a harness.
#[derive(Debug, Clone, clap::Args)]
pub struct JigArgs {
    /// The harness is plugged into a bench jig: the jig's file, or the folder with the
    /// files of all jigs, which are told by their number.
    #[arg(long, value_name = "FILE", conflicts_with = "at")]
    jig: Option<PathBuf>,
    /// The file of the jig that the virtual bench really has, where it is another.
    #[arg(long, value_name = "FILE", requires = "jig")]
    jig_there: Option<PathBuf>,
}

impl JigArgs {
    /// The jig that is plugged in, by its number; `None` where none was asked for. `real` is
    /// the link to a real probe; on the virtual bench `code` becomes the resistors in the
    /// jig's plug.
    ///
    /// # Errors
    /// [`Failure`] where another is, or none, or its number cannot be read, and where its
    /// last check found it at fault.
    pub fn plugged(
        &self,
        place: Place,
        (real, simulated): (Option<&mut Box<dyn Link>>, &VirtualArgs),
        code: &mut Vec<(LeadId, Ohms)>,
    ) -> Result<Option<Plugged>, Failure> {
        let Some(path) = &self.jig else {
            return Ok(None);
        };
        self.only_on_bench(place)?;
        let read = match real {
            Some(_) if self.jig_there.is_some() => {
                return Err(Failure::usage(
                    "--jig-there is only for the virtual bench; leave it out for a real probe"
                        .to_owned(),
                ));
            }
            Some(link) => read(link.as_mut())?,
            None => {
                let played = Played::new(&load(self.there(path)?)?, &[]);
                let mut link = on_bench(simulated, Some(&played), Wanted::Nothing)?;
                *code = played.code();
                read(link.as_mut())?
            }
        };
        let jig = if path.is_dir() {
            by_number(path, &read)?
        } else {
            let jig = load(path)?;
            jig.is_plugged(&read)?;
            jig
        };
        note(&format!("Jig {}: {}.", jig.code.number(), jig.title));
        let history = History::load(&jig).map_err(Failure::usage)?;
        if let Some((false, when)) = history.checked {
            return Err(Failure::probe(format!(
                "the check of {when:.0} found this jig at fault, so no harness can be judged by it; \
                 mend it and check it again: loomproof jig check {} --probe usb",
                jig.path.display()
            )));
        }
        for warning in history.warnings(&jig) {
            note(&warning);
        }
        Ok(Some(Plugged { jig, history }))
    }

    /// The hook-up that the jig of the file gives, probe or no probe.
    ///
    /// # Errors
    /// [`Failure`] where the file is at fault, or the jig is for others.
    pub fn planned(&self, job: &Job, place: Place, leads: u8) -> Result<Option<Hookup>, Failure> {
        let Some(path) = &self.jig else {
            return Ok(None);
        };
        let hookup = load(self.there(path)?)?.hookup(job, (place, leads));
        Ok(Some(hookup.map_err(Failure::usage)?))
    }

    /// Refuses a jig in the vehicle.
    ///
    /// # Errors
    /// [`Failure`] where one is given.
    pub fn only_on_bench(&self, place: Place) -> Result<(), Failure> {
        if self.jig.is_some() && place != Place::Bench {
            return Err(Failure::usage(
                "a jig is for the harness alone on the bench; give --where bench as well"
                    .to_owned(),
            ));
        }
        Ok(())
    }

    /// The file of the jig that the virtual bench has.
    fn there<'p>(&'p self, jig: &'p Path) -> Result<&'p Path, Failure> {
        match &self.jig_there {
            Some(path) => Ok(path),
            None if jig.is_dir() => Err(Failure::usage(
                "say with --jig-there FILE which of these jigs the virtual bench has".to_owned(),
            )),
            None => Ok(jig),
        }
    }
}

/// The jig that is plugged in.
pub struct Plugged {
    /// Which one.
    pub jig: Jig,
    /// What it has been through.
    history: History,
}

impl Plugged {
    /// The hook-up of a harness in it.
    ///
    /// # Errors
    /// [`Failure`] where the jig is for others.
    pub fn hookup(&self, job: &Job, leads: u8) -> Result<Hookup, Failure> {
        let hookup = self.jig.hookup(job, (Place::Bench, leads));
        hookup.map_err(Failure::usage)
    }

    /// Whether its wires are known to be right where this hook-up has some.
    #[must_use]
    pub fn is_proved(&self, hookup: &Hookup) -> bool {
        self.history.is_proved(&self.jig, hookup)
    }

    /// What to think of where a harness is found at fault in it.
    #[must_use]
    pub fn afterthought(&self, proved: bool) -> String {
        let check = format!(
            "loomproof jig check {} --probe usb",
            self.jig.path.display()
        );
        if proved {
            format!(
                "In the jig: it was checked and its contacts touched, so its wires are not doubted. \
                 If nothing is found there, a contact of the jig may not reach: {check}. To measure by \
                 hand, take the harness out of the jig."
            )
        } else {
            format!(
                "In the jig: where a clip or probe lead is spoken of, it is the jig's wire or contact \
                 there. Once it is checked ({check}) and each contact was touched (loomproof touch \
                 PLAN --where bench --jig {} --prove --probe usb), its wires are not doubted any more. To measure \
                 by hand, take the harness out of the jig.",
                self.jig.path.display()
            )
        }
    }

    /// Keeps that these leads' contacts were touched and are where the file says, or that
    /// some are not.
    ///
    /// # Errors
    /// [`Failure`] where that cannot be kept.
    pub fn touched(&self, right: BTreeSet<LeadId>, wrong: bool) -> Result<(), Failure> {
        let event = match wrong {
            true => Event::Faulty,
            false if right.is_empty() => return Ok(()),
            false => Event::Touched(right),
        };
        add(&self.jig, &event).map_err(Failure::usage)
    }

    /// Leads of the jig that a hook-up does not have, and their points: of other variants.
    #[must_use]
    pub fn beside(&self, hookup: &Hookup) -> Vec<String> {
        let wires = self.jig.wires.iter();
        let beside = wires.filter(|(lead, _)| hookup.point(*lead).is_none());
        beside
            .map(|(lead, point)| format!("{lead} ({point})"))
            .collect()
    }

    /// Counts one mating more: a harness is plugged in.
    ///
    /// # Errors
    /// [`Failure`] where that cannot be kept.
    pub fn count(&self) -> Result<(), Failure> {
        add(&self.jig, &Event::Mated).map_err(Failure::usage)
    }
}

/// The virtual probe on a jig without a harness, or on none.
///
/// # Errors
/// [`Failure`] where the virtual bench cannot be like that.
pub fn on_bench(
    simulated: &VirtualArgs,
    played: Option<&Played>,
    wanted: Wanted<'_>,
) -> Result<Box<dyn Link>, Failure> {
    let settings = Settings {
        code: played.map(Played::code).unwrap_or_default(),
        ..simulated.settings()?
    };
    let on = played.map_or_else(OnJig::default, |played| played.with(wanted));
    let probe = VirtualProbe::with_flash(Bench::jig(&on, &settings)?, simulated.flash()?);
    Ok(Box::new(probe.session()?))
}

/// Reads a jig's file.
///
/// # Errors
/// [`Failure`] with everything that is wrong with it.
pub fn load(path: &Path) -> Result<Jig, Failure> {
    let colour = std::io::stderr().is_terminal();
    file::load(path, colour).map_err(|text| Failure::plan(text, false))
}

/// The number that the probe reads.
///
/// # Errors
/// [`Failure`] where something is live or moves, or the link fails.
pub fn read(link: &mut dyn Link) -> Result<Identity, Failure> {
    Identity::read(link).map_err(|error| failed(&error, None))
}

/// Which of the jigs in a folder has the number that was read.
///
/// # Errors
/// [`Failure`] where none has, or the folder cannot be read.
pub fn by_number(folder: &Path, read: &Identity) -> Result<Jig, Failure> {
    let jigs = Folder::load(folder).map_err(Failure::usage)?;
    jigs.numbered(read.code()?, folder).map_err(Failure::usage)
}
